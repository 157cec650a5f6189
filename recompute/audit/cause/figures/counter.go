package figures

import (
	"cmp"
	"math"
	"slices"

	"retotal/recompute/audit/cause"
	"retotal/recompute/stat"
)

// Counter is what a meter's counter and its flow have over the same time.
type Counter struct {
	Hours []cause.Hour
	Days  []Day // that both cover, in order
	Falls []Fall
	Step  float64 // m³, of the counter
	// Shift is the flow at an instant of a head that lies so many metres above that of a flow by the recorded settings;
	// nil where the log holds no level.
	Shift func(at int64, flow, datum float64) float64
}

// Day is a reporting day.
type Day struct {
	From, Until int64
	Flow        float64 // m³, as logged, or by the recorded settings where the log has no flow
	Counted     float64
	Rated       float64 // m³ by the recorded settings; NaN where these are Flow, or cover another time
}

// Fall is a step down of the counter that no rollover and no declared change is.
type Fall struct {
	At       int64
	From, To float64 // m³
}

// Causes are those of the counter.
func (c *Counter) Causes() (list []cause.Cause) {
	cause.Join(c.Hours)
	k := c.usual()
	list = append(list, c.set(k)...)
	list = append(list, c.standing(k)...)
	d := c.days(list)
	if len(d.flow) < fewestDays {
		return list
	}
	var trials []trial
	for _, try := range []func(*days) []trial{c.scaled, c.multiplied, c.cutOff, c.logCutOff, c.settings} {
		d.share = roughShare
		trials = append(trials, try(d)...)
	}
	best, ok := d.weigh(trials)
	if !ok {
		return list
	}
	if best.Name == "flow scaled after the meter" { // of which the settings on file are the witness
		best.AsWell = slices.DeleteFunc(best.AsWell, func(n string) bool { return n == "counter multiplier" })
	}
	if best.Name == "counter multiplier" {
		c.date(d, &best.Cause)
	}
	return append(list, best.Cause)
}

// days are those in which nothing happened to the counter.
func (c *Counter) days(events []cause.Cause) *days {
	d := &days{least: 2 * c.Step}
	for _, x := range c.Days {
		happened := slices.ContainsFunc(events, func(e cause.Cause) bool {
			return e.Since < x.Until && max(e.Until, e.Since+1) > x.From
		})
		if !happened {
			d.at, d.end = append(d.at, x.From), append(d.end, x.Until)
			d.flow, d.figure = append(d.flow, x.Flow), append(d.figure, x.Counted)
		}
	}
	if len(d.flow) > 0 {
		d.least = math.Max(d.least, 0.001*stat.Median(slices.Clone(d.flow)))
	}
	return d
}

// usual is the usual ratio of counter and flow of an hour that has both; 1 where there is none.
func (c *Counter) usual() float64 {
	var list []float64
	for _, d := range c.Days {
		if d.Flow > 0 && d.Counted > 0 {
			list = append(list, d.Counted/d.Flow)
		}
	}
	if len(list) == 0 {
		return 1
	}
	return stat.Median(list)
}

// set tells that the counter was set back or replaced: of each fall, what it began with says which; so does a rise that
// no flow makes.
func (c *Counter) set(k float64) (list []cause.Cause) {
	for _, f := range c.Falls {
		near := cause.Within(c.Hours, f.At-2*cause.HourNs, f.At+2*cause.HourNs)
		passed := 0.0
		for _, h := range near {
			if h.Flow > 0 {
				passed += h.Flow * k
			}
		}
		x := cause.Named("counter replaced")
		if f.To <= 2*c.Step+2*passed {
			x = cause.Named("counter reset")
		}
		x.Value, x.Low, x.High, x.Unit = f.To, f.To, f.To, "m3"
		x.Since, x.Until, x.Worth = f.At, f.At+1, f.To-f.From
		list = append(list, x)
	}
	return append(list, c.leaps()...)
}

// Limits of a rise that no flow makes, common practice.
const (
	leapTimes = 20 // what the hours around count at most
	leapSteps = 50 // of the counter
	leapHours = 12 // on either side
)

