package mistakes

import (
	"math"
	"slices"
	"time"

	"retotal/recompute/explain"
	"retotal/testdata/records"
)

// reading is one row of a log under way: the figures as they are, and the flow that counts as right.
type reading struct {
	at                int64 // ns since 1970
	head, flow, sound float64
	wrong             bool // under the mistake
}

// log writes the case down as a logger would.
func (b *build) log() *Case {
	rows := b.readings()
	b.delay(rows)
	if b.noise == HourMeans {
		rows = means(rows, int(time.Hour/b.interval))
		b.interval = time.Hour
	}
	rows = b.lose(rows)
	volume := 0.0
	for _, x := range rows {
		volume += x.sound * b.interval.Seconds()
	}
	b.write(rows)
	c := &Case{Truth: b.truth, Volume: volume, Record: explain.Record{
		Interval: int64(b.interval), LevelStep: b.levelStep, FlowStep: b.flowStep,
		Kind: b.device.kind, Dimensions: b.device.settings, MaximumHead: b.maximumHead,
		MaximumFlow: b.right.limit, CutOff: b.right.cutOff, FlowFactor: 1, Means: b.noise == HourMeans,
	}}
	for _, x := range rows {
		c.Record.Pairs = append(c.Record.Pairs, explain.Pair{At: x.at, Head: x.head, Flow: x.flow})
	}
	if b.onset > 0 {
		b.window(c, rows)
	}
	c.Right = b.twins(c.Truth)
	if b.random.IntN(8) == 0 {
		c.Record.LevelStep, c.Record.FlowStep = 0, 0
	}
	return c
}

// readings are what the meter has at each instant. Right is what the recorded settings make of the true head; before
// the onset of a mistake what the meter showed, be its equation another one or not.
func (b *build) readings() []reading {
	recorded := b.right
	recorded.rating = b.device.rate(b.device.sizes, false)
	rows := make([]reading, len(b.heads))
	for i, h := range b.heads {
		x := reading{at: records.Begin.UnixNano() + int64(i)*int64(b.interval), head: h, wrong: i >= b.onset}
		x.flow, x.sound = b.wrong.show(h), recorded.show(h)
		if !x.wrong {
			x.flow = b.right.show(h)
			x.sound = x.flow
		}
		rows[i] = x
	}
	return rows
}

// delay lets the flow be of another instant than the level: of half an interval to three before it, or after, or passed
// through a filter of first order.
func (b *build) delay(rows []reading) {
	if b.noise != NotOneTime {
		return
	}
	by := between(b.random, 0.5, 3) // intervals
	flows := make([]float64, len(rows))
	for i, x := range rows {
		flows[i] = x.flow
	}
	switch b.random.IntN(4) {
	case 0:
		shift(rows, flows, -by)
	case 1, 2:
		shift(rows, flows, by)
	default:
		shown, share := flows[0], 1-math.Exp(-1/by)
		for i, q := range flows {
			shown += share * (q - shown)
			rows[i].flow = shown
		}
	}
}

// shift takes the flow of each row from so many intervals before it.
func shift(rows []reading, flows []float64, by float64) {
	last := float64(len(flows) - 1)
	for i := range rows {
		place := math.Min(math.Max(float64(i)-by, 0), last-1e-6)
		k := int(place)
		rows[i].flow = flows[k] + (flows[k+1]-flows[k])*(place-float64(k))
	}
}

// means are the means of so many rows each, at the time of the first.
func means(rows []reading, of int) (out []reading) {
	for ; len(rows) >= of; rows = rows[of:] {
		m := reading{at: rows[0].at, wrong: rows[of/2].wrong}
		for _, x := range rows[:of] {
			m.head += x.head / float64(of)
			m.flow += x.flow / float64(of)
			m.sound += x.sound / float64(of)
		}
		out = append(out, m)
	}
	return out
}

// lose makes gaps: a few of hours to two days; in set two some single readings too.
func (b *build) lose(rows []reading) []reading {
	for range b.random.IntN(5) {
		n := int(magnitude(b.random, 2, 48) * float64(time.Hour) / float64(b.interval))
		if at := b.random.IntN(len(rows)); at+n < len(rows)-1 && n < len(rows)/10 {
			rows = slices.Delete(rows, at, at+n)
		}
	}
	if b.set == 2 {
		rows = slices.DeleteFunc(rows, func(reading) bool { return b.random.IntN(200) == 0 })
	}
	return rows
}

// write rounds the figures to the steps of the log. In set two the level is a distance from a face that is no whole
// number of steps above zero flow, it has some noise that the flow has not, and the clock is up to 2 s late.
func (b *build) write(rows []reading) {
	zero := 0.0
	if b.set == 2 {
		zero = b.random.Float64() * b.levelStep
	}
	var flows []float64
	for _, x := range rows {
		flows = append(flows, x.flow)
	}
	slices.Sort(flows)
	scatter := 0.0
	middle := flows[len(flows)/2]
	b.flowStep = stepOf(0.01*middle, 0.1e-3)
	if b.noise == Coarse {
		if b.random.IntN(2) == 0 {
			scatter = 0.015
		} else {
			b.flowStep = stepOf(0.03*middle, math.Inf(1))
		}
	}
	for i := range rows {
		x := &rows[i]
		if b.set == 2 {
			x.head += 0.2 * b.levelStep * b.random.ExpFloat64() * one(b.random, -1.0, 1)
			x.at += int64(b.random.IntN(2001)) * int64(time.Millisecond)
		}
		x.head = math.Round((x.head+zero)/b.levelStep)*b.levelStep - zero
		x.flow = math.Round(x.flow*(1+scatter*b.random.NormFloat64())/b.flowStep) * b.flowStep
	}
}

// stepOf is the largest of 1, 2 and 5 times a power of ten that is not above a size, nor above a greatest.
func stepOf(size, greatest float64) float64 {
	size = math.Max(math.Min(size, greatest), 1e-6) * (1 + 1e-9)
	ten := math.Pow(10, math.Floor(math.Log10(size)))
	for _, m := range []float64{5, 2} {
		if m*ten <= size {
			return m * ten
		}
	}
	return ten
}

// window finds the instants between which the onset may as well lie: both settings agree there within the steps of the
// log, or nothing is logged. A flow that is not of the level's instant widens it by three intervals.
func (b *build) window(c *Case, rows []reading) {
	first := slices.IndexFunc(rows, func(x reading) bool { return x.wrong })
	agree := func(x reading) bool {
		before, after := b.right.show(x.head), b.wrong.show(x.head)
		return math.Abs(after-before) <= b.tolerance(&b.wrong, x.head, 1)
	}
	low, high := first, first
	for low > 1 && agree(rows[low-1]) {
		low--
	}
	for high < len(rows)-1 && agree(rows[high]) {
		high++
	}
	c.OnsetLow, c.OnsetHigh = rows[max(low-1, 0)].at, rows[high].at
	if b.noise == NotOneTime {
		c.OnsetLow, c.OnsetHigh = c.OnsetLow-3*int64(b.interval), c.OnsetHigh+3*int64(b.interval)
	}
	c.Truth.Since = rows[first].at
}

// tolerance is how far two flows at a head may differ and look alike: a step of the flow, a part of a step of the
// level, and the scatter of coarse flows.
func (b *build) tolerance(m *meter, head, part float64) float64 {
	const by = 0.0005
	slope := math.Abs(m.show(head+by)-m.show(head-by)) / (2 * by)
	tolerance := b.flowStep + part*b.levelStep*slope
	if b.noise == Coarse {
		tolerance += part * 0.03 * m.show(head)
	}
	return tolerance
}
