// Package quarrylane makes the demo site: three months of one-minute readings at an invented effluent V-notch, with the
// true flow known. Everything in it is deterministic.
package quarrylane

import (
	"bytes"
	"compress/gzip"
	_ "embed" // the site files
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"time"
)

// The site: where the sensor hangs, and what was entered at commissioning.
const (
	TrueEmptyDistance    = 1.225 // m, sensor face to the vertex
	EnteredEmptyDistance = 1.250 // m, 25 mm too long, until the survey
	maximumHead          = 0.36  // m
	rollover             = 1e6   // m³, the counter's range
)

// Begin and End are the first and last reading; Survey is when the empty distance was put right.
var (
	Begin  = time.Date(2031, 3, 1, 0, 0, 0, 0, time.UTC)
	Survey = time.Date(2031, 4, 2, 10, 30, 0, 0, time.UTC)
	End    = time.Date(2031, 5, 31, 23, 0, 0, 0, time.UTC)
)

// storm is rain water on top of the dry-weather flow.
type storm struct {
	begins time.Time
	peak   float64 // L/s
	rises  float64 // hours to the peak
}

var storms = []storm{
	{time.Date(2031, 3, 9, 14, 0, 0, 0, time.UTC), 28, 2.5},
	{time.Date(2031, 3, 22, 3, 30, 0, 0, time.UTC), 45, 3},
	{time.Date(2031, 4, 8, 19, 0, 0, 0, time.UTC), 18, 4},
	{time.Date(2031, 4, 25, 11, 15, 0, 0, time.UTC), 35, 1.5},
	{time.Date(2031, 5, 3, 6, 0, 0, 0, time.UTC), 22, 3},
	{time.Date(2031, 5, 14, 15, 40, 0, 0, time.UTC), 97.5, 3}, // drowns the notch
	{time.Date(2031, 5, 24, 22, 0, 0, 0, time.UTC), 30, 2},
}

// span is a time in which something goes wrong.
type span struct{ from, until time.Time }

func (s span) holds(t time.Time) bool { return !t.Before(s.from) && t.Before(s.until) }

var (
	gap     = span{time.Date(2031, 3, 20, 1, 10, 0, 0, time.UTC), time.Date(2031, 3, 20, 2, 5, 0, 0, time.UTC)}
	spikes  = span{time.Date(2031, 4, 12, 0, 0, 0, 0, time.UTC), time.Date(2031, 4, 14, 0, 0, 0, 0, time.UTC)}
	noFlow  = span{time.Date(2031, 4, 23, 13, 5, 0, 0, time.UTC), time.Date(2031, 4, 23, 16, 50, 0, 0, time.UTC)}
	stuck   = span{time.Date(2031, 5, 6, 6, 40, 0, 0, time.UTC), time.Date(2031, 5, 6, 7, 41, 0, 0, time.UTC)}
	oneDay  = span{time.Date(2031, 3, 18, 0, 0, 0, 0, time.UTC), time.Date(2031, 3, 19, 0, 1, 0, 0, time.UTC)}
	drowned = 106.8 // L/s, the flow above which the water below the notch stands over its vertex
)

// TrueFlow returns the flow in L/s at an instant.
func TrueFlow(t time.Time) float64 {
	if noFlow.holds(t) {
		return 0
	}
	hour := t.Sub(t.Truncate(24*time.Hour)).Hours() - 9
	flow := 10 * (1 + float64(0.40*math.Sin(2*math.Pi*hour/24)) + float64(0.16*math.Sin(4*math.Pi*(hour-1.5)/24)))
	if d := t.Weekday(); d == time.Saturday || d == time.Sunday {
		flow *= 0.9
	}
	flow *= 1 + float64(0.06*math.Sin(t.Sub(Begin).Hours()/24/11))
	for _, s := range storms {
		if x := t.Sub(s.begins).Hours() / s.rises; x > 0 {
			flow += float64(s.peak * x * x * math.Exp(2*(1-x)))
		}
	}
	return flow
}

// The notch, 90°: Q = (8/15) Ce √(2g) (h + kh)^2.5 (Kindsvater-Shen, ISO 1438:2017 10.5), with Ce and kh by the fits
// that circulate in public code. Written out a second time here, apart from the program's own.
var (
	ce = 0.607165052 - 0.000874466963*90 + 6.10393334e-6*90*90
	kh = 0.3048 * (0.0144902648 - 0.00033955535*90 + 3.29819003e-6*90*90 - 1.06215442e-8*90*90*90)
	k  = 8.0 / 15 * ce * math.Sqrt(2*9.80665) * 1000 // L/s
)

func rating(head float64) float64 {
	if head <= 0 {
		return 0
	}
	return k * math.Pow(head+kh, 2.5)
}

