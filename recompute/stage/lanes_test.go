package stage

import (
	"math"
	"testing"

	"retotal/ingest/site"
	"retotal/qa"
	"retotal/recompute/block"
	"retotal/recompute/fill"
	"retotal/recompute/settings"
)

// holdDay fills up to a day with the flow before.
var holdDay = fill.Filler{Rule: site.FillHold, Limit: 1440 * minute}

// TestBoundsByHand: a flow of 2 m³/s, then one of 2 to 6, then one of 2 or more, by the minute: the least and the most
// are trapezoids, and where nothing bounds the flow the most is the least. Steps that are not joined or that are known
// are none of it.
func TestBoundsByHand(t *testing.T) {
	b := hand([]float64{0, 1, 2, 3, 4}, []float64{2, 2, 2, 2, 2})
	between := settings.Bound{Held: true, Lower: 2, Upper: 6}
	open := settings.Bound{Held: true, Lower: 2, Upper: math.Inf(1)}
	step := func(i int, fate block.Fate, last, at settings.Bound, bracketed bool) block.Step {
		s := counts(b, i, fate)
		s.Last.Bound, s.Bound, s.Bracketed = last, at, bracketed
		return s
	}
	exact := settings.Exactly(2)
	b.Steps = []block.Step{
		counts(b, 0, block.Begins), step(1, block.Joined, exact, between, true),
		step(2, block.Joined, between, open, true), step(3, block.Lost, open, between, true),
		step(4, block.Joined, between, between, false),
	}
	x := NewBounds(b)
	x.Add(b)
	day := x.Day(0)
	holds(t, "counted", day.Counted, 240, 2)
	holds(t, "least", day.Low, 240, 2)
	holds(t, "most", day.High, 60*4+60*2, 2)
	if day.Open != minute {
		t.Errorf("open %d", day.Open)
	}
	b.Steps = []block.Step{step(1, block.Joined, open, between, true)}
	x = NewBounds(b)
	x.Add(b)
	holds(t, "after an open one", x.Day(0).High, 120, 1)
	b.Means = true // what was known of the mean before says nothing of this one
	x = NewBounds(b)
	x.Add(b)
	holds(t, "of a mean", x.Day(0).High, 360, 1)
}

// TestLanesByHand: a what-if and a moved lane over the steps of the corrected one, with what the recorded lane and the
// moved recorded one showed in the same time. Flows by the minute; row 3 counts after a bridge, row 4 after lost time,
// row 5 after time that is filled with the flow before.
func TestLanesByHand(t *testing.T) {
	lanes := func() *block.Block {
		b := hand([]float64{0, 1, 2, 3, 4, 5}, []float64{1, 1, 1, 1, 1, 1})
		b.Recorded = plain(3, 3, 3, 5, 7, 9)
		b.WhatIfs = []*block.Lane{plain(2, 4, 6, 8, 10, 12)}
		b.Moved = []block.Moved{
			{After: plain(1, 2, 3, 4, 5, 6), Before: plain(4, 4, 4, 6, 8, 10)}, {After: plain(5, 5, 5, 5, 5, 5)},
		}
		return b
	}
	b := lanes()
	over := counts(b, 3, block.Joined)
	over.From, over.Bracketed = b.Time[1], true
	b.Steps = []block.Step{
		counts(b, 0, block.Begins), {Kind: block.Run, Low: 1, High: 2}, drops(2, false), over,
		counts(b, 4, block.Lost), counts(b, 5, block.ToFill),
	}
	l := NewLanes(b, holdDay)
	l.Add(b)
	holds(t, "what if", l.WhatIfs(0)[0], 60*3+120*6+60*10, 4)
	moved := l.Moved(0)
	holds(t, "moved", moved[0].After, 60*1.5+120*3+60*5, 4)
	holds(t, "moved before", moved[0].Before, 60*4+120*5, 3)
	holds(t, "recorded in the same time", moved[0].Still, 60*3+120*4, 3)
	holds(t, "between bounds", moved[0].Bracket.Counted, 120*3, 2)
	holds(t, "least", moved[0].Bracket.Low, 120*3, 2)
	holds(t, "most", moved[0].Bracket.High, 120*3, 2)
	holds(t, "the other", moved[1].After, 60*5+120*5+60*5, 4)
	holds(t, "the other's before", moved[1].Before, 0, 0)

	// what a person stated counts in every lane; of means a bridge is the mean of both sides
	b = lanes()
	b.Means = true
	mean := counts(b, 3, block.Joined)
	mean.Bridges, mean.Stated, mean.Last.At = true, true, b.Time[1]
	b.Steps = []block.Step{counts(b, 1, block.Joined), drops(2, false), mean}
	l = NewLanes(b, holdDay)
	l.Add(b)
	// 4 over its minute, (4 + 1)/2 over the minute that is bridged, 1 as stated
	holds(t, "what if, means", l.WhatIfs(0)[0], 60*4+60*2.5+60*1, 3)
}

