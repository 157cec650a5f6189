package stat

import (
	"cmp"
	"slices"
)

// Point is one of a chain of points.
type Point struct{ X, Y float64 }

// Along interpolates a chain of points, rising in X, by straight lines; beyond its ends the last slope goes on.
func Along(points []Point, x float64) float64 {
	if len(points) == 1 {
		return points[0].Y
	}
	i, _ := slices.BinarySearchFunc(points, x, func(p Point, x float64) int { return cmp.Compare(p.X, x) })
	i = min(max(i, 1), len(points)-1)
	a, b := points[i-1], points[i]
	return a.Y + float64((b.Y-a.Y)*((x-a.X)/(b.X-a.X)))
}

// Held is Along with the outermost values beyond the ends.
func Held(points []Point, x float64) float64 {
	switch first, last := points[0], points[len(points)-1]; {
	case x <= first.X:
		return first.Y
	case x > last.X:
		return last.Y
	}
	return Along(points, x)
}

// Bisect halves the span from low to high, within which before turns from true to false, so many times, and returns the
// lower end of what is left.
func Bisect(low, high float64, halvings int, before func(float64) bool) float64 {
	for range halvings {
		if middle := low + (high-low)/2; before(middle) {
			low = middle
		} else {
			high = middle
		}
	}
	return low
}
