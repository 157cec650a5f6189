package recompute

import (
	"math"
	"testing"
	"time"

	"retotal/ingest/reading"
	"retotal/recompute/device"
	"retotal/recompute/settings"
	"retotal/recompute/total"
	"retotal/recompute/uncertainty"
)

// TestJudge: at a limit is not above it; a range that straddles it cannot be told; no upper bound leaves only what is
// above.
func TestJudge(t *testing.T) {
	for _, c := range []struct {
		low, high float64
		want      Sureness
	}{
		{0, 9, Below}, {0, 10, Below}, {10, 10, Below}, {10, 11, CannotTell}, {9, 11, CannotTell}, {10.1, 11, Above},
		{0, math.Inf(1), CannotTell}, {11, math.Inf(1), Above},
	} {
		if got := Judge(c.low, c.high, 10); got != c.want {
			t.Errorf("%g to %g beside 10: %s, want %s", c.low, c.high, got, c.want)
		}
	}
}

// TestTruth: a day of 100 m³ measured in 16 h, of which 20 are bounded between 20 and 50, and 12 m³ filled in over 2 h;
// 6 h are missing. Coefficient ±4 m³, filled ±6 m³ (95 %). By hand: measured and bounded 100 to 130, less and more 4;
// not filled but missing are 8 h, at 1 L/s 28.8 m³. So 96 to 162.8 m³. As the permit sees it, 112 to 142 by √(4² + 6²)
// = 7.211 m³: 104.789 to 149.211. Of the bounded time half an hour open makes 1.8 m³ more of both.
func TestTruth(t *testing.T) {
	hour := int64(time.Hour)
	p := Period{Until: 24 * hour}
	p.Classes[total.Measured] = volumeOf(80, 12*hour)
	p.Classes[total.Bounded] = volumeOf(20, 4*hour)
	p.Bracketed = total.Bracket{Counted: volumeOf(20, 4*hour), Low: volumeOf(20, 4*hour), High: volumeOf(50, 4*hour)}
	p.Classes[total.Filled] = volumeOf(12, 2*hour)
	p.After = volumeOf(112, 18*hour)
	p.Budget = &uncertainty.Budget{Parts: []uncertainty.Part{
		{Component: &uncertainty.Component{Kind: uncertainty.OfShare}, Effect: 2},
		{Component: &uncertainty.Component{Kind: uncertainty.OfClass, Class: total.Filled}, Effect: 3},
	}, Low: math.Sqrt(2*2 + 3*3), High: math.Sqrt(2*2 + 3*3)}
	r := &Result{PhysicalMost: 0.001}
	check := func(what string, low, high, wantLow, wantHigh float64) {
		t.Helper()
		if math.Abs(low-wantLow) > 5e-4 || math.Abs(high-wantHigh) > 5e-4 {
			t.Errorf("%s: %.4f to %.4f, want %.4f to %.4f", what, low, high, wantLow, wantHigh)
		}
	}
	low, high := r.Truth(&p)
	check("truth", low, high, 96, 162.8)
	low, high = r.Seen(&p)
	check("seen", low, high, 104.789, 149.211)
	p.Bracketed.Open = hour / 2
	low, high = r.Truth(&p)
	check("open", low, high, 96, 164.6)
	r.PhysicalMost = math.Inf(1)
	if low, high = r.Truth(&p); math.Abs(low-96) > 1e-9 || !math.IsInf(high, 1) {
		t.Errorf("without a physical maximum: %g to %g", low, high)
	}
}

// TestLogEnds: a log of hours that ends at 23:00 lacks no reading, one that ends at 22:00 lacks two hours: 7.2 m³ at 1
// L/s.
func TestLogEnds(t *testing.T) {
	hour := int64(time.Hour)
	for last, want := range map[int64]float64{23: 80, 22: 87.2} {
		r := &Result{Facts: reading.Facts{From: 0, Until: last * hour, Interval: time.Hour}, PhysicalMost: 0.001}
		p := Period{Until: 24 * hour, After: volumeOf(80, last*hour)}
		if low, high := r.Truth(&p); math.Abs(low-80) > 1e-9 || math.Abs(high-want) > 1e-9 {
			t.Errorf("to %d:00: %g to %g, want 80 to %g", last, low, high, want)
		}
	}
}

func volumeOf(m3 float64, covered int64) (v total.Volume) {
	v.Sum.Add(m3)
	v.Covered = covered
	return v
}

// TestGreatest: a circular pipe after Manning carries most at 0.938 of its diameter, 1.076 times as much as when it is
// full (Chow 1959, Open-Channel Hydraulics, sec. 6-4, from memory). An equation without an end has no greatest flow.
func TestGreatest(t *testing.T) {
	keys := map[string]any{"section": "circular", "diameter": "0.5 m", "roughness": 0.013, "slope": 0.005}
	pipe, issues := device.Build("manning", keys)
	if len(issues) > 0 {
		t.Fatal(issues)
	}
	if ratio := settings.Greatest(pipe, 0.5) / pipe.Flow(0.5); math.Abs(ratio-1.076) > 0.001 {
		t.Errorf("%.4f of the full pipe's flow", ratio)
	}
	weir, issues := device.Build("v-notch", map[string]any{"angle": "90 deg"})
	if len(issues) > 0 || !math.IsInf(settings.Greatest(weir, weir.Limits().End), 1) {
		t.Error("a weir has no end", issues)
	}
}
