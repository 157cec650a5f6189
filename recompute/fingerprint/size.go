package fingerprint

import (
	"math"

	"retotal/ingest/quantity"
	"retotal/recompute/explain/published"
)

// What intervals are made of, as of settings that are explained.
const (
	freePairs    = 40    // that a record is worth, since neighbours in time err together
	equationPart = 0.010 // standard part of the flow, by which published equations of a device differ
	crestPart    = 0.015 // of weirs with a straight crest, whose channel is not known
)

// device is a fit as it is handed out.
func (f *fitter) device(x fitted, logged func(head float64) float64) Device {
	d := Device{Kind: x.kind, Size: x.size, Dimension: x.dimension, Value: x.value, Equation: x.equation,
		Factor: x.factor, Unlike: x.unlike, Score: x.score, Shifted: x.moved}
	if d.Equation == "" {
		d.Equation = x.rating.Describe().Equation
	}
	flow, datum := f.halves(x)
	power := f.sizePower(x)
	half := x.value * flow / power
	switch x.kind {
	case "power":
		d.Coefficient, d.Exponent = x.factor, x.value
		half = f.exponentHalf(x)
	case "linear":
		d.Value = x.factor
		half = x.factor * flow
	}
	d.Low, d.High = d.Value-half, d.Value+half
	if x.size == "" {
		d.Size = usual(x.kind, d.Value, d.Low, d.High)
	}
	d.Zero = logged(x.datum)
	d.ZeroLow, d.ZeroHigh = logged(x.datum-datum), logged(x.datum+datum)
	if d.ZeroLow > d.ZeroHigh {
		d.ZeroLow, d.ZeroHigh = d.ZeroHigh, d.ZeroLow
	}
	// Logged levels and heads are one straight line, which the level of zero flow and its direction fix.
	sign := logged(1) - logged(0)
	d.Flow = func(level float64) float64 { return x.factor * x.rating.Flow(sign*(level-d.Zero)) }
	return d
}

// halves are half the intervals of a factor on the flow, relative, and of the datum.
func (f *fitter) halves(x fitted) (flow, datum float64) {
	ff, fd, dd := 0.0, 0.0, 0.0
	s := f.s
	for k, h := range s.Sample.Heads {
		q := x.flow(h)
		if q <= 0 || q >= s.Top*(1-s.Sample.Blur) || h < s.Dry {
			continue
		}
		t := s.Sample.Tolerances[k]
		r := (q - s.Sample.Flows[k]) / t
		w := 1 / ((1 + r*r) * t * t)
		by := -x.factor * x.rating.Slope(h-x.datum)
		ff, fd, dd = ff+float64(w*q*q), fd+float64(w*q*by), dd+float64(w*by*by)
	}
	part := equationPart
	if x.dimension == "width" {
		part = crestPart
	}
	n := float64(len(s.Sample.Heads))
	free := ff*dd - float64(fd*fd)
	if !(free > 0) {
		return 1, math.Inf(1)
	}
	flow = 1.96 * math.Hypot(math.Sqrt(n/freePairs*dd/free), part)
	if !x.moved {
		flow = 1.96 * math.Hypot(math.Sqrt(n/freePairs/ff), part)
	}
	datum = 1.96 * math.Hypot(math.Sqrt(n/freePairs*ff/free), part*fd/dd)
	return flow, datum
}

// sizePower is the power of its size with which the flow of a device grows: from its own equation a little larger, and
// of flumes in sizes that of Parshall flumes and H flumes, nearly (Q = 4 W h^n, and Q by similarity over one head).
func (f *fitter) sizePower(x fitted) float64 {
	if x.kind == "h-flume" {
		return 0.5
	}
	if x.resized == nil {
		if x.dimension != "angle" {
			return 1
		}
		return x.value / math.Sin(x.value) // of tan(angle/2)
	}
	larger := x.resized(1.01 * x.value)
	if larger == nil {
		return 1
	}
	h := f.middle() - x.datum
	p := math.Log(larger.Flow(h)/x.rating.Flow(h)) / math.Log(1.01)
	if !(math.Abs(p) > 0.1) {
		return 0.1
	}
	return p
}

// middle is the head in the middle of those with flow.
func (f *fitter) middle() float64 {
	heads := f.s.Sample.Heads
	return heads[len(heads)/2]
}

// exponentHalf is half the interval of an exponent: an error of the equation that grows over the heads of the log by
// its usual part from one end to the other.
func (f *fitter) exponentHalf(x fitted) float64 {
	heads := f.s.Sample.Heads
	low, high := heads[len(heads)/20]-x.datum, heads[len(heads)-1-len(heads)/20]-x.datum
	if !(low > 0 && high > 1.01*low) {
		return 1
	}
	return 1.96 * math.Hypot(2*equationPart, 2*f.tolerance()/math.Sqrt(freePairs)) / math.Log(high/low)
}

// usual is a value that is made, or usual, within an interval; "" for none.
func usual(kind string, v, low, high float64) string {
	within := func(w float64) bool { return w >= low && w <= high }
	switch kind {
	case "v-notch":
		for _, a := range published.Angles {
			if within(a * math.Pi / 180) {
				return quantity.Digits(a, 4) + " deg"
			}
		}
	case "rectangular", "cipolletti":
		for _, step := range [...]float64{0.5, 0.25, 0.1, 0.05} {
			if w := math.Round(v/step) * step; w > 0 && within(w) {
				return quantity.Digits(w, 3) + " m"
			}
			if w := math.Round(v/(step*feet)) * step; step >= 0.25 && w > 0 && within(w*feet) {
				return quantity.Digits(w, 3) + " ft"
			}
		}
	case "palmer-bowlus", "manning":
		for _, d := range diameters {
			if within(d) {
				return quantity.Digits(d, 4) + " m"
			}
		}
	case "power":
		for _, n := range [...]float64{1.5, 2, 2.5} {
			if within(n) {
				return quantity.Digits(n, 2)
			}
		}
	}
	return ""
}
