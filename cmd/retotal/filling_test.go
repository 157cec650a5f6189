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

// TestFillingByTimeOfDay: three days of hourly readings, of which the second lacks 10:00 to 14:00. The hours from 09:00 on are filled with the means of the
// days on either side: worked out by hand from Q = 0.1 m²/s × h.
func TestFillingByTimeOfDay(t *testing.T) {
	dir := t.TempDir()
	flow := func(i int) float64 { return 0.01 + 0.001*float64(i%24) + 0.002*float64(i/24) }
	var log strings.Builder
	log.WriteString("Time,Level\n")
	start := time.Date(2031, 3, 1, 0, 0, 0, 0, time.UTC)
	for i := range 72 {
		if i < 24+10 || i > 24+14 {
			fmt.Fprintf(&log, "%s,%.6f\n", start.Add(time.Duration(i)*time.Hour).Format("2006-01-02 15:04"), flow(i)/0.1)
		}
	}
	site := `id = "fill"
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
[filling]
rule = "same-time"
limit = "8 h"
days = 1
`
	for name, text := range map[string]string{"site.toml": site, "log.csv": log.String()} {
		if err := os.WriteFile(filepath.Join(dir, name), []byte(text), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	var out, errs bytes.Buffer
	if code := run(context.Background(), []string{"correct", "--json", "--out", filepath.Join(dir, "out"), filepath.Join(dir, "site.toml")}, &out, &errs); code != 0 {
		t.Fatal(code, errs.String())
	}
	var record struct {
		Total struct {
			Filled float64 `json:"filled_m3"`
		} `json:"total"`
	}
	if err := json.Unmarshal(out.Bytes(), &record); err != nil {
		t.Fatal(err)
	}
	want := 0.0
	for hour := 9; hour < 15; hour++ {
		want += (flow(hour) + flow(48+hour)) / 2 * 3600
	}
	if math.Abs(record.Total.Filled-want) > 0.001 {
		t.Errorf("filled %.3f m3, want %.3f", record.Total.Filled, want)
	}
}

// TestFillingFromDonor: the donor's flow is known and this site's is 1.5 times it and 2 L/s more, so a line through both fills a gap exactly, and ranks
// nearly so.
func TestFillingFromDonor(t *testing.T) {
	start := time.Date(2031, 3, 1, 0, 0, 0, 0, time.UTC)
	theirs := func(i int) float64 { return 0.01 + 0.004*math.Sin(float64(i)/5) + 0.001*math.Cos(float64(i)/17) }
	own := func(i int) float64 { return 0.002 + 1.5*theirs(i) }
	log := func(flow func(int) float64, gap bool) string {
		var b strings.Builder
		b.WriteString("Time,Level\n")
		for i := range 200 {
			if !gap || i < 110 || i > 114 {
				fmt.Fprintf(&b, "%s,%.7f\n", start.Add(time.Duration(i)*time.Hour).Format("2006-01-02 15:04"), flow(i)/0.1)
			}
		}
		return b.String()
	}
	want := 0.0
	for hour := 109; hour < 115; hour++ {
		want += own(hour) * 3600
	}
	for rule, within := range map[string]float64{"donor-regression": 0.002, "donor-percentiles": 1} {
		dir := t.TempDir()
		text := func(id, log, more string) string {
			return fmt.Sprintf("id = %q\n[log]\nfiles = [%q]\ntime_zone = \"+00:00\"\n[log.columns]\ntime = \"Time\"\nlevel = { name = \"Level\", unit = \"m\" }\n[settings.device]\nkind = \"power\"\ncoefficient = 0.1\nexponent = 1\nhead_unit = \"m\"\nflow_unit = \"m3/s\"\n[screening]\nspike = \"keep\"\nstuck = \"keep\"\n", id, log) + more
		}
		for name, content := range map[string]string{"own.csv": log(own, true), "theirs.csv": log(theirs, false), "theirs.toml": text("theirs", "theirs.csv", ""),
			"own.toml": text("own", "own.csv", fmt.Sprintf("[filling]\nrule = %q\nlimit = \"8 h\"\ndonor = \"theirs.toml\"\n", rule))} {
			if err := os.WriteFile(filepath.Join(dir, name), []byte(content), 0o644); err != nil {
				t.Fatal(err)
			}
		}
		var out, errs bytes.Buffer
		if code := run(context.Background(), []string{"correct", "--json", "--out", filepath.Join(dir, "out"), filepath.Join(dir, "own.toml")}, &out, &errs); code != 0 {
			t.Fatal(code, errs.String())
		}
		var record struct {
			Total struct {
				Filled float64 `json:"filled_m3"`
			} `json:"total"`
			Donor struct {
				Hours       int     `json:"hours"`
				Correlation float64 `json:"correlation"`
			} `json:"filled_from_donor"`
		}
		if err := json.Unmarshal(out.Bytes(), &record); err != nil {
			t.Fatal(err)
		}
		if math.Abs(record.Total.Filled-want) > within || record.Donor.Hours != 195 || record.Donor.Correlation < 0.999 {
			t.Errorf("%s: filled %.3f m3 (%+v), want %.3f", rule, record.Total.Filled, record.Donor, want)
		}
	}
}
