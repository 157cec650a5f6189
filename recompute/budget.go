package recompute

import (
	"fmt"
	"math"
	"slices"

	"retotal/ingest/problem"
	"retotal/ingest/quantity"
	"retotal/ingest/site"
	"retotal/recompute/device"
	"retotal/recompute/settings"
)

// Uncertainties follow the GUM (JCGM 100): every source is moved by a small part of its standard uncertainty,
// everything is computed again, and the change of the total, times as much, is the source's part of it: the slope, and
// not what curvature adds on one side. Parts that are the same for all readings (datum, coefficient, geometry,
// temperature, the survey behind a correction) are fully correlated over a total; the random part of a reading is not.
// The parts of independent sources add in squares.
const (
	coverage       = 2.0   // factor of an expanded uncertainty of about 95 %
	nudge          = 0.1   // by which part of its standard uncertainty a source is moved
	usualDatum     = 0.003 // m, 95 %: a tape or staff over a weir, common practice
	usualReading   = 0.002 // m, 95 %: waves and the sensor, common practice
	usualBridged   = 0.20  // relative, 95 %, common practice
	usualFilled    = 0.50
	usualEstimated = 0.20
)

// Source is one source of uncertainty.
type Source struct {
	Name     string
	Text     string  // how large, and by whom
	Input    float64 // standard uncertainty, in Unit
	Unit     string
	Random   bool // independent from reading to reading
	lane     int  // number of the lane that is moved by it, among the budget lanes; −1 for none
	relative float64
	class    Class // whose volume is in doubt, when relative is of that alone
	ofClass  bool
	sampling bool // what the flow does between readings
	joining  bool // how readings are joined over a change of settings
}

// BetweenDays reports whether the source is independent from day to day.
func (s *Source) BetweenDays() bool { return s.sampling }

// Part is what one source adds to the uncertainty of a total.
type Part struct {
	Source     *Source
	Effect     float64 // m³, of one standard uncertainty
	Difference float64 // the same on after less before
}

// Budget is the uncertainty of one total, and of what is derived from it.
type Budget struct {
	Parts      []Part
	Standard   float64 // m³, combined
	Difference float64 // m³, the same of after less before over the time that both cover: what they share cancels
	Low, High  float64 // m³, the same of the least and of the most that can have flowed, where a flow is only known between bounds
}

// Expanded is the uncertainty of about 95 %, m³.
func (b *Budget) Expanded() float64 { return coverage * b.Standard }

// ExpandedDifference is that of the difference.
func (b *Budget) ExpandedDifference() float64 { return coverage * b.Difference }

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
	low := p.Lower()
	high, _ := p.Upper()
	x = Interval{Low: math.Max(0, low-coverage*p.Budget.Low-p.Lift), High: high + coverage*p.Budget.High, Open: p.Open > 0, Lift: p.Lift}
	x.Wide = x.Open || (high-low)+p.Lift > p.Budget.Expanded()/10
	if x.Open {
		x.High = math.Inf(1)
	}
	return x, true
}

// budgeter builds the lanes that sources of uncertainty move.
type budgeter struct{ *settings.Builder }

// plan is all lanes of a run: those of the site, and those that sources of uncertainty move.
type plan struct {
	*settings.Lanes
	sources []Source
	moved   []*settings.Lane
	then    []*settings.Lane // the recorded lane moved by the same source; nil where before does not share it
}

// newPlan builds the lanes of a site.
func newPlan(s *site.Site, without []int, budget bool, found ...settings.Step) (*plan, problem.List) {
	lanes, problems := settings.NewLanes(s, without, found...)
	p := &plan{Lanes: lanes}
	if budget && problems.Err() == nil {
		b := budgeter{&settings.Builder{Site: s, Ratings: map[*site.DeviceKeys]device.Rating{}, Recorded: lanes.Recorded.Segments}}
		p.sources, p.moved, p.then = b.budget()
		b.Problems.Sort()
		problems.Add(b.Problems...)
	}
	return p, problems
}

// learn tells all lanes what the whole log shows, and reports whether a meter ends elsewhere than was thought.
func (p *plan) learn(s *site.Site, shown []settings.Extremes) (news bool) {
	return settings.Learn(s, p.Recorded, shown, slices.Concat([]*settings.Lane{p.Recorded, p.Corrected}, p.WhatIfs, p.moved))
}

