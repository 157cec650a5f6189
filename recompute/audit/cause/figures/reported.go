package figures

import (
	"math"
	"slices"
	"time"

	"retotal/recompute/audit/cause"
	"retotal/recompute/stat"
)

// Reported are figures that were handed in.
type Reported struct {
	Days, Months []Figure       // in order, those of which the log covers all
	All          []Figure       // of the log's days and months, reported or not
	Volumes      *cause.Volumes // of the flow, by the log's clock
	Report       *time.Location
	// Step is the log's interval, h. A meter that takes each reading for the flow up to the next one reports as if its
	// clock were off by half of it.
	Step float64
}

// Figure is one of a day or a month.
type Figure struct {
	Label       string
	From, Until int64
	Value       float64 // m³, as reported; NaN where nothing was
	Step        float64 // m³, of its last digit
	Flow        float64 // m³, by the recorded settings; NaN where they do not cover it
	// Others are what it would be by another reckoning; NaN where that does not cover it.
	Corrected, Logged, Counted float64
}

// agreesWithin is by how much a reported figure may be off and still agree, of the figure.
const agreesWithin = 0.005

func (f *Figure) agrees() bool {
	return math.Abs(f.Value-f.Flow) <= math.Max(agreesWithin*f.Flow, f.Step)
}

// Causes are those of reported figures.
func (r *Reported) Causes() (list []cause.Cause) {
	off := slices.ContainsFunc(r.Days, func(f Figure) bool { return !f.agrees() })
	if off && len(r.Days) >= fewestDays {
		if best, ok := r.ofDays(); ok {
			list = append(list, best)
		}
	}
	if x, ok := r.ofMonths(); ok {
		known := slices.ContainsFunc(list, func(c cause.Cause) bool { return c.Name == x.Name })
		if !known {
			list = append(list, x)
		}
	}
	return list
}

// days are the reported ones as figures to be explained.
func daysOf(list []Figure) *days {
	d := &days{}
	for i := range list {
		f := &list[i]
		d.at, d.end = append(d.at, f.From), append(d.end, f.Until)
		d.flow, d.figure = append(d.flow, f.Flow), append(d.figure, f.Value)
		d.least = math.Max(d.least, f.Step)
	}
	d.least = math.Max(d.least, 1e-4*stat.Median(slices.Clone(d.flow)))
	return d
}

// ofDays weighs what may stand behind reported days.
func (r *Reported) ofDays() (cause.Cause, bool) {
	list := r.Days
	// Those around which the log covers a day on either side can be moved.
	movable := slices.DeleteFunc(slices.Clone(list), func(f Figure) bool {
		return math.IsNaN(r.Volumes.Between(f.From-24*cause.HourNs, f.Until+24*cause.HourNs))
	})
	if len(movable) >= fewestDays {
		list = movable
	}
	d := daysOf(list)
	trials := d.factor("reported unit")
	trials = append(trials, r.others(list)...)
	trials = append(trials, r.register(d, list)...)
	trials = append(trials, r.repeated(d, list)...)
	if len(movable) >= fewestDays {
		d.share = roughShare
		trials = append(trials, r.elsewhere(d)...)
		trials = append(trials, r.moved(d)...)
	}
	best, ok := d.weigh(trials)
	if ok && best.again != nil && best.Unit == "h" {
		best.shiftName(r.Step / 2)
	}
	return best.Cause, ok
}

// others tries that another reckoning was reported.
func (r *Reported) others(list []Figure) (out []trial) {
	for _, o := range []struct {
		name string
		of   func(f *Figure) float64
	}{
		{"corrected figures reported", func(f *Figure) float64 { return f.Corrected }},
		{"logged flow reported", func(f *Figure) float64 { return f.Logged }},
		{"counter reported", func(f *Figure) float64 { return f.Counted }},
	} {
		t := trial{Cause: cause.Named(o.name)}
		for i := range list {
			t.predicted = append(t.predicted, o.of(&list[i]))
		}
		if !slices.ContainsFunc(t.predicted, math.IsNaN) {
			out = append(out, t)
		}
	}
	return out
}

// register tries that readings of a register were reported: each is the one before and what flowed since.
func (r *Reported) register(d *days, list []Figure) []trial {
	t := trial{Cause: cause.Named("register reported"), predicted: slices.Clone(d.flow), free: 1}
	for i := 1; i < len(list); i++ {
		v := d.flow[i]
		if list[i].From > list[i-1].Until {
			v = r.Volumes.Between(list[i-1].Until, list[i].Until)
		}
		if math.IsNaN(v) {
			v = d.flow[i]
		}
		t.predicted[i] = d.figure[i-1] + v
	}
	t.predicted[0] = d.figure[0]
	t.Value, t.Unit = d.figure[0]-d.flow[0], "m3"
	t.Low, t.High = t.Value-d.least, t.Value+d.least
	return []trial{t}
}

