package stage

import (
	"math"

	"retotal/qa"
	"retotal/recompute/block"
	"retotal/recompute/device"
	"retotal/recompute/settings"
)

// Drowned replaces the free flow of drowned readings where the device has an equation for it. Where it has none that
// holds, the last flow that it knows, or the free one, is the most that can have flowed.
type Drowned struct {
	Readings int
	Computed int     // by a drowned equation; of the others only the most that can have flowed is known
	Spread   float64 // relative uncertainty that drowning adds, at the most
	Source   string
}

// Add takes in the rows of a block.
func (d *Drowned) Add(b *block.Block) {
	if len(b.DownstreamHead) == 0 {
		return
	}
	copy(b.Free[b.Low:b.High], b.Corrected.Flow[b.Low:b.High])
	b.EachSegment(b.Corrected.Lane, b.Low, b.High, func(s *settings.Segment, low, high int) {
		if rating, ok := s.Rating.(device.Drownable); ok {
			d.drown(b, rating, low, high)
		}
	})
}

// drown takes in the rows of one device.
func (d *Drowned) drown(b *block.Block, rating device.Drownable, low, high int) {
	for i := low; i < high; i++ {
		if b.Flags[i]&qa.Drowned == 0 {
			continue
		}
		d.Readings++
		_, d.Source = rating.ModularLimit()
		q, spread, known := rating.Drowned(b.Head[i], b.DownstreamHead[i])
		b.Corrected.Flow[i], b.AtMost[i] = q, !known
		if known {
			d.Computed++
			d.Spread = math.Max(d.Spread, spread)
		}
		for _, w := range b.WhatIfs {
			drownLane(b, w, i)
		}
		for _, m := range b.Moved {
			drownLane(b, m.After, i)
		}
	}
}

// drownLane does the same for one reading of a lane, by its own device and head.
func drownLane(b *block.Block, l *block.Lane, i int) {
	s := b.SegmentOf(l.Lane, i)
	if rating, ok := s.Rating.(device.Drownable); ok {
		l.Flow[i], _, _ = rating.Drowned(s.Head(b.Time[i], b.Figure[i], b.AirAt(i)), b.DownstreamHead[i])
	}
}