// budget builds the sources of a site and the lanes that they move.
//
// A source that before shares moves a copy of the recorded lane too: by the same, so that it cancels in the difference.
func (b *budgeter) budget() (sources []Source, lanes, then []*settings.Lane) {
	u := &b.Site.Uncertainty
	moved := func(name, text, unit string, input float64, shared bool, change func(s *settings.Segment)) {
		sources = append(sources, Source{Name: name, Text: text, Input: input, Unit: unit, lane: len(lanes)})
		lanes = append(lanes, b.Moved(b.Lane(name, b.Site.Corrections), change))
		if !shared {
			then = append(then, nil)
			return
		}
		then = append(then, b.Moved(b.Lane(name, settings.Spans(b.Site.Corrections)), change))
	}
	own := func(s *settings.Segment) int { return b.surveyOf(s) }
	datum, text := orUsual(u.Datum, usualDatum, u.DatumGiven)
	moved("datum", fmt.Sprintf("%.3g mm, %s", datum*1000, text), "mm", datum/coverage*1000, true, func(s *settings.Segment) {
		if own(s) < 0 {
			s.Raise(nudge * datum / coverage)
		}
	})
	for i, c := range b.Site.Corrections {
		if c.Doubt > 0 {
			moved(fmt.Sprintf("survey of correction[%d]", i), fmt.Sprintf("%.3g mm, stated", c.Doubt*1000), "mm", c.Doubt/coverage*1000, false, func(s *settings.Segment) {
				if own(s) == i {
					s.Raise(nudge * c.Doubt / coverage)
				}
			})
		}
	}
	for _, d := range u.Device {
		b.dimension(d, moved)
	}
	if u.Air > 0 {
		moved("air temperature", fmt.Sprintf("%.3g K, stated", u.Air), "K", u.Air/coverage, true, func(s *settings.Segment) { b.Warm(s, nudge*u.Air/coverage) })
	}
	sources = append(sources, b.coefficient()...)
	random, text := orUsual(u.Reading, usualReading, u.ReadingGiven)
	sources = append(sources, Source{Name: "single readings", Text: fmt.Sprintf("%.3g mm, %s", random*1000, text), Input: random / coverage * 1000, Unit: "mm", Random: true, lane: -1})
	for _, x := range []struct {
		class Class
		share float64
		given float64
	}{{Bridged, usualBridged, u.Bridged}, {Estimated, usualEstimated, 0}, {Filled, usualFilled, u.Filled}} {
		share, text := orUsual(x.given, x.share, x.given > 0)
		sources = append(sources, Source{Name: x.class.String() + " flow", Text: fmt.Sprintf("%.3g %% of it, %s", share*100, text), Input: share / coverage * 100, Unit: "%", lane: -1, relative: share / coverage, class: x.class, ofClass: true})
	}
	if !b.Site.Log.Means {
		sources = append(sources, Source{Name: "sampling interval", Text: "what every other reading changes in the day, by the root of 3", lane: -1, sampling: true})
	}
	if len(b.Site.Settings)+len(b.Site.Corrections) > 1 {
		sources = append(sources, Source{Name: "joins over changes", Text: "what a straight line of flow and one of distance differ by, by the root of 3", lane: -1, joining: true})
	}
	return sources, lanes, then
}

func orUsual(v, usual float64, given bool) (float64, string) {
	if given {
		return v, "stated"
	}
	return usual, "common practice"
}

// surveyOf returns the correction whose own uncertainty stands for a segment's datum, −1 for none.
func (b *budgeter) surveyOf(s *settings.Segment) int {
	for i, c := range b.Site.Corrections {
		if from, until := settings.Span(c); c.Doubt > 0 && from <= s.From && s.Until <= until {
			return i
		}
	}
	return -1
}

// dimension moves one dimension of the device.
func (b *budgeter) dimension(d site.DimensionDoubt, moved func(string, string, string, float64, bool, func(*settings.Segment))) {
	moved("device "+d.Key, d.Text+", stated", "", 0, true, func(s *settings.Segment) {
		value, ok := s.Settings.Device.Values[d.Key]
		if !ok {
			b.Add(problem.At(b.Site.Places["uncertainty.device."+d.Key], fmt.Sprintf("uncertainty.device.%s: the device has no such dimension in the site file", d.Key), "a key of [settings.device]", ""))
			return
		}
		text, err := quantity.Moved(fmt.Sprint(value), d.Text, nudge/coverage)
		if err != nil {
			b.Add(problem.At(b.Site.Places["uncertainty.device."+d.Key], fmt.Sprintf("uncertainty.device.%s: %v", d.Key, err), "the unit that the device is written in", ""))
			return
		}
		keys := *s.Settings.Device
		keys.Values = map[string]any{}
		for k, v := range s.Settings.Device.Values {
			keys.Values[k] = v
		}
		keys.Values[d.Key] = text
		if r := b.Rating(&keys); r != nil {
			b.Rate(s, r)
		}
	})
}

