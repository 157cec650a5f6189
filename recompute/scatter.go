package recompute

import (
	"math"

	"retotal/recompute/stat"
)

// noise is how the flow of a day bends with head: what a square metre of variance would add to its volume twice, and
// how readings scatter.
type noise struct {
	volume  float64 // m³ per m²
	scatter stat.Scatter
}

// lift is the volume that noise of the readings adds: the mean of flows lies above the flow of the mean head by half of
// Q″ times the variance.
func (c *noise) lift() float64 {
	d := c.scatter.Deviation()
	return math.Max(0, float64(c.volume*d*d)/2)
}
