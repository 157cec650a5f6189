package fingerprint

import (
	"maps"
	"math"
	"testing"
)

// TestTabled: the table of a flume or a pipe differs from it by less than rounded coefficients do, up to where it ends
// or is nearly full.
func TestTabled(t *testing.T) {
	for kind, more := range map[string]map[string]any{"palmer-bowlus": nil,
		"manning": {"section": "circular", "roughness": 0.013, "slope": 0.002}} {
		keys := map[string]any{"diameter": "0.3 m"}
		maps.Copy(keys, more)
		pipe, table := built(kind, keys), tabled(kind, 0.3, more)
		for h := 0.02; h < 0.24; h += 0.0037 {
			if a, b := table.Flow(h), pipe.Flow(h); math.Abs(a/b-1) > 0.002 {
				t.Errorf("%s: at %.4f m %v, and the device has %v", kind, h, a, b)
			}
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
	for kind, least := range map[string]int{"v-notch": 9, "parshall": 35, "h-flume": 14, "cutthroat": 16,
		"rectangular": 9, "cipolletti": 1, "palmer-bowlus": 1, "manning": 1, "linear": 1, "power": 1} {
		if kinds[kind] < least {
			t.Errorf("%d hypotheses of %s, and at least %d are wanted", kinds[kind], kind, least)
		}
	}
	if kinds["h-flume"] != 14 || kinds["cutthroat"] != 16 {
		t.Errorf("%d H flumes and %d cutthroat flumes, want 14 and 16", kinds["h-flume"], kinds["cutthroat"])
	}
}
