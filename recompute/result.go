package recompute

import (
	"math"

	"retotal/ingest/problem"
	"retotal/ingest/reading"
	"retotal/ingest/site"
	"retotal/qa"
	"retotal/qa/odd"
	"retotal/recompute/block"
	"retotal/recompute/effect"
	"retotal/recompute/evidence"
	"retotal/recompute/fill"
	"retotal/recompute/settings"
	"retotal/recompute/stage"
	"retotal/recompute/total"
	"retotal/recompute/uncertainty"
)

// Result is everything that a run found.
type Result struct {
	Site                *site.Site
	Facts               reading.Facts // of the log
	Readings            int           // handed over by the log
	Recorded, Corrected *settings.Lane
	WhatIfs             []*settings.Lane
	Days, Months        []Period
	Total               Period
	Statistics          Statistics
	// PhysicalMost is the most that channel or device can carry, m³/s, see physicalMost; +Inf when nothing says it.
	PhysicalMost float64
	Components   uncertainty.Components
	Draws        *uncertainty.Draws // of a Monte Carlo check; nil when none was asked for
	// Fit is how a donor's flows and ours go together, where missing time is filled from one.
	Fit      *fill.DonorFit
	Beside   []site.Beside // files that were read beside site file and log
	Warnings problem.List
	Cells    *block.Cells // volumes by parts of days; nil unless they were asked for
	Screened
	Counter
	Evidence
	reporting
}

// Screened is what was made of readings that fail a check.
type Screened struct {
	Limits  qa.Limits
	Flags   []effect.Summary
	Events  []*effect.Event
	Ruled   float64       // m³ that the rest of screening and rulings added, see effect.Events
	Left    effect.Change // by leaving out the readings of all checks that keep
	Rulings []RulingResult
	Drowned stage.Drowned
	Habits  []string // what the record says of its own pulses and runs
}

// RulingResult is what a ruling did.
type RulingResult struct {
	Ruling *site.Ruling
	Rows   int
	Effect float64 // m³ that the corrected total has by it; what screening alone would have made is left
}

// Counter is what happened to the meter's counter.
type Counter struct {
	Rollovers      int
	CounterChanges int // declared ones that lay between two readings
	Falls          []total.Fall
}

// Evidence is what was found for or against the settings.
type Evidence struct {
	Visits    []evidence.Visit
	FlowCheck evidence.FlowCheck
	Trials    []evidence.Trial
	Refused   problem.List // corrections that no structure allows: the result is not to be used
	Changes   []evidence.ChangePoint
	Moves     []evidence.Move // of the sensor
	Pattern   evidence.Pattern
	Heads     evidence.Heads   // how all readings stand to the device
	Dead      []evidence.Still // times in which the sensor seems to have been dead
	Odd       odd.Result       // what no single reading shows
	Pairs     *evidence.Pairs  // empty unless they were wanted
	Hours     []evidence.Hour  // what each hour of the log's clock holds; empty unless it was wanted, as is the next
	Stamps    *evidence.Stamps // what its instants tell of that clock
}

// Worst returns the day whose total the correction changes most; nil when no day can be compared.
func (r *Result) Worst() *Period {
	var worst *Period
	for i := range r.Days {
		if d := &r.Days[i]; d.Both() && (worst == nil || math.Abs(d.Difference()) > math.Abs(worst.Difference())) {
			worst = d
		}
	}
	return worst
}

// result collects what the stages found.
func (p *pass) result() *Result {
	b := p.block
	r := &Result{
		Site:         b.Site,
		Facts:        *b.Log,
		Readings:     p.readings,
		Recorded:     b.Recorded.Lane,
		Corrected:    b.Corrected.Lane,
		WhatIfs:      p.runner.plan.WhatIfs,
		Components:   p.sources,
		PhysicalMost: physicalMost(b.Corrected.Lane, b.Log.From, b.Log.Until),
		Cells:        b.Cells,
		reporting:    reporting{b.Calendar, b.From, b.Until},
	}
	r.Screened = Screened{
		Limits:  b.Limits,
		Flags:   p.events.Summary(b, p.readings),
		Events:  p.events.List,
		Ruled:   p.events.Ruled(),
		Left:    p.events.Left(),
		Drowned: *p.drowned,
	}
	for i := range b.Rulings.List {
		r.Rulings = append(r.Rulings, RulingResult{Ruling: &b.Rulings.List[i], Rows: p.accept.RulingRows[i]})
	}
	c := p.logged.Counter
	r.Counter = Counter{Rollovers: c.Rollovers, CounterChanges: c.Changed, Falls: c.Falls}
	p.periods(r)
	p.evidence(r)
	r.Statistics = r.statistics(b.Site.Report.Complete.LeastDay)
	r.Statistics.addPeaks(p.peaks, p.recorded.Peak)
	return r
}