// TestDifferenceInRuns: the limits of the meter are the corrected flow less what it would have shown, where either end
// differs; 1 m³/s at minute 2 alone is a minute of it, over two.
func TestDifferenceInRuns(t *testing.T) {
	b := hand([]float64{0, 1, 2, 3, 4}, []float64{5, 5, 5, 5, 5})
	b.Kept = plain(5, 5, 4, 5, 5)
	b.Steps = []block.Step{counts(b, 0, block.Begins), {Kind: block.Run, Low: 1, High: 5}}
	d := NewDifference(b, fill.Filler{})
	d.Add(b)
	p := d.Day(0)
	holds(t, "limits", p.Limits, 60, 2)
	for name, v := range map[string]float64{
		"lost": p.Lost.M3(), "kept": p.LostKept.M3(), "filled": p.FilledKept.M3(), "gained": p.Gained.M3(),
		"drowned": p.Drowned.M3(),
	} {
		if v != 0 {
			t.Errorf("%s %g", name, v)
		}
	}
	b.Steps = []block.Step{
		counts(b, 0, block.Begins), counts(b, 1, block.Joined), counts(b, 2, block.Joined), counts(b, 3, block.Joined),
		counts(b, 4, block.Joined),
	}
	d = NewDifference(b, fill.Filler{})
	d.Add(b)
	holds(t, "limits, row by row", d.Day(0).Limits, 60, 2)
	holds(t, "drowned, row by row", d.Day(0).Drowned, 0, 0)
	b.Free = []float64{5, 5, 6, 5, 5} // and drowning took 1 m³/s of 6
	b.Kept = plain(5, 5, 6, 5, 5)
	d = NewDifference(b, fill.Filler{})
	d.Add(b)
	holds(t, "drowned", d.Day(0).Drowned, -60, 2)
	holds(t, "limits of a drowned one", d.Day(0).Limits, 0, 0)
}

