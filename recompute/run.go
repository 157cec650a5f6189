package recompute

import (
	"context"
	"errors"
	"fmt"
	"iter"

	"retotal/ingest/problem"
	"retotal/ingest/reading"
	"retotal/ingest/site"
	"retotal/recompute/settings"
)

// Options say what a run finds out beside the totals.
type Options struct {
	Without []int // numbers of corrections; for each a lane that lacks it
	Budget  bool  // the uncertainty of every total; costs a lane or two a source
	Draws   int   // of a Monte Carlo check of the budget; 0 for none
	// Rows is called whenever the log is read from its beginning, and returns where its rows go, once they are decided;
	// nil for nowhere.
	Rows func() (func(*Rows) error, error)
	// Donor opens the log of another site, from which missing time is filled; needed only where a site file names one.
	Donor func(siteFile string) (*Donor, error)
}

// Log is a log that can be read again.
type Log interface {
	// Known is what arithmetic needs to know of the log. It may become better known while the log is read.
	Known() *reading.Facts
	// Batches is one reading of all rows in the order of time. An error is the last thing that comes; after
	// reading.ErrAgain the log must be read again, and what came before must be forgotten.
	Batches(ctx context.Context) iter.Seq2[*reading.Batch, error]
}

// Donor is a site from which missing time is filled.
type Donor struct {
	Log   Log
	Site  *site.Site
	Files func() []site.Beside // that were read, once they were
}

// Check builds all lanes of a site without a log and returns what is wrong with their settings.
func Check(s *site.Site, without []int) problem.List {
	_, problems := newPlan(s, without, true)
	return problems
}

// Run computes a site: the one way in. The log is read once; once more where steps found in it are defensible onsets,
// or missing time is filled from hours that it must be read for; once more where the whole record shows what a first
// pass could not know; and once for each ruling, to see what it did.
func Run(ctx context.Context, l Log, s *site.Site, o Options) (*Result, error) {
	r := runner{log: l, site: s, options: o}
	var problems problem.List
	if r.plan, problems = newPlan(s, o.Without, o.Budget || o.Draws > 0); problems.Err() != nil {
		return nil, problems
	}
	if err := r.learnFirst(ctx); err != nil {
		return nil, err
	}
	result, err := r.pass(ctx, o.Rows, nil)
	if err != nil {
		return nil, err
	}
	if err := r.rule(ctx, result); err != nil {
		return nil, err
	}
	return result, r.finish(result)
}

// runner is a run on its way.
type runner struct {
	log      Log
	site     *site.Site
	options  Options
	plan     *plan
	whole    *Whole
	estimate func(hour int64) (float64, bool) // of missing hours; nil when nothing is filled by hours
	match    *Match
	beside   []site.Beside
}

// learnFirst reads the log once for what a run must know before it begins.
func (r *runner) learnFirst(ctx context.Context) error {
	if !settings.OnsetOpen(r.site) && !r.site.Filling.Rule.ByHours() {
		return nil
	}
	first, err := r.bare().pass(ctx, nil, nil)
	if err != nil {
		return err
	}
	r.plan, _ = newPlan(r.site, r.options.Without, r.plan.sources != nil, first.steps()...)
	return r.fillFrom(ctx, first)
}

// bare is the same run without a budget, for passes of which only totals are wanted.
func (r *runner) bare() *runner {
	other := *r
	other.plan, _ = newPlan(r.site, nil, false)
	other.options.Draws = 0
	return &other
}

// rule finds out what each ruling did, by a run without it.
func (r *runner) rule(ctx context.Context, result *Result) error {
	for i := range result.Rulings {
		without, err := r.bare().pass(ctx, nil, &i)
		if err != nil {
			return err
		}
		result.Rulings[i].Effect = result.Total.After.M3() - without.Total.After.M3()
	}
	return nil
}

// finish adds what is said of the result as a whole.
func (r *runner) finish(result *Result) error {
	outside := outsideLog(r.log.Known(), r.site)
	if err := outside.Err(); err != nil {
		return err
	}
	result.Refused, result.Warnings, result.Match, result.Beside = result.refused(), outside.Warnings(), r.match, r.beside
	if r.options.Draws > 0 {
		draws, ok := result.MonteCarlo(r.options.Draws, 1)
		if !ok {
			return problem.At(problem.Place{File: r.site.File}, "the uncertainty cannot be drawn: the log has no measured total, or more than 5.5 million readings", "a log of up to ten years of minutes", "leave out --monte-carlo")
		}
		result.Draws = &draws
	}
	return nil
}