// leaps finds hours in which the counter went on by more than any flow makes.
func (c *Counter) leaps() (list []cause.Cause) {
	for i, h := range c.Hours {
		if !(h.Counted > leapSteps*c.Step) {
			continue
		}
		most := 0.0
		for _, o := range c.Hours[max(0, i-leapHours):min(len(c.Hours), i+leapHours+1)] {
			if o.At != h.At && o.Counted > most {
				most = o.Counted
			}
		}
		if most > 0 && h.Counted > leapTimes*most && h.Counted > leapTimes*h.Flow {
			x := cause.Named("counter replaced")
			x.Value, x.Low, x.High, x.Unit = h.Counted, h.Counted, h.Counted, "m3"
			x.Since, x.Until, x.Worth = h.At, h.At+cause.HourNs, h.Counted-h.Flow
			list = append(list, x)
		}
	}
	return list
}

// Limits of a counter that stands, common practice.
const (
	standingHours = 20
	standingSteps = 5
)

// standing finds spells in which the counter does not move while the flow, at its usual size, would have made it.
func (c *Counter) standing(k float64) (list []cause.Cause) {
	mean, n := 0.0, 0
	for _, h := range c.Hours {
		if h.Flow >= 0 {
			mean, n = mean+h.Flow, n+1
		}
	}
	mean /= float64(max(n, 1))
	for i := 0; i < len(c.Hours); {
		end, passed := i, 0.0
		for end < len(c.Hours) && c.Hours[end].Counted == 0 && c.Hours[end].Flow >= 0 &&
			(end == i || c.Hours[end].At-c.Hours[end-1].At == cause.HourNs) {
			passed += c.Hours[end].Flow
			end++
		}
		if n := end - i; n >= standingHours && passed > 0.5*mean*float64(n) && passed*k > standingSteps*c.Step &&
			c.countsElsewhere(i, end) {
			x := cause.Named("counter standing")
			x.Value, x.Unit = float64(n), "h"
			x.Low, x.High = x.Value, x.Value+2
			x.Since, x.Until, x.Worth = c.Hours[i].At, c.Hours[end-1].At+cause.HourNs, -passed
			list = append(list, x)
		}
		i = max(end, i+1)
	}
	return list
}

// countsElsewhere reports whether the counter counts, in most other hours, flows no larger than those of a spell of
// hours: else it is its cut-off that hides them.
func (c *Counter) countsElsewhere(from, until int) bool {
	var flows []float64
	for _, h := range c.Hours[from:until] {
		flows = append(flows, h.Flow)
	}
	slices.Sort(flows)
	most := stat.Percentile(flows, 0.75)
	counts, others := 0, 0
	for i, h := range c.Hours {
		if (i < from || i >= until) && h.Flow > 0.5*most && h.Flow <= most && h.Counted >= 0 {
			if others++; h.Counted > 0 {
				counts++
			}
		}
	}
	return 2*counts > others
}

// ratedWithin is how near the counter must come to what the settings on file make of the level, for these to be those
// of the meter: they are reckoned from a level in whole steps of the log.
const ratedWithin = 0.02

// scaled tries that the counter has what the settings on file make of the level, and the flow a multiple of it.
func (c *Counter) scaled(d *days) []trial {
	var rated []float64
	for i := range d.at {
		k := slices.IndexFunc(c.Days, func(x Day) bool { return x.From == d.at[i] })
		if r := c.Days[k].Rated; r > 0 {
			rated = append(rated, d.figure[i]/r)
		}
	}
	by := func(of func(int) bool) float64 { return 1 / d.ratio(of) }
	k := by(func(int) bool { return true })
	if len(rated) < len(d.at) || math.Abs(stat.Median(rated)-1) > ratedWithin || !(math.Abs(k-1) > 2*ratedWithin) {
		return nil
	}
	t := trial{Cause: cause.Named("flow scaled after the meter"), predicted: d.times(1 / k), again: by}
	t.Value, t.Unit = k, "x"
	return []trial{t}
}

func (c *Counter) multiplied(d *days) []trial { return d.factor("counter multiplier") }

// date finds the hour from which on, or up to which, a factor is there.
func (c *Counter) date(d *days, x *cause.Cause) {
	at := max(x.Since, x.Until)
	if at == 0 {
		return
	}
	k, best, least := x.Value, at, math.Inf(1)
	hours := cause.Within(c.Hours, at-2*24*cause.HourNs, at+2*24*cause.HourNs)
	off := func(h *cause.Hour, k float64) float64 {
		if !(h.Flow > 0) || !(h.Counted >= 0) {
			return 0
		}
		return math.Abs(h.Counted-k*h.Flow) / math.Max(h.Flow, h.Counted)
	}
	for i := 0; i <= len(hours); i++ {
		sum := 0.0
		for j := range hours {
			if (j >= i) == (x.Since != 0) {
				sum += off(&hours[j], k)
			} else {
				sum += off(&hours[j], 1)
			}
		}
		if sum < least && i < len(hours) {
			best, least = hours[i].At, sum
		}
	}
	if x.Since != 0 {
		x.Since = best
	} else {
		x.Until = best
	}
}

