package evidence

import (
	"fmt"
	"math"
	"slices"

	"retotal/ingest/problem"
	"retotal/ingest/quantity"
	"retotal/ingest/site"
	"retotal/qa"
	"retotal/recompute/block"
	"retotal/recompute/settings"
)

// Trial is what a correction makes of the readings in its span, for a judgement whether a structure allows it: heads by
// the recorded and by the corrected lane. Readings that stand for something else are left out: those at the ends of
// what the meter shows, spikes, conflicts.
type Trial struct {
	Correction    *site.Correction
	Number        int // of the correction, from 0
	Before, After Heads
	Changed       int     // readings whose head or flow the correction changes
	VolumeBefore  float64 // m³, of these readings, as the meter showed them
	VolumeAfter   float64 // m³, before screening
	Nights        int     // days with a night minimum: the lowest hourly mean of the head
	NightBefore   float64 // m, median of the night minima
	NightAfter    float64
}

// Heads is how the readings of a span stand to a device.
type Heads struct {
	Readings               int
	Least, Median, Highest float64 // m; the median to 0.1 %
	Negative               int     // below the level of zero flow by more than screening allows
	Surcharged             int     // above the least of maximum head, the device's limit of validity and its end
	Low                    int     // below the lowest head of validity
	// Far is over three times the highest expected head, 10 m where none is known, or as far below zero.
	Far int
	// Inside is above zero flow and below the end of channel and device or, where none is known, within three times the
	// highest expected head.
	Inside int
}

// farBeyond is how many times the highest expected head still counts as inside a device of which no end is known;
// common practice.
const farBeyond = 3

// Deepest is more than heads usually are, m, where nothing says how high they can be; common practice.
const Deepest = 10

// Outside is how many are negative, above the highest expected head or below validity.
func (h *Heads) Outside() int { return h.Negative + h.Surcharged + h.Low }

// noTrial are the flags of readings that are left out.
const noTrial = qa.Conflict | qa.Unusable | qa.SensorRange | qa.Blanking | qa.Spike | qa.CutOff | qa.Capped

// Trials follows all corrections of a site. A trial costs two tallies of fixed size, and two numbers a day.
type Trials struct {
	list  []trial
	heads []float64 // memory
}

// NewTrials prepares the stage for a pass.
func NewTrials(s *site.Site) *Trials { return &Trials{list: make([]trial, len(s.Corrections))} }

type trial struct {
	Trial
	before, after       headTally
	nights              nights
	seen                int
	leastFlow, mostFlow float64 // logged so far
	guess               float64 // m, the last head that was searched for
}

// Of logs of flows, whose heads by the recorded lane must be searched for, every reading is tried at first, then one in
// so many and any beyond the extremes.
const (
	trialAll   = 4096
	trialEvery = 7 // no divisor of what repeats in a log
)

// Add takes in the rows of a block, before screening changes their flows.
func (t *Trials) Add(b *block.Block) {
	if len(t.list) == 0 {
		return
	}
	b.EachSegment(b.Corrected.Lane, b.Low, b.High, func(s *settings.Segment, low, high int) {
		if len(s.Corrections) == 0 {
			return
		}
		b.EachSegment(b.Recorded.Lane, low, high, func(recorded *settings.Segment, low, high int) {
			if !b.OfFlow {
				t.heads = slices.Grow(t.heads[:0], high-low)[:high-low]
				recorded.Heads(t.heads, b.Time[low:high], b.Figure[low:high], b.AirOf(low, high))
			}
			for _, k := range s.Corrections {
				t.list[k].add(b, t.heads, s, recorded, low, high)
			}
		})
	})
}

// fewestInside is one in how many readings must stand inside the device by the recorded settings: in a channel that is
// all but dry, a correction may well leave none.
const fewestInside = 100

// Refused returns problems with corrections that leave no reading inside the device, above zero flow and below its
// limit, where the recorded settings have some. sure = true overrules it.
func Refused(trials []Trial) (problems problem.List) {
	for i := range trials {
		t := &trials[i]
		if t.Before.Inside == 0 || fewestInside*t.Before.Inside < t.Before.Readings ||
			t.After.Inside > 0 || t.Correction.Sure {
			continue
		}
		found := fmt.Sprintf("%s leaves no reading of the log inside the device: "+
			"heads lie between %s and %s m (recorded: %s to %s m)",
			problem.Entry("correction", t.Number, t.Correction.Place.Line),
			quantity.Digits(t.After.Least, 4), quantity.Digits(t.After.Highest, 4),
			quantity.Digits(t.Before.Least, 4), quantity.Digits(t.Before.Highest, 4))
		problems.Add(problem.At(
			t.Correction.Place,
			found,
			"heads above zero flow and below the end of channel and device",
			"check unit and sign, or write sure = true in the correction if it is so",
		))
	}
	return problems
}

// add takes in rows of one segment of either lane, with their heads by the recorded one where the log holds levels.
func (t *trial) add(b *block.Block, heads []float64, s, recorded *settings.Segment, low, high int) {
	below := b.Limits.BelowZero
	lowest, lowestThen := s.Rating.Limits().Low, recorded.Rating.Limits().Low
	for i := low; i < high; i++ {
		if b.Flags[i]&noTrial != 0 {
			continue
		}
		head, then := b.Head[i], 0.0
		known := !b.OfFlow
		if known {
			then = heads[i-low]
		} else if known = t.wanted(b.Figure[i]); known {
			t.guess = settings.Inverse(recorded.Rating, b.Figure[i], t.guess)
			then = t.guess
		}
		if known {
			t.before.add(then, recorded, lowestThen, below)
			t.after.add(head, s, lowest, below)
			t.nights.add(b, i, then, head)
		}
		t.flow(b, i, known && math.Abs(then-head) > 1e-9)
	}
}

