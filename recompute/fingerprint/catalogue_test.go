package fingerprint

import (
	"math"
	"testing"
)

// TestPalmerTable: the table of a Palmer-Bowlus flume differs from the flume by less than rounded coefficients do, up
// to where it ends.
func TestPalmerTable(t *testing.T) {
	flume, table := built("palmer-bowlus", map[string]any{"diameter": "0.3 m"}), palmer(0.3)
	for h := 0.02; h < 0.24; h += 0.0037 {
		if a, b := table.Flow(h), flume.Flow(h); math.Abs(a/b-1) > 0.002 {
			t.Errorf("at %.4f m %v, and the flume has %v", h, a, b)
		}
	}
}

// TestCatalogue: every hypothesis has a rating or a way to one, and every size a value.
func TestCatalogue(t *testing.T) {
	kinds := map[string]int{}
	for _, h := range catalogue() {
		kinds[h.kind]++
		r := h.rating
		if h.grid != nil {
			r = h.resized(h.grid[1])
		}
		if r == nil || h.grid == nil && !(h.value > 0) || h.size != "" && h.resized != nil || h.most < 1 {
			t.Errorf("%+v", h)
		}
	}
	// Sizes: 35 throats of which some have further equations, 14 depths, 16 cutthroat flumes (their published lists).
	for kind, least := range map[string]int{"v-notch": 9, "parshall": 35, "h-flume": 14, "cutthroat": 16, "rectangular": 9,
		"cipolletti": 1, "palmer-bowlus": 1, "manning": 1, "linear": 1, "power": 1} {
		if kinds[kind] < least {
			t.Errorf("%d hypotheses of %s, and at least %d are wanted", kinds[kind], kind, least)
		}
	}
	if kinds["h-flume"] != 14 || kinds["cutthroat"] != 16 {
		t.Errorf("%d H flumes and %d cutthroat flumes, want 14 and 16", kinds["h-flume"], kinds["cutthroat"])
	}
}