// fillFrom decides from a first run, and from that of a donor, how missing hours are estimated.
func (r *runner) fillFrom(ctx context.Context, first *Result) error {
	f := r.site.Filling
	if f.Rule == site.FillSameTime {
		r.estimate = first.hours.SameTime(f.Days)
	}
	if !f.Rule.ByDonor() {
		return nil
	}
	donor, err := r.options.Donor(f.Donor)
	if err != nil {
		return err
	}
	theirs, err := (&runner{log: donor.Log, site: donor.Site}).bare().pass(ctx, nil, nil)
	if err != nil {
		return err
	}
	r.beside = append(r.beside, donor.Files()...)
	estimate, match, ok := first.hours.FromDonor(theirs.hours, f.Rule == site.FillDonorPercentiles)
	if !ok {
		return problem.At(r.site.Places["filling.donor"], fmt.Sprintf("the donor shares %d hours with this log", match.Hours), "two days or more in common", "take another donor or another rule")
	}
	r.estimate, r.match = estimate, &match
	return nil
}

// pass reads the log through all lanes, and again where the whole record shows what was not known. A ruling that is not
// nil is passed over.
func (r *runner) pass(ctx context.Context, rows func() (func(*Rows) error, error), without *int) (*Result, error) {
	for pass := 1; ; pass++ {
		engine, err := r.read(ctx, rows, without)
		if err != nil {
			return nil, err
		}
		result, err := engine.finish()
		if err != nil || pass == mostPasses {
			return result, err
		}
		whole, news := engine.learn(r.plan, r.whole)
		if r.whole = whole; !news {
			return result, nil
		}
	}
}

// mostPasses is how often a log is read at most for what only the whole record shows: where its meter ends, which stays
// there are faults, and where it ends without these.
const mostPasses = 4

// read reads the log once, from its beginning again where it must be.
func (r *runner) read(ctx context.Context, rows func() (func(*Rows) error, error), without *int) (*Engine, error) {
	if r.whole != nil {
		r.plan.learn(r.site, r.whole.shown)
	}
	for {
		engine, err := r.newEngine(rows, without)
		if err != nil {
			return nil, err
		}
		if err = engine.addAll(r.log.Batches(ctx)); !errors.Is(err, reading.ErrAgain) {
			return engine, err
		}
	}
}

// newEngine is an engine for one reading of the log, and what its rows go to.
func (r *runner) newEngine(rows func() (func(*Rows) error, error), without *int) (*Engine, error) {
	var sink func(*Rows) error
	if rows != nil {
		var err error
		if sink, err = rows(); err != nil {
			return nil, err
		}
	}
	engine := newEngine(r.log.Known(), r.site, r.plan, sink)
	engine.estimate, engine.collect = r.estimate, r.estimate == nil
	if r.whole != nil {
		engine.whole = &Whole{stays: r.whole.stays}
	}
	if without != nil {
		engine.rulings.passOver = without
	}
	if r.options.Draws > 0 {
		engine.sampler = &sampler{}
	}
	return engine, nil
}

// addAll takes in all batches of a reading.
func (e *Engine) addAll(batches iter.Seq2[*reading.Batch, error]) error {
	for b, err := range batches {
		if err != nil {
			return err
		}
		if err := e.add(b); err != nil {
			return err
		}
	}
	return nil
}

// outsideLog returns problems with corrections that touch no reading of the log, and warnings for changes of settings
// after its end. It is called once the log's first and last reading are known.
func outsideLog(l *reading.Facts, s *site.Site) (problems problem.List) {
	clock := s.Log.Clock
	bounds := fmt.Sprintf("times between the first reading, %s, and the last, %s (%s)", clock.Format(l.From), clock.Format(l.Till), clock.Name)
	first := l.From
	if s.Log.Means {
		first = l.Begins(first) // a mean stands for the time before its stamp
	}
	for i, c := range s.Corrections {
		if from, until := settings.Span(c); from >= l.Till || until <= first {
			problems.Add(problem.At(c.Place, fmt.Sprintf("correction[%d] lies outside the log", i), bounds, "check from and until, and the year"))
		}
	}
	for i, c := range s.Settings {
		if c.At != nil && c.At.UTC > l.Till {
			problems.Add(problem.Warn(c.At.Place, fmt.Sprintf("settings.change[%d] at %s is after the last reading and changes nothing", i-1, c.At.Text), bounds, ""))
		}
	}
	return problems
}
