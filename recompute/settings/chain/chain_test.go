package chain

import (
	"math"
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

// TestChainByHand: a meter of 1.25 m empty distance and no level of zero flow, a lane of 1.2 m and 0.05 m, so that heads
// are 0.1 m lower; a distance factor of 1.1 makes 1 m 1.1 m.
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
		if got := way.Head(0, c.figure, Standard); math.Abs(got-c.want) > 1e-12 || way.Rises() != c.rises || way.Moves() {
			t.Errorf("%s: %v, rises %v, want %v", c.name, got, way.Rises(), c.want)
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
}
