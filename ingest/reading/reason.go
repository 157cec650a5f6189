package reading

import (
	"math"
	"strings"
)

// most is the greatest value, of either sign, that a cell of a quantity may hold, SI. It is far beyond what any water
// does, and beyond what loggers write for no value, which has its own question: what is greater was never measured.
const (
	most       = 1e7  // m, m³/s, K, Pa
	mostVolume = 1e15 // m³
)

// Most is the greatest value, of either sign, that a cell of the quantity may hold, SI.
func (q Quantity) Most() float64 {
	if q == Counter || q == IntervalVolume {
		return mostVolume
	}
	return most
}

// Check says whether a value can be one of the quantity: Present, Illegible when it is no number, Impossible when it is
// greater than any.
func (q Quantity) Check(v float64) State {
	switch {
	case math.IsNaN(v):
		return Illegible
	case math.Abs(v) > q.Most():
		return Impossible
	}
	return Present
}

// Reason says why a row whose reading of the quantity has a state cannot be used; "" for Present.
func (q Quantity) Reason(s State) string {
	words := strings.ReplaceAll(q.String(), "_", " ")
	switch s {
	case Empty:
		return words + " reading is missing"
	case Illegible:
		return words + " reading is not a number"
	case Impossible:
		return words + " reading is greater than any can be"
	}
	return ""
}
