package device

import "math"

// tableError is the relative error that a tabulated device may have against its own equation.
const tableError = 1e-7

// The bounds of a table: intervals at the start, the smallest part of the range that an interval may have, and how many
// times the equation may be asked before the table is given up and the equation itself answers.
const (
	firstCells      = 32
	narrowest       = 1e-12
	mostEvaluations = 6000
)

// tabulate puts an iterated device behind a table that answers as fast as a plain equation: the coefficient Q/h^1.5,
// which varies slowly, follows a cubic through four heads of each interval. An interval whose cubic is off by more than
// half of tableError at three places between is halved; a kink is so found and split at, by intervals that narrow down
// on it, at the cost of one more for each halving. Below the first head and above the last one the device itself
// answers.
func tabulate(f *Formula, low, high float64) Rating {
	if !(high > low) || math.IsInf(high, 1) || !(f.flow(high) > f.flow(low)) { // dimensions that were refused
		return f
	}
	t := &cubicTable{exact: f.flow, narrowest: narrowest * (high - low)}
	step := (high - low) / firstCells
	for i := range firstCells {
		a, b := low+float64(step*float64(i)), low+float64(step*float64(i+1))
		if i == firstCells-1 {
			b = high
		}
		if !t.add(a, b, t.coefficient(a), t.coefficient(b)) {
			return f
		}
	}
	t.index(low, high)
	fast := *f
	fast.exact, fast.cells, fast.evaluations = f.flow, len(t.cells), t.evaluations
	fast.flow = func(h float64) float64 {
		if h < low || h >= high {
			return fast.exact(h)
		}
		return t.flow(h)
	}
	return &fast
}

// tabulate is the function of that name; a device that was refused needs no table.
func (d *dimensions) tabulate(f *Formula, low, high float64) Rating {
	if len(d.issues) > 0 {
		return f
	}
	return tabulate(f, low, high)
}

// cubicTable is Q/h^1.5 by cubics on intervals of different width.
type cubicTable struct {
	exact        func(float64) float64
	evaluations  int
	narrowest    float64
	cells        []cubicCell
	first        []int32 // the cell at the start of every even step
	low, perStep float64
}

// cubicCell is one interval: Q/h^1.5 = c0 + c1 x + c2 x² + c3 x³, x from 0 at its start to 1 at its end.
type cubicCell struct {
	start, end, perWidth float64
	c                    [4]float64
}

func (t *cubicTable) coefficient(h float64) float64 {
	t.evaluations++
	return t.exact(h) / power(h, 1.5)
}

// add covers a to b, whose coefficients are ya and yb, with as many cells as it takes; false when the bound of
// evaluations is met.
func (t *cubicTable) add(a, b, ya, yb float64) bool {
	if t.evaluations > mostEvaluations {
		return false
	}
	width := b - a
	at := func(x float64) float64 { return t.coefficient(a + float64(x*width)) }
	cell := cubicCell{start: a, end: b, perWidth: 1 / width, c: throughQuarters(ya, at(0.25), at(0.75), yb)}
	middle := at(0.5)
	good := math.Abs(cell.at(0.5)-middle) <= tableError/2*middle
	for _, x := range []float64{0.1, 0.9} {
		if good {
			y := at(x)
			good = math.Abs(cell.at(x)-y) <= tableError/2*y
		}
	}
	if good || width <= t.narrowest {
		t.cells = append(t.cells, cell)
		return true
	}
	half := a + width/2
	return t.add(a, half, ya, middle) && t.add(half, b, middle, yb)
}

// throughQuarters returns the cubic through the values at 0, 1/4, 3/4 and 1 (Newton's divided differences, expanded).
func throughQuarters(y0, y1, y2, y3 float64) [4]float64 {
	d01, d12, d23 := 4*(y1-y0), 2*(y2-y1), 4*(y3-y2)
	d012, d123 := (d12-d01)/0.75, (d23-d12)/0.75
	d := d123 - d012
	// y0 + d01 x + d012 x(x-1/4) + d x(x-1/4)(x-3/4)
	return [4]float64{y0, d01 - d012/4 + float64(3.0/16*d), d012 - d, d}
}

func (c *cubicCell) at(x float64) float64 {
	return c.c[0] + float64(x*(c.c[1]+float64(x*(c.c[2]+float64(x*c.c[3])))))
}

// index notes the cell at the start of even steps, so that the one of a head is found without a search.
func (t *cubicTable) index(low, high float64) {
	steps := 4 * len(t.cells)
	t.low, t.perStep, t.first = low, float64(steps)/(high-low), make([]int32, steps+1)
	cell := 0
	for i := range t.first {
		for cell < len(t.cells)-1 && t.cells[cell].end <= low+float64(i)/t.perStep {
			cell++
		}
		t.first[i] = int32(cell)
	}
}

func (t *cubicTable) flow(h float64) float64 {
	i := int(t.first[int((h-t.low)*t.perStep)])
	for i > 0 && h < t.cells[i].start {
		i--
	}
	for i < len(t.cells)-1 && h >= t.cells[i].end {
		i++
	}
	c := &t.cells[i]
	return h * math.Sqrt(h) * c.at(float64((h-c.start)*c.perWidth))
}
