package evidence

import (
	"cmp"
	"math"
	"slices"

	"retotal/ingest/reading"
	"retotal/ingest/site"
	"retotal/recompute/block"
	"retotal/recompute/settings"
)

// Visit is what a site visit found beside what the log says at that time, as a head under either lane.
type Visit struct {
	*site.Visit
	Found     bool    // the log has readings around the visit
	True      float64 // head that the visit found, m; of a gauging, the head that gives its flow
	Recorded  float64 // m
	Corrected float64 // m
}

// Before and After are the differences of both lanes from the visit, lane − visit, in metres.
func (v *Visit) Before() float64 { return v.Recorded - v.True }
func (v *Visit) After() float64  { return v.Corrected - v.True }

// Visits compares site visits with the readings around them as they pass.
type Visits struct {
	List []Visit
	next int // first visit that is not passed
}

// NewVisits prepares the stage for a pass.
func NewVisits(s *site.Site) *Visits {
	v := &Visits{}
	for i := range s.Visits {
		v.List = append(v.List, Visit{Visit: &s.Visits[i]})
	}
	slices.SortStableFunc(v.List, func(a, b Visit) int { return cmp.Compare(a.At.UTC, b.At.UTC) })
	return v
}

// Add takes in the rows of a block. A visit lies between the last reading before it and the first at or after it.
func (v *Visits) Add(b *block.Block) {
	for i := b.Low; v.next < len(v.List) && i < b.High; i++ {
		for v.next < len(v.List) && b.Time[i] >= v.List[v.next].At.UTC {
			v.List[v.next].compare(b, i)
			v.next++
		}
	}
}

// compare compares one visit with the rows before and at i.
func (v *Visit) compare(b *block.Block, i int) {
	at, figure := v.At.UTC, b.Figure[i]
	if b.Time[i] != at {
		if i == 0 || b.Log.Gap(b.Time[i-1], b.Time[i]) {
			return
		}
		share := float64(at-b.Time[i-1]) / float64(b.Time[i]-b.Time[i-1])
		figure = b.Figure[i-1] + float64((b.Figure[i]-b.Figure[i-1])*share)
	}
	recorded, corrected := &b.Recorded.Segments[b.Recorded.At(at)], &b.Corrected.Segments[b.Corrected.At(at)]
	v.Recorded, v.Corrected = recorded.Head(at, figure, b.AirAt(i)), corrected.Head(at, figure, b.AirAt(i))
	v.True = v.head(corrected)
	v.Found = !math.IsNaN(v.True)
}

// head is the head that the visit found, by the corrected settings.
func (v *Visit) head(corrected *settings.Segment) float64 {
	at, value := v.At.UTC, v.Value.SI
	empty := settings.Line(corrected.Settings.Values[site.EmptyDistance], corrected)
	zero := settings.Line(corrected.Settings.Values[site.LevelOfZeroFlow], corrected)
	dt := float64(at - corrected.Origin)
	if corrected.From == settings.Always {
		dt = 0
	}
	switch v.Quantity {
	case reading.Distance:
		return empty.At + float64(empty.PerNs*dt) - value - zero.At - float64(zero.PerNs*dt)
	case reading.Level:
		return value - zero.At - float64(zero.PerNs*dt)
	case reading.Head:
		return value
	}
	return settings.Inverse(corrected.Rating, value, 0.1)
}

// usualUncertainty is what a tape or staff reading over a weir is taken to be good for where a visit does not say (95
// %, common practice).
const usualUncertainty = 0.003 // m

// U95 is the expanded uncertainty of the visit's head, m.
func (v *Visit) U95() float64 {
	if u := v.Uncertainty; u != nil && v.Quantity.Dimension() == v.Value.Unit.Dimension && v.Quantity != reading.Flow {
		return u.SI
	}
	return usualUncertainty
}

// Explained reports whether the corrected lane agrees with a visit within its uncertainty and half a step of the log.
func (v *Visit) Explained(step float64) bool {
	return !v.Found || math.Abs(v.After()) <= v.U95()+step/2+1e-9
}
