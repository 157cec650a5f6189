package audit

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"retotal/ingest/quantity"
	"retotal/ingest/site"
	"retotal/recompute"
	"retotal/recompute/evidence"
	"retotal/recompute/total"
)

// parse reads a quantity of a dimension.
func parse(t *testing.T, text string, d quantity.Dimension) quantity.Value {
	t.Helper()
	v, err := quantity.Parse(text, d)
	if err != nil {
		t.Fatal(err)
	}
	return v
}

// reports is the day of 100 m³ before and 80 after, for which a figure was reported, in m³ or L/s.
func reports(t *testing.T, label, text string) *recompute.Result {
	t.Helper()
	r := result(90, 95, evidence.Misfit{Readings: 1, Within: 1}, evidence.Misfit{})
	r.Months[0].Label = "2031-03"
	d := quantity.VolumeDimension
	if strings.HasSuffix(text, "/s") {
		d = quantity.FlowDimension
	}
	r.Site.Report.Reported = map[string]site.Reported{label: {Volume: parse(t, text, d)}}
	return r
}

// TestCounterEdges: half a per cent of the flow that both cover, either way; days that they cover differently are left
// out (common practice: meters' counters are held to it).
func TestCounterEdges(t *testing.T) {
	all := evidence.Misfit{Readings: 10, Within: 10}
	for counted, want := range map[float64]Verdict{100.498: Agrees, 100.502: Differs, 99.502: Agrees, 99.498: Differs} {
		if f := counter(result(100, counted, all, all)); f.Verdict != want ||
			!strings.Contains(f.Sentence, fmt.Sprintf("the counter advanced by %.1f m3", counted)) {
			t.Errorf("%v: %s: %s", counted, f.Verdict, f.Sentence)
		}
	}
	r := result(100, 130, all, all)
	r.Days[0].Counted.Covered--
	if f := counter(r); f.Verdict != CannotTell {
		t.Errorf("a nanosecond less: %s", f.Verdict)
	}
	r = result(100, 130, all, all)
	r.Days[0].Counted.Covered, r.Days[0].Logged.Covered = 0, 0
	if f := counter(r); f.Verdict != CannotTell {
		t.Errorf("nothing covered: %s", f.Verdict)
	}
	if f := counter(result(0, 0, all, all)); f.Verdict != CannotTell {
		t.Errorf("no flow: %s", f.Verdict)
	}
	// Without a logged flow the counter stands beside the recorded lane, 100 m³.
	if f := counter(result(0, 100.4, evidence.Misfit{}, evidence.Misfit{})); f.Verdict != Agrees ||
		!strings.Contains(f.Sentence, "flow of the recorded settings is 100.0 m3: +0.400 %") {
		t.Errorf("without a logged flow: %s: %s", f.Verdict, f.Sentence)
	}
}

// TestCounterWords: rollovers and changes are counted in words, and not told where there are none.
func TestCounterWords(t *testing.T) {
	all := evidence.Misfit{Readings: 10, Within: 10}
	for n, want := range []string{"", "once", "2 times"} {
		r := result(100, 100, all, all)
		r.Rollovers, r.CounterChanges = n, n
		text := counter(r).Sentence
		if strings.Contains(text, "rolled over "+want+".") != (n > 0) ||
			strings.Contains(text, "changed "+want+",") != (n > 0) ||
			n == 0 && strings.Contains(text, "times") {
			t.Errorf("%d: %s", n, text)
		}
	}
}

