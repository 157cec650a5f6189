package audit

import (
	"math"
	"strings"
	"testing"
	"time"

	"retotal/ingest/quantity"
	"retotal/ingest/site"
	"retotal/recompute"
	"retotal/recompute/evidence"
	"retotal/recompute/total"
	"retotal/recompute/uncertainty"
)

// TestDailyLimit sorts days by what the correction does to them.
func TestDailyLimit(t *testing.T) {
	r := result(1, 1, evidence.Misfit{}, evidence.Misfit{})
	limit := quantity.Value{SI: 90}
	r.Site.Report.DailyVolume = &limit
	over := DailyLimit(r)
	if len(over) != 1 || !over[0].WasOver || over[0].IsOver || over[0].Outcome != Cleared {
		t.Errorf("%+v", over)
	}
	limit.SI = 100 // exactly at the limit is not over it
	if over := DailyLimit(r); len(over) != 0 {
		t.Errorf("%+v", over)
	}
}

// TestLimits: one day of 100 m³ before and 80 ± u after, beside every kind of limit. 80 m³ a day is 0.926 L/s, 100 is
// 1.157 L/s.
func TestLimits(t *testing.T) {
	for _, c := range []struct {
		name     string
		limit    string
		expanded float64 // m³
		sure     recompute.Sureness
		outcome  Outcome
	}{
		{"cleared, but near", "90 m3", 12, recompute.CannotTell, Unsure},
		{"cleared beyond doubt", "90 m3", 8, recompute.Below, Cleared},
		{"above beyond doubt", "70 m3", 8, recompute.Above, Still},
		{"near from below", "101 m3", 25, recompute.CannotTell, Unsure},
		{"below beyond doubt", "101 m3", 8, recompute.Below, Under},
		{"average above", "0.9 L/s", 1, recompute.Above, Still},
		{"average near", "0.93 L/s", 1, recompute.CannotTell, Unsure},
		{"average below", "1.2 L/s", 1, recompute.Below, Under},
	} {
		r := limited(t, c.limit)
		r.Days[0].Budget = &uncertainty.Budget{Standard: c.expanded / 2, Low: c.expanded / 2, High: c.expanded / 2}
		r.Months[0].Budget = r.Days[0].Budget
		list := Limits(r)
		if c.outcome == Under {
			if len(list) != 0 {
				t.Errorf("%s: %+v", c.name, list)
			}
			continue
		}
		if len(list) != 1 || list[0].Sure != c.sure || list[0].Outcome() != c.outcome {
			t.Errorf("%s: %+v", c.name, list)
		}
	}
}

// limited is the day of 100 m³ before and 80 after, with a limit of daily volume or of monthly average.
func limited(t *testing.T, text string) *recompute.Result {
	t.Helper()
	r := result(100, 100, evidence.Misfit{}, evidence.Misfit{})
	r.Months[0].Label = "2031-03"
	r.Site.Report.Complete.MostMissing = -1
	dimension, place := quantity.VolumeDimension, &r.Site.Report.DailyVolume
	if strings.HasSuffix(text, "L/s") {
		dimension, place = quantity.FlowDimension, &r.Site.Report.MonthlyMean
	}
	limit, err := quantity.Parse(text, dimension)
	if err != nil {
		t.Fatal(err)
	}
	*place = &limit
	return r
}

// TestMissingTime: of the day 16 hours are covered, with 80 m³ (100 before), and 8 are missing. At a physical maximum
// of 2 L/s up to 0.002 × 28,800 = 57.6 m³ may have flowed in them, so the truth lies between 80 and 137.6 m³; at 5 L/s
// up to 224 m³.
func TestMissingTime(t *testing.T) {
	for _, c := range []struct {
		name, limit string
		most        float64 // m³/s
		least       float64 // coverage that the permit asks
		rule, sure  recompute.Sureness
		outcome     Outcome
	}{
		{"the rest may have exceeded it", "90 m3", 0.002, 0, "", recompute.CannotTell, Unsure},
		{"the rest cannot have", "138 m3", 0.002, 0, "", recompute.Below, Under},
		{"nothing bounds it", "138 m3", math.Inf(1), 0, "", recompute.CannotTell, Unsure},
		{"a part is above", "79 m3", math.Inf(1), 0, "", recompute.Above, Still},
		{"by the rule it is below", "90 m3", 0.002, 0.5, recompute.Below, recompute.CannotTell, ByRule},
		{"by the rule it does not count", "90 m3", 0.002, 0.75, recompute.NotCounted, recompute.CannotTell, Unsure},
		{"it does not count, but is above", "79 m3", 0.002, 0.75, recompute.NotCounted, recompute.Above, Still},
		{"it cannot have exceeded it, and does not count", "138 m3", 0.002, 0.75, recompute.NotCounted, recompute.Below, Under},
		// 80 m³ a day is 0.926 L/s, 224 is 2.59
		{"average that the rest may have exceeded", "1.1 L/s", 0.005, 0, "", recompute.CannotTell, Unsure},
		{"average that it cannot have", "2.6 L/s", 0.005, 0, "", recompute.Below, Under},
		{"average by a rule", "1.1 L/s", 0.005, 0.5, recompute.Below, recompute.CannotTell, ByRule},
		{"average of no day that counts", "1.1 L/s", 0.005, 0.75, recompute.NotCounted, recompute.CannotTell, Unsure},
	} {
		r := limited(t, c.limit)
		r.PhysicalMost, r.Site.Report.Complete.LeastDay = c.most, c.least
		r.Site.Report.RulesDays, r.Site.Report.RulesMonths = c.least > 0, c.least > 0
		r.Days[0].After.Covered = int64(16 * time.Hour)
		r.Months[0].After = r.Days[0].After
		all := append(dayLimits(r), monthLimits(r)...)
		if len(all) != 1 || all[0].Rule != c.rule || all[0].Sure != c.sure || all[0].Outcome() != c.outcome {
			t.Errorf("%s: %+v", c.name, all)
		}
	}
}

