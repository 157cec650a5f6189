package stage

import (
	"math"
	"testing"
	"time"
)

// TestPeaks: a flow of 1, with 3 for the second minute: the highest mean of two minutes spans the whole rise and fall,
// worked out by hand. Times in minutes 0 1 2 3 4, flows 1 1 3 1 1: from 1 to 3 the volume is 2 + 2 = 4 minutes, mean 2.
func TestPeaks(t *testing.T) {
	p := Peaks{window: int64(2 * time.Minute)}
	flows := []float64{1, 1, 3, 1, 1}
	for i, q := range flows {
		if i == 0 {
			p.step(0, 0, int64(time.Hour), q, false)
			continue
		}
		at := int64(time.Hour) + int64(i)*int64(time.Minute)
		p.step(at-int64(time.Minute), flows[i-1], at, q, true)
	}
	if p.Peak != 3 || math.Abs(p.Mean-2) > 1e-12 || p.MeanAt != int64(time.Hour+3*time.Minute) {
		t.Errorf("%+v", p)
	}
}

// TestPeaksKeepNoLine: without a window only the beginning is kept of the way, with one only as much as it reaches
// back.
func TestPeaksKeepNoLine(t *testing.T) {
	for window, most := range map[time.Duration]int{0: 1, 2 * time.Minute: 4} {
		p := Peaks{window: int64(window)}
		p.step(0, 0, int64(time.Minute), 1, false)
		for i := range 1000 {
			at := int64(time.Minute) * int64(i+2)
			p.step(at-int64(time.Minute), 1, at, 1, true)
			if i > 10 && len(p.line) > most {
				t.Fatalf("a window of %v: %d points are kept", window, len(p.line))
			}
		}
	}
}
