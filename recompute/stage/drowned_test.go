package stage

import (
	"math"
	"testing"

	"retotal/qa"
	"retotal/recompute/block"
	"retotal/recompute/device"
)

// book is a device whose drowned flow is the difference of the heads up to 0.6 m downstream.
type book struct{ device.Rating }

func (book) ModularLimit() (ratio float64, source string) { return 0.5, "a book" }

func (book) Drowned(h, hd float64) (q, spread float64, ok bool) { return h - hd, hd / 10, hd < 0.6 }

// TestDrownedByHand: drowned readings alone get another flow, in every lane by its own head; before that is kept beside
// it. Heads of 1 m, 1.2 m in the what-if.
func TestDrownedByHand(t *testing.T) {
	heads := "[log.columns]\ntime = \"Time\"\nhead = { name = \"H\", unit = \"m\" }\n"
	whatIf := "[[what_if]]\nname = \"x\"\nhead_factor = 1.2\n"
	b := loaded(t, heads, "", whatIf, []float64{0, 1, 2, 3}, []float64{1, 1, 1, 1})
	b.Moved = []block.Moved{{After: &block.Lane{Lane: b.Corrected.Lane, Flow: []float64{7, 7, 7, 7}}}}
	b.DownstreamHead = []float64{0.9, 0.3, 0.6, 0.2}
	b.Flags = []qa.Flags{0, qa.Drowned, qa.Drowned | qa.Validity, qa.Drowned}
	b.Free, b.AtMost = make([]float64, 4), make([]bool, 4)
	for _, l := range []*block.Lane{b.Corrected, b.WhatIfs[0]} {
		l.Segments[0].Rating = book{l.Segments[0].Rating}
	}
	d := &Drowned{}
	b.High = 3 // the last row waits
	d.Add(b)
	for i, want := range [][]float64{{0.1, 0.12, 7}, {0.7, 0.9, 0.7}, {0.4, 0.6, 0.4}, {0.1, 0.12, 7}} {
		got := []float64{b.Corrected.Flow[i], b.WhatIfs[0].Flow[i], b.Moved[0].After.Flow[i]}
		for k := range got {
			if math.Abs(got[k]-want[k]) > 1e-12 {
				t.Errorf("row %d: %v, want %v", i, got, want)
			}
		}
		if free := []float64{0.1, 0.1, 0.1, 0}[i]; math.Abs(b.Free[i]-free) > 1e-12 || b.AtMost[i] != (i == 2) {
			t.Errorf("row %d: free %g, at most %v", i, b.Free[i], b.AtMost[i])
		}
	}
	if d.Readings != 2 || d.Computed != 1 || math.Abs(d.Spread-0.03) > 1e-12 || d.Source != "a book" {
		t.Errorf("%+v", d)
	}
}
