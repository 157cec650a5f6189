package evidence

import (
	"math"
	"testing"

	"retotal/ingest/quantity"
	"retotal/ingest/reading"
	"retotal/ingest/site"
)

// visit is one of a quantity at a minute, SI.
func visit(minutes float64, q reading.Quantity, value float64) site.Visit {
	return site.Visit{At: site.Instant{UTC: at(minutes)}, Quantity: q, Value: quantity.Value{SI: value}}
}

// TestHeadOfVisit: the head behind what a visit read, with an empty distance that moves from 1 m to 1.2 and a level of
// zero flow from 0.05 m to 0.15 in four hours, of which one is over: 1.05 m and 0.075 m.
func TestHeadOfVisit(t *testing.T) {
	s, l := lanes(t, "empty_distance = \"1 m\"\nlevel_of_zero_flow = \"0.05 m\"\n",
		"[[correction]]\nreason = \"x\"\nfrom = 2031-03-01T00:00:00\nuntil = 2031-03-01T04:00:00\n"+
			"empty_distance = { from = \"1 m\", to = \"1.2 m\" }\n"+
			"level_of_zero_flow = { from = \"0.05 m\", to = \"0.15 m\" }\n")
	for _, c := range []struct {
		minutes float64
		q       reading.Quantity
		value   float64
		want    float64
	}{
		{60, reading.Distance, 0.7, 0.275}, {60, reading.Level, 0.4, 0.325}, {60, reading.Head, 0.4, 0.4},
		{60, reading.Flow, 0.03, 0.3}, {-60, reading.Distance, 0.7, 0.25}, {-60, reading.Level, 0.4, 0.35},
		{0, reading.Level, 0.4, 0.35}, {120, reading.Distance, 0.7, 0.3},
	} {
		s.Visits = []site.Visit{visit(c.minutes, c.q, c.value)}
		v := NewVisits(s).List[0]
		if got := v.head(&l.Corrected.Segments[l.Corrected.At(v.At.UTC)]); math.Abs(got-c.want) > 1e-8 {
			t.Errorf("quantity %d at minute %g: %g, want %g", c.q, c.minutes, got, c.want)
		}
	}
}

// TestVisitsBesideReadings: a visit lies between the readings around it, along a straight line, up to the longest step;
// visits are looked at in the order of time. Distances of 0.9 m, then 0.5, at 1 m empty distance, 1.1 corrected.
func TestVisitsBesideReadings(t *testing.T) {
	s, l := lanes(t, "empty_distance = \"1 m\"\n", "[[correction]]\nreason = \"x\"\nempty_distance = \"1.1 m\"\n")
	b := hand([]float64{0, 10, 20, 30.5}, []float64{0.9, 0.5, 0.5, 0.9})
	b.Lanes.Recorded, b.Lanes.Corrected = l.Recorded, l.Corrected
	s.Visits = []site.Visit{
		visit(25, reading.Head, 0.3), visit(10, reading.Head, 0.61), visit(-1, reading.Head, 0.3),
		visit(2.5, reading.Head, 0.3), visit(40, reading.Head, 0.3),
	}
	v := NewVisits(s)
	b.High = 2
	v.Add(b)
	b.Low, b.High = 2, 4
	v.Add(b)
	for i, want := range []Visit{
		{}, {Found: true, True: 0.3, Recorded: 0.2, Corrected: 0.3}, {Found: true, True: 0.61, Recorded: 0.5, Corrected: 0.6}, {}, {},
	} {
		got := v.List[i]
		if got.Found != want.Found || !near(got.True, want.True) || !near(got.Recorded, want.Recorded) ||
			!near(got.Corrected, want.Corrected) {
			t.Errorf("visit %d: %+v, want %+v", i, got, want)
		}
	}
	if got := v.List[2]; !near(got.Before(), -0.11) || !near(got.After(), -0.01) {
		t.Errorf("%g and %g", got.Before(), got.After())
	}
}

// TestVisitExplained: within the uncertainty of the visit and half a step of the log, either way; a visit is good for
// 3 mm where it does not say, and where what it says is of another kind.
func TestVisitExplained(t *testing.T) {
	metre, litres := quantity.MustLookUp("m"), quantity.MustLookUp("L/s")
	u := func(v float64, unit quantity.Unit) *quantity.Value { return &quantity.Value{SI: v, Unit: unit} }
	for _, c := range []struct {
		name string
		q    reading.Quantity
		unit quantity.Unit
		u    *quantity.Value
		want float64
	}{
		{"not stated", reading.Head, metre, nil, 0.003}, {"stated", reading.Level, metre, u(0.01, metre), 0.01},
		{"of a flow", reading.Flow, litres, u(0.01, litres), 0.003},
		{"a level in litres a second", reading.Level, litres, u(0.01, metre), 0.003},
	} {
		one := visit(0, c.q, 1)
		one.Value.Unit, one.Uncertainty = c.unit, c.u
		v := Visit{Visit: &one, Found: true, True: 1}
		if v.U95() != c.want {
			t.Errorf("%s: %g, want %g", c.name, v.U95(), c.want)
		}
		for _, sign := range []float64{1, -1} {
			for off, within := range map[float64]bool{-1e-6: true, 0: true, 1e-6: false} {
				v.Corrected = 1 + sign*(c.want+0.002/2+off)
				if v.Explained(0.002) != within {
					t.Errorf("%s, %g m from the edge: %v", c.name, off, !within)
				}
			}
		}
		if v.Found = false; !v.Explained(0) {
			t.Errorf("%s: a visit without readings", c.name)
		}
	}
}
