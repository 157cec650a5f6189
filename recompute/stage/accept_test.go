package stage

import (
	"math"
	"testing"
	"time"

	"retotal/ingest/site"
	"retotal/qa"
	"retotal/recompute/block"
	"retotal/recompute/fill"
	"retotal/recompute/settings"
	"retotal/recompute/total"
)

// deciding is a stage whose last accepted reading is at 100 ns, with a longest bridge of 10 ns and so much to fill.
func deciding(any bool, x stretch, fills int64) *Accept {
	a := &Accept{Joins: Joins{bridge: 10, filler: fill.Filler{Rule: site.FillHold, Limit: fills}}, stretch: x}
	a.last.At, a.last.Any = 100, any
	return a
}

// decided is the step of such a stage to the one row of a block.
func decided(a *Accept, b *block.Block, now int64) *block.Step {
	b.Time[0] = now
	x, s := &a.stretch, &block.Step{Last: a.last.Accepted}
	s.Apart = x.gap || x.leftOut
	a.Decide(b, s, x.dropped > 0)
	return s
}

// TestFateOfTime: what becomes of the time since the last accepted reading, by the rules: no line over a gap or over
// what was left out; over dropped readings up to the longest bridge; then what the filler takes.
func TestFateOfTime(t *testing.T) {
	left, gap, one := stretch{leftOut: true, dropped: 1}, stretch{gap: true}, stretch{dropped: 1}
	for _, c := range []struct {
		name     string
		any      bool
		x        stretch
		fills    int64
		now      int64
		fate     block.Fate
		hopeless bool
	}{
		{"nothing before", false, stretch{}, 99, 101, block.Begins, true},
		{"neighbours", true, stretch{}, 0, 500, block.Joined, true},
		{"shortest bridge but one", true, one, 0, 109, block.Joined, false},
		{"longest bridge", true, one, 0, 110, block.Joined, false},
		{"beyond it", true, one, 0, 111, block.Lost, true},
		{"beyond it, filled", true, one, 11, 111, block.ToFill, false},
		{"beyond it, too long to be filled", true, one, 10, 111, block.Lost, true},
		{"a gap", true, gap, 0, 105, block.Lost, true},
		{"a gap, filled", true, gap, 5, 105, block.ToFill, false},
		{"left out", true, left, 4, 105, block.Lost, true},
		{"left out, filled", true, left, 5, 105, block.ToFill, false},
	} {
		a := deciding(c.any, c.x, c.fills)
		if got := decided(a, hand([]float64{0}, []float64{1}), c.now).Fate; got != c.fate {
			t.Errorf("%s: fate %d, want %d", c.name, got, c.fate)
		}
		if c.x == (stretch{}) && c.any {
			continue // nothing was dropped
		}
		if got := a.hopeless(c.now); got != c.hopeless {
			t.Errorf("%s: hopeless %v", c.name, got)
		}
	}
}

// TestBridgesOfMeans: dropped means are bridged up to the longest bridge, unless something was left out or is missing.
func TestBridgesOfMeans(t *testing.T) {
	one := stretch{dropped: 1}
	for _, c := range []struct {
		name  string
		any   bool
		x     stretch
		opens int64
		want  bool
	}{
		{"longest", true, one, 110, true}, {"longer", true, one, 111, false}, {"nothing before", false, one, 105, false},
		{"shortest", true, one, 101, true}, {"no time between", true, one, 100, false},
		{"none dropped", true, stretch{}, 105, false}, {"left out", true, stretch{dropped: 1, leftOut: true}, 105, false},
		{"a gap", true, stretch{dropped: 1, gap: true}, 105, false},
	} {
		b := hand([]float64{0}, []float64{1})
		b.Means, b.Log.Interval = true, 1000
		s := decided(deciding(c.any, c.x, 0), b, c.opens+1000)
		if s.Bridges != c.want || s.From != c.opens {
			t.Errorf("%s: %v, from %d", c.name, s.Bridges, s.From)
		}
	}
}

