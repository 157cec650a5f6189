package qa

import (
	"math"
	"math/rand/v2"
	"testing"
)

// TestFlat: what the shortcut says of every row is what the least and greatest value of its window say, over random
// signals that stand still, drift, jump and are noisy.
func TestFlat(t *testing.T) {
	random := rand.New(rand.NewPCG(101, 102))
	for range 300 {
		var f flat
		var at []int64
		var values []float64
		length, limit := int64(1+random.IntN(60)), 1+1e-12
		f.begin(0)
		v, noise, drift := 0.0, 1.0, 0.0
		for now := int64(0); len(at) < 600; now += int64(1 + random.IntN(3)) {
			if random.IntN(40) == 0 {
				noise, drift = []float64{0, 0.3, 0.6, 3}[random.IntN(4)], []float64{0, 0, 0.02, -0.1}[random.IntN(4)]
			}
			if random.IntN(90) == 0 {
				v += 4 * random.NormFloat64()
			}
			v += drift
			at, values = append(at, now), append(values, v+noise*(random.Float64()-0.5))
			low, high := math.Inf(1), math.Inf(-1)
			for k := range at {
				if at[k] >= now-length {
					low, high = min(low, values[k]), max(high, values[k])
				}
			}
			// While the window reaches back before the first row the caller does not ask.
			got, want := f.still(now, values[len(values)-1], now-length, limit), high-low <= limit
			if got != want && now >= length {
				t.Fatalf("row %d at %d, window %d: %v, want %v", len(at), now, length, got, want)
			}
		}
	}
}
