package main

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"runtime"
	"slices"
	"strings"
	"text/tabwriter"

	"github.com/spf13/cobra"

	"retotal/ingest"
	"retotal/ingest/mirror"
	"retotal/ingest/problem"
	"retotal/ingest/quantity"
	"retotal/ingest/roster"
	"retotal/ingest/site"
	"retotal/report"
	"retotal/report/lake"
)

// batchOptions are the flags of batch and gather.
type batchOptions struct {
	out, template, table, print, shard string
	jobs, top                          int
	force, dry, json, quiet, strict    bool
	scratch                            string
	away                               *mirror.Mirror // where URLs stand as files; nil without URLs
}

func batchCommand() *cobra.Command {
	var o batchOptions
	c := &cobra.Command{
		Use:   "batch SITE...",
		Short: "Many sites at once: a ranked list, tables that join, and only what changed is run again",
		Long: `Corrects many sites on all cores: site files by name, pattern or folder, or the rows of a table laid on a
template. What cannot be done is told with its reason and stops nothing. Sites whose inputs, settings and program are as
they were are not run again. Into one folder go the results of every site, readings a site and year, lists of sites,
findings and totals, and index.html, the worst site first.

Exit status: 0 done; 1 failed; 2 nothing done because of a bad call or table; 3 some sites could not be done or, with
--strict, something needs a person.`,
		Example: `  retotal batch --out results sites
  retotal batch --out results --template site.toml --table sites.csv
  retotal batch --out results --shard 3/8 sites`,
		RunE: o.byURL(func(c *cobra.Command, args []string) error {
			members, err := o.members(c.Context(), args)
			if err != nil {
				return err
			}
			switch {
			case o.print != "":
				return printSite(c.OutOrStdout(), members, o.print)
			case o.dry:
				return dryRun(c, members, o)
			}
			return runBatch(c, members, o)
		}),
	}
	o.common(c)
	c.Flags().StringVar(&o.print, "print", "",
		"print the site file that the row with this `ID` makes, and do nothing else")
	c.Flags().StringVar(&o.shard, "shard", "", "do one part of the sites: `K/N`, slurm (by the array's task) or k8s "+
		"(by the job's index); gather joins the parts")
	c.Flags().IntVar(&o.jobs, "jobs", 0, "sites at work at once; 0 for one a core")
	c.Flags().IntVar(&o.top, "top", 20, "print so many of the worst sites")
	c.Flags().BoolVar(&o.force, "force", false, "run sites again that did not change")
	c.Flags().BoolVar(&o.dry, "dry-run", false,
		"say in a line a site how site file and log were understood, and do nothing else")
	c.Flags().BoolVar(&o.json, "json", false,
		"print a line of JSON a site as it is done, instead of the answer")
	c.Flags().BoolVarP(&o.quiet, "quiet", "q", false, "print no progress and no list, only problems")
	c.Flags().BoolVar(&o.strict, "strict", false, "exit with status 3 when something needs a person")
	return c
}

func gatherCommand() *cobra.Command {
	var o batchOptions
	c := &cobra.Command{
		Use:   "gather SITE...",
		Short: "Joins the parts of a batch that ran as shards: checks that all are there, and makes the lists",
		Long: `Takes the sites that the shards were given, checks that every one was done from the inputs that are there
now, and writes the lists and index.html. It computes nothing anew; what is missing is named, and nothing is written.

Exit status: 0 done; 1 failed; 2 sites are missing, or a bad call; 3 some sites could not be done.`,
		Example: "  retotal gather --out results sites",
		RunE: o.byURL(func(c *cobra.Command, args []string) error {
			members, err := o.members(c.Context(), args)
			if err != nil {
				return err
			}
			return gatherAll(c, members, o)
		}),
	}
	o.common(c)
	c.Flags().IntVar(&o.top, "top", 20, "print so many of the worst sites")
	c.Flags().BoolVarP(&o.quiet, "quiet", "q", false, "print no list, only problems")
	return c
}

// common adds the flags that batch and gather share.
func (o *batchOptions) common(c *cobra.Command) {
	c.Flags().StringVarP(&o.out, "out", "o", "out", "folder of the batch")
	c.Flags().StringVar(&o.template, "template", "", "site `FILE` on which the rows of a table are laid")
	c.Flags().StringVar(&o.table, "table", "",
		"CSV `FILE` with a row a site and a column a key, as settings.empty_distance (m)")
	c.Flags().StringVar(&o.scratch, "scratch", "",
		"`FOLDER` in which what URLs name stands as files for a while (default that of temporary files)")
}