// TestClassOfAStep: over dropped readings bridged, then bounded where either end is, then estimated where either is
// drowned; a mean stands for itself. Between bounds is what is held, and where both bounds differ.
func TestClassOfAStep(t *testing.T) {
	exact, held := settings.Exactly(2), settings.Bound{Held: true, Lower: 2, Upper: 2}
	loose := settings.Bound{Lower: 1, Upper: 2}
	for _, c := range []struct {
		name     string
		means    bool
		dropped  int
		last, at settings.Bound
		was, is  qa.Flags
		class    total.Class
		open     bool
	}{
		{"plain", false, 0, exact, exact, 0, 0, total.Measured, false},
		{"one dropped", false, 1, exact, exact, 0, 0, total.Bridged, false},
		{"one dropped before what is held", false, 1, exact, held, 0, 0, total.Bridged, true},
		{"a mean after one dropped", true, 1, exact, exact, 0, 0, total.Measured, false},
		{"held", false, 0, exact, held, 0, qa.Drowned, total.Bounded, true},
		{"after what is held", false, 0, held, exact, 0, 0, total.Bounded, true},
		{"a mean after what is held", true, 0, held, exact, 0, 0, total.Measured, false},
		{"a mean that is held", true, 0, exact, held, 0, 0, total.Bounded, true},
		{"drowned", false, 0, exact, loose, 0, qa.Drowned, total.Estimated, true},
		{"after one that is drowned", false, 0, loose, exact, qa.Drowned, 0, total.Estimated, true},
		{"a mean after bounds that differ", true, 0, loose, exact, 0, 0, total.Measured, false},
	} {
		b := hand([]float64{0, 1}, []float64{2, 2})
		b.Means, b.Flags[1] = c.means, c.is
		s := counts(b, 1, block.Joined)
		s.Bound, s.Last.Bound, s.Last.Flags = c.at, c.last, c.was
		a := deciding(true, stretch{dropped: c.dropped}, 0)
		if class, open := a.classOf(b, &s); class != c.class || open != c.open {
			t.Errorf("%s: %s, %v", c.name, class, open)
		}
	}
}

// accepts runs the stage over a block, whose spikes are bridged, conflicts left out and heads below zero taken for
// zero.
func accepts(b *block.Block) *Accept {
	b.Actions = map[qa.Flags]site.Action{
		qa.Spike: site.Bridge, qa.Conflict: site.LeaveOut, qa.BelowZero: site.Zero, qa.Gap: site.LeaveOut,
	}
	b.Drops = qa.Spike | qa.Conflict | qa.BelowZero | qa.Gap
	b.Limits.BridgeLimit = 3 * time.Minute
	a := NewAccept(b, fill.Filler{})
	a.Add(b)
	return a
}

// TestAcceptByHand: flows of 1 m³/s by the minute with a spike of 5 that is bridged; one of 3 that is taken for zero;
// at the end one of 7 that is left out, whose time is lost. What every reading kept would have given stands beside it.
func TestAcceptByHand(t *testing.T) {
	b := hand([]float64{0, 1, 2, 3, 4, 5, 6}, []float64{1, 1, 5, 1, 3, 1, 7})
	b.Flags[2], b.Flags[4], b.Flags[6] = qa.Spike, qa.BelowZero, qa.Conflict
	a := accepts(b)
	classes := a.Classes(0)
	holds(t, "measured", classes[total.Measured], 60+30+30, 3)
	holds(t, "bridged", classes[total.Bridged], 120, 2)
	holds(t, "bounded", classes[total.Bounded], 0, 0)
	if math.Abs(a.Tail-60*4) > 1e-9 {
		t.Errorf("tail %g, want (1 + 7)/2 of a minute", a.Tail)
	}
	for i, used := range []bool{true, true, false, true, true, true, false} {
		if b.Used[i] != used {
			t.Errorf("row %d: used %v", i, b.Used[i])
		}
	}
	type step struct {
		kind      block.Kind
		low, high int
		fate      block.Fate
		pends     bool
		next      bool
		volume    float64
		raw       float64 // m³ if all were kept
	}
	want := []step{
		{block.Counts, 0, 1, block.Begins, false, false, 0, 0},
		{block.Run, 1, 2, 0, false, false, 0, 0},
		{block.Drops, 2, 3, 0, false, false, 0, 0},
		{block.Counts, 3, 4, block.Joined, true, false, 120, 60 * (3 + 3)},
		{block.Counts, 4, 5, block.Joined, false, true, 30, 60 * 2},
		{block.Counts, 5, 6, block.Joined, false, true, 30, 60 * 2}, // no run: the one before counts for another flow
		{block.Drops, 6, 7, 0, false, false, 0, 0},
	}
	if len(b.Steps) != len(want) {
		t.Fatalf("%d steps: %+v", len(b.Steps), b.Steps)
	}
	for i, s := range b.Steps {
		volume, raw := math.Round(s.Volume*1e6)/1e6, math.Round(s.Unscreened*1e6)/1e6
		got := step{s.Kind, s.Low, s.High, s.Fate, s.Pends, s.Next, volume, raw}
		if got != want[i] || s.Hopeless != (i == 6) {
			t.Errorf("step %d: %+v, want %+v", i, got, want[i])
		}
	}
	if b.Corrected.Flow[4] != 0 {
		t.Errorf("counted %g in place of zero", b.Corrected.Flow[4])
	}
}

