package main

import (
	"context"
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"retotal/report"
)

// hourlySite writes hourly levels over Q = 0.1 m²/s × h from 1 March 2031 UTC, without some hours, and a site file that
// ends with more. It returns the site file.
func hourlySite(
	t *testing.T, dir, id string, hours int, flow func(i int) float64, missing func(i int) bool, more string,
) string {
	t.Helper()
	var log strings.Builder
	log.WriteString("Time,Level\n")
	first := time.Date(2031, 3, 1, 0, 0, 0, 0, time.UTC)
	for i := range hours {
		if !missing(i) {
			fmt.Fprintf(&log, "%s,%.9f\n",
				first.Add(time.Duration(i)*time.Hour).Format("2006-01-02 15:04"), flow(i)/0.1)
		}
	}
	site := fmt.Sprintf(`id = %q
[log]
files = ["%s.csv"]
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
`, id, id) + more
	for name, text := range map[string]string{id + ".toml": site, id + ".csv": log.String()} {
		if err := os.WriteFile(filepath.Join(dir, name), []byte(text), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	return filepath.Join(dir, id+".toml")
}

// recordInto computes a site and takes in its record.
func recordInto(t *testing.T, site string, record any) {
	t.Helper()
	j, err := prepare(site)
	if err != nil {
		t.Fatal(err)
	}
	result, err := j.withRecord().compute(context.Background(), nil)
	if err != nil {
		t.Fatal(err)
	}
	text, err := json.Marshal(report.NewRecord(result))
	if err != nil {
		t.Fatal(err)
	}
	if err := json.Unmarshal(text, record); err != nil {
		t.Fatal(err)
	}
}

// none is the missing hours of a log that has all.
func none(int) bool { return false }