// member is one site of a batch and what is known of it before it is run.
type member struct {
	roster.Entry
	id   string
	key  string // of all that its results follow from; "" where that is not known
	size int64  // bytes of its logs
	bad  error  // why it cannot be run
	urls
}

// members lists the sites of a call and looks at each: its id, the files it follows from, and what is wrong with it. An
// id twice stops everything before anything is run.
func (o *batchOptions) members(ctx context.Context, args []string) ([]member, error) {
	entries, err := o.entries(args)
	if err != nil {
		return nil, err
	}
	list := make([]member, len(entries))
	problem.Beside(len(list), func(i int) {
		m := &list[i]
		m.Entry = entries[i]
		m.bad = m.Named(problem.Guard(m.Name, func() error { return m.look(ctx, o.away) }))
	})
	nameless(list)
	ids := make([]string, len(list))
	for i := range list {
		ids[i] = list[i].id
	}
	return list, roster.Twice(entries, ids).Err()
}

// entries lists the sites that a call names.
func (o *batchOptions) entries(args []string) ([]roster.Entry, error) {
	switch {
	case (o.template == "") != (o.table == ""):
		return nil, usage{"--template and --table belong together"}
	case o.table != "" && len(args) > 0:
		return nil, usage{"sites come from site files or from a table, not from both"}
	case o.table != "":
		return roster.Table(o.template, o.table)
	case len(args) == 0:
		return nil, usage{"batch needs site files or --template and --table, as in: retotal batch --out results sites"}
	}
	return roster.Files(args)
}

// look reads the site file and lists what its results follow from.
func (m *member) look(ctx context.Context, away *mirror.Mirror) error {
	if err := m.needs(ctx, away); err != nil {
		return err
	}
	s, err := m.Load()
	m.id = m.ID
	if s != nil && site.ValidID(s.ID) {
		m.id = s.ID
	}
	if err != nil {
		return err
	}
	if m.need != nil { // the rest is looked at when its logs are here
		m.size = m.need.Size
		return nil
	}
	return m.settle(s)
}

// settle makes the key of what a site's results follow from.
func (m *member) settle(s *site.Site) error {
	inputs, size, err := inputsOf(s)
	if err != nil {
		return err
	}
	m.size, m.key = size, lake.Key(version, s.Text, inputs)
	return nil
}

// inputsOf is all files that the results of a site follow from, and the size of its logs.
func inputsOf(s *site.Site) (list []lake.Input, size int64, err error) {
	names, err := ingest.Names(s)
	if err != nil {
		return nil, 0, err
	}
	for _, name := range names {
		in, err := lake.NewInput(s.Folder, name)
		if err != nil {
			return nil, 0, problem.At(s.Places["log.files"], "a log cannot be read: "+err.Error(), "", "")
		}
		list, size = append(list, in), size+in.Size
	}
	for _, b := range s.Beside {
		list = append(list, lake.Input{Name: report.SeenFrom(s.Folder, b.File), SHA256: b.SHA256})
	}
	if s.Filling.Donor == "" {
		return list, size, nil
	}
	donor, err := site.Load(s.Filling.Donor)
	if err != nil {
		return list, size, nil // the run says what is wrong with it
	}
	list = append(list, lake.Input{Name: "donor", SHA256: site.NewBeside("", donor.Text).SHA256})
	donor.Filling.Donor = ""
	more, _, err := inputsOf(donor)
	if err != nil {
		return list, size, nil
	}
	return append(list, more...), size, nil
}

// nameless gives names of their own to sites whose files do not tell their ids.
func nameless(list []member) {
	taken := map[string]bool{}
	for i := range list {
		taken[strings.ToLower(list[i].id)] = true
	}
	for i := range list {
		m := &list[i]
		if site.ValidID(m.id) {
			continue
		}
		m.id = roster.Fallback(m.File, func(id string) bool { return taken[strings.ToLower(id)] })
		taken[strings.ToLower(m.id)] = true
	}
}

// printSite prints the site file that a row makes.
func printSite(w io.Writer, list []member, id string) error {
	i := slices.IndexFunc(list, func(m member) bool { return m.id == id })
	if i < 0 {
		return usage{fmt.Sprintf("no site has the id %q", id)}
	}
	if list[i].Text == nil {
		return usage{list[i].File + " is a site file already"}
	}
	_, err := w.Write(list[i].Text)
	return err
}

