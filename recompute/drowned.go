package recompute

import (
	"math"

	"retotal/qa"
	"retotal/recompute/device"
)

// Drowned is what was made of readings taken under drowned flow.
type Drowned struct {
	Readings int
	Computed int     // by a drowned equation; of the others only the most that can have flowed is known
	Spread   float64 // relative uncertainty that drowning adds, at the most
	Source   string
}

// modular returns the modular limit of a segment's device, 0 when none is known.
func (s *Segment) modular() float64 {
	d, ok := s.Rating.(device.Drownable)
	if !ok {
		return 0
	}
	if limit, _ := d.ModularLimit(); !math.IsInf(limit, 1) {
		return math.Max(limit, 1e-9) // a thin plate drowns as soon as the water reaches its crest
	}
	return 0
}

// drown replaces the free flow of drowned readings where the device has an equation for it. Where it has none that holds, the last flow that it knows, or the free
// one, is the most that can have flowed.
func (e *Engine) drown(low, high int) {
	if e.DownstreamHead == nil {
		return
	}
	copy(e.free[low:high], e.afterFlow[low:high])
	e.eachSegment(e.corrected, low, high, func(s *Segment, low, high int) {
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
	s := &w.lane.Segments[w.lane.at(e.Time[i]-e.lag)]
	if d, ok := s.Rating.(device.Drownable); ok {
		w.flow[i], _, _ = d.Drowned(s.head(e.Time[i], e.figure[i], e.airAt(i)), e.DownstreamHead[i])
	}
}
