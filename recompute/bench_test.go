package recompute_test

import (
	"bufio"
	"context"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"testing"
	"time"

	"retotal/ingest"
	"retotal/ingest/site"
	"retotal/recompute"
)

// longSite is a site whose log is one CSV file: the recorded empty distance is 25 mm too long throughout.
const longSite = `
id = "long"
[log]
files = ["long.csv"]
time_zone = "+00:00"
[log.columns]
time = "Time"
distance = "Distance"
temperature = "Air temperature"
flow = "Flow"
counter = "Total"
[settings]
empty_distance = "1.250 m"
maximum_head = "0.36 m"
[settings.device]
kind = "v-notch"
angle = "90 deg"
[[correction]]
reason = "survey"
empty_distance = "1.225 m"
[report]
time_zone = "Europe/Dublin"
`

// writeLong writes rows of one-minute readings with five columns, noise, spikes and gaps.
func writeLong(tb testing.TB, dir string, rows int) string {
	tb.Helper()
	f, err := os.Create(filepath.Join(dir, "long.csv"))
	if err != nil {
		tb.Fatal(err)
	}
	w := bufio.NewWriterSize(f, 1<<20)
	w.WriteString("Time,Distance (m),Air temperature (degC),Flow (L/s),Total (m3)\n")
	at := time.Date(2012, 3, 1, 0, 0, 0, 0, time.UTC)
	noise := uint32(1)
	var line []byte
	counter := 1000.0
	for i := range rows {
		noise = noise*1664525 + 1013904223
		distance := 1.085 + 0.03*float64((i/60+i/97)%24)/24 + float64(noise>>24)/255*0.004
		if noise%2048 == 7 {
			distance = 0.6
		}
		counter += 0.7
		line = at.AppendFormat(line[:0], "2006-01-02 15:04:05")
		line = strconv.AppendFloat(append(line, ','), distance, 'f', 3, 64)
		line = strconv.AppendFloat(append(line, ','), 8+float64(i%700)/100, 'f', 1, 64)
		logged := math.Round(distance*1000) / 1000
		flow := 1364.98 * math.Pow(min(1.250-logged, 0.36)+0.000885, 2.5)
		line = strconv.AppendFloat(append(line, ','), flow, 'f', 2, 64)
		line = strconv.AppendFloat(append(line, ','), counter, 'f', 1, 64)
		w.Write(append(line, '\n'))
		at = at.Add(time.Minute)
		if i%100000 == 99999 {
			at = at.Add(time.Hour)
		}
	}
	if err := w.Flush(); err != nil {
		tb.Fatal(err)
	}
	if err := f.Close(); err != nil {
		tb.Fatal(err)
	}
	file := filepath.Join(dir, "long.toml")
	if err := os.WriteFile(file, []byte(longSite), 0o644); err != nil {
		tb.Fatal(err)
	}
	return file
}

// run is the whole way of a site from its file to the result.
func run(tb testing.TB, file string) *recompute.Result { return runHashed(tb, file, false) }

func runHashed(tb testing.TB, file string, hashed bool) *recompute.Result {
	tb.Helper()
	s, err := site.Load(file)
	if err != nil {
		tb.Fatal(err)
	}
	log, err := ingest.Open(s)
	if err != nil {
		tb.Fatal(err)
	}
	log.Hashed = hashed
	result, err := recompute.Run(context.Background(), log, log.Site, recompute.Options{})
	if err != nil {
		tb.Fatal(err)
	}
	return result
}

// BenchmarkCSV takes ten million rows of CSV from the file to the totals: parse, screen, two lanes, the logged flow and
// the counter, totals by day. For the peak memory run it alone with -benchtime 1x under a tool that reports it.
func BenchmarkCSV(b *testing.B) { benchmarkCSV(b, false) }

// BenchmarkCSVHashed is BenchmarkCSV with the SHA-256 of the file, as correct takes it for the record.
func BenchmarkCSVHashed(b *testing.B) { benchmarkCSV(b, true) }

func benchmarkCSV(b *testing.B, hashed bool) {
	const rows = 10_000_000
	file := writeLong(b, b.TempDir(), rows)
	for b.Loop() {
		if r := runHashed(b, file, hashed); r.Readings != rows {
			b.Fatalf("%d rows used", r.Readings)
		}
	}
	b.ReportMetric(rows*float64(b.N)/b.Elapsed().Seconds()/1e6, "Mrows/s")
}

// BenchmarkSixLanes reads the demo's readings, ten times over, with six what-if lanes beside recorded and corrected.
func BenchmarkSixLanes(b *testing.B) {
	const rows = 1_000_000
	dir := b.TempDir()
	writeLong(b, dir, rows)
	text := longSite
	for _, e := range []string{"1.224", "1.226", "1.220", "1.230", "1.227", "1.223"} {
		text += "[[what_if]]\nname = \"" + e + "\"\nempty_distance = \"" + e + " m\"\n"
	}
	file := filepath.Join(dir, "site.toml")
	if err := os.WriteFile(file, []byte(text), 0o644); err != nil {
		b.Fatal(err)
	}
	for b.Loop() {
		if r := run(b, file); r.Readings != rows || len(r.WhatIfs) != 6 {
			b.Fatal(r.Readings)
		}
	}
	b.ReportMetric(rows*float64(b.N)/b.Elapsed().Seconds()/1e6, "Mrows/s")
}
