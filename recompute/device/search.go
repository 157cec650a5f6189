package device

import "math"

// bisect returns where before turns from true to false between low and high, to one part in 10¹³.
func bisect(low, high float64, before func(float64) bool) float64 {
	for i := 0; i < 200 && high-low > 1e-13*high; i++ {
		if middle := low + (high-low)/2; before(middle) {
			low = middle
		} else {
			high = middle
		}
	}
	return low + (high-low)/2
}

// summitOf returns where a function that bends downwards is greatest between low and high, by golden section.
func summitOf(of func(float64) float64, low, high float64) float64 {
	golden := (math.Sqrt(5) - 1) / 2
	for tolerance := 1e-9 * high; high-low > tolerance; {
		if a, b := high-float64(golden*(high-low)), low+float64(golden*(high-low)); of(a) < of(b) {
			low = a
		} else {
			high = b
		}
	}
	return low + (high-low)/2
}
