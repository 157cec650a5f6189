package main

import (
	"context"
	"encoding/json"
	"fmt"

	"github.com/spf13/cobra"

	"retotal/ingest/problem"
	"retotal/recompute"
	"retotal/report"
	"retotal/report/results"
)

// correctOptions are the flags of correct.
type correctOptions struct {
	out                 string
	json, quiet, strict bool
	without             []int
	draws               int
	results             results.Options
}

func correctCommand() *cobra.Command {
	var o correctOptions
	c := &cobra.Command{
		Use:   "correct SITE...",
		Short: "Corrected totals with report and record",
		Long: `Reads each site file and its log, carries the recorded and the corrected settings through all readings,
and writes a folder of results for each site: report.html, report.pdf, report.xlsx, totals.csv, events.csv,
readings.parquet, plots and record.json. The folder appears whole or not at all; results of an earlier run are replaced.

Exit status: 0 done; 1 failed; 2 nothing done because of a bad site file, log or call; 3 some of several sites could
not be done, or, with --strict, something needs a person.`,
		Example: `  retotal correct site.toml
  retotal correct --out results sites/*.toml
  retotal correct --json --quiet site.toml > record.jsonl`,
		Args: sites,
		RunE: func(c *cobra.Command, args []string) error {
			if o.draws < 0 || o.draws == 1 {
				return usage{"--monte-carlo needs 2 draws or more"}
			}
			return correctAll(c, args, o)
		},
	}
	c.Flags().StringVarP(&o.out, "out", "o", "out", "folder that the result folders go into")
	c.Flags().IntVar(&o.draws, "monte-carlo", 0,
		"check the uncertainty of the total by so many draws; costs 16 bytes and 6 ns a reading and draw")
	c.Flags().IntSliceVar(&o.without, "without", nil,
		"also show the total without correction N (the first is 1), beside the others")
	c.Flags().BoolVar(&o.json, "json", false,
		"print the record of each site as one line of JSON instead of the summary")
	c.Flags().BoolVar(&o.results.WaterML, "waterml", false,
		"also write flow.xml: the corrected mean flow of each day as WaterML 2.0 (OGC 10-126r4)")
	c.Flags().BoolVar(&o.results.Readings, "readings-sheet", false,
		"also put every reading into report.xlsx, a row each")
	c.Flags().BoolVarP(&o.quiet, "quiet", "q", false, "print no summary and no progress, only problems")
	c.Flags().BoolVar(&o.strict, "strict", false, "exit with status 3 when something needs a person")
	return c
}

// correctAll goes on after a bad site when there are several, and remembers it in the exit status.
func correctAll(c *cobra.Command, files []string, o correctOptions) error {
	worst, finished, odd := 0, 0, false
	folders := map[string]string{} // site file by id
	for i, file := range files {
		if i > 0 && !o.json && !o.quiet {
			fmt.Fprintln(c.OutOrStdout())
		}
		needs, err := correctOne(c.Context(), c, file, o, folders)
		if err != nil {
			worst = max(worst, exitCode(err, c.ErrOrStderr()))
			if c.Context().Err() != nil {
				return status(worst)
			}
			continue
		}
		finished++
		odd = odd || len(needs) > 0
		for _, why := range needs {
			if o.strict {
				fmt.Fprintf(c.ErrOrStderr(), "%s: a person has to look: %s\n", file, why)
			}
		}
	}
	switch {
	case worst > 0 && finished > 0:
		fmt.Fprintf(c.ErrOrStderr(), "%d of %d sites could not be done\n", len(files)-finished, len(files))
		return status(inPart)
	case worst > 0:
		return status(worst)
	case odd && o.strict:
		return status(inPart)
	}
	return nil
}

// correctOne does one site and returns what needs a person. A fault of the program in it is an error of this site.
func correctOne(
	ctx context.Context, c *cobra.Command, file string, o correctOptions, folders map[string]string,
) (needs []string, err error) {
	err = problem.Guard(file, func() (err error) {
		needs, err = correctSite(ctx, c, file, o, folders)
		return err
	})
	return needs, err
}

func correctSite(
	ctx context.Context, c *cobra.Command, file string, o correctOptions, folders map[string]string,
) ([]string, error) {
	j, err := prepare(file, o.without...)
	if err != nil {
		return nil, err
	}
	j.draws = o.draws
	if first, taken := folders[j.site.ID]; taken {
		return nil, problem.At(j.site.Places["id"],
			fmt.Sprintf("id %q is also that of %s, and its results would be overwritten", j.site.ID, first),
			"an id of its own", "")
	}
	folders[j.site.ID] = file
	folder, bad := report.NewFolder(o.out, j.log)
	if bad != nil {
		return nil, bad
	}
	defer folder.Discard()
	bar := newProgress(c.ErrOrStderr(), j.log, o.quiet)
	run, err := func() (*report.Run, error) {
		defer bar.stop()
		return j.write(ctx, folder, folder.Path(), "", o.results)
	}()
	if err != nil {
		return nil, err
	}
	keep, bad := folder.Locked(j.site.Approval.Supersedes)
	if bad != nil {
		return nil, bad
	}
	if err := folder.Commit(keep); err != nil {
		return nil, err
	}
	switch {
	case o.json:
		err = json.NewEncoder(c.OutOrStdout()).Encode(report.NewRecord(run))
	case !o.quiet:
		report.Summary(c.OutOrStdout(), run, folder.Path())
		if keep != "" {
			fmt.Fprintf(c.OutOrStdout(), "The signed results that these take the place of are kept in %s\n", keep)
		}
	}
	return run.NeedsPerson(), err
}

// write computes a site and writes its results into a folder, which the caller commits or discards; place is where they
// are said to be, and siteFile how they name the site file, "" for as seen from there.
func (j *job) write(
	ctx context.Context, folder *report.Folder, place, siteFile string, o results.Options,
) (*report.Run, error) {
	var rep *results.Writer
	j.cells = results.Cells
	run, err := j.withRecord().compute(ctx, func() (func(*recompute.Rows) error, error) {
		if rep != nil {
			rep.Close()
		}
		var err error
		if rep, err = results.New(folder, j.log, o); err != nil {
			return nil, err
		}
		return rep.Rows, nil
	})
	if rep != nil {
		defer rep.Close()
	}
	if err != nil {
		return nil, err
	}
	run.Folder, run.SiteFile = place, siteFile
	if err := rep.Write(run); err != nil {
		return nil, err
	}
	return run, ctx.Err()
}
