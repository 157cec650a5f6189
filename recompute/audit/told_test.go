package audit

import (
	"fmt"
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

// TestLineEdges: five days that span a tenth of the greatest, 225 to 250, carry a line; four, or days that are more
// alike, do not. On y = x, a day is off by more than half a per cent of its flow, 1 of 200 m³, and by more than the
// rounding.
func TestLineEdges(t *testing.T) {
	pairs := func(n int, least, most float64) (list []dayPair) {
		for i := range n {
			x := least + (most-least)*float64(i)/float64(n-1)
			list = append(list, dayPair{fmt.Sprint(i), x, x})
		}
		return list
	}
	for _, c := range []struct {
		n           int
		least, most float64
		want        bool
	}{
		{5, 225, 250, true},
		{4, 225, 250, false},
		{5, 224, 250, true},
		{5, 225.125, 250, false},
		{5, 225.375, 250, false},
	} {
		if l := reconcile(pairs(c.n, c.least, c.most), 0); l.fitted != c.want {
			t.Errorf("%+v: %v", c, l.fitted)
		}
	}
	for _, c := range []struct {
		off, rounding float64
		want          int
	}{{0.995, 0, 0}, {1.005, 0, 1}, {-0.995, 0, 0}, {-1.005, 0, 1}, {1.995, 2, 0}, {2.005, 2, 1}} {
		list := pairs(9, 100, 300) // the fifth is 200
		list[4].counted += c.off
		if l := reconcile(list, c.rounding); len(l.broken) != c.want || math.Abs(l.slope-1) > 1e-12 ||
			math.Abs(l.intercept) > 1e-9 {
			t.Errorf("%+v: %+v", c, l)
		}
	}
}

// TestLineHalves: half of the days lie on either side of the line, on it the middle one of an odd number.
func TestLineHalves(t *testing.T) {
	for n, want := range map[int][3]int{5: {2, 1, 2}, 8: {4, 0, 4}, 9: {4, 1, 4}} {
		var list []dayPair
		for i := range n {
			x := 100 + float64((i*37)%97)
			list = append(list, dayPair{fmt.Sprint(i), x, x + math.Sin(float64(i*i+3*i))})
		}
		l := reconcile(list, 1)
		var got [3]int
		for _, p := range list {
			switch rest := p.counted - l.slope*p.integrated - l.intercept; {
			case rest < -1e-9:
				got[0]++
			case rest > 1e-9:
				got[2]++
			default:
				got[1]++
			}
		}
		if got != want {
			t.Errorf("%d days: %v below, on and above the line, want %v: %+v", n, got, want, l)
		}
	}
}

// TestCorrectedAlready: only a site with corrections is told that they reproduce the log.
func TestCorrectedAlready(t *testing.T) {
	all := evidence.Misfit{Readings: 10, Within: 10}
	none := evidence.Misfit{Readings: 10, Largest: 0.002, Logged: 100, Lane: 90, Worth: 10}
	for n, want := range map[int]bool{0: false, 1: true} {
		r := result(100, 100, none, all)
		r.Site.Corrections = make([]site.Correction, n)
		if got := strings.Contains(loggedFlow(r, nil).Sentence, "corrected already"); got != want {
			t.Errorf("%d corrections: %v", n, got)
		}
	}
}

// TestLineNames: five days off the line are named, a sixth is only counted.
func TestLineNames(t *testing.T) {
	l := line{slope: 1, fitted: true}
	unit := quantity.MustLookUp("m3")
	for n := range 8 {
		text := l.sentence(unit)
		if more := max(0, n-5); strings.Count(text, "against") != min(n, 5) ||
			strings.Contains(text, fmt.Sprintf("and %d more", more)) != (more > 0) ||
			strings.Contains(text, "No day lies off") != (n == 0) ||
			strings.Count(text, ",") != max(0, min(n, 5)-1) {
			t.Errorf("%d days: %s", n, text)
		}
		l.broken = append(l.broken, dayPair{fmt.Sprint(n), 1, 2})
	}
}

// TestOneWayEdges: of 1,000 m³, all readings within the rounding; 2 m³ one way are 0.2 %. The mean difference is a
// tenth of the largest and more.
func TestOneWayEdges(t *testing.T) {
	for _, c := range []struct {
		net, mean, largest float64
		want               Verdict
	}{
		{1.995, 1, 1, Agrees}, {2, 1, 1, Agrees}, {2.005, 1, 1, CannotTell}, {-2.005, -1, 1, CannotTell},
		{2.005, 0.1, 1, CannotTell}, {2.005, 0.099, 1, Agrees}, {-2.005, -0.0999, 1, Agrees},
	} {
		m := evidence.Misfit{
			Readings: 10,
			Within:   10,
			Logged:   1000,
			Lane:     1000 - c.net,
			Sum:      10 * c.mean,
			Largest:  c.largest,
		}
		if c.net < 0 {
			m.Logged, m.Lane = 1000+c.net, 1000
		}
		f := loggedFlow(result(100, 100, m, m), nil)
		if f.Verdict != c.want ||
			c.want == CannotTell &&
				!strings.Contains(f.Sentence, fmt.Sprintf("together %+.2f %%", math.Copysign(0.2, c.net))) {
			t.Errorf("%+v: %s: %s", c, f.Verdict, f.Sentence)
		}
	}
}

// TestAgreementWords: what is told of a disagreement, and what is not.
func TestAgreementWords(t *testing.T) {
	at := time.Date(2031, 3, 1, 6, 0, 0, 0, time.UTC).UnixNano()
	span := func(net float64) evidence.MisfitSpan {
		return evidence.MisfitSpan{
			From:    at,
			Until:   at + int64(time.Hour),
			Logged:  100,
			Lane:    100 - net,
			Largest: 0.002,
		}
	}
	for _, c := range []struct {
		name   string
		change func(*evidence.Misfit)
		says   string
		not    string
	}{
		{"all agree", func(m *evidence.Misfit) { m.Within, m.At = 100, at }, "100 of 100 readings agree within the log's rounding, the largest difference is 2 L/s", " at "},
		{"a time", func(m *evidence.Misfit) { m.At = at }, "2 L/s at 2031-03-01 06:00 UTC", "lags"},
		{"a lag", func(m *evidence.Misfit) { m.Lag = 4 }, "by about 40 min", " at "},
		{"one above the cap", func(m *evidence.Misfit) { m.AboveCap, m.Cap = 1, 0.03 }, "90 of 100", "above"},
		{"two above the cap", func(m *evidence.Misfit) { m.AboveCap, m.Cap = 2, 0.03 }, "; 2 readings are above 30 L/s", "worth"},
		{"worth something", func(m *evidence.Misfit) { m.Worth = 25 }, "what differs is worth 2.5 % of the volume", "most in"},
		{"a span", func(m *evidence.Misfit) { m.Spans = []evidence.MisfitSpan{span(0.0011)} }, ", most in 2031-03-01 06:00 to 2031-03-01 07:00 UTC (logged +0.0011 m3, 0.0011 %, up to 2 L/s)", "it is"},
		{"a span worth a millionth", func(m *evidence.Misfit) { m.Spans = []evidence.MisfitSpan{span(0.000995)} }, "90 of 100", "most in"},
		{"standing below 2 %", func(m *evidence.Misfit) { m.Standing = span(1.995) }, "90 of 100", "it is"},
		{"standing above 2 %", func(m *evidence.Misfit) { m.Standing = span(2.005) }, "; from 2031-03-01 06:00 to 2031-03-01 07:00 UTC it is 2 %", "most in"},
	} {
		m := evidence.Misfit{Readings: 100, Within: 90, Largest: 0.002, Logged: 1000, Lane: 1000}
		c.change(&m)
		r := result(100, 100, m, m)
		r.Facts.Interval = 10 * time.Minute
		if text := agreement(r, m); !strings.Contains(text, c.says) || strings.Contains(text, c.not) {
			t.Errorf("%s: %s", c.name, text)
		}
	}
	for part, want := range map[float64]string{
		0.00025: "0.025 %", 0.031: "3.1 %", 0.9996: "100 %", 1: "100 %", 1.234: "123 %",
	} {
		if got := percent(part); got != want {
			t.Errorf("%v: %s", part, got)
		}
	}
}

// TestLimitEdges: a figure at its limit is not over it, before the correction and after it: of a day, a month, a peak
// and a share of days (the permit's wording is "shall not exceed", common practice).
func TestLimitEdges(t *testing.T) {
	for limit, want := range map[float64]bool{99.999: true, 100: false, 100.001: false} {
		r := limited(t, "1 m3")
		r.Site.Report.DailyVolume.SI = limit
		if f := dayLimits(r)[0]; f.Was != want {
			t.Errorf("a day of 100 m3 beside %g: %v", limit, f.Was)
		}
		r = limited(t, "1 L/s")
		r.Site.Report.MonthlyMean.SI = limit / 86400
		if f := monthLimits(r)[0]; f.Was != want {
			t.Errorf("a month of 100 m3 a day beside %g: %v", limit, f.Was)
		}
		r = result(100, 100, evidence.Misfit{}, evidence.Misfit{})
		r.Site.Report.Peak = &quantity.Value{SI: limit}
		r.Statistics = recompute.Statistics{Peak: 100, PeakBefore: 100, PeakMost: 100}
		if f := peakLimit(r)[0]; f.Was != want {
			t.Errorf("a peak of 100 beside %g: %v", limit, f.Was)
		}
	}
	for limit, want := range map[float64]float64{79.999: 1, 80: 0, 80.001: 0} { // of days that are 80 m³ now
		r := limited(t, "1 m3")
		r.Site.Report.DailyVolume.SI, r.Site.Report.DaysOver = limit, 0.5
		if f := daysOver(r, dayLimits(r))[0]; f.After != want || f.Before != 1 || !f.Was {
			t.Errorf("days of 80 m3 beside %g: %+v", limit, f)
		}
	}
	for over, want := range map[float64]bool{0.499: true, 0.5: false, 0.501: false} { // one of two days was over 90 m³
		r := limited(t, "90 m3")
		second := r.Days[0]
		second.Label, second.From, second.Until, second.Before = "2031-03-02", r.Days[0].Until, r.Days[0].Until+int64(
			24*time.Hour,
		), volume(
			50,
		)
		r.Days, r.Site.Report.DaysOver = append(r.Days, second), over
		if f := daysOver(r, dayLimits(r))[0]; f.Was != want || f.Before != 0.5 {
			t.Errorf("half of the days beside %g: %+v", over, f)
		}
	}
}

// TestCompletenessEdges: a day of which exactly as much is covered as the permit asks counts, by the old figure and the
// new.
func TestCompletenessEdges(t *testing.T) {
	for hours, want := range map[time.Duration]bool{
		18*time.Hour - 1: false, 18 * time.Hour: true, 18*time.Hour + 1: true,
	} {
		r := limited(t, "90 m3")
		r.Site.Report.Complete.LeastDay, r.Site.Report.RulesDays, r.Site.Report.DaysOver = 0.75, true, 0.5
		r.Days[0].Before.Covered, r.Days[0].After.Covered = int64(hours), int64(hours)
		f := dayLimits(r)[0]
		if f.Was != want || (f.Rule != recompute.NotCounted) != want {
			t.Errorf("%v: %+v", hours, f)
		}
		if n := DaysOver(r, 90, func(p *recompute.Period) total.Volume { return p.Before }); (n == 1) != want {
			t.Errorf("%v: %d days over", hours, n)
		}
		if s := daysOver(r, []LimitFinding{f})[0]; (s.Before == 1) != want {
			t.Errorf("%v: %+v", hours, s)
		}
	}
}

// TestPeakBounds by hand: a peak of 0.05 m³/s in a total of 80 ± 8 m³ is known to 10 %: from 0.045 to 0.055; where it
// is hidden up to 0.06, to 0.066.
func TestPeakBounds(t *testing.T) {
	for most, high := range map[float64]float64{0.05: 0.055, 0.06: 0.066, 0.04: 0.055} {
		r := result(100, 100, evidence.Misfit{}, evidence.Misfit{})
		r.Site.Report.Peak = &quantity.Value{SI: 0.05}
		r.Total.Budget = &uncertainty.Budget{Standard: 4, Low: 4, High: 4}
		r.Statistics = recompute.Statistics{Peak: 0.05, PeakBefore: 0.05, PeakMost: most}
		if f := peakLimit(r)[0]; math.Abs(f.U95-0.005) > 1e-12 || math.Abs(f.Low-0.045) > 1e-12 ||
			math.Abs(f.High-high) > 1e-12 {
			t.Errorf("hidden up to %g: %+v", most, f)
		}
	}
}

// TestEdgesToTheDigit: figures in powers of two, which stand at an edge to the last digit. Half a day without readings
// is 43,200 s, in which 1/512 m³/s make 84.375 m³.
func TestEdgesToTheDigit(t *testing.T) {
	for left, want := range map[float64]bool{84.25: true, 84.375: true, 84.5: false} {
		r := reports(t, "2031-03", "1 m3")
		r.Statistics.PeakBefore, r.Months[0].Before.Covered = 1.0/512, int64(12*time.Hour)
		text, possible := inMissingTime(
			r,
			MonthAverages{Period: &r.Months[0]},
			site.Reported{Volume: quantity.Value{SI: 100 + left}},
		)
		if text == "" || possible != want {
			t.Errorf("%g m3 left: %v, %q", left, possible, text)
		}
	}
	for _, reported := range []float64{100, 99} { // nothing is left
		r := reports(t, "2031-03", "1 m3")
		r.Months[0].Before.Covered = int64(12 * time.Hour)
		if text, _ := inMissingTime(r, MonthAverages{Period: &r.Months[0]},
			site.Reported{Volume: quantity.Value{SI: reported}}); text != "" {
			t.Errorf("%g m3: %q", reported, text)
		}
	}
	r := reports(t, "2031-03", "1 m3") // exactly an interval is missing, which is told
	r.Months[0].Before.Covered, r.Facts.Interval = int64(18*time.Hour), 6*time.Hour
	if text, _ := inMissingTime(r, MonthAverages{Period: &r.Months[0]},
		site.Reported{Volume: quantity.Value{SI: 150}}); text == "" {
		t.Error("an interval is missing")
	}
	// A day off the line by exactly the rounding given is not broken.
	pairs := []dayPair{{"1", 128, 128}, {"2", 160, 160}, {"3", 192, 194}, {"4", 224, 224}, {"5", 256, 256}}
	if l := reconcile(pairs, 2); len(l.broken) != 0 || l.slope != 1 || l.intercept != 0 {
		t.Errorf("%+v", l)
	}
}

// TestToleranceInWords: what a finding says of its limits is what it goes by.
func TestToleranceInWords(t *testing.T) {
	all := evidence.Misfit{Readings: 10, Within: 10}
	r := result(100, 100, all, all)
	if got := loggedFlow(r, nil).Tolerance; !strings.Contains(
		got,
		"no more than 0.2 % of the volume, and 2 % of that of any",
	) {
		t.Error(got)
	}
	if got := counter(r).Tolerance; got != "0.5 % over the days that both cover" {
		t.Error(got)
	}
	for _, label := range []string{"2031-03", "2031-03-01"} {
		if got := reported(reports(t, label, "100 m3"))[0].Tolerance; got != "0.5 %" {
			t.Errorf("%s: %s", label, got)
		}
	}
	trial := evidence.Trial{Correction: &site.Correction{}}
	trial.Correction.Values[site.MaximumHead] = &site.Ramp{}
	r.Trials = []evidence.Trial{trial}
	list := corrections(r)
	if len(list) != 1 {
		t.Errorf("%d findings on one correction", len(list))
	}
	for _, f := range list {
		if !strings.Contains(f.Tolerance, "zero flow (5 mm)") || !strings.Contains(f.Tolerance, "less than 2 times") {
			t.Error(f.Tolerance)
		}
	}
}

// TestDryMonth: of a month without flow, an uncertainty of 8 m³ and two days is 4 m³ a day.
func TestDryMonth(t *testing.T) {
	r := limited(t, "1 L/s")
	m := &r.Months[0]
	second := r.Days[0]
	second.Label, second.From, second.Until = "2031-03-02", m.Until, m.Until+int64(24*time.Hour)
	r.Days[0].After, second.After = volume(0), volume(0)
	r.Days = append(r.Days, second)
	m.Until, m.After = second.Until, volume(0)
	m.After.Covered *= 2
	m.Budget = &uncertainty.Budget{Standard: 4, Low: 4, High: 4}
	if f := monthLimits(r)[0]; !(math.Abs(f.U95*86400-4) <= 1e-9) {
		t.Errorf("%v m3 a day", f.U95*86400)
	}
}

// TestPercentOfNearlyAll: a part that rounds to all of it is written so, and never with an exponent.
func TestPercentOfNearlyAll(t *testing.T) {
	for part, want := range map[float64]string{
		0.994: "99 %", 0.995: "100 %", 0.997: "100 %", 1: "100 %", 0.00025: "0.025 %",
	} {
		if got := percent(part); got != want {
			t.Errorf("%g: %q, want %q", part, got, want)
		}
	}
}