// TestAcceptOverAGap: nothing is put over a gap, and nothing would be if every reading were kept.
func TestAcceptOverAGap(t *testing.T) {
	b := hand([]float64{0, 1, 20, 21}, []float64{1, 3, 5, 7})
	b.Flags[2] = qa.Gap
	a := accepts(b)
	holds(t, "measured", a.Classes(0)[total.Measured], 60*(2+6), 2)
	if s := b.Steps[2]; s.Fate != block.Lost || !s.Pends || s.Next || s.Unscreened != 0 || s.Volume != 0 {
		t.Errorf("%+v", s)
	}
}

// TestAcceptMeans: a mean counts for its own interval; a dropped one is bridged by the mean of those on both sides.
func TestAcceptMeans(t *testing.T) {
	b := hand([]float64{1, 2, 3, 4}, []float64{1, 9, 3, 4})
	b.Means, b.Flags[1] = true, qa.Spike
	a := accepts(b)
	holds(t, "measured", a.Classes(0)[total.Measured], 60*(1+3+4), 3)
	holds(t, "bridged", a.Classes(0)[total.Bridged], 60*2, 1)
	s := b.Steps[2]
	if math.Abs(s.Volume-120-180) > 1e-9 || s.Covered != 2*minute ||
		math.Abs(s.Unscreened-60*(9+3)) > 1e-9 || s.From != b.Time[1] || !s.Bridges {
		t.Errorf("%+v", s)
	}
}

// TestRunsEndAtChanges: a run of clean rows ends before a row at which the settings of any lane change; at the row
// itself they have.
func TestRunsEndAtChanges(t *testing.T) {
	for _, c := range []struct {
		at   float64 // minutes
		runs [][2]int
	}{
		{2, [][2]int{{1, 2}, {3, 5}}}, {1.5, [][2]int{{1, 2}, {3, 5}}}, {2.5, [][2]int{{1, 3}, {4, 5}}}, {9, [][2]int{{1, 5}}},
	} {
		for kind := range 4 {
			b := hand([]float64{0, 1, 2, 3, 4}, []float64{1, 1, 1, 1, 1})
			l := plain(1, 1, 1, 1, 1)
			if kind == 3 {
				l = b.Corrected
			}
			cut := start + int64(c.at*float64(minute))
			l.Segments = append(l.Segments, l.Segments[0])
			l.Segments[0].Until, l.Segments[1].From = cut, cut
			still := plain(1, 1, 1, 1, 1)
			switch kind {
			case 0:
				b.WhatIfs = []*block.Lane{l}
			case 1:
				b.Moved = []block.Moved{{After: l}}
			case 2:
				b.Moved = []block.Moved{{After: still, Before: l}}
			}
			accepts(b)
			var runs [][2]int
			for _, s := range b.Steps {
				if s.Kind == block.Run {
					runs = append(runs, [2]int{s.Low, s.High})
				}
			}
			if len(runs) != len(c.runs) || runs[0] != c.runs[0] || runs[len(runs)-1] != c.runs[len(runs)-1] {
				t.Errorf("kind %d, change at %g: %v, want %v", kind, c.at, runs, c.runs)
			}
		}
	}
}

