package main

import (
	"context"
	"runtime/debug"

	"retotal/ingest"
	"retotal/ingest/problem"
	"retotal/ingest/roster"
	"retotal/ingest/site"
	"retotal/recompute"
	"retotal/recompute/audit"
	"retotal/recompute/settings"
	"retotal/report"
	"retotal/report/results"
)

// job is one site on its way: what its files say before the log is read.
type job struct {
	site     *site.Site
	without  []int
	budget   bool // how sure totals are is wanted
	draws    int  // of the Monte Carlo check; 0 for none
	cells    int  // that the record is divided into; 0 where nobody looks into it
	pairs    int  // levels and flows of one instant that are kept at most
	causes   bool // what stands behind findings beside the logged flow is wanted
	log      *ingest.Log
	warnings problem.List
}

// withRecord says that the result goes into a record, which needs the hashes of the files.
func (j *job) withRecord() *job {
	j.log.Hashed = true
	return j
}

// fewPairs and allPairs are the levels and flows of one instant that are kept to see what the meter used: for a glance
// and, of a year of minutes all, for an audit.
const (
	fewPairs = 1 << 17
	allPairs = 1 << 20
)

// prepare reads a site file and the beginnings of its logs. All problems that can be told apart are returned together.
// Each number in without adds a lane that lacks that correction.
func prepare(file string, without ...int) (*job, error) {
	return prepareFor(&roster.Entry{Name: file, File: file}, false, without...)
}

// prepareFor is prepare for a site of a batch, or told that the temperature of the air is wanted though no setting asks
// for it.
func prepareFor(e *roster.Entry, air bool, without ...int) (*job, error) {
	s, err := e.Load()
	if s == nil {
		return nil, err
	}
	if air {
		s.Log.WantAir()
	}
	warnings, more := recompute.Check(s, without)
	if err := problem.Join(err, more); err != nil {
		return nil, err
	}
	warnings.Sort()
	j := &job{site: s, without: without, budget: true, pairs: fewPairs}
	j.warnings = append(warnings, settings.OnBounds(s)...)
	if j.log, err = ingest.Open(s); err == nil {
		boundMemory(j.log.Total())
		j.causes = j.log.Total() < largeLog // of a large one it takes time and memory that are audit's to spend
	}
	return j, err
}

// largeLog is how many bytes a log has whose run takes memory, and long enough for garbage not to matter: by how much
// the heap may grow before it is cleaned, in percent of what is in use. A small log is done before it is worth it.
const (
	largeLog         = results.LargeLog
	growth           = 100
	growthOfLargeLog = 50
)

// boundMemory keeps the memory of a run low where its log is large.
func boundMemory(bytes int64) {
	percent := growth
	if bytes >= largeLog {
		percent = growthOfLargeLog
	}
	debug.SetGCPercent(percent)
}

// compute runs the site and looks at the result from outside. rows is called for each pass over the log and returns
// where its rows go; it may be nil.
func (j *job) compute(ctx context.Context, rows func() (func(*recompute.Rows) error, error)) (*report.Run, error) {
	result, err := recompute.Run(ctx, j.log, j.site, recompute.Options{
		Without: j.without, Budget: j.budget, Draws: j.draws, Pairs: j.pairs, Hours: j.causes, Rows: rows,
		Cells: j.cells,
		Donor: openDonor,
	})
	if err == nil {
		err = result.Refused.Err()
	}
	if err != nil {
		return nil, err
	}
	explained := audit.Explain(result)
	return &report.Run{
		Result:   result,
		Log:      j.log,
		Findings: audit.Findings(result, explained),
		Used:     explained,
		Over:     audit.DailyLimit(result),
		Limits:   audit.Limits(result),
		Proposal: recompute.Propose(result),
		Without:  j.without,
		Warnings: append(j.warnings, result.Warnings...),
		Beside:   append(j.site.Beside, result.Beside...),
		Version:  version,
	}, nil
}

// openDonor opens the log of a site from which another is filled.
func openDonor(file string) (*recompute.Donor, error) {
	j, err := prepare(file)
	if err != nil {
		return nil, err
	}
	log := j.withRecord().log
	return &recompute.Donor{Log: log, Site: j.site, Files: func() (list []site.Beside) {
		list = append(list, site.NewBeside(j.site.File, j.site.Text))
		for _, f := range log.Files {
			list = append(list, site.Beside{File: f.Name, Size: f.Size, SHA256: f.SHA256})
		}
		return list
	}}, nil
}