// byDay adds up what of says of the hours of each day.
func (c *Counter) byDay(d *days, of func(h *cause.Hour) float64) []float64 {
	out := make([]float64, len(d.at))
	for i := range d.at {
		hours := cause.Within(c.Hours, d.at[i], d.end[i])
		flow := 0.0
		for k := range hours {
			flow += hours[k].Flow
			out[i] += of(&hours[k])
		}
		if !(flow > 0) || math.IsNaN(out[i]) {
			out[i] = d.flow[i]
		} else {
			out[i] *= d.flow[i] / flow // days that begin within an hour
		}
	}
	return out
}

// flows are those of the hours, sorted, m³.
func (c *Counter) flows() (list []float64) {
	for i := range c.Hours {
		if c.Hours[i].Flow > 0 {
			list = append(list, c.Hours[i].Flow)
		}
	}
	slices.Sort(list)
	return list
}

// above is the volume of the part of an hour in which the flow is not below one, along a line between what it has at
// its beginning and at its end, m³ and m³/h.
func above(h *cause.Hour, q float64) float64 {
	low, high := math.Min(h.Begins, h.Ends), math.Max(h.Begins, h.Ends)
	switch {
	case math.IsNaN(low) || low == high:
		if h.Flow < q {
			return 0
		}
		return h.Flow
	case q <= low:
		return h.Flow
	case q >= high:
		return 0
	}
	part, whole := (high*high-q*q)/(2*(high-low)), (high+low)/2
	return h.Flow * part / whole
}

// An hour whose flow is so near to a cut-off, as a share, may be hidden in part: what it counts says nothing. So few of
// the hours may be.
const (
	nearCut = 0.08
	fewNear = 0.2
)

// narrow reports whether few hours, of sorted flows, lie near a cut-off.
func narrow(flows []float64, q float64) bool {
	low, _ := slices.BinarySearch(flows, (1-nearCut)*q)
	high, _ := slices.BinarySearch(flows, (1+nearCut)*q)
	return float64(high-low) <= fewNear*float64(len(flows))
}

// mostCut is the share of the hours that a cut-off hides at most.
const mostCut = 0.7

// cutOff tries that the counter counts nothing below a flow.
func (c *Counter) cutOff(d *days) []trial {
	flows := c.flows()
	if len(flows) < 24 {
		return nil
	}
	with := func(q float64) []float64 {
		return c.byDay(d, func(h *cause.Hour) float64 {
			near := math.Abs(h.Flow-q) < nearCut*q && narrow(flows, q)
			if near && h.Counted >= 0 && h.Counted <= h.Flow {
				return h.Counted
			}
			return above(h, q)
		})
	}
	loss := func(q float64) float64 { return d.score(&trial{predicted: with(q)}) }
	best, least := 0.0, math.Inf(1)
	low, high := 0.0, 0.0
	for _, spread := range []float64{0.05, roughShare} { // first roughly: far off, every loss is alike
		d.share = spread
		best, least = 0, math.Inf(1)
		var tried, losses []float64
		for p := 1; p <= 100; p++ {
			q := stat.Percentile(flows, mostCut*float64(p)/100)
			x := loss(q)
			tried, losses = append(tried, q), append(losses, x)
			if x < least {
				best, least = q, x
			}
		}
		low, high = best, best
		for i, x := range losses {
			if x < least+2*alikeWithin {
				low, high = math.Min(low, tried[i]), math.Max(high, tried[i])
			}
		}
	}
	if q, x := stat.Least(low, high, 20, loss); x < least {
		best = q
	}
	t := trial{Cause: cause.Named("counter cut-off"), predicted: with(best), free: 1}
	t.Value, t.Unit = best/3.6, "L/s"
	t.Low, t.High = low/3.6*0.98, high/3.6*1.02
	c.parted(&t.Cause)
	return []trial{t}
}

// fewestParted is how many hours must lie near a cut-off for them to say where it is.
const fewestParted = 10

