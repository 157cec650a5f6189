package main

import (
	"fmt"
	"math"
	"testing"
)

// TestFillingByTimeOfDay: three days of hourly readings, of which the second lacks 10:00 to 14:00. The hours from 09:00
// on are filled with the means of the days on either side: worked out by hand from Q = 0.1 m²/s × h.
func TestFillingByTimeOfDay(t *testing.T) {
	flow := func(i int) float64 { return 0.01 + 0.001*float64(i%24) + 0.002*float64(i/24) }
	missing := func(i int) bool { return i >= 24+10 && i <= 24+14 }
	file := hourlySite(t, t.TempDir(), "fill", 72, flow, missing,
		"[filling]\nrule = \"same-time\"\nlimit = \"8 h\"\ndays = 1\n")
	var record struct {
		Total struct {
			Filled float64 `json:"filled_m3"`
		} `json:"total"`
	}
	recordInto(t, file, &record)
	want := 0.0
	for hour := 9; hour < 15; hour++ {
		want += (flow(hour) + flow(48+hour)) / 2 * 3600
	}
	if math.Abs(record.Total.Filled-want) > 0.001 {
		t.Errorf("filled %.3f m3, want %.3f", record.Total.Filled, want)
	}
}

// TestFillingFromDonor: the donor's flow is known and this site's is 1.5 times it and 2 L/s more, so a line through
// both fills a gap exactly, and ranks nearly so.
func TestFillingFromDonor(t *testing.T) {
	theirs := func(i int) float64 { return 0.01 + 0.004*math.Sin(float64(i)/5) + 0.001*math.Cos(float64(i)/17) }
	own := func(i int) float64 { return 0.002 + 1.5*theirs(i) }
	missing := func(i int) bool { return i >= 110 && i <= 114 }
	want := 0.0
	for hour := 109; hour < 115; hour++ {
		want += own(hour) * 3600
	}
	for rule, within := range map[string]float64{"donor-regression": 0.002, "donor-percentiles": 1} {
		dir := t.TempDir()
		hourlySite(t, dir, "theirs", 200, theirs, none, "")
		file := hourlySite(t, dir, "own", 200, own, missing,
			fmt.Sprintf("[filling]\nrule = %q\nlimit = \"8 h\"\ndonor = \"theirs.toml\"\n", rule))
		var record struct {
			Total struct {
				Filled float64 `json:"filled_m3"`
			} `json:"total"`
			Donor struct {
				Hours       int     `json:"hours"`
				Correlation float64 `json:"correlation"`
			} `json:"filled_from_donor"`
			Inputs []struct{ File, SHA256 string } `json:"inputs"`
		}
		recordInto(t, file, &record)
		if n := len(record.Inputs); n != 3 || record.Inputs[1].File != "theirs.toml" ||
			record.Inputs[2].File != "theirs.csv" || len(record.Inputs[2].SHA256) != 64 {
			t.Errorf("%s: inputs %+v", rule, record.Inputs)
		}
		if math.Abs(record.Total.Filled-want) > within ||
			record.Donor.Hours != 195 || record.Donor.Correlation < 0.999 {
			t.Errorf("%s: filled %.3f m3 (%+v), want %.3f", rule, record.Total.Filled, record.Donor, want)
		}
	}
}
