package main

import (
	"fmt"
	"math"
	"strings"
	"testing"
)

// hourlyFlow rises over the weeks, so that every bound of the month gives another total.
func hourlyFlow(i int) float64 { return 0.010 + 0.00004*float64(i) + 0.004*math.Sin(float64(i)/4) }

// hourlyVolume is the trapezoid sum from hour a to hour b.
func hourlyVolume(a, b int) (v float64) {
	for i := a; i < b; i++ {
		v += (hourlyFlow(i) + hourlyFlow(i+1)) / 2 * 3600
	}
	return v
}

// findings runs correct and returns the sentences of its findings.
func findings(t *testing.T, site string) (text string) {
	t.Helper()
	var record struct {
		Findings []struct{ Sentence string } `json:"findings"`
	}
	recordInto(t, site, &record)
	for _, f := range record.Findings {
		text += f.Sentence + "\n"
	}
	return text
}

// TestReportedByAnotherRule: figures of March that somebody reckoned by another rule are recognised, and the rule is
// named. Volumes are summed by hand.
func TestReportedByAnotherRule(t *testing.T) {
	if testing.Short() {
		t.Skip("the plain run does it")
	}
	march := 31 * 24
	for _, c := range []struct {
		name, reported, says string
		missing              func(int) bool
	}{
		{"as stated", fmt.Sprintf("%.3f m3", hourlyVolume(0, march)), "(+0.00 %).\n", none},
		{"days from 09:00 UTC", fmt.Sprintf("%.3f m3", hourlyVolume(9, march+9)), "It matches days from 09:00 in UTC.", none},
		{"days from midnight in New York", fmt.Sprintf("%.3f m3", hourlyVolume(0, march)*1.05), "No other usual rule gives it.", none},
		{"imperial written as US gallons", fmt.Sprintf("%.3f US gal", hourlyVolume(0, march)/4.54609e-3), "It matches imperial gallons written as US gallons.", none},
		{"ten times", fmt.Sprintf("%.3f m3", hourlyVolume(0, march)*10), "It matches ten times too much.", none},
		{
			"filled with the mean",
			fmt.Sprintf("%.3f m3", (hourlyVolume(0, 239)+hourlyVolume(340, march))*float64(march)/float64(march-101)),
			"It matches a total in which missing time is filled with the mean",
			func(i int) bool { return i > 239 && i < 340 },
		},
		{
			"whole, of a log that lacks time", fmt.Sprintf("%.3f m3", hourlyVolume(0, march)),
			"over which they can be compared; the reported figure leaves",
			func(i int) bool { return i > 239 && i < 340 },
		},
		{
			"more than can have flowed in the time that the log lacks",
			fmt.Sprintf("%.3f m3", 3*hourlyVolume(0, march)), "more than the highest flow that was shown",
			func(i int) bool { return i > 239 && i < 340 },
		},
		{"average over days with a total", fmt.Sprintf("%.6f m3/d", hourlyVolume(0, march)/31), "an average over days measured of", none},
	} {
		got := findings(t, hourlySite(t, t.TempDir(), "reported", 60*24+1, hourlyFlow, c.missing,
			fmt.Sprintf("[report]\ntime_zone = \"+00:00\"\n[reported]\n\"2031-03\" = %q\n", c.reported)))
		if !strings.Contains(got, c.says) {
			t.Errorf("%s: reported %s: %s", c.name, c.reported, got)
		}
	}
}

// TestReportedDays: two days that somebody reckoned by another rule are recognised, and the rule that gives both is
// named; figures of time that the log does not reach are told. Volumes are summed by hand.
func TestReportedDays(t *testing.T) {
	if testing.Short() {
		t.Skip("the plain run does it")
	}
	flow := func(i int) float64 { return 0.01 + 0.0003*float64(i%83) } // no two days are alike
	day := func(d, from int) (m3 float64) {
		for i := 24*(d-1) + from; i < 24*d+from; i++ {
			m3 += (flow(i) + flow(i+1)) / 2 * 3600
		}
		return m3
	}
	for _, c := range []struct{ name, third, fourth, says string }{
		{"as stated", fmt.Sprintf("%.3f m3", day(3, 0)), fmt.Sprintf("%.3f m3", day(4, 0)), "Of 2 reported days 2 agree"},
		{"from 09:00", fmt.Sprintf("%.3f m3", day(3, 9)), fmt.Sprintf("%.3f m3", day(4, 9)), "They match days from 09:00 in UTC."},
		{"ten times, once", fmt.Sprintf("%.3f m3", 10*day(3, 0)), fmt.Sprintf("%.3f m3", day(4, 0)), "It matches ten times too much."},
		{"two rules", fmt.Sprintf("%.3f m3", 10*day(3, 0)), fmt.Sprintf("%.3f m3", day(4, 9)), "No other usual rule gives them all."},
		{"average flow", fmt.Sprintf("%.9f m3/s", day(3, 0)/86400), fmt.Sprintf("%.9f m3/s", day(4, 6)/86400), "It matches days from 06:00 in UTC."},
	} {
		got := findings(t, hourlySite(t, t.TempDir(), "reported", 60*24+1, flow, none, fmt.Sprintf(
			"[report]\ntime_zone = \"+00:00\"\n[reported]\n\"2031-03-03\" = %q\n\"2031-03-04\" = %q\n"+
				"\"2032-03-05\" = \"1 m3\"\n",
			c.third,
			c.fourth,
		)))
		if !strings.Contains(got, c.says) ||
			!strings.Contains(got, "no readings of what was reported for 2032-03-05:") {
			t.Errorf("%s: %s", c.name, got)
		}
	}
}
