package main

import (
	"fmt"
	"math"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"retotal/ingest/problem"
	"retotal/ingest/site"
	"retotal/recompute"
	"retotal/report"
	"retotal/report/picture"
)

// plotOptions are the flags of plot.
type plotOptions struct {
	from, until, size, out string
	without                int
	lanes                  []string
}

func plotCommand() *cobra.Command {
	var o plotOptions
	c := &cobra.Command{
		Use:   "plot SITE PICTURE",
		Short: "One picture of a site, of any span and size",
		Long: `Reads a site file and its log and draws one picture into a file, SVG, PNG or PDF by its ending. Nothing
else is written. The pictures:

  totals      volume of each day, week or month, before and after
  hydrograph  flow: lines up to 16 days, beyond a bar a day, a week or a month
  months      flow, a month a row, up to six rows a file
  cumulative  volume since the beginning
  duration    mean flow of a day over the share of days on which it was exceeded
  rating      flow over head, with logged flows and how often heads occur
  visits      what the log says less what site visits found
  budget      the sources of the uncertainty of the total

Times are in the report's zone, or carry an offset: 2031-04-02, 2031-04-02T10:30, 2031-04-02T10:30:00+01:00. What
is at --until no longer belongs to the span. Bars of volume are whole days, weeks or months; rating, visits and
duration take what lies in the span, the budget is that of the whole total.

Exit status: 0 done; 1 failed; 2 nothing done because of a bad site file, log or call.`,
		Example: `  retotal plot site.toml totals
  retotal plot site.toml hydrograph --from 2031-03-12 --until 2031-03-19 --out week.png
  retotal plot site.toml totals --size 120x60 --lanes after --out small.pdf`,
		Args: func(c *cobra.Command, args []string) error {
			if len(args) != 2 {
				return usage{"plot needs a site file and a picture, as in: retotal plot site.toml totals; " +
					"pictures are " + strings.Join(picture.Names(), ", ")}
			}
			return nil
		},
		ValidArgsFunction: func(_ *cobra.Command, args []string, _ string) ([]string, cobra.ShellCompDirective) {
			if len(args) == 1 {
				return picture.Names(), cobra.ShellCompDirectiveNoFileComp
			}
			return nil, cobra.ShellCompDirectiveDefault
		},
		RunE: func(c *cobra.Command, args []string) error { return plotSite(c, args[0], args[1], o) },
	}
	f := c.Flags()
	f.StringVar(&o.from, "from", "", "first time to draw; the beginning when it is left out")
	f.StringVar(&o.until, "until", "", "time before which to end; the end when it is left out")
	f.StringVar(&o.size, "size", "", "width and height in mm, as 180x90")
	f.StringVarP(&o.out, "out", "o", "", "file to draw into, .svg, .png or .pdf; PICTURE.svg when it is left out")
	f.IntVar(&o.without, "without", 0, "totals: also show the total without correction N (the first is 1)")
	f.StringSliceVar(&o.lanes, "lanes", nil,
		"what to show, of "+strings.Join(picture.Lanes(), ", ")+"; logged and counter in totals and cumulative")
	return c
}

// plotSite draws one picture.
func plotSite(c *cobra.Command, file, name string, o plotOptions) error {
	options, err := o.checked(name)
	if err != nil {
		return err
	}
	var without []int
	if o.without != 0 {
		without = []int{o.without}
	}
	j, err := prepare(file, without...)
	if err != nil {
		return err
	}
	j.causes = false // nothing here shows them
	from, until, err := o.span(&j.site.Report)
	if err != nil {
		return err
	}
	bar := newProgress(c.ErrOrStderr(), j.log, false)
	var g *picture.Gatherer
	run, err := j.compute(c.Context(), func() (func(*recompute.Rows) error, error) {
		g = picture.NewWithin(j.site, from, until)
		return func(rows *recompute.Rows) error { g.Rows(rows); return nil }, nil
	})
	bar.stop()
	if err != nil {
		return err
	}
	if from != math.MinInt64 || until != math.MaxInt64 {
		if options.From, options.Until, err = within(c, run, from, until); err != nil {
			return err
		}
	}
	return o.write(c, g, run, name, options)
}

// write draws the picture, or all pages of one, into files.
func (o *plotOptions) write(
	c *cobra.Command, g *picture.Gatherer, run *report.Run, name string, options picture.Options,
) error {
	pages, err := g.Pages(run, name, options)
	if err != nil {
		return usage{err.Error()}
	}
	ending := filepath.Ext(o.out)
	for i, p := range pages {
		to := o.out
		if i > 0 {
			to = strings.TrimSuffix(o.out, ending) + "-" + strconv.Itoa(i+1) + ending
		}
		if err := p.Write(to); err != nil {
			return err
		}
		fmt.Fprintf(c.OutOrStdout(), "%s: %s\n", to, p.Title)
	}
	return nil
}

