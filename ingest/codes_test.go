package ingest

import "testing"

// TestTellingDigits: a converted code is one where the log's rounding keeps three digits of it: half a step of a
// thousandth of the value, and one below; above it only what is the code to seven digits.
func TestTellingDigits(t *testing.T) {
	w := codeColumn{known: []code{{value: 1.0001, text: "code"}}}
	for _, c := range []struct {
		v, half float64
		is      bool
	}{
		{1, 1e-3, true}, {1, 0.999e-3, true}, {1, 1.001e-3, false}, {1, 0.9e-4, false},
		{1.0001, 1, true}, {1.0001 * (1 + 0.9e-7), 1, true}, {1.0001 * (1 + 1.1e-7), 1, false},
	} {
		if got := w.isCode(c.v, c.half) != nil; got != c.is {
			t.Errorf("%.9f, half a step %g: %v", c.v, c.half, got)
		}
	}
}