// TestCutDay: of a day that the bounds of the report cut in two, the other half is missing like any other time: 12
// hours at 2 L/s make 86.4 m³ beside the 80.
func TestCutDay(t *testing.T) {
	r := limited(t, "90 m3")
	r.PhysicalMost = 0.002
	r.Days[0].From += int64(12 * time.Hour)
	r.Days[0].After.Covered = int64(12 * time.Hour)
	if f := dayLimits(r)[0]; f.Sure != recompute.CannotTell || math.Abs(f.High-166.4) > 1e-9 {
		t.Errorf("%+v", f)
	}
}

// TestDaysWithFlow: by the rule of days with flow, a month of three days of which one had 80 m³, one none and one no
// readings, at a physical maximum of 1 L/s, which is 86.4 m³ a day. The average is 80 m³ if nothing flowed on the third
// day, and (80 + 86.4) / 2 = 83.2 at most; just above no flow it is 40.
func TestDaysWithFlow(t *testing.T) {
	r := limited(t, "1 L/s")
	r.PhysicalMost, r.Site.Report.Average = 0.001, site.AverageDischarging
	day := int64(24 * time.Hour)
	dry := recompute.Period{Label: "2031-03-02", From: r.Days[0].Until, Until: r.Days[0].Until + day}
	dry.After.Covered = day
	r.Days = append(r.Days, dry)
	r.Months[0].Until, r.Months[0].After.Covered = r.Days[0].From+3*day, 2*day
	list := monthLimits(r)
	f := list[0]
	for _, x := range [][2]float64{{f.After, 80}, {f.Low, 40}, {f.High, 83.2}} {
		if math.Abs(x[0]*86400-x[1]) > 1e-9 || f.Sure != recompute.Below {
			t.Errorf("%.3f m3 a day, want %.3f; %s", x[0]*86400, x[1], f.Sure)
		}
	}
}

// TestShareOfDays: of four days one is above for sure, one below, one cannot be told, one has no data. So 25 to 75 % of
// them are above; by a rule that leaves the third out, one of two.
func TestShareOfDays(t *testing.T) {
	r := limited(t, "79 m3")
	start, day := r.Days[0].From, int64(24*time.Hour)
	for i, v := range []float64{70, 60, 0} {
		from := start + int64(i+1)*day
		label := time.Unix(0, from).UTC().Format("2006-01-02")
		r.Days = append(r.Days, recompute.Period{Label: label, From: from, Until: from + day, After: volume(v)})
	}
	r.Days[2].After.Covered, r.Days[3].After = day/2, total.Volume{}
	for _, c := range []struct {
		over, least float64
		rule, sure  recompute.Sureness
	}{
		{0.2, 0, "", recompute.Above},
		{0.5, 0, "", recompute.CannotTell},
		{0.75, 0, "", recompute.Below},
		{0.5, 0.75, recompute.Below, recompute.CannotTell}, // one of two is not more than half
		{0.45, 0.75, recompute.Above, recompute.CannotTell},
	} {
		r.Site.Report.DaysOver, r.Site.Report.Complete.LeastDay = c.over, c.least
		r.Site.Report.RulesDays = c.least > 0
		list := daysOver(r, dayLimits(r))
		if f := list[0]; f.Low != 0.25 || f.High != 0.75 || f.Rule != c.rule || f.Sure != c.sure {
			t.Errorf("%g, %g: %+v", c.over, c.least, f)
		}
	}
}

// TestHiddenPeak: a peak below its limit is below beyond doubt only when the meter hid nothing above it and nothing is
// missing, or nothing higher can have flowed.
func TestHiddenPeak(t *testing.T) {
	limit := quantity.Value{SI: 0.1}
	for _, c := range []struct {
		name           string
		most, physical float64
		missing        bool
		sure           recompute.Sureness
	}{
		{"nothing hidden", 0.05, math.Inf(1), false, recompute.Below},
		{"hidden up to 0.2", 0.2, math.Inf(1), false, recompute.CannotTell},
		{"hidden without bound", math.Inf(1), math.Inf(1), false, recompute.CannotTell},
		{"hidden, but the channel is small", math.Inf(1), 0.09, false, recompute.Below},
		{"missing", 0.05, 0.2, true, recompute.CannotTell},
		{"missing, but the channel is small", 0.05, 0.09, true, recompute.Below},
	} {
		r := result(100, 100, evidence.Misfit{}, evidence.Misfit{})
		r.Site.Report.Peak, r.PhysicalMost = &limit, c.physical
		r.Statistics = recompute.Statistics{Peak: 0.05, PeakBefore: 0.05, PeakMost: c.most}
		if c.missing {
			r.Total.After.Covered /= 2
		}
		if f := peakLimit(r)[0]; f.Sure != c.sure {
			t.Errorf("%s: %+v", c.name, f)
		}
	}
}
