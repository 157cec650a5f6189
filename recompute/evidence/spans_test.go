package evidence

import (
	"math"
	"testing"
	"time"

	"retotal/ingest/reading"
	"retotal/recompute/settings"
)

// TestSpansByHand: a span ends after ten readings that agree, not after nine, and is cut after a day; one that holds a
// single reading is none. Each reading here logs 3 m³/s where the lane has 1, for 10 s.
func TestSpansByHand(t *testing.T) {
	off := func(f *follower, minutes float64) { f.disagree(at(minutes), 3, 1, 0.5, 10) }
	for _, c := range []struct {
		name  string
		take  func(f *follower)
		spans []int // readings of each
	}{
		{"one", func(f *follower) { off(f, 0) }, nil},
		{"two", func(f *follower) { off(f, 0); off(f, 1) }, []int{2}},
		{"nine agree between", func(f *follower) {
			off(f, 0)
			off(f, 1)
			f.agree(4)
			f.agree(5)
			off(f, 11)
			off(f, 12)
		}, []int{4}},
		{"ten agree between", func(f *follower) {
			off(f, 0)
			off(f, 1)
			f.agree(4)
			f.agree(6)
			off(f, 12)
			off(f, 13)
		}, []int{2, 2}},
		{"nine agree twice", func(f *follower) {
			off(f, 0)
			off(f, 1)
			f.agree(9)
			off(f, 11)
			f.agree(9)
			off(f, 21)
		}, []int{4}},
		{"agree at first", func(f *follower) { f.agree(9); off(f, 0); f.agree(9); off(f, 12) }, []int{2}},
		{"just under a day", func(f *follower) { off(f, 0); off(f, 1); off(f, 1439); off(f, 1439.9) }, []int{4}},
		{"a day", func(f *follower) { off(f, 0); off(f, 1); off(f, 1440); off(f, 1441) }, []int{2, 2}},
	} {
		f := &follower{}
		c.take(f)
		var m Misfit
		f.finish(&m)
		if len(m.Spans) != len(c.spans) {
			t.Errorf("%s: %d spans", c.name, len(m.Spans))
			continue
		}
		worth := 0.0
		for i, n := range c.spans {
			s := m.Spans[i]
			if worth += 20 * float64(n); s.Readings != n || s.Logged != 30*float64(n) || s.Lane != 10*float64(n) ||
				s.Net() != 20*float64(n) || s.Largest != 2 || s.Part() != 2.0/3 || s.Lag != 0 {
				t.Errorf("%s: %+v", c.name, s)
			}
		}
		if m.Worth != worth || m.Lag != 0 {
			t.Errorf("%s: worth %g, lag %g", c.name, m.Worth, m.Lag)
		}
	}
	f := &follower{}
	off(f, 5)
	off(f, 7)
	if f.span.From != at(5) || f.span.Until != at(7) || f.span.rise != 10 {
		t.Errorf("%+v", f.span)
	}
	first := &settings.Segment{MaximumHead: math.Inf(1), MaximumFlow: 4}
	f.enter(first)
	if f.span.Readings != 0 || f.cap != 4 {
		t.Errorf("a new segment goes on with the old span: %+v, cap %g", f.span, f.cap)
	}
	off(f, 8)
	if f.enter(first); f.span.Readings != 1 {
		t.Error("the same segment ends a span")
	}
}

// TestWorthBySize: an error that cancels within a span does not cancel by the size of the flow. In one span 2 m³/s too
// much at 1 m³/s and 2 too little at 16, two readings of 10 s each: 20 + 20 m³, either way 40 by size.
func TestWorthBySize(t *testing.T) {
	f := &follower{}
	for i, flow := range []float64{1, 16, 1, 16} {
		logged := flow + 2
		if flow > 1 {
			logged = flow - 2
		}
		f.disagree(at(float64(i)), logged, flow, 0, 10)
	}
	var m Misfit
	f.finish(&m)
	if m.Worth != 80 || m.Spans[0].Net() != 0 || m.Spans[0].Part() != 0 {
		t.Errorf("worth %g, spans %+v", m.Worth, m.Spans)
	}
	for flow, want := range map[float64]int{
		-1: 0, 0: 0, 1e-300: 1, 1: 66, 1.41: 66, 1.415: 67, 2: 68, 4: 70, 0.5: 64, 0.7: 64, math.Sqrt2 / 2: 65,
		math.Ldexp(1, 40): 127, math.Ldexp(1, -32): 2, math.Ldexp(1, -33): 1, math.Ldexp(1, 30): 126,
		1.5 * math.Ldexp(1, 30): 127,
	} {
		if got := sizeOf(flow); got != want {
			t.Errorf("size of %g: %d, want %d", flow, got, want)
		}
	}
}

