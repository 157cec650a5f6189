package recompute

import (
	"math"

	"retotal/ingest"
	"retotal/qa"
	"retotal/recompute/total"
)

// Volume is a total with the time that it covers.
type Volume struct {
	Sum     total.Sum // m³
	Covered int64     // ns; a total over no time is missing, not zero
}

// Missing reports whether there is nothing to add up.
func (v Volume) Missing() bool { return v.Covered == 0 }

// M3 returns the volume in m³.
func (v Volume) M3() float64 { return v.Sum.Value() }

func (v *Volume) merge(o Volume) {
	v.Sum.Merge(o.Sum)
	v.Covered += o.Covered
}

// Period is a reporting day, a month or the whole log.
type Period struct {
	Label      string
	Start, End int64 // instants
	Before     Volume
	After      Volume // all classes
	Classes    [Classes]Volume
	Low, High  Volume   // of the bounded readings: the least and the most that flowed
	Open       int64    // ns, of it the time in which nothing bounds the flow from above
	Others     []Other  // of a month: the recorded lane's volume under other bounds of the day
	WhatIf     []Volume // of the what-if lanes, in their order
	Moved      []Volume // of the lanes that sources of uncertainty move
	Squares    float64  // see Result.budgetOf, m⁴
	Bends      float64  // the same, m⁶
	Budget     *Budget  // nil when it was not asked for, or nothing is covered
	Logged     Volume
	Counted    Volume
	Passed     Volume // of logged interval volumes
}

// Coverage is the part of the period that the corrected total covers.
func (p *Period) Coverage() float64 { return share(p.After.Covered, p.End-p.Start) }

// BeforeCoverage is the part that the recorded lane covers.
func (p *Period) BeforeCoverage() float64 { return share(p.Before.Covered, p.End-p.Start) }

// share is a part of a whole; nothing of nothing is nothing.
func share(part, whole int64) float64 {
	if whole <= 0 {
		return 0
	}
	return float64(part) / float64(whole)
}

// Other is a month's volume of the recorded lane by another rule.
type Other struct {
	Rule   string
	Volume Volume
}

// mergeAll merges volumes one by one.
func mergeAll(list, more []Volume) []Volume {
	for i, v := range more {
		if i == len(list) {
			list = append(list, Volume{})
		}
		list[i].merge(v)
	}
	return list
}

// Lower is the least that can have flowed in the time that the corrected total covers, m³.
func (p *Period) Lower() float64 { return p.After.M3() - p.Classes[Bounded].M3() + p.Low.M3() }

// Upper is the most, false when nothing bounds it.
func (p *Period) Upper() (m3 float64, known bool) {
	return p.After.M3() - p.Classes[Bounded].M3() + p.High.M3(), p.Open == 0
}

// Both reports whether before and after can be compared.
func (p *Period) Both() bool { return !p.Before.Missing() && !p.After.Missing() }

// Difference is after − before in m³.
func (p *Period) Difference() float64 { return p.After.M3() - p.Before.M3() }

// Percent is the difference as a part of before, in per cent; false when before is zero or missing.
func (p *Period) Percent() (float64, bool) {
	if !p.Both() || p.Before.M3() == 0 {
		return 0, false
	}
	return 100 * p.Difference() / p.Before.M3(), true
}

func (p *Period) merge(o *Period) {
	p.Before.merge(o.Before)
	p.After.merge(o.After)
	p.Logged.merge(o.Logged)
	p.Counted.merge(o.Counted)
	p.Passed.merge(o.Passed)
	p.Low.merge(o.Low)
	p.High.merge(o.High)
	p.Open += o.Open
	p.WhatIf = mergeAll(p.WhatIf, o.WhatIf)
	p.Moved = mergeAll(p.Moved, o.Moved)
	p.Squares += o.Squares
	p.Bends += o.Bends
	for c := range p.Classes {
		p.Classes[c].merge(o.Classes[c])
	}
}

