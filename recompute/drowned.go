package recompute

import (
	"math"

	"retotal/qa"
	"retotal/recompute/device"
)

// Drowned is what was made of readings taken under drowned flow.
type Drowned struct {
	Readings int     `json:"readings"`
	Computed int     `json:"computed"`          // by a drowned equation; the others keep the free flow, which is then an upper bound
	Spread   float64 `json:"largest_added_u95"` // relative uncertainty that drowning adds, at the most
	Source   string  `json:"source,omitempty"`
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

// drown replaces the free flow of drowned readings where the device has an equation for it.
func (e *Engine) drown(low, high int) {
	if e.DownstreamHead == nil {
		return
	}
	e.eachSegment(e.corrected, low, high, func(s *Segment, low, high int) {
		d, ok := s.Rating.(device.Drownable)
		for i := low; ok && i < high; i++ {
			if e.Flags[i]&qa.Drowned == 0 {
				continue
			}
			e.drowned.Readings++
			_, e.drowned.Source = d.ModularLimit()
			if q, spread, ok := d.Drowned(e.Head[i], e.DownstreamHead[i]); ok {
				for _, w := range e.whatIfs { // drowned by the same share
					w.flow[i] = float64(w.flow[i] * (q / math.Max(e.afterFlow[i], 1e-12)))
				}
				e.afterFlow[i] = q
				e.drowned.Computed++
				e.drowned.Spread = math.Max(e.drowned.Spread, spread)
			}
		}
	})
}
