package audit

import (
	"math"
	"strings"
	"testing"
	"time"

	"retotal/ingest/quantity"
	"retotal/ingest/reading"
	"retotal/ingest/site"
	"retotal/recompute"
	"retotal/recompute/evidence"
	"retotal/recompute/total"
)

// volume is a total over a day.
func volume(m3 float64) total.Volume {
	v := total.Volume{Covered: int64(24 * time.Hour)}
	v.Sum.Add(m3)
	return v
}

// result is one day with the given totals and comparisons.
func result(logged, counted float64, recorded, corrected evidence.Misfit) *recompute.Result {
	s := &site.Site{Corrections: make([]site.Correction, 1)}
	s.Report.Clock.Location = time.UTC
	s.Report.FlowUnit, s.Report.VolumeUnit = quantity.MustLookUp("L/s"), quantity.MustLookUp("m3")
	var facts reading.Facts
	facts.Has[reading.Counter] = true
	start := time.Date(2031, 3, 1, 0, 0, 0, 0, time.UTC).UnixNano()
	day := recompute.Period{
		Label:   "2031-03-01",
		From:    start,
		Until:   start + int64(24*time.Hour),
		Before:  volume(100),
		After:   volume(80),
		Logged:  volume(logged),
		Counted: volume(counted),
	}
	return &recompute.Result{
		Site:         s,
		Facts:        facts,
		Days:         []recompute.Period{day},
		Months:       []recompute.Period{day},
		Total:        day,
		PhysicalMost: math.Inf(1),
		Evidence:     recompute.Evidence{FlowCheck: evidence.FlowCheck{Recorded: recorded, Corrected: corrected}},
	}
}

// TestVerdicts: each pair of figures that agrees, differs, or cannot be compared.
func TestVerdicts(t *testing.T) {
	all := evidence.Misfit{Readings: 1000, Within: 1000}
	none := evidence.Misfit{Readings: 1000, Within: 5, Largest: 0.002, Sum: 1, Logged: 100, Lane: 99, Worth: 1}
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
		{"no flow column", result(100, 100, evidence.Misfit{}, none), "logged flow", CannotTell, "no flow column"},
		{"counter agrees", result(100, 100.4, all, none), "counter", Agrees, "+0.400 %"},
		{"counter is a witness of the log", result(100, 100, none, none), "counter", Agrees, "no scale behind it"},
		{"counter differs", result(100, 101, all, none), "counter", Differs, "+1.000 %"},
	} {
		found := false
		for _, f := range Findings(c.result, nil) {
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
	all := evidence.Misfit{Readings: 10, Within: 10}
	r := result(100, 60, all, all)
	r.Falls = []total.Fall{{At: time.Date(2031, 3, 1, 12, 0, 0, 0, time.UTC).UnixNano(), From: 523400, To: 12}}
	for _, f := range Findings(r, nil) {
		if strings.HasPrefix(f.Topic, "counter") && (f.Verdict != Differs || !strings.Contains(f.Sentence,
			"fell without rolling over once, the first time at 2031-03-01 12:00 UTC from 523400.000 to 12.000 m3")) {
			t.Errorf("%s: %s", f.Verdict, f.Sentence)
		}
	}
}
