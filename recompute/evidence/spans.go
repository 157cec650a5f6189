package evidence

import (
	"math"
	"slices"

	"retotal/recompute/settings"
)

// Rules for spans of readings that disagree, common practice.
const (
	StandingSpan  = 6 * int64(36e11)  // ns
	quietReadings = 10                // that agree in a row end a span
	longestSpan   = 24 * int64(36e11) // ns; longer disagreement is counted by spans of this length, lest it cancel
	keptSpans     = 3
	lagSteps      = 32  // of the lags that are tried, each a quarter longer than the one before
	shortestLag   = 0.1 // readings
	limbShare     = 0.1 // of the rise on one limb must stand on the other
	lagGain       = 0.8 // what a lag must leave of the disagreement, or less, to be said
)

// lagOf is one of the lags that are tried, in readings: none, then from shortestLag to about 100.
func lagOf(k int) float64 {
	if k == 0 {
		return 0
	}
	return shortestLag * math.Pow(1.25, float64(k-1))
}

// follower works out what the disagreement of one lane is worth, in m³: the net difference of each span in which
// readings disagree, whatever its sign, or the net difference at each size of flow, if that is more: an error that
// grows with flow may cancel over a day. A reading that disagrees alone is none.
//
// Meters damp their flow: it lags behind the level, by lag × its own rise since the reading before (first-order damping
// exactly, an average nearly). Over a span that adds up to the rise over the whole, so that any lag can be taken out of
// the span's net difference afterwards. The lag that leaves least is taken.
type follower struct {
	segment *settings.Segment
	cap     float64 // m³/s, the most that a meter with these settings shows
	last    float64 // m³/s, logged
	lastAt  int64
	span    MisfitSpan
	agreed  int            // readings since the last of the span
	first   disagreement   // of the span
	sizes   [128]sizeTally // by the size of the lane's flow, two to an octave
	lags    [lagSteps]lagTally
	limbs   [2]sizeTally // of rising and of falling flow
	factors factors
}

// disagreement is one reading.
type disagreement struct {
	size int
	sizeTally
}

// sizeTally is a net difference and the rise beside it, both m³.
type sizeTally struct{ net, rise float64 }

// lagTally is what is left when a lag is taken out.
type lagTally struct {
	worth    float64
	spans    []MisfitSpan
	standing MisfitSpan
}

// enter begins a segment: other settings, another disagreement.
func (f *follower) enter(s *settings.Segment) {
	if f.segment == s {
		return
	}
	f.close()
	f.segment, f.cap = s, s.MaximumFlow
	if !math.IsInf(s.MaximumHead, 1) {
		f.cap = min(f.cap, s.Rating.Flow(s.MaximumHead))
	}
}

// agree takes in readings that agree, the last of which logged a flow.
func (f *follower) agree(n int) {
	if f.span.Readings == 0 {
		return
	}
	if f.agreed += n; f.agreed >= quietReadings {
		f.close()
	}
}

// disagree takes in a reading that disagrees; rise is by how much the logged flow rose since the one before.
func (f *follower) disagree(at int64, logged, flow, rise, seconds float64) {
	if f.span.Readings > 0 && at-f.span.From >= longestSpan {
		f.close()
	}
	if f.span.Readings == 0 {
		f.span.From = at
	}
	f.agreed = 0
	f.span.Until = at
	f.span.Readings++
	f.span.Logged, f.span.Lane = f.span.Logged+float64(logged*seconds), f.span.Lane+float64(flow*seconds)
	f.span.rise += float64(rise * seconds)
	f.span.Largest = max(f.span.Largest, math.Abs(logged-flow))
	d := disagreement{sizeOf(flow), sizeTally{float64((logged - flow) * seconds), float64(rise * seconds)}}
	switch f.span.Readings {
	case 1:
		f.first = d
		return
	case 2:
		f.addSize(f.first)
	}
	f.addSize(d)
}

func (f *follower) addSize(d disagreement) {
	f.sizes[d.size].net += d.net
	f.sizes[d.size].rise += d.rise
	limb := &f.limbs[0]
	if d.rise < 0 {
		limb = &f.limbs[1]
	}
	limb.net += d.net
	limb.rise += d.rise
}

// lagging reports whether a lag is what the disagreement looks like: too little while flow rises and too much while it
// falls. A fault of some hours on one limb looks like a lag there and nowhere else.
func (f *follower) lagging(k int) bool {
	rising, falling := &f.limbs[0], &f.limbs[1]
	if least := min(rising.rise, -falling.rise); least < limbShare*max(rising.rise, -falling.rise) {
		return false
	}
	for _, limb := range []*sizeTally{rising, falling} {
		if math.Abs(limb.net+float64(lagOf(k)*limb.rise)) > lagGain*math.Abs(limb.net) {
			return false
		}
	}
	return true
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
func (f *follower) close() {
	if f.span.Readings > 1 {
		for k := range f.lags {
			span := f.span
			span.Lag = float64(lagOf(k) * span.rise)
			f.lags[k].add(span)
		}
	}
	f.span, f.agreed = MisfitSpan{}, 0
}

// add takes in a span.
func (t *lagTally) add(s MisfitSpan) {
	t.worth += math.Abs(s.Net())
	if s.Until-s.From >= StandingSpan && s.Part() > t.standing.Part() {
		t.standing = s
	}
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

// worth is what is left of the disagreement when a lag is taken out, m³.
func (f *follower) worth(k int) float64 {
	sizes := 0.0
	for _, s := range f.sizes {
		sizes += math.Abs(s.net + float64(lagOf(k)*s.rise))
	}
	return max(f.lags[k].worth, sizes)
}

// finish puts what was found into the misfit.
func (f *follower) finish(m *Misfit) {
	f.close()
	best := 0
	for k := range f.lags {
		if f.worth(k) < f.worth(best) {
			best = k
		}
	}
	if f.worth(best) > lagGain*f.worth(0) || !f.lagging(best) {
		best = 0
	}
	m.Lag, m.Worth, m.Spans, m.Standing = lagOf(best), f.worth(best), f.lags[best].spans, f.lags[best].standing
	m.Factor = f.factors.best()
}

// MisfitSpan is a stretch of readings that disagree.
type MisfitSpan struct {
	From, Until  int64 // first and last of them
	Readings     int
	Logged, Lane float64 // m³
	Largest      float64 // m³/s
	Lag          float64 // m³ that the logged flow lags behind its level, see Misfit
	rise         float64 // m³, of the logged flow from reading to reading
}

// Net is what the logged flow is worth more than the lane's, without its lag, m³.
func (s *MisfitSpan) Net() float64 { return s.Logged - s.Lane + s.Lag }

// Part is the net difference as a part of the span's own volume.
func (s *MisfitSpan) Part() float64 {
	if s.Net() == 0 {
		return 0
	}
	return math.Abs(s.Net()) / max(s.Logged, s.Lane)
}