// TestSpansKept: the three that are worth most, in their order; standing is that of six hours or longer whose part is
// largest.
func TestSpansKept(t *testing.T) {
	span := func(logged float64, hours float64) MisfitSpan {
		return MisfitSpan{From: start, Until: start + int64(hours*float64(time.Hour)), Logged: logged, Lane: 100}
	}
	var x lagTally
	for _, s := range []MisfitSpan{
		span(90, 6), span(103, 5.999), span(101, 7), span(95, 6), span(104, 1), span(120, 5.999), span(89.9, 1),
	} {
		x.add(s)
	}
	if len(x.spans) != 3 || x.spans[0].Logged != 90 || x.spans[1].Logged != 120 || x.spans[2].Logged != 89.9 {
		t.Errorf("%+v", x.spans)
	}
	if !near(x.worth, 10+3+1+5+4+20+10.1) || x.standing.Logged != 90 {
		t.Errorf("worth %g, standing %+v", x.worth, x.standing)
	}
}

// TestLag: logged flow that follows the lane's with a lag of 0.5 readings (of those tried, 0.1 × 1.25⁷ = 0.477 comes
// nearest): what is left at the lag that is found is a twentieth of what was there, and the lag is said. The limbs rise
// and fall by turns, ten readings each.
func TestLag(t *testing.T) {
	for _, c := range []struct {
		name         string
		rise, fall   float64 // m³/s a reading
		both         bool    // the lag is on both limbs
		lag          float64
		worthAtMost  float64
		worthAtLeast float64
	}{
		{"on both limbs", 1, -1, true, 0.4768371582, 0.05, 0},
		{"on the rising limb alone", 1, -1, false, 0, 1.01, 0.99},
	} {
		f := &follower{}
		flow, minute, plain := 100.0, 0.0, 0.0
		for range 20 {
			for _, by := range []float64{c.rise, c.fall} {
				for range 10 {
					flow, minute = flow+by, minute+1
					logged := flow
					if by > 0 || c.both {
						logged -= 0.5 * by
					}
					f.disagree(at(minute), logged, flow, by, 1)
				}
				f.agree(10)
				plain += 5
			}
		}
		if !c.both {
			plain /= 2
		}
		var m Misfit
		f.finish(&m)
		if !near(m.Lag, c.lag) && math.Abs(m.Lag-c.lag) > 1e-6 {
			t.Errorf("%s: lag %g", c.name, m.Lag)
		}
		if m.Worth > c.worthAtMost*plain || m.Worth < c.worthAtLeast*plain {
			t.Errorf("%s: worth %g of %g m³", c.name, m.Worth, plain)
		}
	}
	if lagOf(0) != 0 || lagOf(1) != 0.1 || !near(lagOf(2), 0.125) || !near(lagOf(3), 0.15625) {
		t.Error(lagOf(1), lagOf(2))
	}
}

// TestLagging: a limb must have a tenth of the rise of the other, and what is left on either limb must be four fifths
// of what was there, or less.
func TestLagging(t *testing.T) {
	// lag number 1 takes a tenth of the rise
	for _, c := range []struct {
		name            string
		rising, falling sizeTally
		want            bool
	}{
		{"a fifth is gone on both", sizeTally{-50, 100}, sizeTally{50, -100}, true},
		{"less on one", sizeTally{-50, 100}, sizeTally{51, -100}, false},
		{"less on the other", sizeTally{-51, 100}, sizeTally{50, -100}, false},
		{"a tenth of the rise on one", sizeTally{-50, 100}, sizeTally{5, -10}, true},
		{"less of the rise on one", sizeTally{-50, 100}, sizeTally{4.95, -9.9}, false},
		{"a tenth of the fall on one", sizeTally{-5, 10}, sizeTally{50, -100}, true},
		{"less of the fall on one", sizeTally{-4.95, 9.9}, sizeTally{50, -100}, false},
		{"the wrong way", sizeTally{50, 100}, sizeTally{-50, -100}, false},
	} {
		f := &follower{limbs: [2]sizeTally{c.rising, c.falling}}
		if got := f.lagging(1); got != c.want {
			t.Errorf("%s: %v", c.name, got)
		}
	}
}

