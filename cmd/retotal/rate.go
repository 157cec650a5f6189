package main

import (
	"fmt"
	"math"
	"strconv"
	"strings"

	"github.com/spf13/cobra"

	"retotal/ingest/problem"
	"retotal/ingest/quantity"
	"retotal/ingest/site"
	"retotal/recompute/device"
	"retotal/recompute/settings"
	"retotal/report"
	"retotal/report/picture"
)

// rateOptions are the flags of rate.
type rateOptions struct {
	device         string
	set            []string
	heads, flows   []string
	from, to, step string
	unit           string
	downstream     string
	json, csv      bool
	plot           string
}

func rateCommand() *cobra.Command {
	var o rateOptions
	c := &cobra.Command{
		Use:   "rate SITE | --device KIND --set KEY=VALUE...",
		Short: "Flow for heads, head for flows, or a rating table",
		Long: `Prints the flow of a device for given heads, the head for given flows, or a rating table. The device is
that of a site file, as recorded and as corrected at the end of the site's timeline, or one described by flags. With
--downstream, the flow under that head of water below the device: free, drowned, or between 0 and a bound where no
equation holds. A flow that a pipe carries at two depths gives both. A flow that is not reached is told, the others
are answered, and the exit status is 3. Device kinds: ` +
			strings.Join(device.Kinds(), ", ") + `.`,
		Example: `  retotal rate site.toml --head "0.15 m"
  retotal rate --device v-notch --set "angle=90 deg" --from "0.05 m" --to "0.30 m" --step "10 mm"
  retotal rate --device parshall --set "throat=9 in" --flow "50 L/s"
  retotal rate --device parshall --set "throat=1 ft" --head "0.20 m" --downstream "0.19 m"`,
		Args: func(_ *cobra.Command, args []string) error {
			if (len(args) == 1) == (o.device != "") || len(args) > 1 {
				return usage{"rate needs either one site file or --device KIND"}
			}
			return nil
		},
		RunE: func(c *cobra.Command, args []string) error { return rate(c, args, o) },
	}
	f := c.Flags()
	f.StringVar(&o.device, "device", "", "device kind, with its dimensions by --set")
	f.StringArrayVar(&o.set, "set", nil, "one dimension of the device, KEY=VALUE as in a site file")
	f.StringArrayVar(&o.heads, "head", nil, "a head to give the flow of, as \"0.15 m\"")
	f.StringArrayVar(&o.flows, "flow", nil, "a flow to give the head of, as \"12 L/s\"")
	f.StringVar(&o.from, "from", "", "first head of a table")
	f.StringVar(&o.to, "to", "", "last head of a table")
	f.StringVar(&o.step, "step", "", "step of head of a table")
	f.StringVar(&o.unit, "unit", "L/s", "unit of flow")
	f.StringVar(&o.downstream, "downstream", "",
		"head of the water below the device, above the same zero, as \"0.1 m\"")
	f.BoolVar(&o.json, "json", false, "print rows as lines of JSON")
	f.BoolVar(&o.csv, "csv", false, "print rows as CSV")
	f.StringVar(&o.plot, "plot", "", "draw the curve over the table's heads into this file, .png, .svg or .pdf")
	return c
}

// rated is a rating to print.
type rated struct {
	name   string
	rating device.Rating
}

func rate(c *cobra.Command, args []string, o rateOptions) error {
	unit, err := flowUnit(o.unit)
	if err != nil {
		return err
	}
	below, err := downstreamHead(o)
	if err != nil {
		return err
	}
	ratings, err := chosen(args, o)
	if err != nil {
		return err
	}
	rows, missed, err := allRows(ratings, o, unit, below)
	if err != nil {
		return err
	}
	for i, r := range ratings {
		if i > 0 && !o.json && !o.csv {
			fmt.Fprintln(c.OutOrStdout())
		}
		printRating(c.OutOrStdout(), r, rows[i], unit, o, i == 0)
	}
	if err := plotRatings(ratings, rows, o, unit); err != nil || len(missed) == 0 {
		return err
	}
	for _, text := range missed {
		fmt.Fprintln(c.ErrOrStderr(), text)
	}
	return status(inPart)
}

