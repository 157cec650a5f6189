// Package recompute carries settings timelines through the log: head, flow and totals, lane beside lane.
//
// Before is what the meter made of the readings with the settings it had: every reading counts, heads below zero give
// no flow and flows stop at the most that it shows. After is the corrected lane with the readings that screening
// accepts. Logged is the flow column of the log. What-if lanes are further timelines over the readings that the
// corrected lane accepts. All are integrated over the same reporting days.
//
// A run (run.go) is one or more passes (pass.go) over the log. In a pass the readings go through stages, block by
// block; their figures make periods (period.go) and the result (result.go).
package recompute

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"slices"

	"retotal/ingest/problem"
	"retotal/ingest/quantity"
	"retotal/ingest/reading"
	"retotal/ingest/site"
	"retotal/recompute/block"
	"retotal/recompute/evidence"
	"retotal/recompute/fill"
	"retotal/recompute/settings"
	"retotal/recompute/uncertainty"
)

// Options say what a run finds out beside the totals.
type Options struct {
	Without []int // numbers of corrections; for each a lane that lacks it
	Budget  bool  // the uncertainty of every total; costs a lane or two a source
	Draws   int   // of a Monte Carlo check of the budget; 0 for none
	Pairs   int   // levels and flows of one instant that are kept at most, to find which setting explains them
	Hours   bool  // what each hour and the log's instants hold is kept, to find what stands behind other findings
	// Cells is into how many equal parts of reporting days the period is divided at most, whose volumes are kept; 0 for
	// into none.
	Cells int
	// Rows is called whenever the log is read from its beginning, and returns where its rows go, once they are decided.
	// It may be nil, or return nil, for nowhere.
	Rows func() (func(*Rows) error, error)
	// Donor opens the log of another site, from which missing time is filled; needed only where a site file names one.
	Donor func(siteFile string) (*Donor, error)
}

// Check builds all lanes of a site without a log. It returns what is odd in the site file and in its settings, and as
// an error what is wrong with the settings.
func Check(s *site.Site, without []int) (warnings problem.List, err error) {
	plan, err := newPlan(s, without, true)
	return slices.Concat(s.Warnings, plan.Warnings), err
}

// Run computes a site: the one way in. The log is read for what is normal in it, and for the result; once more where
// steps found in it are defensible onsets, or missing time is filled from hours that it must be read for; once more
// where the whole record shows what a first pass could not know; and once for rulings that lie days apart, to see what
// they did, more often for those that do not.
func Run(ctx context.Context, l Log, s *site.Site, o Options) (*Result, error) {
	r := runner{log: l, site: s, options: o}
	var err error
	if r.plan, err = newPlan(s, o.Without, r.budget()); err != nil {
		return nil, err
	}
	if err := r.ask(ctx); err != nil {
		return nil, err
	}
	if err := r.learnFirst(ctx); err != nil {
		return nil, err
	}
	result, _, err := r.passes(ctx)
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
	log        Log
	site       *site.Site
	options    Options
	plan       *plan
	passOver   []int                            // numbers of the rulings that are passed over, to see what they did
	estimate   func(hour int64) (float64, bool) // of missing hours; nil when nothing is filled by hours
	wantsHours bool                             // hours are gathered, for an estimate
	// shown is what the whole record showed under each recorded segment; nil when it was not read yet.
	shown []settings.Extremes
	told  block.Record // what it told of single readings
	// confirmed are the spells of one value that a second sensor shows too.
	confirmed []block.Told
	habits    []string        // what the record says of itself
	moves     []evidence.Move // of the sensor
	// m: the most that the record's water rises and falls by from a reading to the next; 0 when it does not tell
	rise, fall float64
	rests      bool  // it often hardly moves
	last       int64 // reading of the log, an instant; known once the record was asked
	asks       bool  // a pass asks the record what is normal in it, and nothing else
	fit        *fill.DonorFit
	beside     []site.Beside
}

// budget reports whether the uncertainty of totals is wanted.
func (r *runner) budget() bool { return r.options.Budget || r.options.Draws > 0 }

// learnFirst reads the log once for what a run must know before it begins.
func (r *runner) learnFirst(ctx context.Context) error {
	if !settings.OnsetOpen(r.site) && !r.site.Filling.Rule.ByHours() {
		return nil
	}
	first, last, err := r.bare(true).passes(ctx)
	if err != nil {
		return err
	}
	r.plan, _ = newPlan(r.site, r.options.Without, r.budget(), first.steps()...)
	return r.fillFrom(ctx, last.hours)
}

// bare is the same run without a budget and rows, for passes of which only totals or hours are wanted.
func (r *runner) bare(hours bool) *runner {
	other := *r
	other.plan, _ = newPlan(r.site, nil, false)
	other.options, other.wantsHours = Options{}, hours
	return &other
}

// finish adds what is said of the result as a whole.
func (r *runner) finish(result *Result) error {
	outside := outsideLog(r.log.Known(), r.site)
	if err := outside.Err(); err != nil {
		return err
	}
	result.Warnings, result.Fit, result.Beside, result.Habits = outside.Warnings(), r.fit, r.beside, r.habits
	return nil
}

// seed is where draws begin: the same file gives the same figures.
const seed = 1