// wanted reports whether the head of a flow is to be searched for.
func (t *trial) wanted(flow float64) bool {
	if t.seen++; t.seen == 1 {
		t.leastFlow, t.mostFlow = flow, flow
	}
	beyond := flow < t.leastFlow || flow > t.mostFlow
	t.leastFlow, t.mostFlow = min(t.leastFlow, flow), max(t.mostFlow, flow)
	return beyond || t.seen <= trialAll || t.seen%trialEvery == 0
}

// flow takes in the flows of a row.
func (t *trial) flow(b *block.Block, i int, moved bool) {
	before, after := b.Recorded.Flow[i], b.Corrected.Flow[i]
	if moved || math.Abs(after-before) > 1e-9*max(after, before) {
		t.Changed++
	}
	if i > 0 && !b.Log.Gap(b.Time[i-1], b.Time[i]) {
		seconds := float64(b.Time[i]-b.Time[i-1]) * 1e-9
		t.VolumeBefore, t.VolumeAfter = t.VolumeBefore+float64(before*seconds), t.VolumeAfter+float64(after*seconds)
	}
}

// Finish returns the trials of the corrections of a site, those that had no readings to be tried on too.
func (t *Trials) Finish(s *site.Site) (list []Trial) {
	for k := range t.list {
		x := &t.list[k]
		x.nights.close()
		x.Correction, x.Number = &s.Corrections[k], k
		x.Before, x.After = x.before.heads(), x.after.heads()
		x.Nights, x.NightBefore, x.NightAfter = x.nights.medians()
		list = append(list, x.Trial)
	}
	return list
}

// headTally counts heads: by how they stand to the device, and in bins, of which the median is taken. A bin is as wide
// as 1/512 of the octave that it lies in, and keeps the first head that came into it, so that the median of a log in
// millimetres is exact below half a metre.
type headTally struct {
	Heads
	bins [2][]headBin // of heads below zero, and from zero up
}

type headBin struct {
	head float64
	n    int
}

// Bins span 2⁻¹² to 2⁸ m.
const (
	binShift = 14 // of the 23 bits of a float32's fraction, 9 are kept
	binFirst = (127 - 12) << 9
	binCount = 20 << 9
)

// add takes in one head.
func (t *headTally) add(h float64, s *settings.Segment, lowest, below float64) {
	if t.Readings == 0 {
		t.Least, t.Highest = h, h
	}
	t.Readings++
	t.Least, t.Highest = min(t.Least, h), max(t.Highest, h)
	switch {
	case h < -below:
		t.Negative++
	case h > s.Usual:
		t.Surcharged++
	case h > 0 && h < lowest:
		t.Low++
	}
	if far := farBeyond * s.Usual; math.Abs(h) > far || math.IsInf(far, 1) && math.Abs(h) > Deepest {
		t.Far++
	}
	if h > 0 && h <= min(s.Top, farBeyond*s.Usual) {
		t.Inside++
	}
	side := 1
	if h < 0 {
		side = 0
	}
	if t.bins[side] == nil {
		t.bins[side] = make([]headBin, binCount)
	}
	number := int(math.Float32bits(float32(math.Abs(h)))>>binShift) - binFirst
	bin := &t.bins[side][min(max(number, 0), binCount-1)]
	if bin.n == 0 {
		bin.head = h
	}
	bin.n++
}

// heads returns the counts with the median, the lower of two in the middle.
func (t *headTally) heads() Heads {
	h, left := t.Heads, (t.Readings+1)/2
	for side, bins := range t.bins {
		for i := range bins {
			bin := &bins[i]
			if side == 0 {
				bin = &bins[len(bins)-1-i] // deepest first
			}
			if left -= bin.n; left <= 0 && bin.n > 0 {
				h.Median = bin.head
				return h
			}
		}
	}
	return h
}

// nights gathers the night minima of both lanes.
type nights struct {
	hour          int64
	day           int
	before, after float64 // sums of the hour at hand
	n             int
	minima        [2][]float64 // by day; +Inf where there is none
}

// add takes in the heads of row i.
func (n *nights) add(b *block.Block, i int, before, after float64) {
	if at := block.HourOf(b.Time[i]); at != n.hour || n.n == 0 {
		n.close()
		n.hour, n.day = at, b.Day(b.Time[i])
	}
	n.before, n.after, n.n = n.before+before, n.after+after, n.n+1
}

// close ends the hour at hand.
func (n *nights) close() {
	if n.n == 0 {
		return
	}
	for lane, sum := range []float64{n.before, n.after} {
		for len(n.minima[lane]) <= n.day {
			n.minima[lane] = append(n.minima[lane], math.Inf(1))
		}
		n.minima[lane][n.day] = min(n.minima[lane][n.day], sum/float64(n.n))
	}
	n.before, n.after, n.n = 0, 0, 0
}

// medians returns the median night minimum of either lane.
func (n *nights) medians() (days int, before, after float64) {
	var medians [2]float64
	for lane, minima := range n.minima {
		list := slices.DeleteFunc(slices.Clone(minima), func(v float64) bool { return math.IsInf(v, 1) })
		slices.Sort(list)
		if days = len(list); days > 0 {
			medians[lane] = (list[(days-1)/2] + list[days/2]) / 2
		}
	}
	return days, medians[0], medians[1]
}