// TestRuled: what a ruling makes of a flow of 5 m³/s.
func TestRuled(t *testing.T) {
	x := site.Ruling{Flow: 3, Least: 2, Most: 7}
	between := settings.Bound{Held: true, Lower: 2, Upper: 7}
	for action, want := range map[site.RulingAction]struct {
		action site.Action
		flow   float64
		bound  settings.Bound
	}{
		site.RuleLeaveOut: {site.LeaveOut, 5, settings.Bound{}},
		site.RuleBridge:   {site.Bridge, 5, settings.Bound{}},
		site.RuleValue:    {site.Keep, 3, settings.Exactly(3)},
		site.RuleBound:    {site.Keep, 2, between},
		site.RuleKeep:     {site.Keep, 5, settings.Exactly(5)},
	} {
		x.Action = action
		if got, flow, bound := ruled(&x, 5); got != want.action || flow != want.flow || bound != want.bound {
			t.Errorf("%s: %s, %g, %+v", action, got, flow, bound)
		}
		b := hand([]float64{0}, []float64{5})
		wantFlow, wantBound := 5.0, settings.Exactly(5)
		if action == site.RuleBound {
			wantFlow, wantBound = 2, between
		}
		flow, bound := Counted(b, &b.Corrected.Segments[0], 0, 5, site.Keep, &x)
		if flow != wantFlow || bound != wantBound {
			t.Errorf("%s: another lane counts %g, %+v", action, flow, bound)
		}
	}
}

// TestCounted: what counts for a flow, and what is known of it. Q = 0.1 m²/s × h, a meter of flows that shows nothing
// below 5 L/s and no more than 40, in a channel 0.7 m deep: behind 40 L/s are 40 to 70, behind zero 0 to 5.
func TestCounted(t *testing.T) {
	b := loaded(t, "[log.columns]\ntime = \"Time\"\nflow = { name = \"Q\", unit = \"m3/s\" }\n",
		"maximum_flow = \"40 L/s\"\nflow_cut_off = \"5 L/s\"\nchannel_depth = \"0.7 m\"\n", "",
		[]float64{0, 1, 2, 3}, []float64{0.04, 0, 0.02, 0.08})
	b.AtMost = make([]bool, 4)
	s := &b.Corrected.Segments[0]
	type known struct {
		flow, lower, upper float64
		held               bool
	}
	for _, c := range []struct {
		name   string
		row    int
		flags  qa.Flags
		atMost bool
		raw    float64
		action site.Action
		want   known
	}{
		{"plain", 2, 0, false, 0.02, site.Keep, known{0.02, 0.02, 0.02, false}},
		{"capped, held", 0, qa.Capped, false, 0.04, site.Hold, known{0.04, 0.04, 0.07, true}},
		{"capped, kept", 0, qa.Capped, false, 0.09, site.Keep, known{0.09, 0.04, 0.09, true}},
		{"cut off, held", 1, qa.CutOff, false, 0, site.Hold, known{0, 0, 0.005, true}},
		{"cut off, kept", 1, qa.CutOff, false, 0.003, site.Keep, known{0.003, 0, 0.005, true}},
		{"zero", 1, qa.BelowZero, false, 0.01, site.Zero, known{0, 0, 0, false}},
		{"at most", 2, qa.Drowned, true, 0.02, site.Keep, known{0.02, 0, 0.02, false}},
		{"capped and drowned, at most", 0, qa.Capped | qa.Drowned, true, 0.03, site.Hold, known{0, 0, 0.07, true}},
		{"capped and drowned, known", 0, qa.Capped | qa.Drowned, false, 0.03, site.Hold, known{0.03, 0.03, 0.07, true}},
	} {
		b.Flags[c.row], b.AtMost[c.row] = c.flags, c.atMost
		flow, x := Counted(b, s, c.row, c.raw, c.action, nil)
		w := c.want
		for _, d := range [][2]float64{{flow, w.flow}, {x.Lower, w.lower}, {x.Upper, w.upper}} {
			if math.Abs(d[0]-d[1]) > 1e-12 || x.Held != w.held {
				t.Errorf("%s: %g, %+v, want %+v", c.name, flow, x, w)
				break
			}
		}
	}
	b.Site.Screening.Actions = nil
	b.Actions = map[qa.Flags]site.Action{qa.Surcharge: site.Hold}
	b.Limits.Resolution = 0.01 // m
	for figure, is := range map[float64]bool{0.0709: false, 0.07101: true, 0.06: false} {
		b.Figure[3] = figure
		if above(b, s, 3) != is {
			t.Errorf("a head of %g m is above 0.7 m: %v", figure*10, !is)
		}
	}
}

