package fill

import (
	"math"
	"slices"
	"testing"
	"time"

	"retotal/ingest/site"
	"retotal/recompute/block"
)

// piece is one line of flow that was put into missing time.
type piece struct {
	t0 int64
	q0 float64
	t1 int64
	q1 float64
}

// between is what a filler puts between a flow of 1 m³/s and one of 3.
func between(f Filler, t0, t1 int64) (list []piece) {
	f.Between(block.End{At: t0, Flow: 1}, block.End{At: t1, Flow: 3}, func(t0 int64, q0 float64, t1 int64, q1 float64) {
		if list = append(list, piece{t0, q0, t1, q1}); len(list) > 100 {
			panic("no end of it")
		}
	})
	return list
}

// TestTakes: up to the limit and with a rule.
func TestTakes(t *testing.T) {
	s := &site.Site{}
	s.Filling.Limit = 10 * time.Nanosecond
	for rule, takes := range map[site.FillRule]bool{
		"": false, site.FillNot: false, site.FillLinear: true, site.FillHold: true, site.FillSameTime: true,
	} {
		s.Filling.Rule = rule
		f := New(s, nil)
		for ns, within := range map[int64]bool{9: true, 10: true, 11: false} {
			if got := f.Takes(ns); got != (takes && within) {
				t.Errorf("rule %q, %d of 10 ns: %v", rule, ns, got)
			}
		}
	}
}

// TestBetween: a line, the flow before, and whole hours with the parts of hours at both ends. The estimate of hour k is
// k m³/s; an hour that only begins where the time ends is not asked for.
func TestBetween(t *testing.T) {
	upTo := func(least, most int64) func(int64) (float64, bool) {
		return func(hour int64) (float64, bool) { return float64(hour), hour >= least && hour <= most }
	}
	for _, c := range []struct {
		name   string
		f      Filler
		t0, t1 int64
		want   []piece
	}{
		{"linear", Filler{Rule: site.FillLinear}, 5, 9, []piece{{5, 1, 9, 3}}},
		{"hold", Filler{Rule: site.FillHold}, 5, 9, []piece{{5, 1, 9, 1}}},
		{"by hours, without an estimate", Filler{Rule: site.FillSameTime}, 0, hour, nil},
		{"whole hours", Filler{Rule: site.FillSameTime, Estimate: upTo(2, 3)}, 2 * hour, 4 * hour,
			[]piece{{2 * hour, 2, 3 * hour, 2}, {3 * hour, 3, 4 * hour, 3}}},
		{"parts of hours", Filler{Rule: site.FillSameTime, Estimate: upTo(1, 3)}, hour + 7, 3*hour + 1,
			[]piece{{hour + 7, 1, 2 * hour, 1}, {2 * hour, 2, 3 * hour, 2}, {3 * hour, 3, 3*hour + 1, 3}}},
		{"the last hour is not known", Filler{Rule: site.FillSameTime, Estimate: upTo(1, 2)}, hour, 3*hour + 1, nil},
		{"the first hour is not known", Filler{Rule: site.FillSameTime, Estimate: upTo(2, 9)}, 2*hour - 1, 3 * hour, nil},
	} {
		if got := between(c.f, c.t0, c.t1); !slices.Equal(got, c.want) {
			t.Errorf("%s: %v, want %v", c.name, got, c.want)
		}
	}
}

// hourly is a log with one reading at the begin of each hour from a first one on; NaN for none.
func hourly(first int64, flows ...float64) *HourlyMeans {
	h := &HourlyMeans{}
	for i, q := range flows {
		if !math.IsNaN(q) {
			h.take((first+int64(i))*hour, q)
		}
	}
	return h
}