// TestFactorOfReadings: each reading agrees with factors between two; the one with which most agree is the middle of
// those with as many.
func TestFactorOfReadings(t *testing.T) {
	type pair [2]float64
	for _, c := range []struct {
		name  string
		list  []pair
		want  Factor
		alone bool // it explains the disagreement
	}{
		{"none", nil, Factor{Value: 1}, false},
		{"all about 1", []pair{{0.9999, 1.0001}, {1, 1.0001}}, Factor{1, 2, 2, 2}, false},
		{"1 is the upper end", []pair{{0.9999, 1}}, Factor{1, 1, 1, 1}, false},
		{"all above", []pair{{1.0001, 1.0003}, {1.0002, 1.0004}}, Factor{1.00025, 2, 2, 0}, true},
		{"all below", []pair{{0.9997, 0.9999}, {0.9996, 0.9998}}, Factor{0.99975, 2, 2, 0}, true},
		{"the highest", []pair{{1.0005, 1.1}}, Factor{1.0005, 1, 1, 0}, true},
		{"the lowest", []pair{{0.9, 0.9995}}, Factor{0.9995, 1, 1, 0}, true},
		{"beyond the highest", []pair{{1.00051, 1.1}}, Factor{1, 1, 0, 0}, false},
		{"beyond the lowest", []pair{{0.9, 0.99949}}, Factor{1, 1, 0, 0}, false},
		{"between two steps", []pair{{1.000011, 1.000019}}, Factor{1, 1, 0, 0}, false},
		{"one step", []pair{{1.000011, 1.000021}}, Factor{1.00002, 1, 1, 0}, true},
		{"half", []pair{{1.0001, 1.0001}, {0.9, 0.9}}, Factor{1.0001, 2, 1, 0}, false},
		{"as many as at 1", []pair{{1.0001, 1.0001}, {1, 1}}, Factor{1, 2, 1, 1}, false},
	} {
		var f factors
		for _, p := range c.list {
			f.add(p[0], p[1])
		}
		got := f.best()
		if math.Abs(got.Value-c.want.Value) > 1e-12 || got.Readings != c.want.Readings || got.Within != c.want.Within ||
			got.Plain != c.want.Plain || got.Explains() != c.alone {
			t.Errorf("%s: %+v, %v, want %+v", c.name, got, got.Explains(), c.want)
		}
	}
	for within, want := range map[int]bool{98: false, 99: true, 100: true} {
		if got := (Factor{1.0001, 100, within, 50}).Explains(); got != want {
			t.Errorf("%d of 100: %v", within, got)
		}
	}
	if (Factor{1.0001, 100, 99, 99}).Explains() {
		t.Error("no more than without it")
	}
}

// TestMisfitByHand: sums over readings that have a logged flow; the largest difference, the first of equal ones; those
// that differ by no more than half a step agree.
func TestMisfitByHand(t *testing.T) {
	const is, no = reading.Present, reading.Empty
	var m Misfit
	present, within, least := m.add(
		[]float64{1, 2, 3, 4, 5}, []float64{1.5, 2.25, 100, 3, 6}, []float64{10, 20, 30, 40, 50},
		[]reading.State{is, is, no, is, is}, []int64{1, 2, 3, 4, 5}, 0.5,
	)
	if present != 4 || within != 2 || least != 0.25 || m.Readings != 4 || m.Largest != 1 || m.At != 4 ||
		!near(m.Sum, 0.5+0.25-1+1) || !near(m.Lane, 10+40+160+250) || !near(m.Logged, 15+45+120+300) {
		t.Errorf("%d, %d, %g, %+v", present, within, least, m)
	}
	m.add([]float64{1}, []float64{2}, []float64{1}, []reading.State{is}, []int64{9}, 0.5)
	if m.At != 4 || m.Readings != 5 || !near(m.Mean(), 1.75/5) {
		t.Errorf("%+v", m)
	}
	m = Misfit{Readings: 4, Within: 3, Worth: 2, Logged: 8, Lane: 10}
	if m.Share() != 0.75 || m.Part() != 0.2 || (Misfit{Worth: 2, Logged: 10, Lane: 8}).Part() != 0.2 ||
		(Misfit{}).Part() != 0 || (Misfit{}).Share() != 0 || (Misfit{}).Mean() != 0 {
		t.Errorf("%g, %g", m.Share(), m.Part())
	}
	w := &FlowCheck{}
	b := hand([]float64{0, 1, 11, 21.01}, make([]float64, 4))
	w.durations(b, 0, 4)
	for i, want := range []float64{60, 60, 600, 60} {
		if !near(w.seconds[i], want) {
			t.Errorf("row %d stands for %g s, want %g", i, w.seconds[i], want)
		}
	}
	if w.durations(b, 2, 1); len(w.seconds) != 1 || !near(w.seconds[0], 600) {
		t.Errorf("%v", w.seconds)
	}
}