// TestPeaksByHand: of equal flows and of no flow the first; a window that holds exactly the stretch; a stretch that
// begins anew; no flow at all.
func TestPeaksByHand(t *testing.T) {
	b := hand([]float64{0, 1, 2, 3, 20, 21, 22}, []float64{4, 4, 4, 2, 9, 5, 3})
	b.Site.Report.PeakOver = 2 * time.Minute
	first, again := counts(b, 0, block.Begins), counts(b, 4, block.Lost)
	again.Bound.Upper = 11
	next := counts(b, 5, block.Joined)
	next.Next = true
	b.Steps = []block.Step{first, {Kind: block.Run, Low: 1, High: 4}, again, next}
	p := NewPeaks(b)
	p.Add(b)
	if math.Abs(p.Mean-4) > 1e-9 || p.MeanAt != b.Time[2] || p.Peak != 9 || p.PeakAt != b.Time[4] || p.Most != 11 {
		t.Errorf("%+v", p)
	}
	b.Steps = []block.Step{{Kind: block.Run, Low: 6, High: 7}}
	p.Add(b) // of the two minutes from 9 over 5 to 3: (7 + 4) / 2
	if math.Abs(p.Mean-5.5) > 1e-9 || p.MeanAt != b.Time[6] {
		t.Errorf("%+v", p)
	}
	b = hand([]float64{0, 1, 2, 3}, []float64{0, 0, 0, 0})
	b.Site.Report.PeakOver = 2 * time.Minute
	b.Steps = []block.Step{counts(b, 0, block.Begins), {Kind: block.Run, Low: 1, High: 4}}
	p = NewPeaks(b)
	p.Add(b)
	if p.Peak != 0 || p.PeakAt != b.Time[0] || p.Mean != 0 || p.MeanAt != b.Time[2] {
		t.Errorf("no flow: %+v", p)
	}
	b = hand([]float64{0, 5}, []float64{1, 6}) // a step longer than the window: at minute 3 it is 4
	b.Steps = []block.Step{counts(b, 0, block.Begins), {Kind: block.Run, Low: 1, High: 2}}
	p = &Peaks{window: 2 * minute}
	if p.Add(b); math.Abs(p.Mean-5) > 1e-9 || p.MeanAt != b.Time[1] {
		t.Errorf("one long step: %+v", p)
	}
	p = &Peaks{}
	p.Add(b)
	if p.MeanAt != 0 {
		t.Errorf("no window: %+v", p)
	}
}

// TestPeaksOfMeans: a mean stands for its own interval: 1, 7 and 3 m³/s in a minute each, then 5 in its minute alone.
// The highest mean of a minute is 7; of one and a half, (7 + 0.5 × 1) / 1.5 at minute 2, more than (3 + 0.5 × 7) / 1.5
// after it.
func TestPeaksOfMeans(t *testing.T) {
	b := hand([]float64{1, 2, 3, 20}, []float64{1, 7, 3, 5})
	b.Means = true
	b.Site.Report.PeakOver = time.Minute
	first, last := counts(b, 0, block.Begins), counts(b, 3, block.Joined)
	first.From, last.From, last.Next = start, start+19*minute, true
	b.Steps = []block.Step{first, {Kind: block.Run, Low: 1, High: 3}, last}
	p := NewPeaks(b)
	if p.Add(b); math.Abs(p.Mean-7) > 1e-9 || p.MeanAt != b.Time[1] {
		t.Errorf("%+v", p)
	}
	b.Site.Report.PeakOver = 90 * time.Second
	p = NewPeaks(b)
	if p.Add(b); math.Abs(p.Mean-(7+0.5*1)/1.5) > 1e-9 || p.MeanAt != b.Time[1] {
		t.Errorf("%+v", p)
	}
	b.Steps = []block.Step{first}
	b.Site.Report.PeakOver = time.Minute
	p = NewPeaks(b)
	if p.Add(b); math.Abs(p.Mean-1) > 1e-9 || p.MeanAt != b.Time[0] {
		t.Errorf("the first alone: %+v", p)
	}
	b.Steps = []block.Step{first, last}
	p = NewPeaks(b)
	if p.Add(b); math.Abs(p.Mean-5) > 1e-9 || p.MeanAt != b.Time[3] {
		t.Errorf("after time without any: %+v", p)
	}
}
