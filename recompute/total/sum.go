// Package total adds flow over real time, exactly at period bounds, by class.
package total

// Sum is a compensated sum (Neumaier 1974): what rounding loses of each term is kept in a second number. Sums of parts
// are merged, never their rounded values added, so that the total does not depend on how terms were grouped, down to
// the printed digit.
type Sum struct{ high, low float64 }

// Add adds one term.
func (s *Sum) Add(v float64) { s.high, s.low = add(s.high, s.low, v) }

// add is one step of the sum, for loops that keep it in registers. It is Knuth's two-sum, which needs no branch.
func add(high, low, v float64) (float64, float64) {
	x := high + v
	b := x - high
	return x, low + ((high - (x - b)) + (v - b))
}

// Merge adds another sum.
func (s *Sum) Merge(o Sum) {
	s.Add(o.high)
	s.low += o.low
}

// Value returns the sum rounded once.
func (s Sum) Value() float64 { return s.high + s.low }