// mostBack is from how many days before a figure may be taken.
const mostBack = 31

// repeated tries that figures of some days stand there a second time, taken from days before.
func (r *Reported) repeated(d *days, list []Figure) (out []trial) {
	for back := 1; back <= min(mostBack, len(list)-1); back++ {
		t := trial{Cause: cause.Named("reported value repeated"), predicted: slices.Clone(d.flow), free: 1}
		n := 0
		for i := back; i < len(list); i++ {
			from := d.figure[i-back]
			if math.Abs(d.figure[i]-from) <= list[i].Step/2 && !list[i].agrees() {
				if t.predicted[i] = from; n == 0 {
					t.Since = d.at[i]
				}
				t.Until = d.end[i]
				n++
			}
		}
		if t.Value, t.Unit = float64(n), "d"; n >= 2 {
			t.Low, t.High = t.Value, t.Value
			out = append(out, t)
		}
	}
	return out
}

// elsewhere tries that days were reported under the name of others.
func (r *Reported) elsewhere(d *days) (out []trial) {
	for by := -mostBack; by <= mostBack; by++ {
		if by >= -1 && by <= 1 {
			continue // a move of the day's bound by 24 h
		}
		t := trial{Cause: cause.Named("reported from elsewhere"), free: 1}
		for i := range d.at {
			v := r.Volumes.Between(d.at[i]+int64(by)*24*cause.HourNs, d.end[i]+int64(by)*24*cause.HourNs)
			if math.IsNaN(v) {
				v = d.flow[i]
			}
			t.predicted = append(t.predicted, v)
		}
		t.Value, t.Unit = float64(by), "d"
		t.Low, t.High = t.Value, t.Value
		out = append(out, t)
	}
	return out
}

// mostShift is by how many hours the bound of the day is moved at most.
const mostShift = 24

// shifted is the flow of the days whose bounds lie so many hours later, which may change with the day.
func (r *Reported) shifted(d *days, hours func(i int) float64) []float64 {
	out := make([]float64, len(d.at))
	for i := range d.at {
		by := int64(hours(i) * float64(cause.HourNs))
		if out[i] = r.Volumes.Between(d.at[i]+by, d.end[i]+by); math.IsNaN(out[i]) {
			out[i] = d.flow[i]
		}
	}
	return out
}

// shift finds the hours by which the bounds of some days are moved.
func (r *Reported) shift(d *days, of func(i int) bool) float64 {
	loss := func(h float64) float64 {
		sum := 0.0
		for i, p := range r.shifted(d, func(int) float64 { return h }) {
			if of(i) {
				sum += d.loss(i, p)
			}
		}
		return sum
	}
	best, least := 0.0, math.Inf(1)
	for h := -mostShift; h <= mostShift; h++ {
		if x := loss(float64(h)); x < least {
			best, least = float64(h), x
		}
	}
	at, x := stat.Least(math.Max(best-1, -mostShift), math.Min(best+1, mostShift), 25, loss)
	if x < least {
		return at
	}
	return best
}

// moved tries that days begin at another hour: all of them, those from one on, and with a clock that drifts.
func (r *Reported) moved(d *days) (out []trial) {
	every := func(int) bool { return true }
	d.share = roughShare
	h := r.shift(d, every)
	if math.Abs(h) >= 0.1 {
		t := trial{Cause: cause.Named("clock offset"), predicted: r.shifted(d, func(int) float64 { return h }), free: 1,
			again: func(of func(int) bool) float64 { return r.shift(d, of) }}
		t.Value, t.Unit = h, "h"
		out = append(out, t)
	}
	out = append(out, r.movedSince(d)...)
	return append(out, r.drifting(d)...)
}

// How near to a whole hour, in hours, the interval of a bound of the day must come, and the value itself to be taken
// for it.
const (
	wholeHour = 0.03
	nearHour  = 0.1
)

// shiftName tells a bound of the day, at a whole hour of some clock, from a clock that is off: where the interval holds
// a whole hour, either may be. The interval is widened by what ways to add up readings differ by, h.
func (t *trial) shiftName(half float64) {
	t.Low, t.High = t.Low-half, t.High+half
	h := math.Round(t.Value)
	if h == 0 || h < t.Low-wholeHour || h > t.High+wholeHour {
		return
	}
	offset, bound := t.Hypothesis, cause.Named("reported day bound").Hypothesis
	if math.Abs(t.Value-h) > nearHour {
		t.AsWell = append([]string{bound.Name}, t.AsWell...)
		return
	}
	t.Hypothesis, t.Value = bound, h
	t.Low, t.High = math.Min(t.Low, h), math.Max(t.High, h)
	t.AsWell = append([]string{offset.Name}, t.AsWell...)
}