// checked refuses what is wrong before the log is read.
func (o *plotOptions) checked(name string) (options picture.Options, err error) {
	if !slices.Contains(picture.Names(), name) {
		return options, usage{fmt.Sprintf("there is no picture %q; %s; pictures are %s", name,
			problem.Suggest(name, picture.Names()), strings.Join(picture.Names(), ", "))}
	}
	for _, lane := range o.lanes {
		if !slices.Contains(picture.Lanes(), lane) {
			return options, usage{fmt.Sprintf("--lanes: there is no lane %q; %s", lane,
				problem.Suggest(lane, picture.Lanes()))}
		}
	}
	if o.without != 0 && name != "totals" {
		return options, usage{"--without goes with totals: other pictures do not show that lane"}
	}
	if o.out == "" {
		o.out = name + ".svg"
	}
	if !slices.Contains([]string{".svg", ".png", ".pdf"}, strings.ToLower(filepath.Ext(o.out))) {
		return options, usage{fmt.Sprintf("--out: %q does not end in .svg, .png or .pdf", o.out)}
	}
	options.Lanes = o.lanes
	options.Width, options.Height, err = sizeOf(o.size)
	return options, err
}

// sizeOf reads --size into units of 1/96 inch, without the margin of a file; zeros without it.
func sizeOf(text string) (width, height float64, err error) {
	if text == "" {
		return 0, 0, nil
	}
	const least, most, mm = 40, 2000, 96 / 25.4
	w, h, two := strings.Cut(strings.TrimSpace(strings.TrimSuffix(strings.ToLower(text), "mm")), "x")
	width, bad := strconv.ParseFloat(strings.TrimSpace(w), 64)
	height, worse := strconv.ParseFloat(strings.TrimSpace(h), 64)
	in := func(v float64) bool { return v >= least && v <= most }
	if !two || bad != nil || worse != nil || !in(width) || !in(height) {
		return 0, 0, usage{fmt.Sprintf("--size %q is not a width and a height in mm from %d to %d, as 180x90", text,
			least, most)}
	}
	return width*mm - 2*picture.Margin, height*mm - 2*picture.Margin, nil
}

// span reads --from and --until; the ends of time where they are left out.
func (o *plotOptions) span(r *site.Report) (from, until int64, err error) {
	from, until = math.MinInt64, math.MaxInt64
	if o.from != "" {
		if from, err = moment("--from", o.from, r.Clock); err != nil {
			return 0, 0, err
		}
	}
	if o.until != "" {
		if until, err = moment("--until", o.until, r.Clock); err != nil {
			return 0, 0, err
		}
	}
	if from >= until {
		return 0, 0, usage{fmt.Sprintf("--from %s is not before --until %s", o.from, o.until)}
	}
	return from, until, nil
}

// moment reads a time as a site file has it: with an offset, or by a clock.
func moment(flag, text string, clock site.Clock) (int64, error) {
	for _, layout := range []string{time.RFC3339, "2006-01-02T15:04Z07:00"} {
		if t, err := time.Parse(layout, strings.Replace(text, " ", "T", 1)); err == nil {
			return checkedMoment(flag, text, t)
		}
	}
	for _, layout := range []string{"2006-01-02T15:04:05", "2006-01-02T15:04", "2006-01-02"} {
		t, err := time.Parse(layout, strings.Replace(text, " ", "T", 1))
		if err != nil {
			continue
		}
		if _, err := checkedMoment(flag, text, t); err != nil {
			return 0, err
		}
		instants, n := clock.Resolve(t.UnixNano())
		if n == 0 {
			return 0, usage{fmt.Sprintf("%s %s does not exist in %s: the clock jumps over it; write an offset, as in "+
				"2031-04-02T10:30:00+01:00", flag, text, clock.Name)}
		}
		return instants[0], nil // of two, the first: the span loses nothing at its beginning
	}
	return 0, usage{fmt.Sprintf("%s %q is not a date or a time such as 2031-04-02 or 2031-04-02T10:30", flag, text)}
}

func checkedMoment(flag, text string, t time.Time) (int64, error) {
	if y := t.Year(); y < 1900 || y > 2200 {
		return 0, usage{fmt.Sprintf("%s %s is not a time of a flow log, of the years 1900 to 2200", flag, text)}
	}
	return t.UnixNano(), nil
}

// within cuts a span to what is reported, and says so; one that lies outside is refused.
func within(c *cobra.Command, run *report.Run, from, until int64) (first, last int64, err error) {
	r := &run.Site().Report
	first, last = run.Result.Total.From, run.Result.Total.Until
	reported := r.Clock.Format(first) + " to " + r.Clock.Format(last)
	if from >= last || until <= first {
		return 0, 0, usage{"nothing is reported between --from and --until: the log has " + reported}
	}
	if from != math.MinInt64 && from < first || until != math.MaxInt64 && until > last+int64(24*time.Hour) {
		fmt.Fprintln(c.ErrOrStderr(), "the picture ends where the log does: "+reported)
	}
	return max(first, from), min(last, until), nil
}
