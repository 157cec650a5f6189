package chain

import (
	"math"
	"math/rand/v2"
	"testing"

	"retotal/ingest/quantity"
	"retotal/ingest/reading"
	"retotal/ingest/site"
	"retotal/recompute/device"
)

// loop makes a loop setting in metres.
func loop(low, high, from, to float64) *site.Loop {
	return &site.Loop{Low: quantity.Value{SI: low}, High: quantity.Value{SI: high}, From: from, To: to}
}

// TestLoopChange: MA-1 of the reference, 0 to 0.400 m set for 0 to 0.300 m; and MA-2, 4 to 20 mA read as 0 to 20 mA: an
// empty channel was logged as 0.060 m.
func TestLoopChange(t *testing.T) {
	for _, c := range []struct {
		id           string
		was, is      *site.Loop
		logged, want float64
	}{
		{"MA-1", loop(0, 0.4, 4, 20), loop(0, 0.3, 4, 20), 0.2, 0.15},
		{"MA-2", loop(0, 0.3, 0, 20), loop(0, 0.3, 4, 20), 0.06, 0},
		{"the same", loop(0, 0.3, 4, 20), loop(0, 0.3, 4, 20), 0.1, 0.1},
		{"both moved, half", loop(0.1, 0.5, 4, 20), loop(0.05, 0.45, 4, 20), 0.3, 0.25},     // 12 mA
		{"both moved, a quarter", loop(0.1, 0.5, 4, 20), loop(0.05, 0.25, 4, 20), 0.2, 0.1}, // 8 mA
		{"other currents", loop(0.1, 0.5, 2, 18), loop(0.05, 0.25, 4, 20), 0.3, 0.125},      // 10 mA
		{"reversed", loop(0, 0.3, 4, 20), loop(0, 0.3, 20, 4), 0.1, 0.2},
	} {
		alpha, beta := loopChange(nil, c.was, c.is)
		if got := alpha + beta*c.logged; math.Abs(got-c.want) > 1e-12 {
			t.Errorf("%s: %.12f, want %g", c.id, got, c.want)
		}
	}
}

// ramp is a setting that stands still.
func ramp(si float64) *site.Ramp {
	return &site.Ramp{From: quantity.Value{SI: si}, To: quantity.Value{SI: si}}
}

// TestChainByHand: a meter of 1.25 m empty distance and no level of zero flow, a lane of 1.2 m and 0.05 m, so that
// heads are 0.1 m lower; a distance factor of 1.1 makes 1 m 1.1 m.
func TestChainByHand(t *testing.T) {
	notch, issues := device.Build("v-notch", map[string]any{"angle": "90 deg"})
	if len(issues) > 0 {
		t.Fatal(issues)
	}
	var meter, lane, longer site.Settings
	meter.Values[site.EmptyDistance] = ramp(1.25)
	lane.Values[site.EmptyDistance], lane.Values[site.LevelOfZeroFlow] = ramp(1.2), ramp(0.05)
	longer.Values[site.EmptyDistance], longer.Values[site.DistanceFactor] = ramp(1.25), ramp(1.1)
	for _, c := range []struct {
		name    string
		primary reading.Quantity
		lane    *site.Settings
		figure  float64
		want    float64
		rises   float64
	}{
		{"distance", reading.Distance, &lane, 1, 0.15, -1}, {"level", reading.Level, &lane, 0.25, 0.15, 1},
		{"head", reading.Head, &lane, 0.25, 0.15, 1}, {"flow", reading.Flow, &lane, notch.Flow(0.25), 0.15, 1},
		{"factor of a distance", reading.Distance, &longer, 1, 0.15, -1},
		{"factor of a level", reading.Level, &longer, 0.25, 0.15, 1},
	} {
		way := Build(c.primary, nil, 0, Told{c.lane, notch}, Told{&meter, notch})
		if got := way.Head(0, c.figure, Standard); math.Abs(got-c.want) > 1e-12 || way.Rises() != c.rises {
			t.Errorf("%s: %v, rises %v, want %v", c.name, got, way.Rises(), c.want)
		}
		if way.Moves() || way.TakesSound() || way.Straight() != (c.primary != reading.Flow) {
			t.Errorf("%s: moves %v, takes sound %v, straight %v", c.name, way.Moves(), way.TakesSound(), way.Straight())
		}
		if echo := way.Echo(0, c.figure, Standard); math.Abs(echo-1) > 1e-12 || way.HeadOfEcho(0, 1, Standard) == 0 {
			t.Errorf("%s: the sensor measured %v, want 1", c.name, echo)
		}
		own := Build(c.primary, nil, 0, Told{&meter, notch}, Told{&meter, notch})
		if got := own.Figure(0.25); math.Abs(got-c.figure) > 1e-12 {
			t.Errorf("%s: shows %v at 0.25 m, want %v", c.name, got, c.figure)
		}
	}
}

// TestChainExact: flows that only a factor separates need no rating; a datum that is moved takes that away.
func TestChainExact(t *testing.T) {
	var meter, lane site.Settings
	meter.Values[site.EmptyDistance] = ramp(1.25)
	lane = meter
	lane.Values[site.LoggedFactor] = ramp(1.5)
	way := Build(reading.Flow, nil, 0, Told{&lane, nil}, Told{&meter, nil})
	if way.Exact != 1.5 || way.Corrected(2) != 3 || way.Logged(3) != 2 || way.AsLogged() {
		t.Errorf("%+v", way)
	}
	if way.Raise(0.01); way.Exact != 0 {
		t.Error("a raised chain is exact")
	}
	lane.Air = &site.Air{Fixed: &quantity.Value{SI: 283.15}} // of which the meter says nothing
	if got := Build(reading.Flow, nil, 0, Told{&lane, nil}, Told{&meter, nil}).Exact; got != 1.5 {
		t.Errorf("a temperature of one alone: %v", got)
	}
	meter.Air = &site.Air{Fixed: &quantity.Value{SI: 293.15}}
	if got := Build(reading.Flow, nil, 0, Told{&lane, nil}, Told{&meter, nil}).Exact; got != 0 {
		t.Errorf("other temperatures: %v", got)
	}
}