// TestFlowCheckByHand: Q = 0.1 m²/s × h, levels in steps of 10 mm (1 L/s) and flows of 0.2 L/s: a logged flow agrees up
// to 0.6 L/s off, and no further; more than the meter can show is counted. The rise is that since the reading before.
func TestFlowCheckByHand(t *testing.T) {
	_, l := lanes(t, "empty_distance = \"1 m\"\nmaximum_flow = \"50 L/s\"\n", "")
	b := hand([]float64{0, 1, 2, 3, 4, 20, 21, 22}, []float64{0.8, 0.7, 0.6, 0.5, 0.4, 0.6, 0.5, 0.55})
	b.Lanes.Recorded, b.Lanes.Corrected = l.Recorded, l.Corrected
	b.Site.Log.Primary = reading.Distance
	b.Log.Resolution[reading.Distance], b.Log.Resolution[reading.Flow] = 0.01, 0.0002
	for i, d := range b.Figure {
		b.Head[i] = 1 - d
		flow := math.Min(0.1*b.Head[i], 0.05)
		l.Recorded.Flow, l.Corrected.Flow = append(l.Recorded.Flow, flow), append(l.Corrected.Flow, 0.1*b.Head[i])
	}
	b.Logged = []float64{0.0206, 0.0294, 0.0406 + 1e-5, 0.05, 0.052, 0.0393, 0.05, 0.05005}
	b.LoggedState = make([]reading.State, 8)
	b.LoggedState[6] = reading.Empty
	w := NewFlowCheck(b)
	w.Add(b)
	w.Finish()
	for name, m := range map[string]Misfit{"recorded": w.Recorded, "corrected": w.Corrected} {
		if m.Readings != 7 || m.Within != 3 || m.AboveCap != 1 || m.Cap != 0.05 || !near(m.Largest, 0.00505) ||
			m.At != at(22) {
			t.Errorf("%s: %+v", name, m)
		}
		// minutes 2, 4, 20 and 22 disagree, 60 s each, the last not above the cap by its rounding; rises from
		// 0.0294, 0.05, none over the gap, and from 0.0393
		if len(m.Spans) != 1 || m.Spans[0].Readings != 4 || !near(m.Spans[0].rise, 60*(0.01121+0.002+0.01075)) ||
			!near(m.Spans[0].Logged, 60*(0.04061+0.052+0.0393+0.05005)) {
			t.Errorf("%s: %+v", name, m.Spans)
		}
	}
}

// TestRiseAfterAgreement: the rise of a reading that disagrees is that since the last one that logged a flow, also when
// it agreed in a block of its own.
func TestRiseAfterAgreement(t *testing.T) {
	_, l := lanes(t, "empty_distance = \"1 m\"\n", "")
	b := hand([]float64{0, 1, 2, 3, 4}, []float64{0.9, 0.8, 0.8, 0.7, 0.7})
	l.Recorded.Flow, l.Corrected.Flow = []float64{0.01, 0.02, 0.02, 0.03, 0.03}, []float64{0.01, 0.02, 0.02, 0.03, 0.03}
	b.Lanes.Recorded, b.Lanes.Corrected = l.Recorded, l.Corrected
	b.Log.Resolution[reading.Level], b.Log.Resolution[reading.Flow] = 0.01, 0.0002
	b.Logged = []float64{0.01, 0.02, 9, 0.035, 0.036}
	b.LoggedState = []reading.State{reading.Present, reading.Present, reading.Empty, reading.Present, reading.Present}
	w := NewFlowCheck(b)
	b.High = 3
	w.Add(b)
	b.Low, b.High = 3, 5
	w.Add(b)
	w.Finish()
	if m := w.Recorded; len(m.Spans) != 1 || !near(m.Spans[0].rise, 60*(0.015+0.001)) || m.Within != 2 {
		t.Errorf("%+v", m)
	}
}