// TestReportedEdges: half a per cent of the month's volume, of its average (100 m³ a day are 1.1574 L/s) and of a
// day's, either way.
func TestReportedEdges(t *testing.T) {
	for _, c := range []struct {
		label, text string
		want        Verdict
	}{
		{"2031-03", "100.498 m3", Agrees}, {"2031-03", "100.502 m3", Differs}, {"2031-03", "99.502 m3", Agrees},
		{"2031-03", "99.498 m3", Differs},
		{"2031-03", "1.16317 L/s", Agrees}, {"2031-03", "1.16322 L/s", Differs}, // 1.157407 × 1.005 = 1.163194
		{"2031-03-01", "100.498 m3", Agrees}, {"2031-03-01", "100.502 m3", Differs},
		{"2031-03-01", "99.502 m3", Agrees}, {"2031-03-01", "99.498 m3", Differs},
		{"2031-03-01", "1.16317 L/s", Agrees}, {"2031-03-01", "1.16322 L/s", Differs},
	} {
		f := reported(reports(t, c.label, c.text))
		if len(f) != 1 || f[0].Verdict != c.want {
			t.Errorf("%s %s: %+v", c.label, c.text, f)
		}
	}
	f := reported(reports(t, "2031-03-02", "100 m3"))
	if len(f) != 1 || f[0].Verdict != CannotTell ||
		!strings.Contains(f[0].Sentence, "for 2031-03-02: check the dates") {
		t.Errorf("a day that the log does not have: %+v", f)
	}
}

// TestReportedPart: of a day of which three quarters are covered, more may have flowed than is shown, but not less.
func TestReportedPart(t *testing.T) {
	for text, want := range map[string]Verdict{
		"100.001 m3": CannotTell, "140 m3": CannotTell, "100 m3": Agrees, "99.6 m3": Agrees, "99 m3": Differs,
	} {
		r := reports(t, "2031-03-01", text)
		r.Days[0].Before.Covered = r.Days[0].Before.Covered * 3 / 4
		f := reported(r)
		if len(f) != 1 || f[0].Verdict != want || strings.Contains(f[0].Sentence, "Of 1 more") != (want == CannotTell) {
			t.Errorf("%s: %+v", text, f)
		}
	}
}

// TestReportedDaysNamed: five days that are off are named, of seven two are only counted.
func TestReportedDaysNamed(t *testing.T) {
	for n, more := range map[int]string{1: "", 5: "", 6: " and 1 more", 7: " and 2 more"} {
		r := reports(t, "2031-03-01", "150 m3")
		first := r.Days[0]
		for k := 1; k < n; k++ {
			d := first
			d.Label = fmt.Sprintf("2031-03-%02d", k+1)
			d.From, d.Until = d.From+int64(k)*int64(24*time.Hour), d.Until+int64(k)*int64(24*time.Hour)
			r.Days = append(r.Days, d)
			r.Site.Report.Reported[d.Label] = r.Site.Report.Reported["2031-03-01"]
		}
		f := reported(r)[0]
		if got := strings.Count(f.Sentence, "against 100.0 m3"); got != min(n, 5) ||
			more == "" && strings.Contains(f.Sentence, "more") ||
			!strings.Contains(f.Sentence, more) ||
			!strings.Contains(f.Sentence, fmt.Sprintf("Of %d reported days 0 agree", n)) {
			t.Errorf("%d days: %s", n, f.Sentence)
		}
	}
}

// TestRulesRecognised: a figure is recognised as another rule's to 0.05 %, and units that were mistaken by their
// published ratio: the US gallon is 231 cubic inches of 25.4 mm, 3.785411784 L, the imperial one 4.54609 L, a foot
// 0.3048 m (international yard and pound agreement; UK Weights and Measures Act). The recorded settings give 100 m³,
// the corrected ones 80, the log 90, the counter 95.
func TestRulesRecognised(t *testing.T) {
	us, imperial, foot := 231*25.4*25.4*25.4*1e-6, 4.54609, 0.3048
	for _, c := range []struct {
		rule   string
		figure float64 // m³
	}{
		{"the corrected settings", 80}, {"the logged flow", 90}, {"the counter", 95},
		{"imperial gallons written as US gallons", 100 * us / imperial},
		{"US gallons written as imperial gallons", 100 * imperial / us},
		{"litres a second written as cubic metres an hour", 100 / 3.6},
		{"cubic metres an hour written as litres a second", 360},
		{"a thousand times too much", 1e5}, {"a thousandth", 0.1}, {"ten times too much", 1000}, {"a tenth", 10},
		{"cubic feet written as cubic metres", 100 / (foot * foot * foot)},
	} {
		for off, want := range map[float64]bool{
			0: true, 4.95e-4: true, -4.95e-4: true, 5.05e-4: false, -5.05e-4: false,
		} {
			f := reported(reports(t, "2031-03", fmt.Sprintf("%.9f m3", c.figure*(1+off))))[0]
			if f.Verdict != Differs || strings.Contains(f.Sentence, c.rule) != want ||
				strings.Contains(f.Sentence, "No other usual rule") == want {
				t.Errorf("%s, %+g: %s: %s", c.rule, off, f.Verdict, f.Sentence)
			}
		}
	}
}

