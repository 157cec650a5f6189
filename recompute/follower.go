package recompute

import (
	"math"
	"slices"
)

// Rules for spans of readings that disagree, common practice.
const (
	StandingSpan  = 6 * int64(36e11)  // ns
	quietReadings = 10                // that agree in a row end a span
	longestSpan   = 24 * int64(36e11) // ns; longer disagreement is counted by spans of this length, lest it cancel
	keptSpans     = 3
)

// follower follows one lane reading by reading.
type follower struct {
	segment  *Segment
	cap      float64 // m³/s, the most that a meter with these settings shows
	last     float64 // m³/s, of the lane
	lastTime int64
	all      tally // every reading that disagrees
	others   tally // without those that lie between the lane's flow and the one before
	factors  factors
}

// enter begins a segment: other settings, another disagreement.
func (f *follower) enter(s *Segment) {
	if f.segment == s {
		return
	}
	f.all.close()
	f.others.close()
	f.segment, f.lastTime, f.cap = s, math.MinInt64/2, s.maximumFlow
	if !math.IsInf(s.maximumHead, 1) {
		f.cap = math.Min(f.cap, s.Rating.Flow(s.maximumHead))
	}
}

// agree takes in readings that agree.
func (f *follower) agree(n int) {
	f.all.quiet(n)
	f.others.quiet(n)
}

// disagree takes in a reading that disagrees.
func (f *follower) disagree(at int64, logged, flow, seconds float64) {
	f.all.disagree(at, logged, flow, seconds)
	f.others.disagree(at, logged, flow, seconds)
}

// lagging is the part of the readings off that must lie between the lane's flow and the one before to say that the logged flow lags: an error in the
// settings puts no more than about half of them there.
const lagging = 0.9

// finish puts what was found into the misfit.
func (f *follower) finish(m *Misfit) {
	t := &f.all
	if float64(m.Lagged) >= lagging*float64(m.Readings-m.Within) {
		t = &f.others
	} else {
		m.Lagged = 0
	}
	t.close()
	sizes := 0.0
	for _, net := range t.sizes {
		sizes += math.Abs(net)
	}
	m.Worth, m.Spans, m.Standing = math.Max(t.worth, sizes), t.spans, t.standing
	m.Factor = f.factors.best()
}

// tally works out what disagreement is worth, in m³: the net difference of each span in which readings disagree, whatever its sign, or the net difference at
// each size of flow, if that is more: an error that grows with flow may cancel over a day. A reading that disagrees alone is none.
type tally struct {
	span   MisfitSpan
	agreed int // readings since the last of the span
	worth  float64
	sizes  [128]float64 // net by the size of the lane's flow, two to an octave, m³
	first  struct {
		size int
		net  float64
	} // of a span of one reading
	spans    []MisfitSpan
	standing MisfitSpan
}

// quiet takes in readings that agree.
func (t *tally) quiet(n int) {
	if t.span.Readings == 0 {
		return
	}
	if t.agreed += n; t.agreed >= quietReadings {
		t.close()
	}
}

// disagree takes in a reading that disagrees.
func (t *tally) disagree(at int64, logged, flow, seconds float64) {
	if t.span.Readings > 0 && at-t.span.From >= longestSpan {
		t.close()
	}
	if t.span.Readings == 0 {
		t.span.From = at
	}
	t.agreed = 0
	t.span.Until = at
	t.span.Readings++
	t.span.Logged, t.span.Lane = t.span.Logged+float64(logged*seconds), t.span.Lane+float64(flow*seconds)
	t.span.Largest = math.Max(t.span.Largest, math.Abs(logged-flow))
	size, net := sizeOf(flow), float64((logged-flow)*seconds)
	switch t.span.Readings {
	case 1:
		t.first.size, t.first.net = size, net
		return
	case 2:
		t.sizes[t.first.size] += t.first.net
	}
	t.sizes[size] += net
}

// sizeOf numbers half octaves of flow, from 2⁻³² m³/s.
func sizeOf(flow float64) int {
	if flow <= 0 {
		return 0
	}
	fraction, power := math.Frexp(flow)
	size := 2 * (power + 32)
	if fraction >= math.Sqrt2/2 {
		size++
	}
	return min(max(size, 1), 127)
}

// close ends a span.
func (t *tally) close() {
	if t.span.Readings > 1 {
		t.worth += math.Abs(t.span.Net())
		t.keep(t.span)
		if t.span.Until-t.span.From >= StandingSpan && t.span.Part() > t.standing.Part() {
			t.standing = t.span
		}
	}
	t.span, t.agreed = MisfitSpan{}, 0
}

// keep keeps the spans that are worth most.
func (t *tally) keep(s MisfitSpan) {
	if t.spans = append(t.spans, s); len(t.spans) <= keptSpans {
		return
	}
	least := 0
	for i := range t.spans {
		if math.Abs(t.spans[i].Net()) < math.Abs(t.spans[least].Net()) {
			least = i
		}
	}
	t.spans = slices.Delete(t.spans, least, least+1)
}