// draw checks the budget of the total by draws.
func (r *runner) draw(result *Result, sample *uncertainty.Sample) error {
	draws, ok := sample.Draw(&result.Components, result.Total.Budget, result.Total.figures(), r.options.Draws, seed)
	if !ok {
		return problem.At(problem.Place{File: r.site.File},
			"the uncertainty cannot be drawn: the log has no measured total, or more than 5.5 million readings",
			"a log of up to ten years of minutes", "leave out --monte-carlo")
	}
	result.Draws = &draws
	return nil
}

// fillFrom decides from the hours of a first run, and from those of a donor, how missing hours are estimated.
func (r *runner) fillFrom(ctx context.Context, own *fill.HourlyMeans) error {
	f := r.site.Filling
	if f.Rule == site.FillSameTime {
		r.estimate = own.SameTime(f.Days)
	}
	if !f.Rule.ByDonor() {
		return nil
	}
	donor, err := r.options.Donor(f.Donor)
	if err != nil {
		return err
	}
	theirs := runner{log: donor.Log, site: donor.Site}
	if err := theirs.ask(ctx); err != nil {
		return err
	}
	_, last, err := theirs.bare(true).passes(ctx)
	if err != nil {
		return err
	}
	r.beside = append(r.beside, donor.Files()...)
	estimate, fit, ok := own.FromDonor(last.hours, f.Rule == site.FillDonorPercentiles)
	if !ok {
		return problem.At(
			r.site.Places["filling.donor"],
			fmt.Sprintf("the donor shares %d hours with this log", fit.Hours),
			"two days or more in common",
			"take another donor or another rule",
		)
	}
	r.estimate, r.fit = estimate, &fit
	return nil
}

// mostPasses is how often a log is read at most for what only the whole record shows: where its meter ends, which stays
// there are faults, and where it ends without these.
const mostPasses = 4

// passes reads the log through all lanes, and again where the whole record shows what was not known. It returns the
// result and the last pass.
func (r *runner) passes(ctx context.Context) (*Result, *pass, error) {
	for n := 1; ; n++ {
		p, err := r.read(ctx)
		if err != nil {
			return nil, nil, err
		}
		result, err := p.finish()
		if err != nil {
			return nil, nil, err
		}
		if n < mostPasses && r.learn(p) {
			continue
		}
		if r.options.Draws > 0 {
			err = r.draw(result, p.sample)
		}
		return result, p, err
	}
}

// read reads the log once.
func (r *runner) read(ctx context.Context) (*pass, error) {
	if r.shown != nil {
		settings.Learn(r.site, r.plan.Recorded, r.shown, r.plan.lanes())
	}
	for {
		p := &pass{runner: r}
		if r.options.Rows != nil {
			to, err := r.options.Rows()
			if err != nil {
				return nil, err
			}
			if to != nil {
				p.rows = &rows{to: to}
			}
		}
		if err := p.addAll(r.log.Batches(ctx)); !errors.Is(err, reading.ErrAgain) {
			return p, err
		}
	}
}

// leastStuck is how many intervals of the log a value must repeat at least to be stuck by a stated limit. Common
// practice.
const leastStuck = 3

// outsideLog returns problems with corrections that touch no reading of the log and with a limit that its interval
// makes meaningless, and warnings for changes of settings after its end. A site file that reports a part of its life
// may hold whatever concerns another part. It is called once the log's first and last reading are known.
func outsideLog(l *reading.Facts, s *site.Site) (problems problem.List) {
	clock := s.Log.Clock
	bounds := fmt.Sprintf("times between the first reading, %s, and the last, %s (%s)",
		clock.Format(l.From), clock.Format(l.Until), clock.Name)
	first := l.From
	if s.Log.Means {
		first = l.Begins(first) // a mean stands for the time before its stamp
	}
	for i, c := range s.Corrections {
		from, until := settings.Span(c)
		if (from >= l.Until || until <= first) && s.Report.Holds(c.From, c.Until) {
			found := problem.Entry("correction", i, c.Place.Line) + " lies outside the log"
			problems.Add(problem.At(c.Place, found, bounds, "check from and until, and the year"))
		}
	}
	if d := s.Screening.StuckDuration; d > 0 && d < leastStuck*l.Interval {
		problems.Add(problem.At(s.Places["screening.stuck.duration"],
			fmt.Sprintf("screening.stuck.duration %q is shorter than three intervals of the log (%s), in which sound "+
				"readings may well be equal", quantity.FormatDuration(d), quantity.FormatDuration(l.Interval)),
			quantity.FormatDuration(leastStuck*l.Interval)+" or longer", "usually an hour or more"))
	}
	for i, c := range s.Settings {
		if c.At != nil && c.At.UTC > l.Until && s.Report.Holds(c.At, c.At) {
			found := fmt.Sprintf("%s, at %s, is after the last reading and changes nothing",
				s.Named(fmt.Sprintf("settings.change[%d]", i-1)), c.At.Text)
			problems.Add(problem.Warn(c.At.Place, found, bounds, ""))
		}
	}
	return problems
}

// learn adds what the whole record showed in this pass to what was known; news says that a reading may be another for
// it.
func (r *runner) learn(p *pass) (news bool) {
	found := p.stays.Verdicts(&p.block.Limits, p.block.Log.Interval) // before the extremes are final
	r.told[0] = slices.Concat(r.told[0], found)
	slices.SortFunc(r.told[0], func(a, b block.Told) int { return cmp.Compare(a.From, b.From) })
	r.shown = p.stays.Shown
	return settings.Learn(r.site, r.plan.Recorded, r.shown, r.plan.lanes()) || len(found) > 0
}
