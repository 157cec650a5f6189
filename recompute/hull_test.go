package recompute_test

import (
	"context"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"retotal/ingest"
	"retotal/ingest/site"
	"retotal/recompute"
	"retotal/testdata/effort"
)

// meter is a site whose means are worked out here: what it logs at a true head, and what truly flows.
type meter struct {
	name     string
	column   string // "flow", "level" or "distance"
	settings string
	change   string                  // the correction
	figure   func(h float64) float64 // of the meter at a head of its own
	flow     func(h float64) float64 // true flow at that head
	top      float64                 // of its own heads, m
	bottom   float64                 // the lowest of its own heads, m
	hidden   float64                 // true flow that it may show as zero
	bends    []float64               // of its own heads, where its curve bends
	// air is logged beside it, degC; bounds then hold for all temperatures nearby, and are wider.
	air float64
}

// pipe is Manning's formula for a circular pipe of 0.6 m, n 0.013, slope 0.002 (Chow 1959, eq. 5-6 and table 2-1).
func pipe(h float64) float64 {
	if h <= 0 {
		return 0
	}
	angle := 2 * math.Acos(1-2*h/0.6)
	area, wetted := 0.36/8*(angle-math.Sin(angle)), 0.3*angle
	return area * math.Pow(area/wetted, 2.0/3) * math.Sqrt(0.002) / 0.013
}

// stairs is a rating table of a reach that bends at each of its points.
func stairs(h float64) float64 {
	heads, flows := []float64{0, 0.1, 0.101, 0.3, 1, 2.6}, []float64{0, 0.01, 0.02, 0.09, 0.5, 3}
	for i := 1; i < len(heads); i++ {
		if h < heads[i] {
			return math.Max(0, flows[i-1]+(flows[i]-flows[i-1])*(h-heads[i-1])/(heads[i]-heads[i-1]))
		}
	}
	return 3
}

const stairsTable = `kind = "table"
interpolation = "linear"
points = [
  ["0 m", "0 m3/s"], ["0.1 m", "0.01 m3/s"], ["0.101 m", "0.02 m3/s"],
  ["0.3 m", "0.09 m3/s"], ["1 m", "0.5 m3/s"], ["2.6 m", "3 m3/s"],
]
`

const pipe06 = "kind = \"manning\"\nsection = \"circular\"\ndiameter = \"0.6 m\"\nroughness = 0.013\nslope = 0.002\n"

