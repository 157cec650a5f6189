package published

import (
	"math"
	"slices"
	"testing"

	"retotal/recompute/device"
)

// TestUsual: an imperial gallon is 4.54609 L, a US gallon 231 cubic inches of 0.0254 m.
func TestUsual(t *testing.T) {
	ratio := 4.54609e-3 / (231 * 0.0254 * 0.0254 * 0.0254)
	if !slices.ContainsFunc(FlowRatios(), func(u Usual) bool { return math.Abs(u.Value/ratio-1) < 1e-9 }) {
		t.Errorf("no unit ratio of %v", ratio)
	}
	for _, want := range []float64{1.2, 0.8, 1.5} {
		if !slices.ContainsFunc(SpanRatios(), func(u Usual) bool { return u.Value == want }) {
			t.Errorf("no span ratio of %v", want)
		}
	}
}

// TestEquations: every published equation of every example of a device is near its own at half its range: within 7 %,
// which is more than equations of one device may differ by. The two ways between the points of a table are as far apart
// as its points.
func TestEquations(t *testing.T) {
	seen := 0
	for _, kind := range device.All() {
		limits := kind.Rating.Limits()
		head := min(limits.High, limits.End, 0.5) / 2
		for _, e := range Equations(kind.Name) {
			if kind.Name == "table" {
				continue
			}
			if r := e.Build(kind.Name, kind.Example); r != nil {
				seen++
				if off := r.Flow(head)/kind.Rating.Flow(head) - 1; math.Abs(off) > 0.07 {
					t.Errorf("%s, %s: %.1f %% off at %.3f m", kind.Name, e.Name, 100*off, head)
				}
			}
		}
	}
	if seen < 10 {
		t.Errorf("only %d equations", seen)
	}
}
