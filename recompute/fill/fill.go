// Package fill puts estimates in the place of missing time, from the readings on both sides, from other days, or from
// another site.
package fill

import (
	"retotal/ingest/site"
	"retotal/recompute/block"
)

// Filler fills missing time by the rule of a site file.
type Filler struct {
	Rule  site.FillRule
	Limit int64 // ns, the longest time that is filled: all of it or nothing
	// Estimate is the flow of an hour, numbered since 1970; nil unless the rule goes by hours.
	Estimate func(hour int64) (float64, bool)
}

// New is the rule of a site file.
func New(s *site.Site, estimate func(hour int64) (float64, bool)) Filler {
	return Filler{Rule: s.Filling.Rule, Limit: s.Filling.Limit.Nanoseconds(), Estimate: estimate}
}

// Takes reports whether so much time may be filled.
func (f *Filler) Takes(ns int64) bool {
	return f.Rule != site.FillNot && f.Rule != "" && ns <= f.Limit
}

// Between fills the time between two readings.
func (f *Filler) Between(a, b block.End, step block.PutStep) {
	switch f.Rule {
	case site.FillLinear:
		step(a.At, a.Flow, b.At, b.Flow)
	case site.FillHold:
		step(a.At, a.Flow, b.At, a.Flow)
	default:
		f.hours(a.At, b.At, step)
	}
}

// hours steps over a stretch hour by hour, when there is an estimate for each.
func (f *Filler) hours(t0, t1 int64, step block.PutStep) {
	if f.Estimate == nil {
		return
	}
	for hour := block.HourOf(t0); hour <= block.HourOf(t1-1); hour++ {
		if _, ok := f.Estimate(hour); !ok {
			return
		}
	}
	for at := t0; at < t1; {
		hour := block.HourOf(at)
		next := min((hour+1)*block.Hour, t1)
		flow, _ := f.Estimate(hour)
		step(at, flow, next, flow)
		at = next
	}
}
