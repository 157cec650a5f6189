package main

import (
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"
)

// stretches writes a log of hourly levels over Q = 0.1 m²/s × h from 1 March 2031 UTC: of each day of the text, f has a
// flow of 1 m³ a day, d none, and m no readings. A step of flow takes one second of a day with flow. It returns the
// site file, which ends with more.
func stretches(t *testing.T, days, more string) string {
	t.Helper()
	var log strings.Builder
	log.WriteString("Time,Level\n")
	row := func(at time.Time, day byte) {
		level := 0.0
		if day == 'f' {
			level = 1.0 / 86400 / 0.1
		}
		fmt.Fprintf(&log, "%s,%.12f\n", at.Format("2006-01-02 15:04:05"), level)
	}
	days = "m" + days + "m"
	for i := 1; i < len(days); i++ {
		at, before, now := time.Date(2031, 3, i, 0, 0, 0, 0, time.UTC), days[i-1], days[i]
		switch {
		case before == 'm' && now == 'm':
			continue
		case now == 'm':
			row(at, before)
			continue
		case before == 'f' && now == 'd':
			row(at.Add(-time.Second), 'f')
			row(at, 'd')
		case before == 'd' && now == 'f':
			row(at, 'd')
			row(at.Add(time.Second), 'f')
		default:
			row(at, now)
		}
		for hour := 1; hour < 24; hour++ {
			row(at.Add(time.Duration(hour)*time.Hour), now)
		}
	}
	dir := t.TempDir()
	file := hourlySite(t, dir, "averages", 0, hourlyFlow, none, more)
	if err := os.WriteFile(filepath.Join(dir, "averages.csv"), []byte(log.String()), 0o644); err != nil {
		t.Fatal(err)
	}
	return file
}

// TestAveragesWhereverTheGapLies: AVG-1 to AVG-3 of the reference. April has 20 days with flow at 1 m³, 6 of none and 4
// without readings: 20/26 = 0.769, 20/20 = 1.000, 20/30 = 0.667 by the three published rules, and 4 days are missing,
// whether the gap lies within the log or the log begins after it or ends before it.
func TestAveragesWhereverTheGapLies(t *testing.T) {
	if testing.Short() {
		t.Skip("the plain run does it")
	}
	march, may := strings.Repeat("f", 31), strings.Repeat("f", 31)
	f := func(n int) string { return strings.Repeat("f", n) }
	d := func(n int) string { return strings.Repeat("d", n) }
	gap := "mmmm"
	noMarch := strings.Repeat("m", 31)
	for name, days := range map[string]string{
		"within":                        march + f(9) + gap + d(6) + f(11) + may,
		"at the beginning of the month": march + gap + f(20) + d(6) + may,
		"at the end of the month":       march + d(6) + f(20) + gap + may,
		"before the log":                noMarch + gap + f(10) + d(6) + f(10) + may,
		"after the log":                 march + f(10) + d(6) + f(10) + gap,
		"before and after":              noMarch + "mm" + d(3) + f(20) + d(3) + "mm",
	} {
		for most, withheld := range map[int]bool{4: false, 3: true} {
			var record struct {
				Averages []struct {
					Month    string
					Days     int
					Measured int      `json:"days_measured"`
					With     int      `json:"days_with_flow"`
					Withheld bool     `json:"withheld"`
					M        *float64 `json:"over_days_measured_m3"`
					F        *float64 `json:"over_days_with_flow_m3"`
					A        *float64 `json:"over_all_days_m3"`
				} `json:"average_daily_volume"`
				Total struct {
					Coverage float64 `json:"covered_percent"`
				}
			}
			recordInto(t, stretches(t, days, fmt.Sprintf("[report]\nmost_missing_days = %d\n", most)), &record)
			for _, a := range record.Averages {
				if a.Month != "2031-04" {
					continue
				}
				if a.Days != 30 || a.Measured != 26 || a.With != 20 ||
					a.Withheld != withheld || *a.M != 0.769 || *a.F != 1 || *a.A != 0.667 {
					t.Errorf("%s: %+v: %g, %g, %g", name, a, *a.M, *a.F, *a.A)
				}
			}
			if strings.Contains(name, "the log") && record.Total.Coverage != 100 {
				t.Errorf("%s: the log covers %g %% of its own time", name, record.Total.Coverage)
			}
		}
	}
}

// TestPartOfADay: a log that ends at 06:00 of its last day has a quarter of a day, which is not the least; a month
// without readings shows a dash. The least day is one with 1 m³.
func TestPartOfADay(t *testing.T) {
	file := stretches(t, "ff"+strings.Repeat("m", 29)+strings.Repeat("m", 30)+"ff", "")
	log := filepath.Join(filepath.Dir(file), "averages.csv")
	text, err := os.ReadFile(log)
	if err != nil {
		t.Fatal(err)
	}
	end := strings.Index(string(text), "2031-05-02 07:00:00")
	if err := os.WriteFile(log, text[:end], 0o644); err != nil {
		t.Fatal(err)
	}
	out := summary(t, file)
	april := "\n  2031-04                   -                    -              -    30         0          0\n"
	for _, want := range []string{"Whole days: least 1.0 m3 (", april} {
		if !strings.Contains(out, want) {
			t.Errorf("%q is missing:\n%s", want, out)
		}
	}
}

// summary runs correct and returns what it prints.
func summary(t *testing.T, file string) string {
	t.Helper()
	var out, errs strings.Builder
	if code := run(t.Context(), []string{"correct", "--out", t.TempDir(), file}, &out, &errs); code != 0 {
		t.Fatal(code, errs.String())
	}
	return out.String()
}
