package main

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"
)

// reportedSite writes 60 days of hourly levels over Q = 0.1 m²/s × h from 1 March 2031 UTC, without some hours, and a site file with what was reported of March.
func reportedSite(t *testing.T, missing func(i int) bool, more string) string {
	t.Helper()
	dir := t.TempDir()
	var log strings.Builder
	log.WriteString("Time,Level\n")
	for i := range 60*24 + 1 {
		if !missing(i) {
			fmt.Fprintf(&log, "%s,%.9f\n", hour(i).Format("2006-01-02 15:04"), hourlyFlow(i)/0.1)
		}
	}
	site := `id = "reported"
[log]
files = ["log.csv"]
time_zone = "+00:00"
[log.columns]
time = "Time"
level = { name = "Level", unit = "m" }
[settings.device]
kind = "power"
coefficient = 0.1
exponent = 1
head_unit = "m"
flow_unit = "m3/s"
[screening]
spike = "keep"
stuck = "keep"
` + more
	for name, text := range map[string]string{"site.toml": site, "log.csv": log.String()} {
		if err := os.WriteFile(filepath.Join(dir, name), []byte(text), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	return filepath.Join(dir, "site.toml")
}

func hour(i int) time.Time {
	return time.Date(2031, 3, 1, 0, 0, 0, 0, time.UTC).Add(time.Duration(i) * time.Hour)
}

// hourlyFlow rises over the weeks, so that every bound of the month gives another total.
func hourlyFlow(i int) float64 { return 0.010 + 0.00004*float64(i) + 0.004*math.Sin(float64(i)/4) }

// volume is the trapezoid sum from hour a to hour b.
func hourlyVolume(a, b int) (v float64) {
	for i := a; i < b; i++ {
		v += (hourlyFlow(i) + hourlyFlow(i+1)) / 2 * 3600
	}
	return v
}

// findings runs correct and returns the sentences of its findings.
func findings(t *testing.T, site string) string {
	t.Helper()
	var out, errs bytes.Buffer
	if code := run(context.Background(), []string{"correct", "--json", "--out", filepath.Join(t.TempDir(), "out"), site}, &out, &errs); code != 0 {
		t.Fatal(code, errs.String())
	}
	var record struct {
		Findings []struct{ Sentence string } `json:"findings"`
	}
	if err := json.Unmarshal(out.Bytes(), &record); err != nil {
		t.Fatal(err)
	}
	text := ""
	for _, f := range record.Findings {
		text += f.Sentence + "\n"
	}
	return text
}

// TestReportedByAnotherRule: figures of March that somebody reckoned by another rule are recognised, and the rule is named. Volumes are summed by hand.
func TestReportedByAnotherRule(t *testing.T) {
	whole := func(int) bool { return false }
	march := 31 * 24
	for _, c := range []struct {
		name, reported, says string
		missing              func(int) bool
	}{
		{"as stated", fmt.Sprintf("%.3f m3", hourlyVolume(0, march)), "(+0.00 %).\n", whole},
		{"days from 09:00 UTC", fmt.Sprintf("%.3f m3", hourlyVolume(9, march+9)), "It matches days from 09:00 in UTC.", whole},
		{"days from midnight in New York", fmt.Sprintf("%.3f m3", hourlyVolume(0, march)*1.05), "No other usual rule gives it.", whole},
		{"imperial written as US gallons", fmt.Sprintf("%.3f US gal", hourlyVolume(0, march)/4.54609e-3), "It matches imperial gallons written as US gallons.", whole},
		{"ten times", fmt.Sprintf("%.3f m3", hourlyVolume(0, march)*10), "It matches ten times too much.", whole},
		{"filled with the mean", fmt.Sprintf("%.3f m3", (hourlyVolume(0, 239)+hourlyVolume(340, march))*float64(march)/float64(march-101)), "It matches a total in which missing time is filled with the mean",
			func(i int) bool { return i > 239 && i < 340 }},
		{"average over days with a total", fmt.Sprintf("%.6f m3/d", hourlyVolume(0, march)/31), "an average over days measured of", whole},
	} {
		got := findings(t, reportedSite(t, c.missing, fmt.Sprintf("[report]\ntime_zone = \"+00:00\"\n[reported]\n\"2031-03\" = %q\n", c.reported)))
		if !strings.Contains(got, c.says) {
			t.Errorf("%s: reported %s: %s", c.name, c.reported, got)
		}
	}
}
