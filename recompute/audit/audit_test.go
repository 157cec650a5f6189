package audit

import (
	"strings"
	"testing"
	"time"

	"retotal/ingest"
	"retotal/ingest/quantity"
	"retotal/ingest/reading"
	"retotal/ingest/site"
	"retotal/recompute"
	"retotal/recompute/total"
)

// volume is a total over a day.
func volume(m3 float64) recompute.Volume {
	v := recompute.Volume{Covered: int64(24 * time.Hour)}
	v.Sum.Add(m3)
	return v
}

// result is one day with the given totals and comparisons.
func result(logged, counted float64, recorded, corrected recompute.Misfit) *recompute.Result {
	s := &site.Site{Corrections: make([]site.Correction, 1)}
	s.Report.FlowUnit, s.Report.VolumeUnit = quantity.MustLookUp("L/s"), quantity.MustLookUp("m3")
	l := &ingest.Log{Site: s}
	l.Has[reading.Counter] = true
	day := recompute.Period{Label: "2031-03-01", Before: volume(100), After: volume(80), Logged: volume(logged), Counted: volume(counted)}
	return &recompute.Result{Log: l, Days: []recompute.Period{day}, Months: []recompute.Period{day},
		Witness: recompute.Witness{Recorded: recorded, Corrected: corrected}}
}

// TestVerdicts: each pair of witnesses that agrees, differs, or cannot be compared.
func TestVerdicts(t *testing.T) {
	all, none := recompute.Misfit{Readings: 1000, Within: 1000}, recompute.Misfit{Readings: 1000, Within: 5, Largest: 0.002, Sum: 1, Logged: 100, Lane: 99, Worth: 1}
	for _, c := range []struct {
		name    string
		result  *recompute.Result
		topic   string
		verdict Verdict
		says    string
	}{
		{"settings explain the log", result(100, 100, all, none), "logged flow", Agrees, "1000 of 1000 readings agree"},
		{"settings do not", result(100, 100, none, none), "logged flow", Differs, "The settings on file are then not what the meter used."},
		{"the log was corrected already", result(100, 100, none, all), "logged flow", Differs, "corrected already"},
		{"no flow column", result(100, 100, recompute.Misfit{}, none), "logged flow", CannotTell, "no flow column"},
		{"counter agrees", result(100, 100.4, all, none), "counter", Agrees, "+0.400 %"},
		{"counter differs", result(100, 101, all, none), "counter", Differs, "+1.000 %"},
	} {
		found := false
		for _, f := range Findings(c.result) {
			if strings.HasPrefix(f.Topic, c.topic) {
				found = true
				if f.Verdict != c.verdict || !strings.Contains(f.Sentence, c.says) {
					t.Errorf("%s: %s: %s", c.name, f.Verdict, f.Sentence)
				}
			}
		}
		if !found {
			t.Errorf("%s: no finding on %s", c.name, c.topic)
		}
	}
}

// TestCounterFall: a reset is told with its time.
func TestCounterFall(t *testing.T) {
	all := recompute.Misfit{Readings: 10, Within: 10}
	r := result(100, 60, all, all)
	r.Falls = []total.Fall{{At: time.Date(2031, 3, 1, 12, 0, 0, 0, time.UTC).UnixNano(), From: 523400, To: 12}}
	for _, f := range Findings(r) {
		if strings.HasPrefix(f.Topic, "counter") && (f.Verdict != Differs || !strings.Contains(f.Sentence, "fell without rolling over once, the first time at 2031-03-01 12:00 UTC from 523400.000 to 12.000 m3")) {
			t.Errorf("%s: %s", f.Verdict, f.Sentence)
		}
	}
}

// TestDailyLimit sorts days by what the correction does to them.
func TestDailyLimit(t *testing.T) {
	r := result(1, 1, recompute.Misfit{}, recompute.Misfit{})
	limit := quantity.Value{SI: 90}
	r.Log.Site.Report.DailyVolume = &limit
	over := DailyLimit(r)
	if len(over) != 1 || !over[0].WasOver || over[0].IsOver {
		t.Errorf("%+v", over)
	}
	limit.SI = 100 // exactly at the limit is not over it
	if over := DailyLimit(r); len(over) != 0 {
		t.Errorf("%+v", over)
	}
}

// TestLimits: one day of 100 m³ before and 80 ± u after, beside every kind of limit. 80 m³ a day is 0.926 L/s, 100 is 1.157 L/s.
func TestLimits(t *testing.T) {
	for _, c := range []struct {
		name     string
		limit    string
		expanded float64 // m³
		sure     recompute.Sureness
		was, is  bool
		told     bool
	}{
		{"cleared, but near", "90 m3", 12, recompute.CannotTell, true, false, true},
		{"cleared beyond doubt", "90 m3", 8, recompute.Below, true, false, true},
		{"above beyond doubt", "70 m3", 8, recompute.Above, true, true, true},
		{"near from below", "101 m3", 25, recompute.CannotTell, false, false, true},
		{"below beyond doubt", "101 m3", 8, recompute.Below, false, false, false},
		{"average above", "0.9 L/s", 1, recompute.Above, true, true, true},
		{"average near", "0.93 L/s", 1, recompute.CannotTell, true, false, true},
		{"average below", "1.2 L/s", 1, recompute.Below, false, false, false},
	} {
		r := result(100, 100, recompute.Misfit{}, recompute.Misfit{})
		r.Days[0].End = int64(24 * time.Hour)
		r.Days[0].Budget = &recompute.Budget{Standard: c.expanded / 2}
		r.Months[0].Label = "2031-03"
		r.Months[0].Budget, r.Log.Site.Report.Complete.MostMissing = r.Days[0].Budget, -1
		dimension := quantity.VolumeDimension
		if strings.HasSuffix(c.limit, "L/s") {
			dimension = quantity.FlowDimension
		}
		limit, err := quantity.Parse(c.limit, dimension)
		if err != nil {
			t.Fatal(err)
		}
		if dimension == quantity.FlowDimension {
			r.Log.Site.Report.MonthlyMean = &limit
		} else {
			r.Log.Site.Report.DailyVolume = &limit
		}
		list := Limits(r)
		if len(list) == 1 != c.told {
			t.Errorf("%s: %+v", c.name, list)
			continue
		}
		if c.told && (list[0].Sure != c.sure || list[0].Was != c.was || list[0].Is != c.is) {
			t.Errorf("%s: %+v", c.name, list[0])
		}
	}
}

// TestHiddenPeak: a peak below its limit is below beyond doubt only when the meter hid nothing above it.
func TestHiddenPeak(t *testing.T) {
	limit := quantity.Value{SI: 0.1}
	for most, told := range map[float64]int{0.05: 0, 0.2: 1} {
		r := result(100, 100, recompute.Misfit{}, recompute.Misfit{})
		r.Log.Site.Report.Peak = &limit
		r.Statistics = recompute.Statistics{Peak: 0.05, PeakBefore: 0.05, PeakMost: most}
		if list := Limits(r); len(list) != told || told == 1 && (list[0].Sure != recompute.CannotTell || list[0].Is) {
			t.Errorf("at most %g: %+v", most, list)
		}
	}
}
