package recompute

import (
	"fmt"
	"math"

	"retotal/ingest/problem"
	"retotal/ingest/reading"
	"retotal/ingest/site"
	"retotal/qa"
	"retotal/recompute/settings"
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
	Bracketed  Bracket        // of the time in which a flow is only known between bounds
	Edges      Edges          // of means whose interval holds a bound of the period
	Open       int64          // ns, of it the time in which nothing bounds the flow from above
	Parts      Parts          // of the difference
	Others     []Other        // of a month: the recorded lane's volume under other bounds of the day
	WhatIf     []Volume       // of the what-if lanes, in their order
	Moved      []MovedVolumes // of the lanes that sources of uncertainty move
	Beyond     float64        // see Result.budgetOf, m³
	Squares    [2]float64     // the same, of after and of the difference, m⁴
	Bends      [2]float64     // the same, m⁶
	Joins      [2]float64     // the same, m⁶
	Lift       float64        // m³, by how much noise of the readings may lift the total
	Budget     *Budget        // nil when it was not asked for, or nothing is covered
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

// Bracket is time in which a flow is only known between bounds.
type Bracket struct {
	Counted   Volume // what counts of it in the total
	Low, High Volume // the least and the most that flowed; High is Low where nothing bounds it
}

func (b *Bracket) merge(o Bracket) {
	b.Counted.merge(o.Counted)
	b.Low.merge(o.Low)
	b.High.merge(o.High)
}

// of returns the least and the most of a total that the bracket is a part of.
func (b *Bracket) of(total Volume) (low, high float64) {
	v, counted := total.M3(), b.Counted.M3()
	return v - counted + b.Low.M3(), v - counted + b.High.M3()
}

// Edges are the parts of a mean or volume that stand inside and outside of a period's bounds when it is spread evenly
// over its interval, m³. The truth may be all of it on either side.
type Edges struct{ StartIn, StartOut, EndIn, EndOut float64 }

// MovedVolumes are the volumes of a period when one source of uncertainty is moved.
type MovedVolumes struct {
	After         Volume
	Bracket       Bracket
	Before, Still Volume // of what the meter showed, moved and not, over the readings that count
}

// Parts is what the difference of after and before is made of, beside the settings and screening.
type Parts struct {
	Kept           Volume // what a meter with the corrected settings would have shown, over the time of before
	Lost, LostKept Volume // before, and kept, in time that after does not cover
	FilledKept     Volume // kept in time that is filled
	Gained         Volume // filled in time that before does not cover
	Limits         Volume // what the meter could not show of the corrected flow, and the log still knows
	Drowned        Volume // drowned flow less free flow
}

func (p *Parts) merge(o Parts) {
	for _, x := range [][2]*Volume{{&p.Kept, &o.Kept}, {&p.Lost, &o.Lost}, {&p.LostKept, &o.LostKept}, {&p.FilledKept, &o.FilledKept},
		{&p.Gained, &o.Gained}, {&p.Limits, &o.Limits}, {&p.Drowned, &o.Drowned}} {
		x[0].merge(*x[1])
	}
}

// Lower is the least that can have flowed in the time that the corrected total covers, m³.
func (p *Period) Lower() float64 {
	low, _ := p.Bracketed.of(p.After)
	return math.Max(math.Min(low, 0), low-p.Edges.StartIn-p.Edges.EndIn)
}

// Upper is the most, false when nothing bounds it.
func (p *Period) Upper() (m3 float64, known bool) {
	_, high := p.Bracketed.of(p.After)
	return high + p.Edges.StartOut + p.Edges.EndOut, p.Open == 0
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
	s.Settings = (x.Kept.M3() - x.LostKept.M3()) - p.CommonBefore()
	s.Limits, s.Drowned = x.Limits.M3(), x.Drowned.M3()
	if filled := p.Classes[Filled]; !filled.Missing() {
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

func (p *Period) merge(o *Period) {
	if p.After.Covered == 0 && p.Edges == (Edges{}) {
		p.Edges = o.Edges
	}
	p.Edges.EndIn, p.Edges.EndOut = o.Edges.EndIn, o.Edges.EndOut
	p.Before.merge(o.Before)
	p.After.merge(o.After)
	p.Logged.merge(o.Logged)
	p.Counted.merge(o.Counted)
	p.Passed.merge(o.Passed)
	p.Bracketed.merge(o.Bracketed)
	p.Parts.merge(o.Parts)
	p.Open += o.Open
	p.WhatIf = mergeAll(p.WhatIf, o.WhatIf)
	if p.Moved == nil {
		p.Moved = make([]MovedVolumes, len(o.Moved))
	}
	for i := range o.Moved {
		p.Moved[i].merge(&o.Moved[i])
	}
	for k := range p.Squares {
		p.Squares[k] += o.Squares[k]
		p.Bends[k] += o.Bends[k]
		p.Joins[k] += o.Joins[k]
	}
	p.Beyond += o.Beyond
	p.Lift += o.Lift
	for c := range p.Classes {
		p.Classes[c].merge(o.Classes[c])
	}
}

func (m *MovedVolumes) merge(o *MovedVolumes) {
	m.After.merge(o.After)
	m.Bracket.merge(o.Bracket)
	m.Before.merge(o.Before)
	m.Still.merge(o.Still)
}

// Result is everything that a run found.
type Result struct {
	Site                *site.Site
	Facts               reading.Facts // of the log
	Readings            int           // handed over by the log
	Recorded, Corrected *settings.Lane
	WhatIfs             []*settings.Lane
	Visits              []Residual
	Sources             []Source      // of uncertainty
	Draws               *Draws        // of a Monte Carlo check; nil when none was asked for
	Match               *Match        // how a donor's flows and ours go together, where missing time is filled from one
	Beside              []site.Beside // files that were read beside site file and log
	Warnings            problem.List
	Refused             problem.List     // corrections that no structure allows: the result is not to be used
	moved               []*settings.Lane // by them
	sampler             *sampler
	calendar            *total.Calendar
	from, until         int64 // the report's period
	Changes             []ChangePoint
	Pattern             Pattern
	Statistics          Statistics
	hours               *Profile       // filled only in a run whose hours are wanted
	Rulings             []RulingResult // their effects are for the caller to fill in, by runs without each
	Limits              qa.Limits
	Days, Months        []Period
	Total               Period
	Flags               []FlagSummary
	Events              []*Event
	Witness             Witness
	Drowned             Drowned
	Rollovers           int
	PhysicalMost        float64 // m³/s, the most that channel or device can carry, see physicalMost; +Inf when nothing says it
	RegisterChanges     int     // declared changes of the counter that lay between two readings
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

// finish processes the rows still held back and returns the result.
func (e *Engine) finish() (*Result, error) {
	if err := e.advance(true); err != nil {
		return nil, err
	}
	e.after.finish(e)
	r := &Result{Site: e.site, Facts: *e.log, Readings: e.taken, Recorded: e.recorded, Corrected: e.corrected, Limits: e.screener.Limits, Events: e.events.list,
		Flags: e.events.summary(e), Witness: e.witness.finish(), Drowned: e.drowned, Rollovers: e.counter.Rollovers, Falls: e.counter.Falls, RegisterChanges: e.counter.Changed, Visits: e.visits.list}
	r.hours, r.Trials = &e.hours, e.trials.finish(e)
	for i := range e.rulings.list {
		r.Rulings = append(r.Rulings, RulingResult{Ruling: &e.rulings.list[i], Rows: e.rulings.rows[i]})
	}
	for _, w := range e.whatIfs[:e.asked] {
		r.WhatIfs = append(r.WhatIfs, w.lane)
	}
	e.periods(r)
	for _, w := range e.whatIfs[e.asked:] {
		r.moved = append(r.moved, w.lane)
	}
	r.sampler = e.sampler
	e.knowDrowned()
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
	r.PhysicalMost = physicalMost(e.corrected, e.log.From, e.log.Till)
	e.addOthers(r)
	r.Statistics.Peak, r.Statistics.PeakAt, r.Statistics.PeakMean, r.Statistics.PeakMeanAt = e.peaks.peak, e.peaks.peakAt, e.peaks.mean, e.peaks.meanAt
	return r, nil
}

// periods collects days, months and the whole.
func (e *Engine) periods(r *Result) {
	start, end := max(e.log.From, e.from), min(e.log.Till, e.until)
	if e.ofIntervals() && e.primary != reading.Counter {
		start = max(e.log.Begins(e.log.From), e.from)
	}
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
	p.Bracketed, p.Open = e.after.brackets.volumes(i)
	p.Parts = e.after.parts.volumes(e, i)
	for k, w := range e.whatIfs {
		v := ofSeries(w.series, i)
		if k < e.asked {
			p.WhatIf = append(p.WhatIf, v)
			continue
		}
		m := MovedVolumes{After: v}
		m.Bracket, _ = w.brackets.volumes(i)
		if w.beside != nil {
			m.Before, m.Still = w.beside.volumes(i)
		}
		p.Moved = append(p.Moved, m)
	}
	if i < len(e.bends) {
		for k, v := range e.bends[i] {
			p.Bends[k] = float64(v*v) / 3
		}
	}
	if i < len(e.squares) {
		p.Squares = e.squares[i]
		p.Lift = e.curves[i].lift()
	}
	if i < len(e.edges) {
		p.Edges = e.edges[i]
	}
	if i < len(e.joins) {
		p.Joins = e.joins[i]
	}
	if i < len(e.beyond) {
		p.Beyond = e.beyond[i]
	}
	for c := range e.after.series {
		p.Classes[c].Sum, p.Classes[c].Covered = e.after.series[c].Volume(i)
		p.After.merge(p.Classes[c])
	}
	return p
}

// ofSeries is the volume of a series on day i.
func ofSeries(s *total.Series, i int) (v Volume) {
	v.Sum, v.Covered = s.Volume(i)
	return v
}

// volumes are those of day i, and the time in which nothing bounds the flow from above.
func (x *brackets) volumes(i int) (b Bracket, open int64) {
	_, open = x.open.Volume(i)
	return Bracket{ofSeries(x.counted, i), ofSeries(x.lower, i), ofSeries(x.upper, i)}, open
}

// volumes are the parts of the difference on day i.
func (p *parts) volumes(e *Engine, i int) Parts {
	out := Parts{Lost: ofSeries(p.lost, i), LostKept: ofSeries(p.lostKept, i), FilledKept: ofSeries(p.filledKept, i), Gained: ofSeries(p.gained, i),
		Limits: ofSeries(p.limits, i), Drowned: ofSeries(p.drowned, i)}
	if e.kept == nil { // nothing was corrected: the same to the last bit
		out.Kept, out.LostKept = ofSeries(e.before, i), out.Lost
		return out
	}
	out.Kept = ofSeries(e.kept, i)
	return out
}

// steps are the steps found in the log, as defensible onsets of a correction.
func (r *Result) steps() (list []settings.Step) {
	for _, p := range r.Changes {
		if !p.Drift {
			list = append(list, settings.Step{At: p.At, What: fmt.Sprintf("a step of %+.2g %s in the %s", p.Size, p.Unit, p.Statistic)})
		}
	}
	return list
}