func meters() []meter {
	v90 := func(h float64) float64 { return notch(h, 90) }
	top := "maximum_head = \"2.2 m\"\n"
	datum := func(from, to float64) (string, string) {
		keys := fmt.Sprintf("empty_distance = \"%g m\"\n%s", from, top)
		return keys, correction(fmt.Sprintf("empty_distance = \"%g m\"\n", to))
	}
	high, low := func() (string, string) { return datum(3.02, 3) }, func() (string, string) { return datum(3, 3.02) }
	raised := func(flow func(float64) float64, by float64) func(float64) float64 {
		return func(h float64) float64 { return flow(h + by) }
	}
	var list []meter
	add := func(
		name, column string,
		set func() (string, string),
		device string,
		figure, flow func(float64) float64,
		shift float64,
	) {
		keys, change := set()
		m := meter{
			name:     name,
			column:   column,
			settings: settings(keys, device),
			change:   change,
			figure:   figure,
			flow:     flow,
			top:      2.2,
		}
		if column != "flow" {
			m.bottom = math.Min(0, shift)
		} else {
			m.hidden = flow(0)
		}
		list = append(list, m)
	}
	same := func(h float64) float64 { return h }
	add("notch, 20 mm too high, flows", "flow", high, notch90, v90, raised(v90, -0.02), 0.02)
	add("notch, 20 mm too low, flows", "flow", low, notch90, v90, raised(v90, 0.02), -0.02)
	add("crest, 20 mm too low, flows", "flow", low, crest05, crest, raised(crest, 0.02), -0.02)
	add("notch, 20 mm too low, levels", "level", low, notch90, same, raised(v90, 0.02), -0.02)
	add("crest, 20 mm too high, distances", "distance", high, crest05,
		func(h float64) float64 { return 3.02 - h }, raised(crest, -0.02), 0.02)
	add("table, 20 mm too high, flows", "flow", high, stairsTable, stairs, raised(stairs, -0.02), 0.02)
	add("table, levels alone", "level", func() (string, string) {
		return top, correction("level_of_zero_flow = \"0 m\"\n")
	}, stairsTable, same, stairs, 0)
	add("crest taken for a notch, flows", "flow", func() (string, string) {
		return top, correction(device(notch90))
	}, crest05, crest, v90, 0)
	add("notch taken for a crest, factor 1.2, flows", "flow", func() (string, string) {
		return top, correction("logged_factor = 1.25\n" + device(crest05))
	}, notch90, func(h float64) float64 { return v90(h) * 0.8 }, func(h float64) float64 { return crest(h) }, 0)
	add("head factor 1.1, flows", "flow", func() (string, string) {
		change := correction("head_factor = 1\nlevel_of_zero_flow = \"7 mm\"\n")
		return "head_factor = 1.1\nmaximum_head = \"2.2 m\"\n", change
	}, crest05, crest, func(h float64) float64 { return crest(h/1.1 - 0.007) }, 0.0077)
	add("by head, levels", "level", func() (string, string) {
		return top, correction("head_shift = [[\"0.05 m\", \"2 mm\"], [\"0.30 m\", \"8 mm\"]]\n")
	}, notch90, same, func(h float64) float64 { return v90(h + shift(h)) }, -0.002)
	list[5].bends = []float64{0.02, 0.1, 0.101, 0.12, 0.121, 0.3, 0.32, 1, 1.02}
	list[6].bends = []float64{0.1, 0.101, 0.3, 1}
	list[8].top *= math.Pow(1.25, 0.4) // where the logged figure is that of 2.2 m
	list = append(list, meter{
		name:     "sound at a fixed 20 degC, levels",
		column:   "level",
		air:      12.3,
		settings: settings("empty_distance = \"3 m\"\nair_temperature = \"20 degC\"\n"+top, notch90),
		change:   correction("air_temperature = \"logged\"\n"),
		figure:   func(h float64) float64 { return 3 - (3-h)*sqrtRatio(20, 12.3) },
		flow:     v90,
		top:      3 - 0.8/sqrtRatio(20, 12.3),
	})
	keys, change := datum(3.02, 3)
	full := 0.49 // of the pipe's rising part, validity ends at 0.82 of 0.6 m
	list = append(list, meter{
		name:     "pipe, 20 mm too high, flows",
		column:   "flow",
		settings: settings(strings.Replace(keys, "2.2 m", "0.49 m", 1), pipe06),
		change:   change,
		figure:   pipe,
		flow:     func(h float64) float64 { return pipe(h - 0.02) },
		top:      full,
	}, meter{ // a distance goes on above the maximum head, as far as the channel is deep
		name:   "crest, 20 mm too high, distances above the maximum head",
		column: "distance",
		settings: settings("empty_distance = \"3.02 m\"\nmaximum_head = \"1 m\"\nchannel_depth = \"2.18 m\"\n",
			crest05),
		change: change,
		figure: func(h float64) float64 { return 3.02 - h },
		flow:   raised(crest, -0.02),
		top:    2.2,
	}, meter{ // one factor, whatever the water did, and nothing says how high it may rise
		name:     "power law, coefficient 0.8 for 1, flows",
		column:   "flow",
		settings: settings("", strings.Replace(power08, "0.8", "1", 1)),
		change:   correction(device(power08)),
		figure:   func(h float64) float64 { return math.Pow(h, 2.5) },
		flow:     func(h float64) float64 { return 0.8 * math.Pow(h, 2.5) },
		top:      2.2,
	})
	return list
}

const power08 = "kind = \"power\"\ncoefficient = 0.8\nexponent = 2.5\nhead_unit = \"m\"\nflow_unit = \"m3/s\"\n"

// mixture is what happened within one interval: heads of the meter and the shares of time that they stood.
type mixture struct{ heads, shares []float64 }

func (x mixture) mean(f func(float64) float64) (sum float64) {
	for i, h := range x.heads {
		sum += x.shares[i] * f(h)
	}
	return sum
}

// mixtures are constant heads from 5 mm to 2 m, then two to five heads in any shares.
func mixtures(m *meter, random *rand.Rand) (list []mixture) {
	for h := 0.005; h <= math.Min(2, m.top); h *= 1.07 {
		list = append(list, mixture{[]float64{h}, []float64{1}})
	}
	for range effort.Rounds(60, 300) {
		var x mixture
		sum := 0.0
		for range 2 + random.IntN(4) {
			h := math.Exp(random.Float64()*math.Log(m.top/0.002)) * 0.002
			if random.IntN(5) == 0 {
				h = m.bottom
			}
			x.heads, x.shares = append(x.heads, h), append(x.shares, random.ExpFloat64())
			sum += x.shares[len(x.shares)-1]
		}
		for i := range x.shares {
			x.shares[i] /= sum
		}
		list = append(list, x)
	}
	return list
}