// flowUnit reads --unit; a unit of two meanings is told both.
func flowUnit(text string) (quantity.Unit, error) {
	unit, err := quantity.LookUp(text)
	if err != nil && strings.Contains(err.Error(), "two meanings") {
		return unit, usage{"--unit: " + err.Error()}
	}
	if err != nil || unit.Dimension != quantity.FlowDimension {
		return unit, usage{fmt.Sprintf("--unit %q is not a unit of flow: one of %s",
			text, strings.Join(quantity.Symbols(quantity.FlowDimension), ", "))}
	}
	return unit, nil
}

// downstreamHead reads --downstream; nil without it.
func downstreamHead(o rateOptions) (*float64, error) {
	if o.downstream == "" {
		return nil, nil
	}
	if len(o.flows) > 0 {
		return nil,
			usage{
				"--downstream goes with heads: the head for a flow under a downstream head is not computed; " +
					"leave --flow out",
			}
	}
	v, err := quantity.Parse(o.downstream, quantity.LengthDimension)
	if err != nil {
		return nil, usage{"--downstream: " + err.Error()}
	}
	return &v.SI, nil
}

// plotRatings draws the curves into the file that --plot names, whole or not at all.
func plotRatings(ratings []rated, rows [][]report.RatedFlow, o rateOptions, unit quantity.Unit) error {
	if o.plot == "" {
		return nil
	}
	top := 0.0
	var names []string
	var list []device.Rating
	for i, r := range ratings {
		for _, row := range rows[i] {
			top = math.Max(top, row.Head)
		}
		names, list = append(names, r.name+": "+r.rating.Describe().Name), append(list, r.rating)
	}
	if err := picture.Ratings(o.plot, names, list, top, unit); err != nil {
		return usage{"--plot: " + err.Error()}
	}
	return nil
}

// chosen returns the ratings of a site file, or the one described by flags.
func chosen(args []string, o rateOptions) ([]rated, error) {
	if o.device != "" {
		r, err := fromFlags(o)
		return []rated{{"device", r}}, err
	}
	s, err := site.Load(args[0])
	if s == nil {
		return nil, err
	}
	lanes, more := settings.NewLanes(s, nil)
	if err := problem.Join(err, more); err != nil {
		return nil, err
	}
	was := lanes.Recorded.Segments[len(lanes.Recorded.Segments)-1].Rating
	is := lanes.Corrected.Segments[len(lanes.Corrected.Segments)-1].Rating
	if was.Describe().Same(is.Describe()) {
		return []rated{{"recorded and corrected", is}}, nil
	}
	return []rated{{"recorded", was}, {"corrected", is}}, nil
}

// fromFlags builds the device that --device and --set describe.
func fromFlags(o rateOptions) (device.Rating, error) {
	values := map[string]any{}
	for _, pair := range o.set {
		key, value, ok := strings.Cut(pair, "=")
		if !ok {
			return nil, usage{fmt.Sprintf("--set %q is not KEY=VALUE", pair)}
		}
		values[strings.TrimSpace(key)] = strings.TrimSpace(value)
		if v, err := strconv.ParseFloat(strings.TrimSpace(value), 64); err == nil {
			values[strings.TrimSpace(key)] = v
		}
	}
	r, issues := device.Build(o.device, values)
	if len(issues) == 0 {
		return r, nil
	}
	var list problem.List
	for _, i := range issues {
		remedy := i.Remedy
		if i.Unknown {
			name := i.Key
			if name == "kind" {
				name = o.device
			}
			remedy = problem.Suggest(name, i.Known)
		}
		list.Add(problem.At(problem.Place{}, "--device "+o.device+": "+i.Found, i.Expected, remedy))
	}
	return nil, list
}
