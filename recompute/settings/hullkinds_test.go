package settings

import (
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"retotal/ingest/quantity"
	"retotal/ingest/reading"
	"retotal/ingest/site"
	"retotal/recompute/device"
	"retotal/recompute/settings/chain"
)

// TestHullOfEveryKind: whatever the device, means of two heads lie between the bounds, with the datum 20 mm off either
// way. Also tells how long the slowest takes.
func TestHullOfEveryKind(t *testing.T) {
	random := rand.New(rand.NewPCG(1, 6))
	slowest, name := time.Duration(0), ""
	for _, kind := range device.All() {
		r := kind.Rating
		top := math.Min(math.Min(1.3*r.Limits().High, r.Limits().End), 2)
		for _, shift := range []float64{0.02, -0.02} {
			lane := func(empty float64) *Segment {
				s := &Segment{
					From:        Always,
					Until:       Never,
					Origin:      Always,
					Rating:      r,
					MaximumHead: top,
					MaximumFlow: math.Inf(1),
				}
				s.Settings.Values[site.EmptyDistance] = &site.Ramp{
					From: quantity.Value{SI: empty}, To: quantity.Value{SI: empty},
				}
				s.Settings.Values[site.MaximumHead] = &site.Ramp{
					From: quantity.Value{SI: top}, To: quantity.Value{SI: top},
				}
				return s
			}
			recorded, s := lane(3), lane(3+shift)
			recorded.chain = chain.Build(reading.Flow, nil, recorded.Origin, recorded.told(), recorded.told())
			s.chain = chain.Build(reading.Flow, nil, s.Origin, s.told(), recorded.told())
			s.Ends = ends{depth: math.Inf(1)}
			h := &hull{segment: s, recorded: recorded, most: math.Inf(1)}
			begun := time.Now()
			h.bounds(0, 293.15)
			if took := time.Since(begun); took > slowest {
				slowest, name = took, kind.Name
			}
			for range 2000 {
				a, b := top*math.Exp(-8*random.Float64()), top*random.Float64()
				share := float64(random.IntN(5)) / 4
				x := share*r.Flow(a) + (1-share)*r.Flow(b)
				y := share*r.Flow(a+shift) + (1-share)*r.Flow(b+shift)
				if lower, upper := h.bounds(x, 293.15); lower > y*(1+1e-9)+1e-15 || upper < y*(1-1e-9)-1e-15 {
					t.Errorf("%s, %+.0f mm: heads %.6g and %.6g m, %.2f of the first: %.9g is not between "+
						"%.9g and %.9g",
						kind.Name, 1000*shift, a, b, share, y, lower, upper)
					break
				}
			}
		}
	}
	t.Logf("slowest: %s, %v", name, slowest)
}
