// Package device is the primary devices: discharge from head, its inverse, limits, uncertainty, sources.
//
// Heads are metres above the device's level of zero flow, flows are m³/s. Every device is built from the
// keys of a site file by Build, and describes itself, with the source and the standing of each coefficient.
package device

import (
	"math"
	"slices"
)

// Gravity is the standard acceleration of free fall, 9.80665 m/s² (3rd CGPM 1901). ISO texts often use
// 9.81, which gives 0.017 % more flow.
const Gravity = 9.80665

// Status says how far a rating can be trusted at a head.
type Status uint8

// The statuses of a flow.
const (
	Within        Status = iota // inside the limits of validity
	ZeroFlow                    // head at or below the level of zero flow
	BelowLimit                  // below the lowest head of validity; the equation is used
	AboveLimit                  // above the highest head of validity; the equation is used
	NotComputable               // the rating says nothing here; the flow is the last one it knows
)

// String names the status as reports print it.
func (s Status) String() string {
	return [...]string{
		"within limits", "zero flow", "below the rating's range", "above the rating's range", "beyond the rating",
	}[s]
}

// Rating is the relation of head and discharge of one primary device.
type Rating interface {
	// Flow returns the discharge at head h by the equation, outside the limits too; 0 for h ≤ 0.
	Flow(h float64) float64
	// Flows sets q[i] = Flow(h[i]) for a whole column; q and h have one length.
	Flows(q, h []float64)
	// Slope returns dQ/dh at head h, in m²/s.
	Slope(h float64) float64
	// Limits returns the heads between which the rating is valid.
	Limits() Limits
	// Describe returns what the device is, for reports.
	Describe() Description
}

// Limits in head. Low and High are those of validity: readings outside are told and the equation goes on. End is
// physical: there the structure or the rating stops (crown of a pipe, top of a flume, last point of a table), and the
// flow beyond is that at the end. A limit that is not known is 0 (Low) or +Inf (High, End).
type Limits struct {
	Low, High, End                   float64
	LowSource, HighSource, EndSource string
}

// Description is a device in words.
type Description struct {
	Kind        string
	Name        string     // "V-notch thin-plate weir, 90 deg"
	Equation    string     // with its numbers, in SI
	Source      string     // standard or handbook, and how the coefficients are known
	Uncertainty float64    // relative expanded uncertainty (95 %) of the coefficient; 0 when none is published
	UncertainBy string     // source of it
	Assumed     []string   // dimensions that are not given and are taken to be the usual ones
	Dimensions  []Constant // as given
	Advice      []string   // limits of the geometry that are not met or could not be checked
}

// Same tells whether two descriptions are of one rating: equation and dimensions; the equation alone does not name the
// approach of a throat.
func (d Description) Same(other Description) bool {
	return d.Equation == other.Equation && slices.Equal(d.Dimensions, other.Dimensions)
}

// Constant is one number of a description.
type Constant struct {
	Name  string
	Value string
}

// limitSlack is the residue of arithmetic, relative, by which a head may miss a limit that it was written to meet.
const limitSlack = 1e-9

// Assess returns the status of a rating at head h.
func Assess(r Rating, h float64) Status {
	l := r.Limits()
	switch {
	case h <= 0:
		return ZeroFlow
	case h > l.End*(1+limitSlack):
		return NotComputable
	case h > l.High*(1+limitSlack):
		return AboveLimit
	case h < l.Low*(1-limitSlack):
		return BelowLimit
	}
	return Within
}

// power returns x^n for x ≥ 0 and n > 0, or x > 0 and any n: by square roots for the exponents of the weirs and their
// slopes, by logarithm for others. It is
// within 3e-15 of math.Pow and several times faster.
func power(x, n float64) float64 {
	switch n {
	case 0.5:
		return math.Sqrt(x)
	case 1:
		return x
	case 1.5:
		return x * math.Sqrt(x)
	case 2.5:
		return x * x * math.Sqrt(x)
	}
	return math.Exp(n * math.Log(x))
}

// each sets q[i] = flow(h[i]); devices without a faster way use it.
func each(q, h []float64, flow func(float64) float64) {
	h = h[:len(q)]
	for i := range q {
		q[i] = flow(h[i])
	}
}