// TestChainOfLoop: a column of currents for 0 to 0.3 m, which should have been 0.04 to 0.4 m: half of it is 0.22 m.
func TestChainOfLoop(t *testing.T) {
	unit := quantity.Unit{Factor: 0.3 / 16, Offset: -0.3 / 4}
	column := &site.Column{Loop: true, Unit: &unit}
	var meter, lane site.Settings
	meter.Values[site.EmptyDistance] = ramp(1.25)
	lane = meter
	lane.Loop = loop(0.04, 0.4, 4, 20)
	way := Build(reading.Level, column, 0, Told{&lane, nil}, Told{&meter, nil})
	if got := way.Head(0, 0.15, Standard); math.Abs(got-0.22) > 1e-12 {
		t.Errorf("%v, want 0.22", got)
	}
	if ColumnLoop(&site.Column{Unit: &unit}) != nil || ColumnLoop(nil) != nil {
		t.Error("a column without currents has a loop")
	}
}

// TestChainUndoesAnyMeter: whatever a meter was told and a lane says, of a distance that the sensor measured at 20 degC
// the head is that of the lane, worked out forward alone: a signal as in the doc comment of the package.
func TestChainUndoesAnyMeter(t *testing.T) {
	random := rand.New(rand.NewPCG(51, 52))
	notch, issues := device.Build("v-notch", map[string]any{"angle": "90 deg"})
	if len(issues) > 0 {
		t.Fatal(issues)
	}
	const origin, at = int64(5e9), int64(47e9)
	for range 4000 {
		air := 270 + 40*random.Float64()
		meter, lane := randomSettings(random), randomSettings(random)
		if meter.Air == nil || lane.Air == nil { // no difference is claimed where one says nothing
			meter.Air, lane.Air = nil, nil
		}
		meter.Shift = nil
		echo := 0.7 + 0.2*random.Float64()
		distance, level, head := forward(&meter, echo, air, at)
		_, _, want := forward(&lane, echo, air, at)
		if lane.Shift != nil { // level outside its knots, which lie far off
			want += lane.Shift[0].Add.SI
		}
		figures := map[reading.Quantity]float64{reading.Distance: distance, reading.Level: level, reading.Head: head,
			reading.Flow: notch.Flow(head)}
		for primary, figure := range figures {
			way := Build(primary, nil, origin, Told{&lane, notch}, Told{&meter, notch})
			if got := way.Head(at, figure, air); math.Abs(got-want) > 1e-10 {
				t.Fatalf("%v: %v, want %v of %+v under %+v", primary, got, want, lane, meter)
			}
			if got := way.Echo(at, figure, air); math.Abs(got-echo) > 1e-10 {
				t.Fatalf("%v: the sensor measured %v, want %v", primary, got, echo)
			}
			if got := way.HeadOfEcho(at, echo, air); math.Abs(got-want) > 1e-10 {
				t.Fatalf("%v: the head of the echo is %v, want %v", primary, got, want)
			}
		}
	}
}

// forward is the signal chain, one step after the other: what a meter that is told so makes of an echo.
func forward(told *site.Settings, echo, air float64, at int64) (distance, level, head float64) {
	value := func(which site.Setting, otherwise float64) float64 {
		r := told.Values[which]
		if r == nil {
			return otherwise
		}
		share := 0.0
		if r.Ends > r.Starts {
			share = float64(at-r.Starts) / float64(r.Ends-r.Starts)
		}
		return r.From.SI + (r.To.SI-r.From.SI)*share
	}
	assumed := 293.15
	switch a := told.Air; {
	case a != nil && a.Logged:
		assumed = air + a.Plus
	case a != nil:
		assumed = a.Fixed.SI
	}
	distance = echo * value(site.DistanceFactor, 1) * math.Sqrt(assumed/293.15)
	level = value(site.EmptyDistance, 0) - distance
	return distance, level, value(site.HeadFactor, 1) * (level - value(site.LevelOfZeroFlow, 0))
}

// randomSettings are of any kind, with heads above zero; an empty distance may move over 100 seconds.
func randomSettings(random *rand.Rand) (s site.Settings) {
	s.Values[site.EmptyDistance] = ramp(1.5 + 0.1*random.Float64())
	if random.IntN(2) == 0 {
		moving := s.Values[site.EmptyDistance]
		moving.To.SI, moving.Starts, moving.Ends = 1.7, -20e9, 80e9
	}
	for _, x := range []struct {
		which site.Setting
		size  float64
	}{{site.DistanceFactor, 1.1}, {site.HeadFactor, 1.2}, {site.LevelOfZeroFlow, 0.05}} {
		if random.IntN(2) == 0 {
			s.Values[x.which] = ramp(x.size)
		}
	}
	switch random.IntN(3) {
	case 0:
		s.Air = &site.Air{Logged: true, Plus: 3 * random.Float64()}
	case 1:
		s.Air = &site.Air{Fixed: &quantity.Value{SI: 280 + 20*random.Float64()}}
	}
	if random.IntN(3) == 0 {
		first := site.Knot{Head: quantity.Value{SI: 50}, Add: quantity.Value{SI: 0.01}}
		s.Shift = []site.Knot{first, {Head: quantity.Value{SI: 60}}}
	}
	return s
}
