package recompute

import (
	"math"

	"retotal/recompute/stage"
	"retotal/recompute/total"
	"retotal/recompute/uncertainty"
)

// Period is a reporting day, a month or the whole log.
type Period struct {
	Label       string
	From, Until int64 // instants
	Before      total.Volume
	After       total.Volume // all classes
	Classes     [total.Classes]total.Volume
	Bracketed   total.Bracket      // of the time in which a flow is only known between bounds
	Edges       total.Edges        // of means whose interval holds a bound of the period
	Kept        total.Volume       // what a meter with the corrected settings would have shown, over the time of before
	Parts       stage.Parts        // of the difference
	DayRules    []stage.RuleVolume // of a day or month: the recorded lane's volume under other bounds of the day
	WhatIf      []total.Volume     // of the what-if lanes, in their order
	Moved       []uncertainty.Moved
	Tally       uncertainty.Tally
	Budget      *uncertainty.Budget // nil when it was not asked for, or nothing is covered
	Logged      total.Volume
	Counted     total.Volume
	Passed      total.Volume // of logged interval volumes
}

// Coverage is the part of the period that the corrected total covers.
func (p *Period) Coverage() float64 { return share(p.After.Covered, p.Until-p.From) }

// BeforeCoverage is the part that the recorded lane covers.
func (p *Period) BeforeCoverage() float64 { return share(p.Before.Covered, p.Until-p.From) }

// share is a part of a whole; nothing of nothing is nothing.
func share(part, whole int64) float64 {
	if whole <= 0 {
		return 0
	}
	return float64(part) / float64(whole)
}

// Lower is the least that can have flowed in the time that the corrected total covers, m³.
func (p *Period) Lower() float64 {
	low, _ := p.Bracketed.Of(p.After)
	return math.Max(math.Min(low, 0), low-p.Edges.StartIn-p.Edges.EndIn)
}

// Upper is the most, false when nothing bounds it.
func (p *Period) Upper() (m3 float64, known bool) {
	_, high := p.Bracketed.Of(p.After)
	return high + p.Edges.StartOut + p.Edges.EndOut, p.Bracketed.Open == 0
}

// Both reports whether before and after can be compared.
func (p *Period) Both() bool { return !p.Before.Missing() && !p.After.Missing() }

// CommonBefore is what before counted in the time that after covers too, m³; CommonAfter is the corrected total in the
// time that before covers too.
func (p *Period) CommonBefore() float64 { return p.Before.M3() - p.Parts.Lost.M3() }
func (p *Period) CommonAfter() float64  { return p.After.M3() - p.Parts.Gained.M3() }

// Difference is after − before over the time that both cover, m³.
func (p *Period) Difference() float64 { return p.CommonAfter() - p.CommonBefore() }

// Split is a difference in parts that add up to it, m³.
type Split struct {
	Settings  float64 // what the corrected settings make of it; exactly 0 without a correction
	Limits    float64 // what the meter could not show, and the log still knows
	Drowned   float64
	Filled    float64
	Screening float64
}

// Split returns the parts of the difference.
func (p *Period) Split() (s Split) {
	x := &p.Parts
	s.Settings = (p.Kept.M3() - x.LostKept.M3()) - p.CommonBefore()
	s.Limits, s.Drowned = x.Limits.M3(), x.Drowned.M3()
	if filled := p.Classes[total.Filled]; !filled.Missing() {
		s.Filled = filled.M3() - x.Gained.M3() - x.FilledKept.M3()
	}
	s.Screening = p.Difference() - s.Settings - s.Limits - s.Drowned - s.Filled
	return s
}

// Percent is the difference as a part of before, in per cent; false when before is zero or missing.
func (p *Period) Percent() (float64, bool) {
	if !p.Both() || p.CommonBefore() == 0 {
		return 0, false
	}
	return 100 * p.Difference() / p.CommonBefore(), true
}

// Interval is what is known of a total.
type Interval struct {
	Low, High float64 // m³, within which the total lies at a confidence of about 95 %
	Open      bool    // nothing bounds it from above; High is then +Inf
	Wide      bool    // bounds, not the uncertainty, make most of it: shown in place of ±, beside "at least"
	Lift      float64 // m³ by which noise of the readings may lift the total; Low goes down by it
}

// Interval returns [L − U of L, H + U of H] of the time that the total covers; false when it has no budget. Bounds make
// it wide where H − L exceeds a tenth of U.
func (p *Period) Interval() (x Interval, ok bool) {
	if p.Budget == nil || p.After.Missing() {
		return x, false
	}
	low, lift := p.Lower(), p.Tally.Lift
	high, known := p.Upper()
	x = Interval{
		Low: math.Max(0, low-uncertainty.Coverage*p.Budget.Low-lift), High: high + uncertainty.Coverage*p.Budget.High,
		Open: !known, Lift: lift,
	}
	x.Wide = x.Open || (high-low)+lift > p.Budget.Expanded()/10
	if x.Open {
		x.High = math.Inf(1)
	}
	return x, true
}

// merge adds a period that follows.
func (p *Period) merge(o *Period) {
	if p.After.Covered == 0 && p.Edges == (total.Edges{}) {
		p.Edges = o.Edges
	}
	p.Edges.EndIn, p.Edges.EndOut = o.Edges.EndIn, o.Edges.EndOut
	p.Before.Merge(o.Before)
	p.After.Merge(o.After)
	p.Kept.Merge(o.Kept)
	p.Logged.Merge(o.Logged)
	p.Counted.Merge(o.Counted)
	p.Passed.Merge(o.Passed)
	p.Bracketed.Merge(o.Bracketed)
	p.Parts.Merge(o.Parts)
	p.Tally.Merge(&o.Tally)
	p.WhatIf = total.MergeAll(p.WhatIf, o.WhatIf)
	if p.Moved == nil {
		p.Moved = make([]uncertainty.Moved, len(o.Moved))
	}
	for i := range o.Moved {
		p.Moved[i].Merge(&o.Moved[i])
	}
	for c := range p.Classes {
		p.Classes[c].Merge(o.Classes[c])
	}
}

// addBudget works out the uncertainty of a period that has a total.
func (p *Period) addBudget(l *uncertainty.Components) {
	if len(l.List) > 0 && !p.After.Missing() {
		p.Budget = l.Budget(p.figures())
	}
}

func (p *Period) figures() *uncertainty.Figures {
	return &uncertainty.Figures{
		After:      p.After,
		Difference: p.Difference(),
		Bracket:    p.Bracketed,
		Classes:    p.Classes,
		Moved:      p.Moved,
		Tally:      p.Tally,
	}
}
