package main

import (
	"encoding/json"
	"fmt"
	"io"
	"math"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"retotal/ingest/problem"
	"retotal/ingest/quantity"
	"retotal/recompute/settings"
	"retotal/report"
)

func checkCommand() *cobra.Command {
	var asJSON, quiet bool
	c := &cobra.Command{
		Use:   "check SITE...",
		Short: "How site file and log are understood; writes nothing",
		Long: `Reads each site file and its whole log and says how it understood them: files, columns and units, time
stamps, what became of every row, the settings of both lanes with the limits and the source of each device. It writes
nothing.`,
		Example: "  retotal check site.toml\n  retotal check --quiet sites/*.toml && echo all readable",
		Args:    sites,
		RunE: func(c *cobra.Command, args []string) error {
			worst := 0
			for i, file := range args {
				if i > 0 && !quiet && !asJSON {
					fmt.Fprintln(c.OutOrStdout())
				}
				err := problem.Guard(file, func() error { return check(c, file, quiet, asJSON) })
				worst = max(worst, exitCode(err, c.ErrOrStderr()))
				if c.Context().Err() != nil {
					break
				}
			}
			if worst > 0 {
				return status(worst)
			}
			return nil
		},
	}
	c.Flags().BoolVar(&asJSON, "json", false, "print the record that correct would write, as one line of JSON a site")
	c.Flags().BoolVarP(&quiet, "quiet", "q", false, "print only problems")
	return c
}

// check reads one site and prints how it was understood.
func check(c *cobra.Command, file string, quiet, asJSON bool) error {
	j, err := prepare(file)
	if err != nil {
		return err
	}
	j.budget = asJSON // nothing else here shows uncertainties
	if !quiet {
		j.withRecord()
	}
	bar := newProgress(c.ErrOrStderr(), j.log, quiet)
	run, err := j.compute(c.Context(), nil)
	bar.stop()
	switch {
	case err != nil:
		return err
	case asJSON:
		return json.NewEncoder(c.OutOrStdout()).Encode(report.NewRecord(run))
	case !quiet:
		certificate(c.OutOrStdout(), j, run)
	}
	return nil
}

// certificate prints how a site was understood.
func certificate(w io.Writer, j *job, run *report.Run) {
	s, l := j.site, j.log
	fmt.Fprintf(w, "%s: site %s", s.File, s.ID)
	if s.Name != "" {
		fmt.Fprintf(w, ", %s", s.Name)
	}
	fmt.Fprint(w, "\n\n")
	report.WriteCertificate(w, l)
	lane(w, j, run.Result.Recorded)
	lane(w, j, run.Result.Corrected)
	for _, l := range run.Result.WhatIfs {
		fmt.Fprintf(w, "\nWhat if: %s\n", l.Name)
	}
	fmt.Fprintln(w, "\nScreening")
	for _, f := range run.Result.Flags {
		if f.NotRun != "" {
			fmt.Fprintf(w, "  %-14s not run: %s\n", f.Check, f.NotRun)
			continue
		}
		fmt.Fprintf(w, "  %-14s %-10s %s; %d readings\n", f.Check, f.Action, f.Limit, f.Rows)
	}
	fmt.Fprintln(w, "\nComparisons")
	for _, f := range run.Findings {
		fmt.Fprintf(w, "  %s\n", f.Sentence)
	}
	for _, p := range run.Warnings {
		fmt.Fprintf(w, "  %s: %s\n", p.Severity, p.Error())
	}
	r := s.Report
	label := ""
	if r.LabelByEnd {
		label = " (each carries the date on which it ends)"
	}
	fmt.Fprintf(w, "\nReport in %s, days from %s%s, flows in %s, volumes in %s\n",
		r.Clock.Name, time.Time{}.Add(r.DayStarts).Format("15:04"), label, r.FlowUnit.Symbol, r.VolumeUnit.Symbol)
}

// lane prints the settings of one lane.
func lane(w io.Writer, j *job, l *settings.Lane) {
	fmt.Fprintf(w, "\n%s settings\n", strings.ToUpper(l.Name[:1])+l.Name[1:])
	clock := j.site.Log.Clock
	for i := range l.Segments {
		s := &l.Segments[i]
		fmt.Fprintf(w, "  %s to %s", bound(clock.Format, s.From, "beginning"), bound(clock.Format, s.Until, "end"))
		for _, words := range s.Settings.Words() {
			fmt.Fprintf(w, ", %s", words)
		}
		fmt.Fprintln(w)
		d, limits := s.Rating.Describe(), s.Rating.Limits()
		fmt.Fprintf(w, "    %s\n    %s\n    source: %s\n", d.Name, d.Equation, d.Source)
		for _, line := range limitLines(limits) {
			fmt.Fprintf(w, "    %s %s\n", line[0], line[1])
		}
		if d.Uncertainty > 0 {
			fmt.Fprintf(w, "    uncertainty of the coefficient %s %% (95 %%): %s\n",
				quantity.Digits(100*d.Uncertainty, 2), d.UncertainBy)
		}
		for _, text := range d.Assumed {
			fmt.Fprintf(w, "    assumed: %s\n", text)
		}
		for _, advice := range d.Advice {
			fmt.Fprintf(w, "    note: %s\n", advice)
		}
	}
}

func bound(format func(int64) string, at int64, end string) string {
	if at == math.MinInt64 || at == math.MaxInt64 {
		return end
	}
	return format(at)
}
