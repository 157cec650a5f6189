package settings

import (
	"math"
	"reflect"
	"slices"
	"sort"

	"retotal/ingest/site"
)

// Settings that change between two readings. A reading belongs to the settings in force at its instant. What happened
// at a change is told by the two timelines: where the corrected settings change, something moved (sensor, datum,
// device); the flow is continuous, and every lane joins the flows of both readings, each by its own settings, with one
// straight line. Where only those of another lane change, a number was entered anew and the water did not notice: what
// the sensor measured is continuous, is interpolated, and each side of the change is rated by the lane's own settings.
// A lane without a change joins as usual.

// findChanges lists the instants at which a lane's settings change. A ramp is cut into segments whose settings meet,
// which is no change.
func (l *Lane) findChanges() {
	l.changes = nil
	for i := 1; i < len(l.Segments); i++ {
		a, b := &l.Segments[i-1], &l.Segments[i]
		if a.later != nil {
			a = a.later
		}
		if !sameAt(&a.Settings, &b.Settings, b.From) {
			l.changes = append(l.changes, b.From)
		}
	}
}

// sameAt reports whether two settings are the same at an instant.
func sameAt(a, b *site.Settings, at int64) bool {
	for i := range a.Values {
		if numberAt(a.Values[i], at) != numberAt(b.Values[i], at) {
			return false
		}
	}
	sameKnot := func(x, y site.Knot) bool { return x.Head.SI == y.Head.SI && x.Add.SI == y.Add.SI }
	return clamps(a) == clamps(b) && sameDevice(a.Device, b.Device) && sameLoop(a.Loop, b.Loop) &&
		airOf(a) == airOf(b) && echoAt(a) == echoAt(b) && slices.EqualFunc(a.Shift, b.Shift, sameKnot)
}

// numberAt is a setting at an instant to a picometre, below which a ramp's own rounding shows; −Inf when it is not
// set.
func numberAt(r *site.Ramp, at int64) float64 {
	if r == nil {
		return math.Inf(-1)
	}
	v := r.From.SI
	if r.From.SI != r.To.SI {
		v += float64((r.To.SI - r.From.SI) * (float64(at-r.Starts) / float64(r.Ends-r.Starts)))
	}
	return math.Round(v*1e12) / 1e12
}

func sameDevice(a, b *site.DeviceKeys) bool {
	return a == b || a != nil && b != nil && a.Kind == b.Kind && reflect.DeepEqual(a.Values, b.Values)
}

func sameLoop(a, b *site.Loop) bool {
	return a == b || a != nil && b != nil && a.From == b.From && a.To == b.To &&
		a.Low.SI == b.Low.SI && a.High.SI == b.High.SI
}

// airOf is the air temperature of some settings, to be compared.
func airOf(s *site.Settings) (air struct {
	set, logged bool
	kelvin      float64
}) {
	if a := s.Air; a != nil {
		air.set, air.logged, air.kelvin = true, a.Logged, a.Plus
		if a.Fixed != nil {
			air.kelvin = a.Fixed.SI
		}
	}
	return air
}

func echoAt(s *site.Settings) float64 {
	if s.EchoAt == nil {
		return 0
	}
	return s.EchoAt.SI
}

// ChangesIn returns the lane's changes after t0 and up to t1.
func (l *Lane) ChangesIn(t0, t1 int64) []int64 {
	if len(l.changes) == 0 {
		return nil
	}
	low := sort.Search(len(l.changes), func(i int) bool { return l.changes[i] > t0 })
	high := sort.Search(len(l.changes), func(i int) bool { return l.changes[i] > t1 })
	return l.changes[low:high]
}

// MovedAt lists the instants at which something moved: the corrected settings change, or a change says so.
func MovedAt(s *site.Site, corrected *Lane) []int64 {
	list := slices.Clone(corrected.changes)
	for _, c := range s.Settings {
		if c.At == nil || c.Moved == nil {
			continue
		}
		if k, found := slices.BinarySearch(list, c.At.UTC); found && !*c.Moved {
			list = slices.Delete(list, k, k+1)
		} else if !found && *c.Moved {
			list = slices.Insert(list, k, c.At.UTC)
		}
	}
	return list
}

// MeterRate is what a meter shows at a head.
func MeterRate(s *Segment, _ int64, head float64) float64 { return s.MeterFlow(head) }