// dryRun says in a line a site how it was understood.
func dryRun(c *cobra.Command, list []member, o batchOptions) error {
	shard, err := shardOf(o.shard, os.Getenv)
	if err != nil {
		return err
	}
	list = assigned(list, shard)
	lines := make([]string, len(list))
	problem.Beside(len(list), func(i int) {
		m := &list[i]
		if m.bad == nil {
			m.bad = m.Named(problem.Guard(m.Name, func() (err error) {
				if err := m.fetch(c.Context()); err != nil {
					return err
				}
				defer m.release()
				lines[i], err = m.certificate()
				return err
			}))
		}
	})
	w := tabwriter.NewWriter(c.OutOrStdout(), 0, 0, 2, ' ', 0)
	fmt.Fprintln(w, "site\tdevice\tempty distance\tchanges\tcorrections\tvisits\tlogs\tMB")
	bad := 0
	for i := range list {
		if list[i].bad == nil {
			fmt.Fprintln(w, lines[i])
		}
	}
	w.Flush()
	for i := range list {
		if m := &list[i]; m.bad != nil {
			bad++
			exitCode(m.bad, c.ErrOrStderr())
		}
	}
	if bad > 0 {
		fmt.Fprintf(c.ErrOrStderr(), "%d of %d sites cannot be done\n", bad, len(list))
		return status(inPart)
	}
	return nil
}

// certificate is how a site was understood, in one line.
func (m *member) certificate() (string, error) {
	j, err := prepareFor(&m.Entry, false)
	if err != nil {
		return "", err
	}
	s := j.site
	empty := ""
	if line := s.Settings[0].Values[site.EmptyDistance]; line != nil {
		empty = line.From.Text
	}
	return fmt.Sprintf("%s\t%s\t%s\t%d\t%d\t%d\t%d\t%s", s.ID, deviceOf(s), empty, len(s.Settings)-1,
		len(s.Corrections), len(s.Visits), len(j.log.Files), quantity.Digits(float64(m.size)/1e6, 3)), nil
}

// deviceOf names the device of the recorded settings.
func deviceOf(s *site.Site) string {
	d := s.Settings[0].Device
	if d == nil {
		return ""
	}
	return d.Kind
}

// gatherAll joins the parts of a batch.
func gatherAll(c *cobra.Command, list []member, o batchOptions) error {
	folder := lake.Folder(o.out)
	if err := fetchKeys(c.Context(), list); err != nil {
		return err
	}
	var ids []string
	var missing lake.Missing
	for i := range list {
		ids = append(ids, list[i].id)
		if p := folder.Read(list[i].id); p == nil || p.Key != list[i].key {
			missing = append(missing, list[i].id)
		}
	}
	if len(missing) > 0 {
		return problem.At(problem.Place{File: o.out}, missing.Error(), "", "")
	}
	sites, err := o.gather(c.Context(), folder, ids)
	if err != nil {
		return err
	}
	return tellBatch(c, sites, o)
}

// tellBatch prints what a batch came to, the answer first, and returns the exit status.
func tellBatch(c *cobra.Command, sites []lake.Site, o batchOptions) error {
	out := c.OutOrStdout()
	failed, needs := 0, false
	for i := range sites {
		if sites[i].State == lake.Failed {
			failed++
			fmt.Fprintf(c.ErrOrStderr(), "%s: could not be done: %s\n", sites[i].ID, sites[i].Reason)
		}
		needs = needs || sites[i].Needs > 0
	}
	if !o.quiet && !o.json {
		fmt.Fprintln(out, lake.Answer(sites))
		lake.Ranked(out, sites, o.top)
		fmt.Fprintf(out, "\nThe list: %s/index.html; for programs: sites.csv, sites.parquet, findings.parquet, "+
			"totals.parquet, readings/*/*.parquet\n"+
			"A correction is for a competent person to review before it is reported.\n", o.out)
	}
	if failed > 0 || needs && o.strict {
		return status(inPart)
	}
	return nil
}

// line prints a site as JSON.
func line(w io.Writer, s *lake.Site) error { return json.NewEncoder(w).Encode(s) }

// atOnce is how many sites are at work at once.
func (o *batchOptions) atOnce() int {
	if o.jobs > 0 {
		return o.jobs
	}
	return runtime.GOMAXPROCS(0)
}

// ofInput reports whether an error is about the user's input, so that the same input makes it again.
func ofInput(err error) bool {
	var list problem.List
	var one *problem.Problem
	return errors.As(err, &list) || errors.As(err, &one)
}
