package main

import (
	"bufio"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"strconv"
	"time"
)

// interval is the time between readings: of longer logs less, so that none is longer than a record of levels is.
func interval(rows int) time.Duration {
	if rows > 10_000_000 {
		return 6 * time.Second
	}
	return time.Minute
}

// generate writes a log of so many readings: distances to the millimetre, a tide of sewage with storms and noise, a gap
// now and then that is no midnight, the meter's flow and its counter. A lone spike comes now and then, far from gaps,
// where all programs look at the same seven readings.
func generate(name string, rows int) error {
	f, err := os.Create(name)
	if err != nil {
		return err
	}
	defer f.Close()
	out, random := bufio.NewWriterSize(f, 1<<20), rand.New(rand.NewPCG(12, 26))
	out.WriteString("Time,Distance,Flow,Total\n")
	at, storm, total := time.Date(2012, 1, 1, 0, 0, 0, 0, time.UTC), 0.0, 0.0
	since := 0 // rows, the last gap or spike
	step := interval(rows)
	var line []byte
	for range rows {
		minute := at.Hour()*60 + at.Minute()
		since++
		if minute > 10 && minute < 1400 && since > 10 && random.IntN(20000) == 0 {
			since = 0
			at = at.Add(time.Duration(1+random.IntN(30)) * time.Minute)
		}
		if random.IntN(20000) == 0 {
			storm += 0.15 * random.Float64()
		}
		storm *= 0.998
		day := float64(minute) / 1440 * 2 * math.Pi
		head := 0.22 + 0.06*math.Sin(day-2) + 0.02*math.Sin(2*day) + storm + 0.0015*random.NormFloat64()
		if since > 10 && random.IntN(2000) == 0 {
			since = 0
			head += 0.05 + 0.1*random.Float64()
		}
		distance := math.Round((1.5-head)*1000) / 1000
		flow := 1.38 * math.Pow(math.Max(1.5-distance, 0), 2.5)
		total += flow * step.Seconds()
		line = at.AppendFormat(line[:0], "2006-01-02 15:04:05")
		line = append(line, ',')
		line = strconv.AppendFloat(line, distance, 'f', 3, 64)
		line = append(line, ',')
		line = strconv.AppendFloat(line, flow*1000, 'f', 2, 64)
		line = append(line, ',')
		line = strconv.AppendFloat(line, total, 'f', 1, 64)
		out.Write(append(line, '\n'))
		at = at.Add(step)
	}
	return out.Flush()
}

// site is the site file of a log.
func site(log string, spikes bool) string {
	screening := "spike = \"keep\"\nstuck = \"keep\"\n"
	if spikes {
		screening = "spike = { action = \"keep\", threshold = 3, floor = \"3 mm\" }\nstuck = { action = \"keep\" }\n"
	}
	return fmt.Sprintf(`id = "bench"
[log]
files = [%q]
time_zone = "+00:00"
gap_limit = "5 min"
[log.columns]
time = "Time"
distance = { name = "Distance", unit = "m" }
flow = { name = "Flow", unit = "L/s" }
counter = { name = "Total", unit = "m3" }
[settings]
empty_distance = "1.5 m"
[settings.device]
kind = "power"
coefficient = 1.38
exponent = 2.5
head_unit = "m"
flow_unit = "m3/s"
[[correction]]
reason = "survey"
by = "bench"
empty_distance = "1.475 m"
[screening]
%s`, log, screening)
}