// TestHourlyMeans: the mean of the readings of an hour that count, of the rows that are decided; nothing before the
// first hour, in an hour without readings, and after the last.
func TestHourlyMeans(t *testing.T) {
	b := &block.Block{Lanes: block.Lanes{Corrected: &block.Lane{Flow: []float64{90, 1, 80, 3, 5, 70}}}, Low: 1, High: 5}
	b.Time = []int64{10 * hour, 10 * hour, 10*hour + 1, 11*hour - 1, 12 * hour, 12 * hour}
	b.Used = []bool{true, true, false, true, true, true}
	h := &HourlyMeans{}
	h.Add(b)
	if hour != int64(time.Hour) {
		t.Fatal("an hour is", hour)
	}
	h.take(10*hour-1, 60) // before the first: none is kept
	for hour, want := range map[int64]float64{9: -1, 10: 2, 11: -1, 12: 5, 13: -1} {
		if flow, ok := h.at(hour); ok != (want >= 0) || ok && flow != want {
			t.Errorf("hour %d: %g, %v, want %g", hour, flow, ok, want)
		}
	}
}

// TestSameTime: the mean of the same hour on two days before and after, without the day itself and days further off.
func TestSameTime(t *testing.T) {
	h := &HourlyMeans{}
	for day, flow := range []float64{1000, 7, 2, 100, 3, 8, 2000} { // the day itself is number 3
		h.take((int64(day)*24+5)*hour, flow)
	}
	estimate := h.SameTime(2)
	if flow, ok := estimate(3*24 + 5); !ok || flow != 5 { // (7 + 2 + 3 + 8) / 4
		t.Errorf("%g, %v, want 5", flow, ok)
	}
	if flow, ok := estimate(3*24 + 6); ok || flow != 0 {
		t.Errorf("an hour that no day has: %g, %v", flow, ok)
	}
}

// TestFromDonor: 48 hours in common are enough, 47 are not. A line is met exactly and ends at no flow; by rank the flow
// of the same rank comes, whatever the curve. Flows of this site are 2x − 5 and x², x of the other.
func TestFromDonor(t *testing.T) {
	of := func(f func(float64) float64, hours int) (own, donor *HourlyMeans) {
		var y, x []float64
		for k := range hours {
			v := float64(k*7%50 + 1) // in no order
			x, y = append(x, v), append(y, f(v))
		}
		// Beside those in common, either has hours that the other lacks.
		none := math.NaN()
		return hourly(100, append([]float64{none, 500, none}, append(y, 600, none)...)...),
			hourly(101, append([]float64{none, 0.5}, append(x, none, 3)...)...)
	}
	line := func(x float64) float64 { return 2*x - 5 }
	square := func(x float64) float64 { return x * x }
	own, donor := of(line, 47)
	if estimate, fit, ok := own.FromDonor(donor, false); ok || estimate != nil || fit.Hours != 47 {
		t.Errorf("47 hours: %+v, %v", fit, ok)
	}
	own, donor = of(line, 48)
	estimate, fit, ok := own.FromDonor(donor, false)
	if !ok || fit.Hours != 48 || math.Abs(fit.Correlation-1) > 1e-12 {
		t.Fatalf("48 hours: %+v, %v", fit, ok)
	}
	// 2·1 − 5 below 0; 2·8 − 5; 2·3 − 5
	for hour, want := range map[int64]float64{103: 0, 104: 11, 101 + 2 + 48 + 1: 1} {
		if flow, ok := estimate(hour); !ok || math.Abs(flow-want) > 1e-9 {
			t.Errorf("hour %d: %g, %v, want %g", hour, flow, ok, want)
		}
	}
	if _, ok := estimate(101 + 2 + 48); ok {
		t.Error("an hour that the other site lacks")
	}
	own, donor = of(square, 48)
	straight, fit, _ := own.FromDonor(donor, false)
	ranked, byRank, ok := own.FromDonor(donor, true)
	if !ok || byRank.Correlation != 1 || fit.Correlation > 0.999 {
		t.Errorf("ranks %+v, line %+v", byRank, fit)
	}
	if flow, _ := ranked(104); flow != 64 {
		t.Errorf("by rank %g, want 8²", flow)
	}
	if flow, _ := straight(104); math.Abs(flow-64) < 1 {
		t.Errorf("by the line %g", flow)
	}
}

const hour = block.Hour
