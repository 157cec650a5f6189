package stat

import (
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/interp"
)

// TestAlongGonum: within the chain and, held, beyond it, values are those of gonum's piecewise linear interpolation.
func TestAlongGonum(t *testing.T) {
	random := rand.New(rand.NewPCG(41, 42))
	for n := 2; n < 40; n++ {
		x, y, points := make([]float64, n), make([]float64, n), make([]Point, n)
		at := 0.0
		for i := range n {
			at += 0.01 + random.Float64()
			x[i], y[i] = at, random.NormFloat64()
			points[i] = Point{x[i], y[i]}
		}
		var oracle interp.PiecewiseLinear
		if err := oracle.Fit(x, y); err != nil {
			t.Fatal(err)
		}
		for range 100 {
			v := (at + 2) * random.Float64()
			if got, want := Held(points, v), oracle.Predict(v); math.Abs(got-want) > 1e-12 {
				t.Errorf("%d points at %v: %v, gonum %v", n, v, got, want)
			}
			if got, want := Along(points, v), oracle.Predict(v); v >= x[0] && v <= at && math.Abs(got-want) > 1e-12 {
				t.Errorf("along %d points at %v: %v, gonum %v", n, v, got, want)
			}
		}
	}
}

// TestAlongEnds: the last slope goes on, or the last value is held; of one point both are its value.
func TestAlongEnds(t *testing.T) {
	chain := []Point{{1, 10}, {2, 12}, {4, 11}}
	for _, c := range []struct{ x, along, held float64 }{
		{0, 8, 10}, {1, 10, 10}, {1.5, 11, 11}, {2, 12, 12}, {3, 11.5, 11.5}, {4, 11, 11}, {6, 10, 11},
	} {
		if got := Along(chain, c.x); got != c.along {
			t.Errorf("along, at %v: %v, want %v", c.x, got, c.along)
		}
		if got := Held(chain, c.x); got != c.held {
			t.Errorf("held, at %v: %v, want %v", c.x, got, c.held)
		}
	}
	if one := []Point{{3, 7}}; Along(one, 9) != 7 || Held(one, -1) != 7 {
		t.Error("of one point")
	}
}

// TestBisect: each halving leaves half of the span; a place that lies before stays below.
func TestBisect(t *testing.T) {
	for _, c := range []struct {
		halvings int
		want     float64
	}{{0, 0}, {1, 0}, {2, 2}, {3, 3}, {4, 3}, {5, 3.25}, {60, 3.3}} {
		if got := Bisect(0, 8, c.halvings, func(x float64) bool { return x < 3.3 }); math.Abs(got-c.want) > 1e-12 {
			t.Errorf("%d halvings: %v, want %v", c.halvings, got, c.want)
		}
	}
}

// TestHullAgainstPairs: at any X a side of the hull is the outermost of the straight lines between all pairs of points.
func TestHullAgainstPairs(t *testing.T) {
	random := rand.New(rand.NewPCG(43, 44))
	for round := range 200 {
		points := make([]Point, 2+round%20)
		for i := range points {
			points[i] = Point{float64(random.IntN(9)), float64(random.IntN(9))} // with many in one place or one line
		}
		points[0].X, points[1].X = 0, 9
		for _, side := range []Side{Below, Above} {
			hull := Hull(append([]Point(nil), points...), side)
			for x := 0.0; x <= 9; x += 0.25 {
				if got, want := Along(hull, x), outermost(points, x, side); math.Abs(got-want) > 1e-12 {
					t.Fatalf("%v, side %v at %v: %v, want %v", points, side, x, got, want)
				}
			}
		}
	}
}

// outermost is the least or the most that a line between two of some points has at x.
func outermost(points []Point, x float64, side Side) float64 {
	best := math.Inf(-int(side))
	for _, a := range points {
		for _, b := range points {
			v := a.Y
			switch {
			case a.X > x || b.X < x:
				continue
			case a.X < b.X:
				v = a.Y + (b.Y-a.Y)*(x-a.X)/(b.X-a.X)
			case a.X != x:
				continue
			}
			best = float64(side) * math.Max(float64(side)*best, float64(side)*v)
		}
	}
	return best
}

// TestCornersHold: between its samples a curve that is smooth, or has one kink or jump there, stays within the hulls of
// its corners.
func TestCornersHold(t *testing.T) {
	for name, f := range map[string]func(float64) float64{
		"power":  func(x float64) float64 { return math.Pow(x, 2.5) },
		"root":   math.Sqrt,
		"kink":   func(x float64) float64 { return math.Max(x, 3*x-1.234) },
		"jump":   func(x float64) float64 { return x + math.Floor(x+0.377) },
		"peak":   func(x float64) float64 { return math.Max(0, x*(2.2-x)) },
		"closed": func(x float64) float64 { return 1 + math.Sin(3*x) },
	} {
		var s Sampled
		for i := range 41 {
			s.X, s.Kinks = append(s.X, float64(i)/20), append(s.Kinks, false)
			s.Y = append(s.Y, f(float64(i)/20))
		}
		low, high := Hull(s.Corners(Below), Below), Hull(s.Corners(Above), Above)
		for x := 0.0; x <= 2; x += 0.001 {
			if y := f(x); y < Along(low, x)-1e-12 || y > Along(high, x)+1e-12 {
				t.Errorf("%s at %v: %v is not between %v and %v", name, x, y, Along(low, x), Along(high, x))
			}
		}
	}
}

// TestCornersByHand: x² at 0, 1, 2 and 3. Between 1 and 2 the lines through the neighbours, of slopes 1 and 5, lie 2
// off the line between, of slope 3; as the curve rises, it stays between 1 and 4. A known kink at 1 leaves the
// neighbour at 3, as far off.
func TestCornersByHand(t *testing.T) {
	s := Sampled{X: []float64{0, 1, 2, 3}, Y: []float64{0, 1, 4, 9}, Kinks: make([]bool, 4)}
	for _, kink := range []bool{false, true} {
		s.Kinks[1] = kink
		below, above := s.Corners(Below)[2:4], s.Corners(Above)[2:4]
		want := []Point{{1, 1}, {2, 2}, {1, 3}, {2, 4}}
		for i, got := range append(below, above...) {
			if math.Abs(got.X-want[i].X) > 1e-9 || math.Abs(got.Y-want[i].Y) > 1e-9 {
				t.Errorf("kink %v, corner %d: %v, want %v", kink, i, got, want[i])
			}
		}
	}
	turning := Sampled{X: []float64{0, 2, 1}, Y: []float64{0, 1, 2}, Kinks: make([]bool, 3)}
	if got := turning.Corners(Above)[0]; got.X != -2 { // 2 to either side
		t.Errorf("%v", got)
	}
}