// TestAveragesRecognised: a month of four days with 100, 0, and 60 m³ and one without readings; by hand over days
// measured 160/3, with flow 160/2, over all 160/4 m³ a day. The site goes by days measured.
func TestAveragesRecognised(t *testing.T) {
	for _, c := range []struct {
		perDay float64
		want   Verdict
		says   string
	}{
		{160.0 / 3, Agrees, "an average over days measured of"}, {80, Differs, "an average over days with flow"},
		{40, Differs, "an average over all days, missing ones as zero"},
		{40 * 1.0006, Differs, "No other usual rule"}, {160.0 / 3 * 10, Differs, "ten times too much"},
		{80.0 / 4, Differs, "the corrected settings, over all days"},
	} {
		r := reports(t, "2031-03", fmt.Sprintf("%.9f L/s", c.perDay/86.4))
		day, first := int64(24*time.Hour), r.Days[0]
		r.Site.Report.Average, r.Site.Report.Complete.MostMissing = site.AverageMeasured, -1
		for k, v := range []float64{0, 60} {
			d := recompute.Period{
				Label:  fmt.Sprintf("2031-03-%02d", k+2),
				From:   first.From + int64(k+1)*day,
				Until:  first.Until + int64(k+1)*day,
				Before: volume(v),
			}
			r.Days = append(r.Days, d)
		}
		m := &r.Months[0]
		m.From, m.Until, m.Before = first.From, first.From+4*day, volume(160)
		m.Before.Covered, m.Logged, m.Counted = 3*day, total.Volume{}, total.Volume{}
		if f := reported(r)[0]; f.Verdict != c.want || !strings.Contains(f.Sentence, c.says) {
			t.Errorf("%g m3 a day: %s: %s", c.perDay, f.Verdict, f.Sentence)
		}
	}
}

// TestMissingTimeEdges: half of the day is covered, with 100 m³; 12 h at the highest flow that was shown, 2 L/s, make
// 86.4 m³. So 186.4 m³ may have flowed and 186.5 may not; a reported 99 is less than was measured. Filled with the mean
// the day has 200.
func TestMissingTimeEdges(t *testing.T) {
	for _, c := range []struct {
		text    string
		peak    float64
		covered time.Duration
		want    Verdict
		says    string
	}{
		{"186.3 m3", 0.002, 12 * time.Hour, CannotTell, "The log covers 50.00 % of the month, over which they can be compared; the reported figure leaves 86.3 m3 for the other 12 h, 1.998 L/s, which may have flowed."},
		{"186.4 m3", 0.0020000001, 12 * time.Hour, CannotTell, "which may have flowed"},
		{"186.5 m3", 0.002, 12 * time.Hour, Differs, "leaves 86.5 m3 for the other 12 h, 2.002 L/s, more than the highest flow that was shown."},
		{"99 m3", 0.002, 12 * time.Hour, Differs, "recorded settings give a total of 100.0 m3 (-1.00 %). No other usual rule"},
		{"200 m3", 0.001, 12 * time.Hour, Differs, "It matches a total in which missing time is filled with the mean"},
		// less than an interval is not missing
		{"150 m3", 1, 24*time.Hour - 10*time.Minute - time.Second, CannotTell, "which may have flowed"},
		{"150 m3", 1, 24*time.Hour - 10*time.Minute + time.Second, Differs, "No other usual rule"},
	} {
		r := reports(t, "2031-03", c.text)
		r.Statistics.PeakBefore, r.Months[0].Before.Covered, r.Facts.Interval = c.peak, int64(c.covered), 10*time.Minute
		if f := reported(r)[0]; f.Verdict != c.want || !strings.Contains(f.Sentence, c.says) {
			t.Errorf("%s: %s: %s", c.text, f.Verdict, f.Sentence)
		}
	}
}
