package effect

import (
	"math"
	"slices"
	"testing"
	"time"

	"retotal/ingest/reading"
	"retotal/ingest/site"
	"retotal/qa"
	"retotal/recompute/block"
	"retotal/recompute/fill"
	"retotal/recompute/settings"
	"retotal/recompute/stage"
)

// hand is a block of rows at minutes of a day with their corrected flows, all decided. Nothing is flagged.
func hand(minutes, flows []float64) *block.Block {
	lane := &settings.Lane{Segments: []settings.Segment{{
		From: settings.Always, Until: settings.Never, Top: math.Inf(1), Usual: math.Inf(1),
	}}}
	b := &block.Block{Lanes: block.Lanes{Corrected: block.NewLane(lane)}}
	b.Corrected.Flow, b.Site, b.Log = flows, &site.Site{}, &reading.Facts{}
	b.From, b.Until = math.MinInt64, math.MaxInt64
	for i, m := range minutes {
		b.Time = append(b.Time, int64(m*float64(time.Minute)))
		b.Line = append(b.Line, int32(i+2))
	}
	n := len(minutes)
	b.Flags, b.File = make([]qa.Flags, n), make([]int32, n)
	b.Figure, b.Head = make([]float64, n), make([]float64, n)
	return b
}

// counts is a step of row i, which counts as it is.
func counts(i int, fate block.Fate) block.Step {
	return block.Step{Kind: block.Counts, Low: i, High: i + 1, Fate: fate}
}

// drops is a step of a row that does not count.
func drops(i int) block.Step { return block.Step{Kind: block.Drops, Low: i, High: i + 1} }

// TestEventsByHand: spans of flags with their rows, heads and effects. What screening made of a stretch goes to the
// first flag of its first reading; a stretch goes on from a changed reading to the next that counts as it is.
func TestEventsByHand(t *testing.T) {
	b := hand([]float64{0, 1, 2, 3, 4, 20, 21}, make([]float64, 7))
	b.Head = []float64{0.1, 0.5, 0.4, 0.1, -0.1, 0.2, 0.9}
	b.Flags = []qa.Flags{0, qa.Spike, qa.Spike | qa.Stuck, 0, qa.BelowZero, qa.Gap, qa.Gap | qa.Conflict}
	b.File = []int32{0, 1, 2, 3, 4, 5, 6}
	b.Actions = map[qa.Flags]site.Action{qa.Spike: site.Bridge}
	b.Drops = qa.Spike | qa.Stuck | qa.BelowZero | qa.Conflict | qa.Gap
	bridged, zero, after := counts(3, block.Joined), counts(4, block.Joined), counts(5, block.Lost)
	bridged.Volume, bridged.Unscreened = 10, 16
	zero.Volume, zero.Unscreened, zero.Changed = 5, 9, true
	after.Volume, after.Unscreened = 3, 1
	b.Steps = []block.Step{
		counts(0, block.Begins), drops(1), drops(2), bridged, zero, after, drops(6),
	}
	v := New(b, stage.NewJoins(b, fill.Filler{}))
	v.Add(b)
	v.Finish(7)
	want := []Event{
		{Flag: qa.Spike, Check: "spike", Action: site.Bridge, From: b.Time[1], Until: b.Time[2], Rows: 2, File: 1,
			Line: 3, Lowest: 0.4, Highest: 0.5, Effect: -6, Spans: 1},
		{Flag: qa.Stuck, Check: "stuck", From: b.Time[2], Until: b.Time[2], Rows: 1, File: 2, Line: 4,
			Lowest: 0.4, Highest: 0.4, Spans: 1},
		{Flag: qa.BelowZero, Check: "below_zero", From: b.Time[4], Until: b.Time[4], Rows: 1, File: 4, Line: 6,
			Lowest: -0.1, Highest: -0.1, Effect: -4 + 2, Spans: 1},
		{Flag: qa.Gap, Check: "gap", From: b.Time[4], Until: b.Time[5], Rows: 1, File: 5, Line: 7,
			Lowest: 0.2, Highest: 0.2, Spans: 1},
		{Flag: qa.Conflict, Check: "conflict", From: b.Time[6], Until: b.Time[6], Rows: 1, File: 6, Line: 8,
			Lowest: 0.9, Highest: 0.9, Effect: -7, Spans: 1},
		{Flag: qa.Gap, Check: "gap", From: b.Time[5], Until: b.Time[6], Rows: 1, File: 6, Line: 8,
			Lowest: 0.9, Highest: 0.9, Spans: 1},
	}
	if len(v.List) != len(want) {
		t.Fatalf("%d events", len(v.List))
	}
	for i, event := range v.List {
		if *event != want[i] {
			t.Errorf("%+v, want %+v", *event, want[i])
		}
	}
	sums := v.Summary(b, 7)
	for _, s := range sums {
		switch {
		case s.Check == "gap" && (s.Rows != 2 || s.Spans != 2 || s.Passed != 5),
			s.Check == "below_zero" && (s.Rows != 1 || s.Spans != 1 || s.Passed != 6 || s.Effect != -2),
			s.Check == "spike" && (s.Rows != 2 || s.Passed != 5 || s.Effect != -6 || s.Action != site.Bridge):
			t.Errorf("%+v", s)
		case s.NotRun != "" && s.Passed != 0:
			t.Errorf("not run, and passed: %+v", s)
		}
	}
}

