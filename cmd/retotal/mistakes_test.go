package main

import (
	"cmp"
	"context"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"
)

// weir is a site of a month whose truth is known: a head with days, storms and noise over Q = c h^p, and a meter that
// logs level or distance, flow and a counter.
type weir struct {
	coefficient, exponent float64
	interval              time.Duration
	days                  int
	distance, dry, flow   bool
	datum                 float64 // m, error of the empty distance on file, which a correction takes out
	counted               float64 // counter over flow
	wrong                 float64 // times the coefficient on file, when not 0
	month                 time.Month
	stamp                 string                            // layout
	heads                 []float64                         // true ones
	logged                func(i int, head float64) float64 // what the sensor makes of a head, m
	unit                  string                            // that the site file says of the level
	header                string                            // what the header adds to the name
	log, site, correction string                            // keys added
}

const emptyDistance = 1.25

// newWeir is a clean one; a seed makes one of many.
func newWeir(seed uint64) *weir {
	random := rand.New(rand.NewPCG(seed, 7))
	w := &weir{
		coefficient: []float64{1.38, 0.8, 0.55}[random.IntN(3)], exponent: 2.5, days: 30,
		interval: []time.Duration{2, 5, 15}[random.IntN(3)] * time.Minute,
		distance: random.IntN(2) == 0, dry: random.IntN(3) == 0, flow: random.IntN(4) > 0,
		counted: 1, month: time.March, stamp: "2006-01-02 15:04:05", unit: "m",
		logged: func(_ int, head float64) float64 { return head },
	}
	if random.IntN(3) == 0 {
		w.coefficient, w.exponent = 1.2+random.Float64(), 1.5
	}
	if random.IntN(2) == 0 {
		w.datum = []float64{-0.025, -0.01, 0.012, 0.03}[random.IntN(4)]
	}
	base, swing, storm := 0.08+0.05*random.Float64(), 0.02+0.02*random.Float64(), 0.0
	if w.dry {
		base, swing = 0.02, 0.06
	}
	perDay := int(24 * time.Hour / w.interval)
	slow, noise := 0.0, 0.0004+0.0006*random.Float64()
	for i := range w.days * perDay {
		if random.IntN(4*perDay) == 0 { // rain, every four days or so
			storm += 0.05 + 0.1*random.Float64()
		}
		storm *= 1 - 1/(6*float64(perDay)/24) // recedes by a sixth part an hour
		slow += 0.05 * (storm - slow) * 60 / float64(perDay/24) / 12
		h := base + slow - swing*math.Cos(2*math.Pi*float64(i%perDay)/float64(perDay)) + noise*random.NormFloat64()
		if w.dry {
			h = max(h, 0)
		}
		w.heads = append(w.heads, h)
	}
	return w
}

