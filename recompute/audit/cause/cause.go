// Package cause holds the catalogue of what may stand behind a counter, reported figures, a clock or a level that
// cannot be right, and what is said of each: value, interval, since when.
package cause

import (
	"math"
	"slices"
)

// Cause is what explains a disagreement best.
type Cause struct {
	*Hypothesis
	Value     float64 // of what is free, in Unit; NaN where nothing is
	Low, High float64 // within which it lies at about 95 %
	Unit      string  // "x" for a factor, "h", "mm", "L/s", "s/d", "mm/K", "d"
	Taken     string  // what a factor is known as: "a tenth"
	// Since and Until are when it began and ended; 0 for before the first reading or day, and after the last.
	Since, Until int64
	Worth        float64  // m³ that the doubted figures have too much by it; NaN where nothing says
	AsWell       []string // what fits equally well
	Against      string   // what speaks against it; "" for nothing
	Days, Of     int      // days that it explains, of those compared; 0 where it is about none
	// Cannot says that it is named as possible only: nothing in the record tells it from what it is confounded with.
	Cannot bool
}

// Hypothesis is a row of the catalogue.
type Hypothesis struct {
	Topic      string // "counter", "reported", "clock", "level"
	Name       string // as a site file accepts it
	Free       string // which value is free
	Predicts   string
	Confounded string // with what; "" for nothing that the record does not tell
	Settles    string // the cheapest measurement
}

// Named is a cause of the catalogue, of which nothing is known yet.
func Named(name string) Cause {
	k := slices.IndexFunc(Catalogue, func(h Hypothesis) bool { return h.Name == name })
	return Cause{Hypothesis: &Catalogue[k], Value: math.NaN(), Low: math.NaN(), High: math.NaN(), Worth: math.NaN()}
}

// blocks is how many times a value is fitted again, each time without another block of days.
const blocks = 10

// Jackknife sets the interval of a value that was found from n items in a row: again finds it from some of them, and is
// asked without one block of them after the other (the delete-a-group jackknife; P. S. Kott, Journal of Official
// Statistics 17, 2001; form from memory). 2.262 is Student's t for 9 degrees of freedom at 95 %.
func (c *Cause) Jackknife(n int, again func(of func(i int) bool) float64) {
	sum := 0.0
	for k := range blocks {
		v := again(func(i int) bool { return i*blocks/n != k })
		sum += (v - c.Value) * (v - c.Value)
	}
	half := 2.262 * math.Sqrt(sum*float64(blocks-1)/float64(blocks))
	if c.Unit == "x" {
		half = math.Max(half, 0.001*math.Abs(c.Value))
	}
	c.Low, c.High = c.Value-half, c.Value+half
	if c.Unit == "x" {
		c.snap()
	}
}

// Factors are those that are known by name (UCUM for the units).
var Factors = []struct {
	Value float64
	Name  string
}{
	{10, "ten times"}, {0.1, "a tenth"}, {100, "a hundred times"}, {0.01, "a hundredth"}, {1000, "a thousand times"},
	{0.001, "a thousandth"}, {3.6, "m3/h for L/s"}, {1 / 3.6, "L/s for m3/h"},
	{4.54609 / 3.785411784, "US for imperial gallons"}, {3.785411784 / 4.54609, "imperial for US gallons"},
	{1 / 3.785411784e-3, "US gallons for m3"}, {3.785411784e-3, "m3 for US gallons"},
	{1 / 4.54609e-3, "imperial gallons for m3"}, {4.54609e-3, "m3 for imperial gallons"},
	{1 / 0.028316846592, "cubic feet for m3"}, {0.028316846592, "m3 for cubic feet"},
	{60, "sixty times"}, {1.0 / 60, "a sixtieth"}, {2, "twice"}, {0.5, "half"},
}

// snap takes a factor for one that is known by name, where its interval, or half a per cent, holds that.
func (c *Cause) snap() {
	for _, f := range Factors {
		within := math.Max((c.High-c.Low)/2, 0.005*f.Value)
		if math.Abs(c.Value-f.Value) <= math.Min(within, 0.02*f.Value) {
			c.Value, c.Taken = f.Value, f.Name
			c.Low, c.High = math.Min(c.Low, f.Value), math.Max(c.High, f.Value)
			return
		}
	}
}