// TestWhoseStretchItIs: of one stretch with two changed readings of flags, which event has its effect. A ruling takes
// what it begins; what acts comes before what is kept and hides flow; else the first flag of the first reading has all.
func TestWhoseStretchItIs(t *testing.T) {
	ruling := &site.Ruling{}
	for _, c := range []struct {
		name          string
		first, second qa.Flags
		ruled         [2]*site.Ruling
		owner         string // "" for the rulings
	}{
		{"one after the other", qa.Stuck, qa.Spike, [2]*site.Ruling{}, "stuck"},
		{"two flags", qa.Stuck | qa.Conflict, qa.Spike, [2]*site.Ruling{}, "conflict"},
		{"a kept flag before what acts", qa.Drowned | qa.Surcharge, qa.Spike, [2]*site.Ruling{}, "surcharge"},
		{"kept flags alone", qa.Drowned | qa.SecondSensor, qa.Spike, [2]*site.Ruling{}, "drowned"},
		{"a ruling first", qa.Stuck, qa.Spike, [2]*site.Ruling{ruling, nil}, ""},
		{"a ruling second", qa.Stuck, qa.Spike, [2]*site.Ruling{nil, ruling}, "stuck"},
		{"a ruling over what has no flag", 0, qa.Spike, [2]*site.Ruling{ruling, nil}, ""},
	} {
		b := hand([]float64{0, 1, 2, 3}, make([]float64, 4))
		b.Actions = map[qa.Flags]site.Action{qa.Drowned: site.Keep, qa.SecondSensor: site.Keep}
		b.Drops = qa.Stuck | qa.Spike | qa.Conflict | qa.Drowned | qa.Surcharge
		b.Flags[1], b.Flags[2] = c.first, c.second
		changed, dropped, last := counts(1, block.Joined), drops(2), counts(3, block.Joined)
		changed.Changed, changed.Volume, changed.Unscreened, changed.Ruling = true, 5, 7, c.ruled[0]
		dropped.Ruling, last.Volume, last.Unscreened = c.ruled[1], 10, 20
		b.Steps = []block.Step{counts(0, block.Begins), changed, dropped, last}
		v := New(b, stage.NewJoins(b, fill.Filler{}))
		v.Add(b)
		effects := map[string]float64{"": v.Ruled()}
		for _, e := range v.List {
			effects[e.Check] = e.Effect
		}
		for check, got := range effects {
			if want := map[bool]float64{true: -12}[check == c.owner]; got != want {
				t.Errorf("%s: %q has %g m3, want %g", c.name, check, got, want)
			}
		}
	}
}

// TestTooManyEvents: of one check 20,000 events are kept apart; those beyond are joined to the last.
func TestTooManyEvents(t *testing.T) {
	const rows = 2*20000 + 4
	b := hand(make([]float64, rows), nil)
	for i := 1; i < rows; i += 2 {
		b.Flags[i] = qa.Spike
	}
	b.Head[rows-1] = 3
	b.Steps = []block.Step{{Kind: block.Run, Low: 0, High: rows}}
	v := New(b, stage.NewJoins(b, fill.Filler{}))
	v.Add(b)
	last := v.List[len(v.List)-1]
	if len(v.List) != 20000 || last.Spans != 3 || last.Rows != 3 || last.Highest != 3 || last.Line != rows-3 {
		t.Errorf("%d events, the last %+v", len(v.List), *last)
	}
}

