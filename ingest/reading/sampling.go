package reading

import (
	"math"
	"slices"
	"sort"
	"time"

	"retotal/ingest/quantity"
)

// Sampling is how a log was sampled for a time: a logger may be set to another interval, or be replaced by one that
// shows other steps.
type Sampling struct {
	From     int64         // the reading before its first one; the first sampling of a log begins with the log
	Interval time.Duration // usual step between readings
	GapLimit time.Duration // longest step over which totals are integrated
	Step     float64       // of the figures that flow is computed from, SI; 0 when unknown
}

// Residue is more than what the arithmetic of clock errors leaves of a time, ns, and less than any interval.
const Residue = 1000

// At is how the log was sampled up to an instant, by the reading that ends a step there.
func (f *Facts) At(end int64) Sampling {
	switch i := sort.Search(len(f.Samplings), func(i int) bool { return f.Samplings[i].From >= end }); {
	case len(f.Samplings) == 0:
		return Sampling{math.MinInt64, f.Interval, f.GapLimit, f.Resolution[f.Primary]}
	case i == 0:
		return f.Samplings[0]
	default:
		return f.Samplings[i-1]
	}
}

// Gap reports whether a step between readings is too long to integrate over. That from one sampling to the next may be
// as long as either allows: readings that stand for the middle of their interval lie half of both apart.
func (f *Facts) Gap(from, until int64) bool {
	limit := f.At(until).GapLimit
	if len(f.Samplings) > 0 {
		limit = max(limit, f.At(from).GapLimit)
	}
	return until-from > limit.Nanoseconds()
}

// LongestGap is the longest step anywhere in the log over which totals are integrated.
func (f *Facts) LongestGap() time.Duration {
	longest := f.GapLimit
	for _, s := range f.Samplings {
		longest = max(longest, s.GapLimit)
	}
	return longest
}

// MostDigits is how many decimals are looked for in a value.
const MostDigits = 12

// ofFloat32 is half the last place of a float32, relative.
const ofFloat32 = 6e-8

// Decimals is how many decimals a value in the unit of its log has, up to MostDigits: what float32 or a conversion
// leaves of a number with few decimals is no decimal.
func Decimals(v float64, u quantity.Unit) int {
	x := u.FromSI(v)
	for digits := range MostDigits {
		if math.Abs(x-math.Round(x)) < max(1e-6, math.Abs(x)*ofFloat32) {
			return digits
		}
		x *= 10
	}
	return MostDigits
}

// Step is the SI step of so many decimals in a unit; 0, for none, from MostDigits on.
func Step(digits int, u quantity.Unit) float64 {
	if digits >= MostDigits {
		return 0
	}
	return math.Abs(u.Factor) / math.Pow10(digits)
}

// A few averages among readings have many decimals: most values have no more than their step. And a step is coarser
// than the decimals that are written only when enough values say so that differ from the one before them, and are not
// the same few again and again. Common practice.
const (
	mostObey = 0.9
	enough   = 64
	distinct = 24
)

// Digits counts values of a column by their decimals.
type Digits struct {
	written, moved [MostDigits + 1]int
	values         [distinct]float64 // of those that moved, as many as are wanted
	known          int               // of them
	any            bool
	last           float64
}

// Add counts a value by the decimals that it was written with, or needs where that is not known, and by those that it
// needs where it differs from the value before.
func (d *Digits) Add(v float64, written, needed int) {
	d.written[min(written, MostDigits)]++
	if d.any && v == d.last {
		return
	}
	d.moved[min(needed, MostDigits)]++
	d.any, d.last = true, v
	if d.known < distinct && !slices.Contains(d.values[:d.known], v) {
		d.values[d.known] = v
		d.known++
	}
}

// Sure reports whether the values are enough to tell their step from them alone.
func (d *Digits) Sure() bool { return d.known == distinct && total(&d.moved) >= enough }

// Usual is the fewest decimals with which most values can be written; −1 when there are no values.
func (d *Digits) Usual() int {
	if d.Sure() {
		return usual(&d.moved)
	}
	return usual(&d.written)
}

func total(counts *[MostDigits + 1]int) (n int) {
	for _, k := range counts {
		n += k
	}
	return n
}

func usual(counts *[MostDigits + 1]int) int {
	n, least := 0, mostObey*float64(total(counts))
	for digits, k := range counts {
		if n += k; n > 0 && float64(n) >= least {
			return digits
		}
	}
	return -1
}
