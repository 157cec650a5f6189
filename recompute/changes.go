package recompute

import (
	"math"
	"reflect"
	"slices"
	"sort"

	"retotal/ingest/site"
)

// Settings that change between two readings. A reading belongs to the settings in force at its instant. What happened at a change is told by the two timelines:
// where the corrected settings change, something moved (sensor, datum, device); the flow is continuous, and every lane joins the flows of both readings, each by
// its own settings, with one straight line. Where only those of another lane change, a number was entered anew and the water did not notice: what the sensor
// measured is continuous, is interpolated, and each side of the change is rated by the lane's own settings. A lane without a change joins as usual.

// findChanges lists the instants at which a lane's settings change. A ramp is cut into segments whose settings meet, which is no change.
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
	clamped := func(s *site.Settings) bool { return s.Clamped != nil && *s.Clamped }
	return clamped(a) == clamped(b) && sameDevice(a.Device, b.Device) && sameLoop(a.Loop, b.Loop) && airOf(a) == airOf(b) && echoAt(a) == echoAt(b) &&
		slices.EqualFunc(a.Shift, b.Shift, func(x, y site.Knot) bool { return x.Head.SI == y.Head.SI && x.Add.SI == y.Add.SI })
}

// numberAt is a setting at an instant to a picometre, below which a ramp's own rounding shows; −Inf when it is not set.
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
	return a == b || a != nil && b != nil && a.Low.SI == b.Low.SI && a.High.SI == b.High.SI && a.From == b.From && a.To == b.To
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

// changesIn returns the lane's changes after t0 and up to t1.
func (l *Lane) changesIn(t0, t1 int64) []int64 {
	if len(l.changes) == 0 {
		return nil
	}
	low := sort.Search(len(l.changes), func(i int) bool { return l.changes[i] > t0 })
	high := sort.Search(len(l.changes), func(i int) bool { return l.changes[i] > t1 })
	return l.changes[low:high]
}

// movedAt lists the instants at which something moved: the corrected settings change, or a change says so.
func movedAt(s *site.Site, corrected *Lane) []int64 {
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

// end is one end of an interval between two readings that count: the reading as the log has it, and the flow that counts for it.
type end struct {
	at     int64
	figure float64
	air    float64 // K
	flow   float64 // m³/s
}

// connect integrates a lane between two readings. rate gives the flow of a head under a segment, for the sides of a change at which nothing moved.
func (e *Engine) connect(l *Lane, a, b end, rate func(*Segment, int64, float64) float64, step func(int64, float64, int64, float64)) {
	cuts := l.changesIn(a.at, b.at)
	if len(cuts) == 0 || e.moved(a.at, b.at) {
		step(a.at, a.flow, b.at, b.flow)
		return
	}
	e.split(l, cuts, a, b, rate, step)
}

// moved reports whether something moved after t0 and up to t1.
func (e *Engine) moved(t0, t1 int64) bool {
	i := sort.Search(len(e.movedAt), func(i int) bool { return e.movedAt[i] > t0 })
	return i < len(e.movedAt) && e.movedAt[i] <= t1
}

// split integrates a lane over changes at which the measured distance is continuous.
func (e *Engine) split(l *Lane, cuts []int64, a, b end, rate func(*Segment, int64, float64) float64, step func(int64, float64, int64, float64)) {
	echo0 := l.Segments[l.at(a.at)].chain.echo(a.at, a.figure, a.air)
	echo1 := l.Segments[l.at(b.at)].chain.echo(b.at, b.figure, b.air)
	t, q := a.at, a.flow
	for _, cut := range cuts {
		share := float64(cut-a.at) / float64(b.at-a.at)
		echo, air := echo0+float64((echo1-echo0)*share), a.air+float64((b.air-a.air)*share)
		flow := func(s *Segment) float64 {
			return rate(s, cut, s.chain.headOf(cut, float64(echo*s.chain.scaleOf(air)), air))
		}
		i := l.at(cut)
		step(t, q, cut, flow(&l.Segments[i-1]))
		t, q = cut, flow(&l.Segments[i])
	}
	step(t, q, b.at, b.flow)
}

// meterRate is what a meter shows at a head.
func meterRate(s *Segment, _ int64, head float64) float64 { return s.meterFlow(head) }

// laneRate is a lane's flow at a head, held where the channel or the rating ends when screening holds such readings.
func (a *after) laneRate(s *Segment, at int64, head float64) float64 {
	flow := s.rated(at, head)
	if a.holdsTop && head > s.top {
		flow = math.Min(flow, s.hold)
	}
	return flow
}
