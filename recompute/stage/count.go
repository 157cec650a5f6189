package stage

import (
	"math"

	"retotal/ingest/site"
	"retotal/qa"
	"retotal/recompute/block"
	"retotal/recompute/settings"
)

// Counted returns the flow of a lane's segment that counts for row i, which is used, and what is known of it; raw is
// its flow whatever stands behind it.
func Counted(
	b *block.Block,
	s *settings.Segment,
	i int,
	raw float64,
	action site.Action,
	ruling *site.Ruling,
) (float64, settings.Bound) {
	return counted(b, s, i, raw, action, ruling, s.OfMeans())
}

// counted is Counted, told whether the flow is that of a mean which is only known between bounds.
func counted(
	b *block.Block,
	s *settings.Segment,
	i int,
	raw float64,
	action site.Action,
	ruling *site.Ruling,
	means bool,
) (float64, settings.Bound) {
	if ruling != nil {
		if ruling.Action == site.RuleBound {
			return ruling.Least, settings.Bound{Held: true, Lower: ruling.Least, Upper: ruling.Most}
		}
		return raw, settings.Exactly(raw)
	}
	flags := b.Flags[i]
	switch {
	case action == site.Hold && (flags&(qa.CutOff|qa.Capped) != 0 || !means && flags&qa.Hiding != 0):
		return heldAt(b, s, i, raw)
	case action == site.Zero && flags&qa.CutOff != 0: // below zero by the corrected settings, where the meter hid flow
		return heldAt(b, s, i, raw)
	case action == site.Keep && flags&(qa.CutOff|qa.Capped|qa.Blanking) != 0:
		// What the meter hid it hid, whatever is made of it.
		flow, x := heldAt(b, s, i, raw)
		return math.Max(flow, raw), settings.Bound{Held: true, Lower: x.Lower, Upper: math.Max(x.Upper, raw)}
	case means: // a mean below zero still has flow in its interval
		x := settings.Bound{Held: true}
		x.Lower, x.Upper = s.MeanBounds(b.Figure[i], b.AirAt(i))
		return drowned(b, i, raw, x)
	case action == site.Zero:
		return 0, settings.Exactly(0)
	case len(b.AtMost) > 0 && b.AtMost[i]:
		return raw, settings.Bound{Lower: 0, Upper: raw}
	case b.HoldsTop() && above(b, s, i): // a kept spike flows no more than the channel holds
		x := s.Bounds(b.Time[i], b.Figure[i], b.AirAt(i), raw, qa.Surcharge)
		return x.Lower, x
	}
	return raw, settings.Exactly(raw)
}

// above reports whether the head of row i is above the segment's top. It is worked out only where it may be.
func above(b *block.Block, s *settings.Segment, i int) bool {
	return !math.IsInf(s.Top, 1) && s.Head(b.Time[i], b.Figure[i], b.AirAt(i)) > s.Top+b.Limits.Resolution
}

// heldAt returns the least that flowed at a reading that stands at an end, and its bounds.
func heldAt(b *block.Block, s *settings.Segment, i int, raw float64) (float64, settings.Bound) {
	return drowned(b, i, raw, s.Bounds(b.Time[i], b.Figure[i], b.AirAt(i), raw, b.Flags[i]))
}

// drowned takes from the bounds of free flow what water below the device does to it, where it drowns it: it leaves
// less, or nothing that is known.
func drowned(b *block.Block, i int, raw float64, x settings.Bound) (float64, settings.Bound) {
	switch {
	case b.Flags[i]&qa.Drowned == 0:
	case b.AtMost[i]:
		x.Lower = 0
	default:
		x.Lower = math.Min(x.Lower, raw)
	}
	return x.Lower, x
}

// spanning widens what is known of a mean whose interval holds a change of settings: it was written under both.
func spanning(b *block.Block, i int, flow float64, x settings.Bound) (float64, settings.Bound) {
	figure, air := b.Figure[i], b.AirAt(i)
	now := b.SegmentOf(b.Corrected.Lane, i)
	for _, cut := range b.Changes(b.Opens(i), b.Time[i]) {
		then := &b.Corrected.Segments[b.Corrected.At(cut-1)]
		other := settings.Exactly(then.Flow(cut-1, figure, air))
		if then.OfMeans() {
			other.Lower, other.Upper = then.MeanBounds(figure, air)
		}
		x = settings.Bound{Held: true, Lower: math.Min(x.Lower, other.Lower), Upper: math.Max(x.Upper, other.Upper)}
		if now.OfMeans() && then.OfMeans() {
			lower, upper := now.MeanBoundsWith(then, figure, air)
			x.Lower, x.Upper = math.Min(x.Lower, lower), math.Max(x.Upper, upper)
		}
		flow = x.Lower
	}
	return flow, x
}

// ruled is what a ruling makes of a reading: its action in terms of screening, its flow and its bounds.
func ruled(x *site.Ruling, flow float64) (site.Action, float64, settings.Bound) {
	switch x.Action {
	case site.RuleLeaveOut:
		return site.LeaveOut, flow, settings.Bound{}
	case site.RuleBridge:
		return site.Bridge, flow, settings.Bound{}
	case site.RuleValue:
		return site.Keep, x.Flow, settings.Exactly(x.Flow)
	case site.RuleBound:
		return site.Keep, x.Least, settings.Bound{Held: true, Lower: x.Least, Upper: x.Most}
	}
	return site.Keep, flow, settings.Exactly(flow)
}