// parted sets a cut-off to where it parts the hours that the counter counts from those that it does not, and the
// interval to flows that part them as well but for a tenth of those that no flow parts.
func (c *Counter) parted(x *cause.Cause) {
	var near []cause.Hour
	for _, h := range c.Hours {
		if q := h.Flow / 3.6; q > 0.6*x.Value && q < 1.5*x.Value && h.Counted >= 0 {
			near = append(near, h)
		}
	}
	if len(near) < fewestParted {
		return
	}
	slices.SortFunc(near, func(a, b cause.Hour) int { return cmp.Compare(a.Flow, b.Flow) })
	counts := func(h *cause.Hour) bool { return 2*h.Counted > h.Flow }
	wrong := make([]int, len(near)+1) // hours on the wrong side of a cut-off below hour k
	for k := range near {
		if !counts(&near[k]) {
			wrong[0]++
		}
	}
	for k := range near {
		if wrong[k+1] = wrong[k] - 1; counts(&near[k]) {
			wrong[k+1] = wrong[k] + 1
		}
	}
	least := slices.Min(wrong)
	allowed := least + max(1, least/10)
	first := slices.IndexFunc(wrong, func(n int) bool { return n <= allowed })
	last := len(wrong) - 1
	for wrong[last] > allowed {
		last--
	}
	best := slices.Index(wrong, least)
	at := func(k int) float64 { return near[min(max(k, 0), len(near)-1)].Flow / 3.6 }
	x.Value, x.Low, x.High = (at(best-1)+at(best))/2, 0.98*at(first-1), 1.02*at(last)
}

// logCutOff tries that the log hides flow that the counter has: in the hours in which it has none, or hardly any.
func (c *Counter) logCutOff(d *days) []trial {
	flows := c.flows()
	if len(flows) < 24 {
		return nil
	}
	var counted []float64
	hidden, hours := 0.0, 0
	for i := range c.Hours {
		if h := &c.Hours[i]; h.Flow == 0 && h.Counted >= 0 {
			hidden, hours = hidden+h.Counted, hours+1
			counted = append(counted, h.Counted)
		}
	}
	if hours*50 < len(c.Hours) || hidden < standingSteps*c.Step || hidden <= 0 {
		return nil
	}
	slices.Sort(counted)
	edge := 1.1*stat.Percentile(counted, 0.95) + c.Step // an hour that is hidden in part has hardly more
	low := func(h *cause.Hour) bool { return h.Flow < edge }
	predicted := c.byDay(d, func(h *cause.Hour) float64 {
		if low(h) && h.Counted >= 0 {
			return h.Counted
		}
		return h.Flow
	})
	for i := range predicted { // whole days without flow
		if d.flow[i] == 0 {
			predicted[i] = d.figure[i]
		}
	}
	t := trial{Cause: cause.Named("log cut-off"), predicted: predicted, free: 2}
	t.Value, t.Unit = hidden/float64(hours)/3.6, "L/s"
	t.Low, t.High = t.Value, t.Value
	return []trial{t}
}

// mostDatum is the most, in metres, by which the counter's datum is tried to be another.
const mostDatum = 0.15

// settings tries that the counter is rated with another datum than the flow.
func (c *Counter) settings(d *days) []trial {
	if c.Shift == nil {
		return nil
	}
	with := func(by float64) []float64 {
		return c.byDay(d, func(h *cause.Hour) float64 {
			if !(h.Flow > 0) {
				return h.Flow
			}
			return 3600 * c.Shift(h.At, h.Flow/3600, by)
		})
	}
	fit := func(of func(int) bool) float64 {
		loss := func(by float64) float64 {
			sum := 0.0
			for i, p := range with(by) {
				if of(i) {
					sum += d.loss(i, p)
				}
			}
			return sum
		}
		best, least := 0.0, math.Inf(1)
		for by := -mostDatum; by <= mostDatum; by += mostDatum / 20 {
			if x := loss(by); x < least {
				best, least = by, x
			}
		}
		best, _ = stat.Least(best-mostDatum/20, best+mostDatum/20, 30, loss)
		return best
	}
	d.share = 0.05
	by := fit(func(int) bool { return true })
	if math.Abs(by) < 0.002 {
		return nil
	}
	t := trial{Cause: cause.Named("counter settings"), predicted: with(by), free: 1}
	t.Value, t.Unit = 1000*by, "mm"
	t.again = func(of func(int) bool) float64 { return 1000 * fit(of) }
	return []trial{t}
}