// write makes site file and log in a folder of their own.
func (w *weir) write(t testing.TB) string {
	t.Helper()
	dir := t.TempDir()
	var log strings.Builder
	primary := "Level"
	if w.distance {
		primary = "Distance"
	}
	fmt.Fprintf(&log, "Time,%s%s,Flow (L/s),Counter (m3)\n", primary, w.header)
	at, counter := time.Date(2031, w.month, 1, 0, 0, 0, 0, time.UTC), 4711.0
	told := emptyDistance - w.datum // the true one
	before := 0.0
	for i, h := range w.heads {
		head := math.Round(w.logged(i, h)*1000) / 1000
		shown := max(head+w.datum, 0) // what the meter takes for the head
		figure := shown
		if w.distance {
			figure = told - head
		}
		q := w.coefficient * math.Pow(shown, w.exponent)
		if i > 0 {
			counter += (q + before) / 2 * w.interval.Seconds() * w.counted
		}
		before = q
		fmt.Fprintf(&log, "%s,%.3f,%.3f,%.1f\n", at.Format(w.stamp), figure, q*1000, counter)
		at = at.Add(w.interval)
	}
	column, setting := "level = { name = \"Level\", unit = \""+w.unit+"\" }\n", ""
	if w.distance {
		column, setting = "distance = { name = \"Distance\", unit = \"m\" }\n", "empty_distance = \"1.250 m\"\n"
	}
	if w.flow {
		column += "flow = \"Flow\"\ncounter = \"Counter\"\n"
	}
	correction := w.correction
	if correction == "" && w.datum != 0 && w.distance {
		correction = fmt.Sprintf("[[correction]]\nreason = \"survey\"\nempty_distance = \"%.3f m\"\n", told)
	}
	site := "id = \"w\"\n[log]\nfiles = [\"log.csv\"]\ntime_zone = \"+00:00\"\n" + w.log +
		"[log.columns]\ntime = \"Time\"\n" + column + "[settings]\n" + setting + w.site +
		fmt.Sprintf("[settings.device]\nkind = \"power\"\ncoefficient = %g\nexponent = %g\n"+
			"head_unit = \"m\"\nflow_unit = \"m3/s\"\n", w.coefficient*cmp.Or(w.wrong, 1), w.exponent) + correction
	for name, text := range map[string]string{"log.csv": log.String(), "site.toml": site} {
		if err := os.WriteFile(filepath.Join(dir, name), []byte(text), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	return filepath.Join(dir, "site.toml")
}

// needs runs a site and returns why a person has to look.
func needs(t testing.TB, file string) []string {
	t.Helper()
	j, err := prepare(file)
	if err != nil {
		return []string{"error: " + err.Error()}
	}
	r, err := j.compute(context.Background(), nil)
	if err != nil {
		return []string{"error: " + err.Error()}
	}
	return r.NeedsPerson()
}

// TestCleanSites: at most 2 of 100 clean sites have a warning, all kinds together.
func TestCleanSites(t *testing.T) {
	warned := 0
	for seed := range uint64(100) {
		w := newWeir(seed)
		if list := needs(t, w.write(t)); len(list) > 0 {
			warned++
			t.Logf("site %d (distance %v, dry %v, flow %v, datum %g, every %v): %q",
				seed, w.distance, w.dry, w.flow, w.datum, w.interval, list)
		}
	}
	if warned > 2 {
		t.Errorf("%d of 100 clean sites have a warning", warned)
	}
}

// TestMistakes: what a hurried user gets wrong gives a total, and says that a person has to look.
func TestMistakes(t *testing.T) {
	level := func(w *weir) { w.distance, w.datum, w.flow = false, 0, false }
	between := func(w *weir, from, until, head float64) { // dead for a part of the month
		w.datum = 0
		w.logged = func(i int, h float64) float64 {
			if part := float64(i) / float64(len(w.heads)); part > from && part < until {
				return head
			}
			return h
		}
	}
	const maximum = "maximum_head = \"0.5 m\"\n"
	empty := func(w *weir, distance string) {
		w.distance, w.datum = true, 0
		w.correction = "[[correction]]\nreason = \"x\"\nempty_distance = \"" + distance + "\"\n"
	}
	for _, c := range []struct {
		name string
		make func(w *weir)
		want string
	}{
		{"wrong device, and the log has the meter's flow", func(w *weir) { w.flow, w.datum, w.wrong = true, 0, 0.577 },
			"logged flow and recorded settings: differs, what differs is worth"},
		{"millimetres called metres", func(w *weir) {
			level(w)
			w.logged = func(_ int, h float64) float64 { return 1000 * h }
		}, "the level gives a median head of"},
		{"millimetres called metres, with a maximum head", func(w *weir) {
			level(w)
			w.site, w.logged = maximum, func(_ int, h float64) float64 { return 1000 * h }
		}, "the level gives heads above the highest that is expected, 0.5 m"},
		{"metres called millimetres", func(w *weir) { level(w); w.unit = "mm" }, "the level gives no head above"},
		{"metres called centimetres", func(w *weir) { level(w); w.unit, w.site = "cm", maximum },
			"the level gives no head above"},
		{"metres called feet, against the header", func(w *weir) { level(w); w.unit, w.header = "ft", " (m)" },
			`column "Level" is read in ft, as log.columns.level says, and its header says m`},
		{"millimetres for a tenth of the month", func(w *weir) {
			level(w)
			w.site = maximum
			w.logged = func(i int, h float64) float64 {
				if 10*i > 9*len(w.heads) {
					return 1000 * h
				}
				return h
			}
		}, "the level gives heads that no such device has in 10 % of the readings"},
		{"metres called feet, and the log has the meter's flow", func(w *weir) { level(w); w.unit, w.flow = "ft", true },
			"logged flow and recorded settings: differs"},
		{"a sensor dead at zero for three days", func(w *weir) { between(w, 0.4, 0.5, 0) },
			"the level stands at a head of 0.000 m from 2031-03-13"},
		{"dead at zero to the end", func(w *weir) { between(w, 0.4, 1, 0) },
			"the level stands at a head of 0.000 m from 2031-03-13"},
		{"dead at full scale", func(w *weir) { between(w, 0.4, 0.5, 0.5) },
			"the level stands at a head of 0.500 m from 2031-03-13"},
		{"day and month swapped", func(w *weir) {
			w.heads, w.stamp = w.heads[:len(w.heads)*12/30], "02/01/2006 15:04"
			w.log = "date_order = \"month-first\"\n"
		}, "the dates have readings on 12 days, hardly one of which follows another"},
		{"a correction equal to the setting", func(w *weir) { empty(w, "1.250 m") }, "changes nothing"},
		{"a datum correction that lifts a dry night", func(w *weir) {
			empty(w, "1.275 m")
			for i := range w.heads {
				w.heads[i] = max(0, w.heads[i]-0.08)
			}
		}, "moves the night minimum away from zero flow"},
		{"a counter that runs a tenth too fast", func(w *weir) { w.flow, w.counted = true, 1.1 },
			"counter and integrated flow: differs, by +10"},
	} {
		for _, seed := range []uint64{0, 1, 5} { // channels that never run dry
			w := newWeir(seed)
			c.make(w)
			if list := needs(t, w.write(t)); !strings.Contains(strings.Join(list, "\n"), c.want) {
				t.Errorf("%s, site %d: %q, want %q", c.name, seed, list, c.want)
			}
		}
	}
}