// trueHead is the water above the vertex: that of free flow, and backwater when the notch is drowned.
func trueHead(flow float64) float64 {
	if flow == 0 {
		return -0.008 // the pool has leaked down a little
	}
	head := math.Pow(flow/k, 0.4) - kh
	if flow > drowned {
		head += float64(0.06 * math.Sqrt(flow-drowned))
	}
	return head
}

// Reading is one row of the log.
type Reading struct {
	Time                                 time.Time
	Distance, Temperature, Flow, Counter float64 // m, °C, L/s, m³, rounded as logged
}

// Readings returns the whole log.
func Readings() []Reading {
	random := rand.New(rand.NewPCG(20310301, 7))
	counter := 986400.0
	run, last := 0, 0.0 // consecutive spikes; the last distance
	var out []Reading
	for t := Begin; !t.After(End); t = t.Add(time.Minute) {
		flow := TrueFlow(t)
		noise := 0.0012 * random.NormFloat64()
		if flow == 0 {
			noise /= 3
		}
		distance := TrueEmptyDistance - trueHead(flow) + noise
		wild, where := random.Float64() < 0.04, random.Float64()
		if wild = wild && spikes.holds(t) && run < 2; wild {
			run++
			if distance = 0.40 + float64(0.35*where); where > 0.6 {
				distance = 1.6 + float64(0.8*where)
			}
		} else {
			run = 0
		}
		if distance = math.Round(distance*1000) / 1000; stuck.holds(t) && t != stuck.from {
			distance = last
		}
		last = distance
		shown := math.Round(meter(t, distance)*100) / 100
		counter = math.Mod(counter+meter(t, distance)*60/1000, rollover)
		air := 9 + float64(5*math.Sin(2*math.Pi*(t.Sub(Begin).Hours()-9)/24)) +
			float64(4*math.Sin(t.Sub(Begin).Hours()/24/30)) + float64(0.2*random.NormFloat64())
		if !gap.holds(t) {
			out = append(out, Reading{t, distance, math.Round(air*10) / 10, shown, math.Floor(counter*10) / 10})
		}
	}
	return out
}

// meter is the flow that the meter makes of a distance under the settings it had.
func meter(t time.Time, distance float64) float64 {
	empty := EnteredEmptyDistance
	if !t.Before(Survey) {
		empty = TrueEmptyDistance
	}
	return rating(math.Min(empty-distance, maximumHead))
}

// TrueVolume integrates the true flow over a span, in m³, by the trapezoid over steps of ten seconds.
func TrueVolume(from, until time.Time) float64 {
	const step = 10 * time.Second
	sum := 0.0
	for t := from; t.Before(until); t = t.Add(step) {
		sum += (TrueFlow(t) + TrueFlow(t.Add(step))) / 2 * step.Seconds() / 1000
	}
	return sum
}

// CSV writes the readings of a span as the logger does.
func CSV(readings []Reading, from, until time.Time) []byte {
	var b bytes.Buffer
	b.WriteString("Time,Distance (m),Air temperature (degC),Flow (L/s),Total (m3)\n")
	for _, r := range readings {
		if !r.Time.Before(from) && r.Time.Before(until) {
			fmt.Fprintf(&b, "%s,%.3f,%.1f,%.2f,%.1f\n",
				r.Time.Format("2006-01-02 15:04:05"), r.Distance, r.Temperature, r.Flow, r.Counter)
		}
	}
	return b.Bytes()
}

//go:embed site.toml
var siteFile []byte

//go:embed one-day.toml
var oneDayFile []byte

// Files returns the demo site by file name: the site file, a log of three compressed months, and one day as plain text
// with a site file of its own.
func Files() (map[string][]byte, error) {
	readings := Readings()
	files := map[string][]byte{"site.toml": siteFile, "one-day.toml": oneDayFile,
		"one-day.csv": CSV(readings, oneDay.from, oneDay.until)}
	for month := Begin; month.Before(End); month = month.AddDate(0, 1, 0) {
		packed, err := pack(CSV(readings, month, month.AddDate(0, 1, 0)))
		if err != nil {
			return nil, err
		}
		files[month.Format("2006-01")+".csv.gz"] = packed
	}
	return files, nil
}

func pack(text []byte) ([]byte, error) {
	var b bytes.Buffer
	w, err := gzip.NewWriterLevel(&b, gzip.BestCompression)
	if err != nil {
		return nil, err
	}
	if _, err := w.Write(text); err != nil {
		return nil, err
	}
	if err := w.Close(); err != nil {
		return nil, err
	}
	return b.Bytes(), nil
}

// Write writes the files into a folder, which it makes if need be.
func Write(dir string) error {
	files, err := Files()
	if err != nil {
		return err
	}
	if err := os.MkdirAll(dir, 0o755); err != nil {
		return err
	}
	for name, content := range files {
		if err := os.WriteFile(filepath.Join(dir, name), content, 0o644); err != nil {
			return err
		}
	}
	return nil
}