// evidence collects what was found for or against the settings.
func (p *pass) evidence(r *Result) {
	days := make([]evidence.Day, len(r.Days))
	for i := range r.Days {
		d := &r.Days[i]
		days[i] = evidence.Day{Label: d.Label, Start: d.From, Recorded: d.Before, Logged: d.Logged, Counted: d.Counted}
	}
	r.Evidence = Evidence{
		Visits: p.visits.List, FlowCheck: *p.flow, Trials: p.trials.Finish(r.Site),
		Changes: p.courses.ChangePoints(days, p.block.OfFlow), Pattern: p.courses.Pattern(days, r.lastDistance()),
		Heads: p.levels.Heads(), Dead: p.runner.unconfirmed(p.levels.Dead()), Odd: p.odd.Finish(),
		Moves: p.runner.moves, Pairs: p.pairs, Hours: p.byHour.List, Stamps: p.stamps,
	}
	r.Refused = evidence.Refused(r.Trials)
}

// lastDistance is the empty distance that the corrected settings end with, m; 0 when they have none.
func (r *Result) lastDistance() float64 {
	last := &r.Corrected.Segments[len(r.Corrected.Segments)-1]
	if empty := last.Settings.Values[site.EmptyDistance]; empty != nil {
		return empty.From.SI
	}
	return 0
}

// periods collects days, months and the whole.
func (p *pass) periods(r *Result) {
	b := p.block
	start, end := max(b.Log.From, b.From), min(b.Log.Until, b.Until)
	if b.Means && b.Site.Log.Primary != reading.Counter {
		start = max(b.Log.Begins(b.Log.From), b.From)
	}
	r.Total = Period{Label: "total", From: start, Until: end}
	last := b.Calendar.Day(max(end-1, start, min(b.Site.Log.Shown(b.Log.Until), b.Until)-1))
	for i := 0; i <= last; i++ {
		day := p.day(i)
		r.Days = append(r.Days, day)
		r.Total.merge(&day)
		if month := monthOf(day.Label); len(r.Months) == 0 || r.Months[len(r.Months)-1].Label != month {
			from, until := b.Calendar.Span(i, monthOf)
			r.Months = append(r.Months, Period{Label: month, From: max(from, b.From), Until: min(until, b.Until)})
		}
		r.Months[len(r.Months)-1].merge(&day)
	}
	rules := p.recorded.Rules(func(day string) string { return day })
	for i := range r.Days {
		r.Days[i].addBudget(&r.Components)
		r.Days[i].DayRules = rules[r.Days[i].Label]
	}
	rules = p.recorded.Rules(monthOf)
	for i := range r.Months {
		r.Months[i].addBudget(&r.Components)
		r.Months[i].DayRules = rules[r.Months[i].Label]
	}
	r.Total.addBudget(&r.Components)
}

// monthOf is the month of a day by its label: 2031-04.
func monthOf(day string) string { return day[:7] }

// day collects the figures of day i.
func (p *pass) day(i int) Period {
	b := p.block
	start, end := b.Calendar.Bounds(i)
	d := Period{
		Label:     b.Calendar.Label(i),
		From:      max(start, b.From),
		Until:     min(end, b.Until),
		Classes:   p.accept.Classes(i),
		Bracketed: p.bounds.Day(i),
		Edges:     p.edges.Day(i),
		Parts:     p.difference.Day(i),
		WhatIf:    p.lanes.WhatIfs(i),
		Moved:     p.lanes.Moved(i),
		Tally:     p.tallies.Day(i),
	}
	d.Before, d.Kept = p.recorded.Day(i)
	d.Logged, d.Counted, d.Passed = p.logged.Day(i)
	for _, v := range d.Classes {
		d.After.Merge(v)
	}
	return d
}
