package main

import (
	"encoding/json"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"github.com/spf13/cobra"

	"retotal/ingest/problem"
	"retotal/ingest/quantity"
	"retotal/ingest/site"
	"retotal/recompute"
	"retotal/recompute/device"
	"retotal/report"
)

// rateOptions are the flags of rate.
type rateOptions struct {
	device         string
	set            []string
	heads, flows   []string
	from, to, step string
	unit           string
	json, csv      bool
	plot           string
}

func rateCommand() *cobra.Command {
	var o rateOptions
	c := &cobra.Command{
		Use:   "rate SITE | --device KIND --set KEY=VALUE...",
		Short: "Flow for heads, head for flows, or a rating table",
		Long: `Prints the flow of a device for given heads, the head for given flows, or a rating table. The device is that of a site file, as
recorded and as corrected at the end of the site's timeline, or one described by flags. Device kinds: ` + strings.Join(device.Kinds(), ", ") + `.`,
		Example: `  retotal rate site.toml --head "0.15 m"
  retotal rate --device v-notch --set "angle=90 deg" --from "0.05 m" --to "0.30 m" --step "10 mm"
  retotal rate --device parshall --set "throat=9 in" --flow "50 L/s"`,
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
	f.BoolVar(&o.json, "json", false, "print rows as lines of JSON")
	f.BoolVar(&o.csv, "csv", false, "print rows as CSV")
	f.StringVar(&o.plot, "plot", "", "draw the curve over the table's heads into this file, .png or .svg")
	return c
}

// rated is a rating to print.
type rated struct {
	name   string
	rating device.Rating
}

func rate(c *cobra.Command, args []string, o rateOptions) error {
	unit, err := quantity.LookUp(o.unit)
	if err != nil || unit.Dimension != quantity.FlowDimension {
		return usage{fmt.Sprintf("--unit %q is not a unit of flow: one of %s", o.unit, strings.Join(quantity.Symbols(quantity.FlowDimension), ", "))}
	}
	ratings, err := chosen(args, o)
	if err != nil {
		return err
	}
	for i, r := range ratings {
		if i > 0 && !o.json && !o.csv {
			fmt.Fprintln(c.OutOrStdout())
		}
		heads, err := headsToRate(r.rating, o)
		if err != nil {
			return err
		}
		printRating(c, r, heads, unit, o, i == 0)
	}
	return plotRatings(ratings, o, unit)
}

// plotRatings draws the curves into the file that --plot names, whole or not at all.
func plotRatings(ratings []rated, o rateOptions, unit quantity.Unit) error {
	if o.plot == "" {
		return nil
	}
	top := 0.0
	var names []string
	var list []device.Rating
	for _, r := range ratings {
		heads, err := headsToRate(r.rating, o)
		if err != nil {
			return err
		}
		top = math.Max(top, slices.Max(heads))
		names, list = append(names, r.name+": "+r.rating.Describe().Name), append(list, r.rating)
	}
	if err := report.DrawRatings(o.plot, names, list, top, unit); err != nil {
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
	s, problems := site.Load(args[0])
	if s == nil {
		return nil, problems
	}
	lanes, more := recompute.NewLanes(s, nil)
	problems.Add(more...)
	if err := problems.Err(); err != nil {
		return nil, err
	}
	was, is := lanes.Recorded.Segments[len(lanes.Recorded.Segments)-1].Rating, lanes.Corrected.Segments[len(lanes.Corrected.Segments)-1].Rating
	if was.Describe().Equation == is.Describe().Equation {
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

// headsToRate lists the heads that the flags ask for; without any, twenty steps up to the device's limit or 0.5 m.
func headsToRate(r device.Rating, o rateOptions) ([]float64, error) {
	var heads []float64
	for _, text := range o.heads {
		v, err := quantity.Parse(text, quantity.LengthDimension)
		if err != nil {
			return nil, usage{"--head: " + err.Error()}
		}
		heads = append(heads, v.SI)
	}
	for _, text := range o.flows {
		v, err := quantity.Parse(text, quantity.FlowDimension)
		if err != nil {
			return nil, usage{"--flow: " + err.Error()}
		}
		h, ok := device.Head(r, v.SI)
		if !ok {
			return nil, usage{fmt.Sprintf("--flow %s: the rating does not reach this flow", text)}
		}
		heads = append(heads, h)
	}
	if len(heads) > 0 {
		return heads, nil
	}
	return tableHeads(r, o)
}

func tableHeads(r device.Rating, o rateOptions) ([]float64, error) {
	top := r.Limits().High
	if math.IsInf(top, 1) {
		top = 0.5
	}
	bounds := [3]float64{0, top, top / 20}
	for i, text := range []string{o.from, o.to, o.step} {
		if text == "" {
			continue
		}
		v, err := quantity.Parse(text, quantity.LengthDimension)
		if err != nil {
			return nil, usage{[]string{"--from", "--to", "--step"}[i] + ": " + err.Error()}
		}
		bounds[i] = v.SI
	}
	from, to, step := bounds[0], bounds[1], bounds[2]
	if step <= 0 || to < from || (to-from)/step > 1e5 {
		return nil, usage{"the table has no rows, or too many: --from must not be above --to, and --step must be above 0"}
	}
	var heads []float64
	for i := 0; from+float64(float64(i)*step) <= to+1e-9; i++ {
		heads = append(heads, from+float64(float64(i)*step))
	}
	return heads, nil
}

// ratedRow is one row of the output.
type ratedRow struct {
	Rating string  `json:"rating"`
	Head   float64 `json:"head_m"`
	Flow   float64 `json:"flow"`
	Unit   string  `json:"flow_unit"`
	PerMM  float64 `json:"percent_per_mm"` // change of the flow for 1 mm more head
	Status string  `json:"status"`
}

func printRating(c *cobra.Command, r rated, heads []float64, unit quantity.Unit, o rateOptions, first bool) {
	w := c.OutOrStdout()
	d, l := r.rating.Describe(), r.rating.Limits()
	switch {
	case o.csv && first:
		fmt.Fprintf(w, "rating,head (m),flow (%s),percent per mm,status\n", unit.Symbol)
	case !o.json && !o.csv:
		fmt.Fprintf(w, "%s: %s\n  %s\n  source: %s\n", r.name, d.Name, d.Equation, d.Source)
		if l.Low > 0 {
			fmt.Fprintf(w, "  valid from %.3g m: %s\n", l.Low, l.LowSource)
		}
		if !math.IsInf(l.High, 1) {
			fmt.Fprintf(w, "  valid to %.3g m: %s\n", l.High, l.HighSource)
		}
		fmt.Fprintf(w, "\n  %9s  %12s  %8s\n", "head m", "flow "+unit.Symbol, "% per mm")
	}
	encoder := json.NewEncoder(w)
	for _, h := range heads {
		row := ratedRow{Rating: r.name, Head: math.Round(h*1e6) / 1e6, Flow: unit.FromSI(r.rating.Flow(h)), Unit: unit.Symbol, Status: device.Assess(r.rating, h).String()}
		if q := r.rating.Flow(h); q > 0 {
			row.PerMM = 0.1 * r.rating.Slope(h) / q
		}
		if o.json {
			encoder.Encode(row)
			continue
		}
		if o.csv {
			fmt.Fprintf(w, "%s,%.4f,%.6g,%.3f,%s\n", r.name, row.Head, row.Flow, row.PerMM, row.Status)
			continue
		}
		fmt.Fprintf(w, "  %9.4f  %12.5g  %8.2f  %s\n", row.Head, row.Flow, row.PerMM, row.Status)
	}
}
