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
