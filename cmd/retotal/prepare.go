package main

import (
	"context"
	"fmt"

	"retotal/ingest"
	"retotal/ingest/problem"
	"retotal/ingest/site"
	"retotal/recompute"
	"retotal/recompute/audit"
	"retotal/report"
)

// job is one site on its way: what its files say before the log is read.
type job struct {
	site     *site.Site
	lanes    *recompute.Lanes
	without  []int
	draws    int                              // of the Monte Carlo check; 0 for none
	estimate func(hour int64) (float64, bool) // of missing hours
	match    *recompute.Match                 // of the donor's hours and ours
	beside   []site.Beside                    // files that were read beside site file and logs
	log      *ingest.Log
	warnings problem.List
}

// withRecord says that the result goes into a record, which needs the hashes of the files.
func (j *job) withRecord() *job {
	j.log.Hashed = true
	return j
}

// prepare reads a site file and the beginnings of its logs. All problems that can be told apart are returned together. Each number in without adds
// a lane that lacks that correction.
func prepare(file string, without ...int) (*job, error) {
	s, problems := site.Load(file)
	if s == nil {
		return nil, problems
	}
	j := &job{site: s, without: without, beside: s.Beside}
	var more problem.List
	j.lanes, more = recompute.NewLanes(s, without)
	problems.Add(more...)
	if problems.Err() == nil {
		problems.Add(j.lanes.AddBudget(s)...)
	}
	problems.Sort()
	if err := problems.Err(); err != nil {
		return nil, err
	}
	j.warnings = append(problems.Warnings(), recompute.OnBounds(s)...)
	if j.log, more = ingest.Inspect(s); len(more) > 0 {
		return nil, more
	}
	return j, nil
}

// compute reads the log and returns the result. begin is called for each pass over the log and returns where its rows go; it
// may be nil. Where the onset of a correction is not sure, the log is read once more, for steps found in a first run; the same where missing time is filled by the time of
// day, and once more for each ruling, to see
// what it did.
func (j *job) compute(ctx context.Context, begin func() (func(*recompute.Rows) error, error)) (*report.Run, error) {
	if recompute.OnsetOpen(j.site) || j.site.Filling.Rule.ByHours() {
		first, err := j.pass(ctx, nil, -1)
		if err != nil {
			return nil, err
		}
		budget := j.lanes.Sources != nil
		if j.lanes, _ = recompute.NewLanes(j.site, j.without, first.Changes...); budget {
			j.lanes.AddBudget(j.site)
		}
		if err := j.prepareFilling(ctx, first); err != nil {
			return nil, err
		}
	}
	result, err := j.pass(ctx, begin, -1)
	if err != nil {
		return nil, err
	}
	for i := range result.Rulings {
		without, err := j.pass(ctx, nil, i)
		if err != nil {
			return nil, err
		}
		result.Rulings[i].Effect = result.Total.After.M3() - without.Total.After.M3()
	}
	return j.finish(result)
}

// prepareFilling decides from a first run, and from that of a donor, how missing hours are estimated.
func (j *job) prepareFilling(ctx context.Context, first *recompute.Result) error {
	f := j.site.Filling
	if f.Rule == site.FillSameTime {
		j.estimate = first.Hours.SameTime(f.Days)
	}
	if !f.Rule.ByDonor() {
		return nil
	}
	donor, err := prepare(f.Donor)
	if err != nil {
		return err
	}
	donor.withRecord()
	theirs, err := donor.pass(ctx, nil, -1)
	if err != nil {
		return err
	}
	j.beside = append(j.beside, site.NewBeside(donor.site.File, donor.site.Text))
	for _, file := range donor.log.Files {
		j.beside = append(j.beside, site.Beside{File: file.Name, Size: file.Size, SHA256: file.SHA256})
	}
	estimate, match, ok := first.Hours.FromDonor(theirs.Hours, f.Rule == site.FillDonorPercentiles)
	if !ok {
		return problem.At(j.site.Places["filling.donor"], fmt.Sprintf("the donor shares %d hours with this log", match.Hours), "two days or more in common", "take another donor or another rule")
	}
	j.estimate, j.match = estimate, &match
	return nil
}

// pass reads the log once; a ruling that is not −1 is passed over.
func (j *job) pass(ctx context.Context, begin func() (func(*recompute.Rows) error, error), without int) (*recompute.Result, error) {
	return recompute.Pass(ctx, j.log, j.lanes, begin, func(engine *recompute.Engine) {
		engine.WithoutRuling(without)
		engine.FillFrom(j.estimate)
		if j.draws > 0 {
			engine.Sample()
		}
		if j.estimate == nil {
			engine.CollectHours()
		}
	})
}

// finish looks at the result from outside.
func (j *job) finish(result *recompute.Result) (*report.Run, error) {
	outside := recompute.OutsideLog(j.log)
	if err := outside.Err(); err != nil {
		return nil, err
	}
	if err := result.Refused().Err(); err != nil {
		return nil, err
	}
	var draws *recompute.Draws
	if j.draws > 0 {
		d, ok := result.MonteCarlo(j.draws, 1)
		if !ok {
			return nil, problem.At(problem.Place{File: j.site.File}, "the uncertainty cannot be drawn: the log has no measured total, or more than 5.5 million readings", "a log of up to ten years of minutes", "leave out --monte-carlo")
		}
		draws = &d
	}
	return &report.Run{Result: result, Draws: draws, Findings: audit.Findings(result), Over: audit.DailyLimit(result), Limits: audit.Limits(result), Proposal: recompute.Propose(result), Without: j.without, Beside: j.beside, Match: j.match, Warnings: append(j.warnings, outside.Warnings()...), Version: version}, nil
}