// boundsOfMeans writes a log of means and returns the bounds of each row.
func boundsOfMeans(t *testing.T, m *meter, list []mixture) (lower, upper []float64) {
	t.Helper()
	dir := t.TempDir()
	var log strings.Builder
	fmt.Fprintf(&log, "Time,%s,air\n", m.column)
	at, _ := time.Parse("2006-01-02 15:04:05", begin)
	for i, x := range list {
		stamp := at.Add(time.Duration(i) * step15).Format("2006-01-02 15:04:05")
		fmt.Fprintf(&log, "%s,%.17g,%g\n", stamp, x.mean(m.figure), m.air)
	}
	text := fmt.Sprintf("id = \"means\"\n"+
		"[log]\nfiles = [\"log.csv\"]\ntime_zone = \"+00:00\"\nvalues = \"means\"\n"+
		"[log.columns]\ntime = \"Time\"\n%s = { name = %q, unit = %q, missing = [] }\n",
		m.column, m.column, units[m.column])
	if m.air != 0 {
		text += "temperature = { name = \"air\", unit = \"degC\" }\n"
	}
	text += m.settings + m.change
	for name, content := range map[string]string{"site.toml": text, "log.csv": log.String()} {
		if err := os.WriteFile(filepath.Join(dir, name), []byte(content), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	s, err := site.Load(filepath.Join(dir, "site.toml"))
	if err != nil {
		t.Fatalf("%s: %v", m.name, err)
	}
	l, err := ingest.Open(s)
	if err != nil {
		t.Fatalf("%s: %v", m.name, err)
	}
	rows := func() (func(*recompute.Rows) error, error) {
		lower, upper = nil, nil
		return func(rows *recompute.Rows) error {
			lower, upper = append(lower, rows.Lower...), append(upper, rows.Upper...)
			return nil
		}, nil
	}
	_, err = recompute.Run(context.Background(), l, l.Site, recompute.Options{Rows: rows})
	if err != nil || len(lower) != len(list) {
		t.Fatal(m.name, err, len(lower))
	}
	return lower, upper
}

// tangent returns the bound of the convex hull of the meter's curve at a mean, by the steepness of the line that
// supports it: the largest over all slopes k of the least y − k(x − mean). Upper bounds are lower ones of the curve
// turned over (sign −1). It is found among slopes by ternary search over 12,000 heads.
func tangent(m *meter, mean, sign float64) float64 {
	x, y := []float64{}, []float64{}
	take := func(figure, flow float64) { x, y = append(x, figure), append(y, sign*flow) }
	take(m.figure(m.bottom), m.flow(m.bottom))
	if m.column == "flow" {
		take(0, 0)
		take(0, m.hidden)
	}
	for _, h := range m.bends {
		take(m.figure(h), m.flow(h))
	}
	for i := range 4001 {
		for _, h := range []float64{
			m.bottom + (m.top-m.bottom)*float64(i)/4000,
			1e-4 * math.Pow(m.top/1e-4, float64(i)/4000),
			m.bottom + 1e-4*math.Pow((m.top-m.bottom)/1e-4, float64(i)/4000),
		} {
			take(m.figure(h), m.flow(h))
		}
	}
	support := func(k float64) float64 {
		least := math.Inf(1)
		for i := range x {
			least = math.Min(least, y[i]-k*(x[i]-mean))
		}
		return least
	}
	low, high := -1e3, 1e3
	for range 100 {
		a, b := low+(high-low)/3, high-(high-low)/3
		if support(a) < support(b) {
			low = a
		} else {
			high = b
		}
	}
	return sign * support((low+high)/2)
}

// TestBoundsOfMeans: whatever happened within an interval, the bounds of its mean flow hold it, and they are those of
// the convex hull of the curve that ties flow to figure to within a ten-thousandth of themselves (and 1e-9 m³/s).
func TestBoundsOfMeans(t *testing.T) {
	skipLong(t)
	random := rand.New(rand.NewPCG(6, 6))
	for _, m := range meters() {
		list := mixtures(&m, random)
		lower, upper := boundsOfMeans(t, &m, list)
		constant, slack := 0, 0.0
		for i, x := range list {
			truth := x.mean(m.flow)
			if i == 0 && m.column != "flow" {
				continue
			}
			if lower[i] > truth*(1+1e-11)+1e-15 || upper[i] < truth*(1-1e-11)-1e-15 {
				t.Errorf("%s: heads %.4g, shares %.3g: %.9g is not between %.9g and %.9g",
					m.name, x.heads, x.shares, truth, lower[i], upper[i])
			}
			if len(x.heads) == 1 {
				constant++
			}
			if i%37 != 0 || m.air != 0 {
				continue
			}
			for _, side := range []struct{ got, sign float64 }{{lower[i], 1}, {upper[i], -1}} {
				want := tangent(&m, x.mean(m.figure), side.sign)
				off := math.Abs(side.got-want) / (math.Abs(want) + 1e-5)
				slack = math.Max(slack, off)
				if off > 1e-4 {
					t.Errorf("%s: mean %.6g: bound %.9g, the hull's is %.9g", m.name, x.mean(m.figure), side.got, want)
				}
			}
		}
		t.Logf("%-45s %d constant of %d, slack %.2g", m.name, constant, len(list), slack)
	}
}
