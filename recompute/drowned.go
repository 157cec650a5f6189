package recompute

import (
	"fmt"
	"math"

	"retotal/qa"
	"retotal/recompute/device"
	"retotal/recompute/settings"
)

// Drowned is what was made of readings taken under drowned flow.
type Drowned struct {
	Readings int
	Computed int     // by a drowned equation; of the others only the most that can have flowed is known
	Spread   float64 // relative uncertainty that drowning adds, at the most
	Source   string
}

// drown replaces the free flow of drowned readings where the device has an equation for it. Where it has none that
// holds, the last flow that it knows, or the free one, is the most that can have flowed.
func (e *Engine) drown(low, high int) {
	if e.DownstreamHead == nil {
		return
	}
	copy(e.free[low:high], e.afterFlow[low:high])
	e.eachSegment(e.corrected, low, high, func(s *settings.Segment, low, high int) {
		d, ok := s.Rating.(device.Drownable)
		for i := low; ok && i < high; i++ {
			if e.Flags[i]&qa.Drowned == 0 {
				continue
			}
			e.drowned.Readings++
			_, e.drowned.Source = d.ModularLimit()
			q, spread, known := d.Drowned(e.Head[i], e.DownstreamHead[i])
			e.afterFlow[i], e.atMost[i] = q, !known
			if known {
				e.drowned.Computed++
				e.drowned.Spread = math.Max(e.drowned.Spread, spread)
			}
			for _, w := range e.whatIfs {
				w.drown(e, i)
			}
		}
	})
}

// drown does the same for one reading of a lane, by its own device and head.
func (w *whatIf) drown(e *Engine, i int) {
	s := &w.lane.Segments[w.lane.At(e.Time[i]-e.lag)]
	if d, ok := s.Rating.(device.Drownable); ok {
		w.flow[i], _, _ = d.Drowned(s.Head(e.Time[i], e.figure[i], e.airAt(i)), e.DownstreamHead[i])
	}
}

// knowDrowned gives the estimated flow the uncertainty that its drowned equation adds, at the most, in place of the
// usual one.
func (e *Engine) knowDrowned() {
	if e.drowned.Computed == 0 {
		return
	}
	for i := range e.sources {
		if s := &e.sources[i]; s.ofClass && s.class == Estimated {
			s.relative, s.Input = e.drowned.Spread/coverage, e.drowned.Spread/coverage*100
			s.Text = fmt.Sprintf("%.3g %% of it, added by the drowned equation", e.drowned.Spread*100)
		}
	}
}
