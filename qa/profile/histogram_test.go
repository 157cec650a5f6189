package profile

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"
)

// TestHistogram holds quantiles to those of the sorted sizes: a bin is an eighth of its doubling at most.
func TestHistogram(t *testing.T) {
	random := rand.New(rand.NewPCG(31, 14))
	for range 200 {
		var h histogram
		var sizes []float64
		scale := math.Exp(4 * random.NormFloat64() / 2)
		for range 1 + random.IntN(3000) {
			x := scale * math.Abs(random.NormFloat64()) / 100
			if random.IntN(5) == 0 {
				x = 0
			}
			h.add(x)
			sizes = append(sizes, x)
		}
		slices.Sort(sizes)
		for _, share := range []float64{0.02, 0.5, 0.99, 0.999, 1} {
			want := sizes[max(int(math.Ceil(share*float64(len(sizes))))-1, 0)]
			if got := h.quantile(share); math.Abs(got-want) > want/8+1e-6 {
				t.Errorf("%v of %d: %v, wanted %v", share, len(sizes), got, want)
			}
		}
	}
}

// TestBins: every size lies between the edges of its bin, and the edges rise.
func TestBins(t *testing.T) {
	random := rand.New(rand.NewPCG(32, 14))
	for range 10000 {
		x := math.Exp2(leastPower + (mostPower-leastPower)*random.Float64())
		if k := bin(x); x < edge(k) || x >= edge(k+1) || edge(k+1) > edge(k)*1.13 {
			t.Errorf("%v in bin %d from %v to %v", x, k, edge(k), edge(k+1))
		}
	}
	for size, want := range map[float64]int{0: 0, 1e-12: 0, 1e9: bins - 1, math.MaxFloat64: bins - 1} {
		if k := bin(size); k != want {
			t.Errorf("%v in bin %d, wanted %d", size, k, want)
		}
	}
	for n := 1; n < 1<<20; n += 1 + n/50 {
		if k := lengthBin(n); n > longest(k) || k > 0 && n <= longest(k-1) {
			t.Errorf("%d readings in the bin of up to %d", n, longest(k))
		}
	}
}

// TestBuckets: however far levels spread, no more buckets are in use than there may be, and nothing is lost or put
// where it does not belong.
func TestBuckets(t *testing.T) {
	random := rand.New(rand.NewPCG(33, 14))
	for range 50 {
		s := newBuckets(0.001)
		count := map[float64]int{}
		for range 5000 {
			level := math.Round(1e4*random.NormFloat64()*math.Exp(3*random.NormFloat64())) / 1e4
			s.at(level).readings++
			count[level]++
		}
		if len(s.list) > mostBuckets {
			t.Errorf("%d buckets", len(s.list))
		}
		total := 0
		for _, b := range s.list {
			inside := 0
			for level, n := range count {
				if index(level*s.perMetre) == b.index {
					inside += n
				}
			}
			if int(b.readings) != inside {
				t.Errorf("%d readings in the bucket at %v m, wanted %d", b.readings, float64(b.index)*s.width, inside)
			}
			total += inside
		}
		if total != 5000 {
			t.Errorf("%d readings", total)
		}
	}
}