// movedSince tries that the bound of the day moves by one or two hours from a day on, or did so up to it.
func (r *Reported) movedSince(d *days) (out []trial) {
	for _, h := range []float64{-2, -1, 1, 2} {
		moved := r.shifted(d, func(int) float64 { return h })
		if predicted, at, ok := d.since(d.flow, moved); ok {
			t := trial{Cause: cause.Named("reported day bound"), predicted: predicted, free: 2}
			t.Since = d.at[at]
			r.atChange(d, &t, d.flow, moved, at)
			out = append(out, hourly(t, h))
		}
		if predicted, at, ok := d.since(moved, d.flow); ok {
			t := trial{Cause: cause.Named("reported day bound"), predicted: predicted, free: 2}
			t.Until = d.at[at]
			r.atChange(d, &t, moved, d.flow, at)
			out = append(out, hourly(t, h))
		}
	}
	return out
}

// nearChange is how much worse, in loss, a change of the bound may fit on the day on which clocks change and be taken
// for it.
const nearChange = 6

// atChange moves a change of the bound to the day on which clocks change, where it fits nearly as well there.
func (r *Reported) atChange(d *days, t *trial, before, after []float64, at int) {
	loss := func(at int) (sum float64) {
		for i := range before {
			if i < at {
				sum += d.loss(i, before[i])
			} else {
				sum += d.loss(i, after[i])
			}
		}
		return sum
	}
	least := loss(at) + nearChange
	for i := fewestSince; i < len(before)-fewestSince; i++ {
		if x := loss(i); x < least && cause.ChangesAt(d.at[i], d.end[i], r.Report) {
			least = x
			t.predicted = slices.Concat(before[:i], after[i:])
			if t.Since != 0 {
				t.Since = d.at[i]
			} else {
				t.Until = d.at[i]
			}
			t.Taken = "clocks change"
		}
	}
}

func hourly(t trial, h float64) trial {
	t.Value, t.Low, t.High, t.Unit = h, h-0.1, h+0.1, "h"
	return t
}

// Limits of a drift of the clock: s/d at most, and by what it must differ from an offset, hours over the record.
const (
	mostDrift  = 600
	leastDrift = 0.25
)

// drifting tries a clock whose offset grows from day to day.
func (r *Reported) drifting(d *days) []trial {
	n := len(d.at)
	span := float64(d.at[n-1]-d.at[0]) / float64(24*cause.HourNs) // days
	if span < 2*fewestDays {
		return nil
	}
	with := func(middle, drift float64) []float64 {
		return r.shifted(d, func(i int) float64 {
			since := float64(d.at[i]-d.at[0])/float64(24*cause.HourNs) - span/2
			return math.Min(math.Max(middle+float64(drift*since)/3600, -mostShift), mostShift)
		})
	}
	fit := func(of func(int) bool) (middle, drift float64) {
		loss := func(m, b float64) float64 {
			sum := 0.0
			for i, p := range with(m, b) {
				if of(i) {
					sum += d.loss(i, p)
				}
			}
			return sum
		}
		least := math.Inf(1)
		reach := math.Min(mostDrift, 6*3600/span*2)
		for k := -12; k <= 12; k++ {
			for h := -12; h <= 12; h++ {
				m, b := float64(h)/2, reach*float64(k)/12
				if x := loss(m, b); x < least {
					middle, drift, least = m, b, x
				}
			}
		}
		stepM, stepB := 0.5, reach/12
		for range 6 {
			middle, _ = stat.Least(middle-stepM, middle+stepM, 12, func(m float64) float64 { return loss(m, drift) })
			drift, _ = stat.Least(drift-stepB, drift+stepB, 12, func(b float64) float64 { return loss(middle, b) })
			stepM, stepB = stepM/2, stepB/2
		}
		return middle, drift
	}
	middle, drift := fit(func(int) bool { return true })
	if math.Abs(drift)*span/3600 < leastDrift {
		return nil
	}
	// A clock that is ahead by hours has a day that many hours later than it was.
	t := trial{Cause: cause.Named("clock drift"), predicted: with(middle, drift), free: 2,
		again: func(of func(int) bool) float64 { _, b := fit(of); return b }}
	t.Value, t.Unit = drift, "s/d"
	return []trial{t}
}
