package recompute

import (
	"cmp"
	"math"
	"slices"

	"retotal/ingest/reading"
	"retotal/ingest/site"
	"retotal/recompute/settings"
)

// Residual is what a visit found beside what the log says at that time, as a head under either lane: lane − visit.
type Residual struct {
	Visit     *site.Visit
	Found     bool    // the log has readings around the visit
	True      float64 // head that the visit found, m; of a gauging, the head that gives its flow
	Recorded  float64 // m
	Corrected float64 // m
}

// Before and After are the residuals of both lanes, in metres.
func (r *Residual) Before() float64 { return r.Recorded - r.True }
func (r *Residual) After() float64  { return r.Corrected - r.True }

// visits compares site visits with the readings around them as they pass.
type visits struct {
	list []Residual
	next int // first visit that is not passed
}

func (v *visits) setUp(e *Engine) {
	for i := range e.site.Visits {
		v.list = append(v.list, Residual{Visit: &e.site.Visits[i]})
	}
	slices.SortStableFunc(v.list, func(a, b Residual) int { return cmp.Compare(a.Visit.At.UTC, b.Visit.At.UTC) })
}

// compare takes in rows low to high−1. A visit lies between the last reading before it and the first at or after it.
func (v *visits) compare(e *Engine, low, high int) {
	for i := low; v.next < len(v.list) && i < high; i++ {
		for v.next < len(v.list) && e.Time[i] >= v.list[v.next].Visit.At.UTC {
			v.list[v.next].fill(e, i)
			v.next++
		}
	}
}

// fill compares one visit with the rows before and at i.
func (r *Residual) fill(e *Engine, i int) {
	at := r.Visit.At.UTC
	figure := e.figure[i]
	if e.Time[i] != at {
		if i == 0 || e.Time[i]-e.Time[i-1] > e.log.GapLimit.Nanoseconds() {
			return
		}
		figure = e.figure[i-1] + float64((e.figure[i]-e.figure[i-1])*(float64(at-e.Time[i-1])/float64(e.Time[i]-e.Time[i-1])))
	}
	recorded, corrected := &e.recorded.Segments[e.recorded.At(at)], &e.corrected.Segments[e.corrected.At(at)]
	r.Recorded, r.Corrected = recorded.Head(at, figure, e.airAt(i)), corrected.Head(at, figure, e.airAt(i))
	value := r.Visit.Value.SI
	empty, zero := settings.Line(corrected.Settings.Values[site.EmptyDistance], corrected), settings.Line(corrected.Settings.Values[site.LevelOfZeroFlow], corrected)
	dt := float64(at - corrected.Origin)
	if corrected.From == settings.Always {
		dt = 0
	}
	switch r.Visit.Quantity {
	case reading.Distance:
		r.True = empty.At + float64(empty.PerNs*dt) - value - zero.At - float64(zero.PerNs*dt)
	case reading.Level:
		r.True = value - zero.At - float64(zero.PerNs*dt)
	case reading.Head:
		r.True = value
	default:
		r.True = settings.Inverse(corrected.Rating, value, 0.1)
	}
	r.Found = !math.IsNaN(r.True)
}
