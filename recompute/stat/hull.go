package stat

import (
	"cmp"
	"math"
	"slices"
)

// Side is one of the two sides of a curve or of a convex hull.
type Side float64

// The two sides.
const (
	Below Side = -1
	Above Side = 1
)

// Hull returns the corners of one side of the convex hull of points, rising in X. It sorts the points.
func Hull(points []Point, side Side) (out []Point) {
	sign := -float64(side)
	slices.SortFunc(points, func(a, b Point) int {
		return cmp.Or(cmp.Compare(a.X, b.X), cmp.Compare(sign*a.Y, sign*b.Y))
	})
	for _, p := range points {
		if len(out) > 0 && out[len(out)-1].X == p.X {
			continue // further in
		}
		for len(out) >= 2 {
			a, b := out[len(out)-2], out[len(out)-1]
			if sign*(float64((b.X-a.X)*(p.Y-a.Y))-float64((b.Y-a.Y)*(p.X-a.X))) > 0 {
				break
			}
			out = out[:len(out)-1]
		}
		out = append(out, p)
	}
	return out
}

// Sampled is a curve of which points are known, with Y nowhere negative.
type Sampled struct {
	X, Y  []float64
	Kinks []bool // where the curve is known to bend
}

// Corners holds the curve from one side: between two of its points it is kept between bounds that it cannot leave when
// it is smooth there or has one kink or jump.
func (s Sampled) Corners(side Side) (corners []Point) {
	for i := range len(s.X) - 1 {
		corners = append(corners, s.corners(i, float64(side))...)
	}
	return corners
}

// corners are those between points i and i+1.
func (s Sampled) corners(i int, sign float64) []Point {
	x, y := s.X, s.Y
	low, high := math.Min(y[i], y[i+1]), math.Max(y[i], y[i+1])
	off := s.astray(i) + float64(1e-12*high)
	end := [2]float64{y[i], y[i+1]}
	for k, v := range end {
		end[k] = v + float64(sign*off)
		if sign < 0 && oneWay(y, i) {
			end[k] = math.Max(end[k], low*(1-1e-12))
		} else if sign > 0 && oneWay(y, i) {
			end[k] = math.Min(end[k], high*(1+1e-12))
		}
		end[k] = math.Max(0, end[k])
	}
	wide := s.turning(i)
	if wide == 0 {
		return []Point{{x[i], end[0]}, {x[i+1], end[1]}}
	}
	left, right := math.Min(x[i], x[i+1])-wide, math.Max(x[i], x[i+1])+wide
	return []Point{{left, end[0]}, {left, end[1]}, {right, end[0]}, {right, end[1]}}
}

// astray is how far the curve can lie off the straight line between points i and i+1. Where it is convex or concave, it
// lies between that line and the lines through the neighbours; one kink in between bends those lines by more than it
// moves the curve, and one jump by as much. Lines do not go on over a known kink. A curve that goes one way stays
// between its two points, however it gets there.
func (s Sampled) astray(i int) float64 {
	x, y := s.X, s.Y
	dx, dy := x[i+1]-x[i], y[i+1]-y[i]
	off, box := -1.0, math.Abs(dy)
	for end, k := range []int{i - 1, i + 1} {
		if k >= 0 && k+1 < len(x) && !s.Kinks[i+end] {
			slope := (y[k+1] - y[k]) / (x[k+1] - x[k])
			off = math.Max(off, math.Abs(dy-float64(slope*dx)))
		}
	}
	if oneWay(y, i) && !(off <= box) || !(off >= 0) || math.IsInf(off, 0) {
		return box
	}
	return off
}

// turning is by how much the curve may pass the X of points i and i+1 because X turns nearby; 0 elsewhere.
func (s Sampled) turning(i int) (wide float64) {
	if oneWay(s.X, i) {
		return 0
	}
	for k := max(i-1, 0); k < min(i+2, len(s.X)-1); k++ {
		wide = math.Max(wide, math.Abs(s.X[k+1]-s.X[k]))
	}
	return wide
}

// oneWay reports whether values go one way from before point i to after point i+1.
func oneWay(v []float64, i int) bool {
	from, until := max(i-1, 0), min(i+2, len(v)-1)
	rises, falls := false, false
	for k := from; k < until; k++ {
		rises, falls = rises || v[k+1] > v[k], falls || v[k+1] < v[k]
	}
	return !(rises && falls)
}
