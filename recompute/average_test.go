package recompute

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"testing"
	"time"

	"retotal/ingest/site"
	"retotal/recompute/total"
)

// days makes reporting days of 24 hours with these volumes, m³; NaN for a missing one.
func days(volumes ...float64) (list []Period) {
	start := time.Date(2031, 4, 1, 0, 0, 0, 0, time.UTC)
	for i, v := range volumes {
		from := start.AddDate(0, 0, i)
		p := Period{Label: from.Format("2006-01-02"), From: from.UnixNano(), Until: from.AddDate(0, 0, 1).UnixNano()}
		if !math.IsNaN(v) {
			p.After.Sum.Add(v)
			p.After.Covered = p.Until - p.From
		}
		list = append(list, p)
	}
	return list
}

func corrected(p *Period) total.Volume { return p.After }

// TestAverages: AVG-1 to AVG-3 of the reference. Thirty days: 20 at 1.0, 6 measured without flow, 4 missing. Three
// published rules give 0.769231, 1.000000 and 0.666667.
func TestAverages(t *testing.T) {
	nothing := slices.Repeat([]float64{math.NaN()}, 4)
	volumes := slices.Concat(slices.Repeat([]float64{1}, 20), make([]float64, 6), nothing)
	a := AverageDays(days(volumes...), corrected, site.Completeness{MostMissing: -1})
	for rule, want := range map[site.AverageRule]float64{
		site.AverageMeasured:    0.769231,
		site.AverageDischarging: 1,
		site.AverageAll:         0.666667,
	} {
		if got, ok := a.Average(rule); !ok || math.Abs(got-want) > 5e-7 {
			t.Errorf("%s: %.6f, want %.6f", rule, got, want)
		}
	}
	if a.Days != 30 || a.Measured != 26 || a.Discharging != 20 {
		t.Errorf("%+v", a)
	}
	if _, ok := new(Averages).Average(site.AverageMeasured); ok {
		t.Error("the average of nothing is missing")
	}
}

// TestLeastCoverage: a day that is not covered enough does not count.
func TestLeastCoverage(t *testing.T) {
	list := days(1, 1, 1)
	list[1].After.Covered /= 2
	a := AverageDays(list, corrected, site.Completeness{LeastDay: 0.75, MostMissing: -1})
	if a.Measured != 2 || a.OverMeasured != 1 {
		t.Errorf("%+v", a)
	}
}

// TestMostMissing: four of thirty days missing are no more than five, and more than three.
func TestMostMissing(t *testing.T) {
	list := days(slices.Concat(slices.Repeat([]float64{1}, 26), slices.Repeat([]float64{math.NaN()}, 4))...)
	for most, withheld := range map[int]bool{-1: false, 5: false, 4: false, 3: true} {
		if a := AverageDays(list, corrected, site.Completeness{MostMissing: most}); a.Withheld != withheld {
			t.Errorf("%d days allowed: withheld %v", most, a.Withheld)
		}
	}
}

// TestAnyPartition: days added up by weeks, quarters, years or in any other way give the last bit of the whole.
func TestAnyPartition(t *testing.T) {
	random := rand.New(rand.NewPCG(61, 62))
	volumes := make([]float64, 900)
	for i := range volumes {
		volumes[i] = math.Exp(12 * random.Float64())
	}
	r := &Result{Days: days(volumes...)}
	r.from, r.until = math.MinInt64, math.MaxInt64
	r.days = total.NewCalendar(time.UTC, 0, false, r.Days[0].From)
	r.days.Day(r.Days[len(r.Days)-1].From)
	var whole total.Sum
	for i := range r.Days {
		whole.Merge(r.Days[i].After.Sum)
	}
	for name, key := range map[string]func(string) string{
		"year":  func(d string) string { return d[:4] },
		"month": func(d string) string { return d[:7] },
		"by the digits of the day": func(d string) string {
			return fmt.Sprint((int(d[8])*7 + int(d[9])*int(d[6])) % 5)
		},
	} {
		var sum total.Sum
		for _, p := range r.Periods(key) {
			sum.Merge(p.After.Sum)
		}
		if sum.Value() != whole.Value() {
			t.Errorf("%s: %.17g, whole %.17g", name, sum.Value(), whole.Value())
		}
	}
}
