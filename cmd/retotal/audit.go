package main

import (
	"encoding/json"
	"fmt"
	"slices"

	"github.com/spf13/cobra"

	"retotal/ingest/problem"
	"retotal/ingest/roster"
	"retotal/report"
)

// auditOptions are the flags of audit.
type auditOptions struct {
	json, quiet bool
	trial, top  int
	export      export
}

func auditCommand() *cobra.Command {
	var o auditOptions
	c := &cobra.Command{
		Use:   "audit SITE...",
		Short: "Which setting did the meter use, by its own log? Writes nothing",
		Long: `Compares level and flow of the log, pair by pair, with what the recorded settings make of the level,
and looks for the setting, or two, or the change in time, that explains the logged flow: with its interval, since when,
what it is worth, and what would fit as well. In the same way it looks for the cause behind a counter, reported totals,
a clock or a level that cannot be right. It writes nothing, and says nothing of whether what the meter used was right.
With --log it takes a log of which nothing is on file, and says which device and size make its flow.

Exit status: 0 the settings on file make the logged flow, or nothing can be told; 2 a site file or log cannot be read;
3 the meter used another setting than the site file has, or a cause was found, and nobody accepted it
([[audit.accepted]]), or some of several sites could not be done. With --log: 0 a device or a power law makes the flow,
3 nothing does.`,
		Example: "  retotal audit site.toml\n  retotal audit --write-trial 1 site.toml\n" +
			"  retotal audit --log export.csv",
		Args: func(c *cobra.Command, args []string) error {
			if o.export.file != "" {
				return nil
			}
			return sites(c, args)
		},
		RunE: func(c *cobra.Command, args []string) error {
			if o.export.file != "" {
				return auditExport(c, args, o)
			}
			if err := o.export.alone(); err != nil {
				return err
			}
			if o.trial != 0 && len(args) > 1 {
				return usage{"--write-trial takes one site file"}
			}
			if o.top > 0 && (o.json || o.trial > 0) {
				return usage{"--top prints lines of its own: leave out --json and --write-trial"}
			}
			if o.trial < 0 || o.top < 0 {
				return usage{"--write-trial and --top take a number from 1"}
			}
			return auditAll(c, args, o)
		},
	}
	c.Flags().BoolVar(&o.json, "json", false, "print what was found as one line of JSON a site")
	c.Flags().BoolVarP(&o.quiet, "quiet", "q", false, "print only sites at which the meter used another setting")
	c.Flags().IntVar(&o.top, "top", 0, "print a line a site, of the `N` sites with most volume at stake")
	c.Flags().IntVar(&o.trial, "write-trial", 0,
		"print explanation `N` as text for the site file, to be run and confirmed")
	addExport(c, &o.export)
	return c
}

// auditAll audits sites one after the other.
func auditAll(c *cobra.Command, files []string, o auditOptions) error {
	worst := 0
	var all []*report.Audit
	for i, file := range files {
		if i > 0 && !o.quiet && !o.json && o.top == 0 {
			fmt.Fprintln(c.OutOrStdout())
		}
		err := problem.Guard(file, func() error {
			found, err := auditOne(c, file, o)
			if found != nil {
				all = append(all, found)
			}
			return err
		})
		if worst = max(worst, exitCode(err, c.ErrOrStderr())); err != nil && len(files) > 1 && worst == badUse {
			worst = inPart
		}
		if c.Context().Err() != nil {
			break
		}
	}
	if o.top > 0 {
		report.Ranked(c.OutOrStdout(), all, o.top)
	}
	if slices.ContainsFunc(all, (*report.Audit).Open) && o.trial == 0 {
		worst = max(worst, inPart)
	}
	if worst > 0 {
		return status(worst)
	}
	return nil
}

// auditOne audits a site and prints what is asked for.
func auditOne(c *cobra.Command, file string, o auditOptions) (*report.Audit, error) {
	j, err := prepareFor(&roster.Entry{Name: file, File: file}, true)
	if err != nil {
		return nil, err
	}
	j.budget, j.pairs, j.causes = false, allPairs, true
	bar := newProgress(c.ErrOrStderr(), j.log, o.quiet || o.json)
	run, err := j.compute(c.Context(), nil)
	bar.stop()
	if err != nil {
		return nil, err
	}
	found := report.NewAudit(run)
	switch out := c.OutOrStdout(); {
	case o.trial != 0:
		text, ok := found.Trial(o.trial)
		switch {
		case !ok:
			return nil, usage{fmt.Sprintf("%s: there is no trial %d; retotal audit %s lists what there is", file,
				o.trial, file)}
		case text == "":
			return nil, usage{fmt.Sprintf("%s: no key of [settings] says explanation %d, so that it cannot be tried "+
				"in the site file", file, o.trial)}
		}
		fmt.Fprint(out, text)
	case o.top > 0:
	case o.json:
		err = json.NewEncoder(out).Encode(found)
	case !o.quiet || found.Open():
		found.Text(out)
	}
	return found, err
}