// TestEachFlagAlone: flows of 1 m³/s with a stretch of 3, beyond what the rating is valid for, and in it a reading of
// 6 beyond what its user expects. Without the one alone there is a line from 3 to 3; without the stretch, and so
// without all, one from 1 to 1. However the rows are handed over it is the same.
func TestEachFlagAlone(t *testing.T) {
	for cut := 1; cut < 7; cut++ {
		b := hand([]float64{0, 1, 2, 3, 4, 5, 6}, []float64{1, 1, 3, 6, 3, 1, 1})
		b.Flags[2], b.Flags[3], b.Flags[4] = qa.Validity, qa.Validity|qa.UserRange, qa.Validity
		b.Actions = map[qa.Flags]site.Action{qa.Validity: site.Keep, qa.UserRange: site.Keep, qa.Spike: site.Bridge}
		b.Limits.BridgeLimit = time.Hour
		v := New(b, stage.NewJoins(b, fill.Filler{}))
		b.Steps = []block.Step{counts(0, block.Begins), {Kind: block.Run, Low: 1, High: cut}}
		v.Add(b)
		b.Steps = []block.Step{{Kind: block.Run, Low: cut, High: 7}}
		v.Add(b)
		v.Finish(0)
		all := Change{-60 * (1 + 3.5 + 3.5 + 1), 0}
		if len(v.List) != 2 || v.List[0].Check != "validity" || v.List[0].Left != all || v.Left() != all ||
			v.List[1].Check != "user_range" || v.List[1].Left != (Change{-60 * 3, 0}) {
			t.Errorf("cut at %d: %+v, %+v, %+v", cut, *v.List[0], *v.List[1], v.Left())
		}
	}
}

// TestEventsBesideDropped: a dropped reading parts the stretch of another check into two events: each has what it does
// alone, and the check what both do. Flows of 1, 3, a dropped one, 3 and 1 m³/s make 2 + 6 + 2 times 60 m³; without
// either of those of 3, 6 + 2 or 2 + 6; without both, 4.
func TestEventsBesideDropped(t *testing.T) {
	b := hand([]float64{0, 1, 2, 3, 4}, []float64{1, 3, 0, 3, 1})
	b.Flags[1], b.Flags[2], b.Flags[3] = qa.Noise, qa.Spike, qa.Noise
	b.Actions = map[qa.Flags]site.Action{qa.Noise: site.Keep, qa.Spike: site.Bridge}
	b.Limits.BridgeLimit = time.Hour
	joins := stage.NewJoins(b, fill.Filler{})
	v := New(b, joins)
	bridged := counts(3, block.Joined)
	bridged.Last = block.Accepted{Any: true, End: b.EndAt(1, 3)}
	bridged.Volume, bridged.Covered = 3*120, 120e9
	b.Steps = []block.Step{
		counts(0, block.Begins), {Kind: block.Run, Low: 1, High: 2}, drops(2), bridged,
		{Kind: block.Run, Low: 4, High: 5},
	}
	v.Add(b)
	v.Finish(0)
	var noise Summary
	for _, s := range v.Summary(b, 5) {
		if s.Check == "noise" {
			noise = s
		}
	}
	if v.List[0].Left != (Change{-60 * 2, 0}) || v.List[2].Left != (Change{-60 * 2, 0}) ||
		noise.Left != (Change{-60 * 6, 0}) || v.Left() != noise.Left {
		t.Errorf("%+v, %+v, %+v", *v.List[0], *v.List[2], noise)
	}
}

// TestRanked: the largest change first whatever its sign, those that doubt the device behind those that doubt the
// reading, those of one size as they came; what changes nothing is not there.
func TestRanked(t *testing.T) {
	of := func(f qa.Flags, volume float64, missing int64) *Event {
		return &Event{Flag: f, Left: Change{volume, missing}}
	}
	list := []*Event{
		of(qa.Drowned, -7, 0), of(qa.Still, 1, 0), of(qa.Still, 0, 0), of(qa.OddPeak, -2, 0), of(qa.Validity, 9, 0),
		of(qa.Noise, 0, 5), of(qa.Step, 2, 0), of(qa.Spike, 3, 0),
	}
	var got []*Event
	for _, i := range []int{7, 3, 6, 1, 5, 4, 0} {
		got = append(got, list[i])
	}
	if ranked := Ranked(list); !slices.Equal(ranked, got) {
		for _, e := range ranked {
			t.Errorf("%s %+v", e.Flag.Text(), e.Left)
		}
	}
}