// Result is everything that a run found.
type Result struct {
	Log                 *ingest.Log
	Recorded, Corrected *Lane
	WhatIfs             []*Lane
	Visits              []Residual
	Sources             []Source // of uncertainty
	moved               []*Lane  // by them
	sampler             *sampler
	calendar            *total.Calendar
	from, until         int64 // the report's period
	Changes             []ChangePoint
	Pattern             Pattern
	Statistics          Statistics
	Hours               *Profile       // filled only when missing time is filled by the time of day
	Rulings             []RulingResult // their effects are for the caller to fill in, by runs without each
	Limits              qa.Limits
	Days, Months        []Period
	Total               Period
	Flags               []FlagSummary
	Events              []*Event
	Screened            float64 // m³ that screening added to the corrected total; the rest of the difference is settings
	Witness             Witness
	Drowned             Drowned
	Rollovers           int
	RegisterChanges     int // declared changes of the counter that lay between two readings
	Falls               []total.Fall
	Trials              []Trial // of corrections
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

// Finish processes the rows still held back and returns the result.
func (e *Engine) Finish() (*Result, error) {
	if err := e.advance(true); err != nil {
		return nil, err
	}
	e.after.finish(e)
	r := &Result{Log: e.log, Recorded: e.recorded, Corrected: e.corrected, Limits: e.screener.Limits, Events: e.events.list,
		Flags: e.events.summary(e), Witness: e.witness.finish(), Drowned: e.drowned, Rollovers: e.counter.Rollovers, Falls: e.counter.Falls, RegisterChanges: e.counter.Changed, Visits: e.visits.list}
	r.Hours, r.Trials = &e.hours, e.trials.finish(e)
	for i := range e.rulings.list {
		r.Rulings = append(r.Rulings, RulingResult{Ruling: &e.rulings.list[i], Rows: e.rulings.rows[i]})
	}
	for _, w := range e.whatIfs[:e.asked] {
		r.WhatIfs = append(r.WhatIfs, w.lane)
	}
	for _, f := range r.Flags {
		r.Screened += f.Effect
	}
	e.periods(r)
	for _, w := range e.whatIfs[e.asked:] {
		r.moved = append(r.moved, w.lane)
	}
	r.sampler = e.sampler
	if r.Sources = e.sources; len(e.sources) > 0 {
		for _, list := range [][]Period{r.Days, r.Months} {
			for i := range list {
				r.addBudget(&list[i])
			}
		}
		r.addBudget(&r.Total)
	}
	r.Changes = e.changePoints(r)
	r.Pattern = e.pattern(r)
	r.Statistics = r.statistics(e.site.Report.Complete.LeastDay)
	r.Statistics.PeakMost = max(e.peaks.peak, e.peaks.most)
	r.Statistics.PeakBefore = e.peakShown
	e.addOthers(r)
	r.Statistics.Peak, r.Statistics.PeakAt, r.Statistics.PeakMean, r.Statistics.PeakMeanAt = e.peaks.peak, e.peaks.peakAt, e.peaks.mean, e.peaks.meanAt
	return r, nil
}

// periods collects days, months and the whole.
func (e *Engine) periods(r *Result) {
	start, end := max(e.log.From, e.from), min(e.log.Till, e.until)
	r.Total = Period{Label: "total", Start: start, End: end}
	r.calendar, r.from, r.until = e.calendar, e.from, e.until
	last := e.calendar.Day(max(end-1, start, min(e.site.Log.Shown(e.log.Till), e.until)-1))
	for i := 0; i <= last; i++ {
		day := e.day(i)
		r.Days = append(r.Days, day)
		r.Total.merge(&day)
		if month := monthOf(day.Label); len(r.Months) == 0 || r.Months[len(r.Months)-1].Label != month {
			from, until := e.calendar.Span(i, monthOf)
			r.Months = append(r.Months, Period{Label: month, Start: max(from, e.from), End: min(until, e.until)})
		}
		r.Months[len(r.Months)-1].merge(&day)
	}
}

// monthOf is the month of a day by its label: 2031-04.
func monthOf(day string) string { return day[:7] }

func (e *Engine) day(i int) Period {
	start, end := e.calendar.Bounds(i)
	p := Period{Label: e.calendar.Label(i), Start: max(start, e.from), End: min(end, e.until)}
	p.Before.Sum, p.Before.Covered = e.before.Volume(i)
	p.Logged.Sum, p.Logged.Covered = e.logged.Volume(i)
	p.Counted.Sum, p.Counted.Covered = e.counter.Volume(i)
	p.Passed.Sum, p.Passed.Covered = e.intervals.Volume(i)
	p.Low.Sum, p.Low.Covered = e.after.lower.Volume(i)
	p.High.Sum, p.High.Covered = e.after.upper.Volume(i)
	_, p.Open = e.after.open.Volume(i)
	for k, w := range e.whatIfs {
		var v Volume
		if v.Sum, v.Covered = w.series.Volume(i); k < e.asked {
			p.WhatIf = append(p.WhatIf, v)
		} else {
			p.Moved = append(p.Moved, v)
		}
	}
	if i < len(e.bends) {
		p.Bends = float64(e.bends[i]*e.bends[i]) / 3
	}
	if i < len(e.squares) {
		p.Squares = e.squares[i]
	}
	for c := range e.after.series {
		p.Classes[c].Sum, p.Classes[c].Covered = e.after.series[c].Volume(i)
		p.After.merge(p.Classes[c])
	}
	return p
}