// TestDifferenceOfLostTime: what before and the corrected meter had in time that is lost, joined or filled, from their
// own readings; before by the logger's clock, which is a day ahead. Recorded 2 m³/s and kept 3, by the minute, with
// nothing logged from minute 4 to 6; minutes 1 to 8 do not count.
func TestDifferenceOfLostTime(t *testing.T) {
	steps := func(b *block.Block, fate block.Fate, hopeless bool) {
		b.Flags[5] = qa.Gap
		b.Steps = []block.Step{counts(b, 0, block.Begins)}
		for i := 1; i < 8; i++ {
			b.Steps = append(b.Steps, drops(i, hopeless))
		}
		last := counts(b, 8, fate)
		last.Pends, last.Last.End = true, b.EndAt(0, b.Corrected.Flow[0])
		last.From = b.Time[0]
		b.Steps = append(b.Steps, last)
	}
	for _, c := range []struct {
		name                       string
		fate                       block.Fate
		hopeless                   bool
		filler                     fill.Filler
		lost, filledKept, gained   float64
		lostFor, filledFor, gainIn float64
	}{
		{"joined", block.Joined, false, holdDay, 0, 0, 0, 0, 0, 0},
		{"lost", block.Lost, false, holdDay, 7, 0, 0, 7, 0, 0},
		{"lost, told before", block.Lost, true, holdDay, 7, 0, 0, 7, 0, 0},
		{"filled", block.ToFill, false, holdDay, 0, 7, 2, 0, 7, 2},
		// from 1 m³/s to 9 in 9 minutes, of which 4 to 6 were not logged: the mean of 1 + 8·4/9 and 1 + 8·6/9
		{"filled along a line", block.ToFill, false, fill.Filler{Rule: site.FillLinear, Limit: 1440 * minute}, 0, 7, 2 * (1 + 40.0/9), 0, 7, 2},
		{"nothing to fill it with", block.ToFill, false, fill.Filler{Rule: site.FillSameTime, Limit: 1440 * minute}, 7, 0, 0, 7, 0, 0},
	} {
		b := hand([]float64{0, 1, 2, 3, 4, 6, 7, 8, 9}, []float64{1, 1, 1, 1, 1, 1, 1, 1, 9})
		b.Recorded, b.Kept = plain(2, 2, 2, 2, 2, 2, 2, 2, 2), plain(3, 3, 3, 3, 3, 3, 3, 3, 3)
		asShown(b, 1440)
		steps(b, c.fate, c.hopeless)
		d := NewDifference(b, c.filler)
		d.Add(b)
		day, next := d.Day(0), d.Day(1)
		holds(t, c.name+", lost", next.Lost, 60*2*c.lost, c.lostFor)
		holds(t, c.name+", lost by true time", day.Lost, 0, 0)
		holds(t, c.name+", kept", day.LostKept, 60*3*c.lost, c.lostFor)
		holds(t, c.name+", filled", day.FilledKept, 60*3*c.filledKept, c.filledFor)
		holds(t, c.name+", gained", day.Gained, 60*c.gained, c.gainIn)
	}
}

// TestDifferenceAtTheEnd: what is open at the end of the log is lost; where nothing was corrected, what is lost is lost
// once.
func TestDifferenceAtTheEnd(t *testing.T) {
	b := hand([]float64{0, 1, 2}, []float64{2, 2, 2})
	b.Steps = []block.Step{counts(b, 0, block.Begins), drops(1, false), drops(2, false)}
	d := NewDifference(b, fill.Filler{})
	d.Add(b)
	holds(t, "before the end", d.Day(0).Lost, 0, 0)
	d.Finish()
	holds(t, "lost", d.Day(0).Lost, 240, 2)
	holds(t, "kept", d.Day(0).LostKept, 240, 2)
}

// TestDifferenceOfMeans: a dropped mean is lost with its interval unless it is bridged; before by the logger's clock.
func TestDifferenceOfMeans(t *testing.T) {
	for _, bridges := range []bool{false, true} {
		b := hand([]float64{1, 2, 3}, []float64{1, 1, 1})
		b.Means, b.Kept, b.Recorded = true, plain(3, 5, 3), plain(2, 4, 2)
		asShown(b, 1440)
		last := counts(b, 2, block.Joined)
		last.Bridges = bridges
		b.Steps = []block.Step{counts(b, 0, block.Joined), drops(1, false), last}
		d := NewDifference(b, fill.Filler{})
		d.Add(b)
		lost, minutes := 1.0, 1.0
		if bridges {
			lost, minutes = 0, 0
		}
		holds(t, "lost", d.Day(1).Lost, 60*4*lost, minutes)
		holds(t, "kept", d.Day(0).LostKept, 60*5*lost, minutes)
	}
}