// coefficient is the doubt of the device's coefficient: as stated, or as its source has it.
func (b *budgeter) coefficient() []Source {
	share, text := b.Site.Uncertainty.Coefficient, "stated"
	if share == 0 {
		for i := range b.Recorded {
			if r := b.Recorded[i].Rating; r != nil {
				if d := r.Describe(); d.Uncertainty > share {
					share, text = d.Uncertainty, d.UncertainBy
				}
			}
		}
	}
	if share == 0 {
		return nil
	}
	return []Source{{Name: "coefficient", Text: fmt.Sprintf("%.3g %%, %s", share*100, text), Input: share / coverage * 100, Unit: "%", lane: -1, relative: share / coverage}}
}

// addBudget works out the uncertainty of a period that has a total.
func (r *Result) addBudget(p *Period) {
	if !p.After.Missing() {
		p.Budget = r.budgetOf(p)
	}
}

// budgetOf adds up the uncertainty of a period's corrected total, of the bounds around it and of its difference from
// before. Squares is the sum of the squares of what a metre of head would change in the volume of each reading, m⁴;
// Bends the sum of the squares of what may have been missed between readings of a day, m⁶.
func (r *Result) budgetOf(p *Period) *Budget {
	b := &Budget{}
	var sum [4]float64
	for i := range r.Sources {
		s := &r.Sources[i]
		effects := r.effects(s, p)
		b.Parts = append(b.Parts, Part{s, effects[0], effects[1]})
		for k, effect := range effects {
			sum[k] += float64(effect * effect)
		}
	}
	b.Standard, b.Difference, b.Low, b.High = math.Sqrt(sum[0]), math.Sqrt(sum[1]), math.Sqrt(sum[2]), math.Sqrt(sum[3])
	return b
}

// effects are what one standard uncertainty of a source changes, m³: in after, in the difference, and in the least and
// the most that can have flowed.
func (r *Result) effects(s *Source, p *Period) [4]float64 {
	after := p.After.M3()
	low, high := p.Bracketed.of(p.After)
	same := func(v float64) [4]float64 { return [4]float64{v, v, v, v} }
	switch {
	case s.lane >= 0:
		m := &p.Moved[s.lane]
		movedLow, movedHigh := m.Bracket.of(m.After)
		effect := (m.After.M3() - after) / nudge
		return [4]float64{effect, effect - (m.Before.M3()-m.Still.M3())/nudge, (movedLow - low) / nudge, (movedHigh - high) / nudge}
	case s.Random:
		return pair(s.Input/1000*math.Sqrt(p.Squares[0]), s.Input/1000*math.Sqrt(p.Squares[1]))
	case s.sampling:
		return pair(math.Sqrt(p.Bends[0]), math.Sqrt(p.Bends[1]))
	case s.joining:
		return pair(math.Sqrt(p.Joins[0]), math.Sqrt(p.Joins[1]))
	case s.ofClass:
		return same(s.relative * p.Classes[s.class].M3())
	}
	return [4]float64{s.relative * (after + p.Beyond), s.relative * (p.Difference() + p.Beyond), s.relative * (low + p.Beyond), s.relative * (high + p.Beyond)}
}

// pair is an effect on a total and its bounds, and one on the difference.
func pair(total, difference float64) [4]float64 { return [4]float64{total, difference, total, total} }

// Halve says which single source would have to be how much better known for half the uncertainty; input is its new
// standard uncertainty. It fails when no single one can do it, and names the largest then.
func (b *Budget) Halve() (part *Part, input float64, ok bool) {
	for i := range b.Parts {
		p := &b.Parts[i]
		if part == nil || math.Abs(p.Effect) > math.Abs(part.Effect) {
			part = p
		}
	}
	if part == nil || part.Effect == 0 {
		return nil, 0, false
	}
	all := float64(b.Standard * b.Standard)
	left := all/4 - (all - float64(part.Effect*part.Effect))
	if left <= 0 {
		return part, 0, false
	}
	return part, part.Source.Input * math.Sqrt(left) / math.Abs(part.Effect), true
}
