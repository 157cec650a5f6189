package qa

import (
	"testing"
	"time"
)

// TestConfirmed: what the record tells to be a spike is none where a second sensor shows half of it or more, to the
// same side, from its own level, whatever that is.
func TestConfirmed(t *testing.T) {
	const base, other = 0.25, 0.5
	for _, c := range []struct {
		name      string
		off       []float64 // steps of 1/64 m, so that halves are exact
		second    []float64
		unknown   int // row, from that before the excursion on; -1 for none
		sensors   bool
		acquitted bool
	}{
		{"the same", []float64{8}, []float64{8}, -1, true, true},
		{"half", []float64{8}, []float64{4}, -1, true, true},
		{"less than half", []float64{8}, []float64{3.9}, -1, true, false},
		{"down", []float64{-8}, []float64{-4}, -1, true, true},
		{"to the other side", []float64{8}, []float64{-8}, -1, true, false},
		{"not at all", []float64{8}, []float64{0}, -1, true, false},
		{"no second sensor", []float64{8}, []float64{8}, -1, false, false},
		{"half of a run", []float64{8, 10, 6}, []float64{6, 6, 0}, -1, true, true},
		{"less of a run", []float64{8, 10, 6}, []float64{12, -0.5, 0}, -1, true, false},
		{"unknown before", []float64{8}, []float64{8}, 0, true, false},
		{"unknown within", []float64{8, 8}, []float64{8, 8}, 2, true, false},
		{"unknown after", []float64{8}, []float64{8}, 2, true, false},
	} {
		for _, flag := range []Flags{Spike, OddPeak} {
			const n, from = 20, 8
			w := window(time.Minute, levels(n, base))
			w.Told, w.SecondHead, w.Second = make([]Flags, n), levels(n, other), make([]bool, n)
			for i := range w.Second {
				w.Second[i] = i != from-1+c.unknown || c.unknown < 0
			}
			for k := range c.off {
				w.Told[from+k] = flag
				w.Head[from+k] += c.off[k] / 64
				w.SecondHead[from+k] += c.second[k] / 64
			}
			if !c.sensors {
				w.SecondHead, w.Second = nil, nil
			}
			s := Screener{}
			s.told(w, 0, n)
			for k := range c.off {
				if got := w.Flags[from+k]&flag == 0; got != c.acquitted {
					t.Errorf("%s, %s, row %d of it: acquitted is %v", c.name, flag.Text(), k, got)
				}
			}
		}
	}
}

// TestConfirmedAtTheEnds: an excursion at the first or the last reading has nothing beside it to be held against.
func TestConfirmedAtTheEnds(t *testing.T) {
	for _, at := range []int{0, 9} {
		w := window(time.Minute, levels(10, 0.25))
		w.Head[at], w.Told = 0.5, make([]Flags, 10)
		w.Told[at], w.SecondHead, w.Second = Spike, w.Head, make([]bool, 10)
		for i := range w.Second {
			w.Second[i] = true
		}
		(&Screener{}).told(w, 0, 10)
		if w.Flags[at] != Spike {
			t.Errorf("row %d: %q", at, w.Flags[at].Text())
		}
	}
}
