package recompute_test

import (
	"cmp"
	"context"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"retotal/ingest"
	"retotal/ingest/site"
	"retotal/recompute"
	"retotal/recompute/total"
)

// The set-up errors of this file are those of a list of 41, by number; figures called SIM are of an invented month,
// computed apart from this program: testdata/check/synthetic-month.csv holds the true heads. Where each error is held:
//
//	1, 2, 4 to 9, 12 to 14, 16 to 20, 22 to 24, 26, 28, 41   TestExactInverses
//	3, 6, 10, 21, 22, and 1, 29, 30 from volumes alone       TestBoundedInverses
//	27                                                       TestMeansOfLevels
//	11, 15, and what is too large to correct                 TestLostSpans
//	32, 33, 34                                               TestClockErrors, TestHourOfClockError
//	41, when it began                                        TestFoundStep
//	25                                                       TestDrowned
//	31                                                       TestVerdicts of package audit
//	34 to 37, 39                                             testdata/log/oddity
//	38                                                       nothing to undo: time is that of the stamps,
//	                                                         never a count of rows
//	40                                                       nothing to undo: log.columns names the right column

// month is the invented month: true heads and flows every 15 minutes at a V-notch of 90 degrees, and the air above it.
type month struct {
	head, flow, air []float64
}

const (
	kNotch   = 8.0 / 15 * 0.58 // times √(2g) tan(θ/2)
	step15   = 15 * time.Minute
	trueE    = 1.5 // m, empty distance
	gallonUS = 3.785411784e-3
	gallonUK = 4.54609e-3
)

var root2g = math.Sqrt(2 * 9.80665)

// notch is Q = 8/15 · 0.58 · √(2g) · tan(θ/2) · h^2.5, as the reference has it.
func notch(h, degrees float64) float64 {
	return kNotch * root2g * math.Tan(degrees/2*math.Pi/180) * math.Pow(math.Max(h, 0), 2.5)
}

func crest(h float64) float64 { return 2.0 / 3 * 0.62 * root2g * 0.5 * math.Pow(math.Max(h, 0), 1.5) }

// power writes a device Q = c·hⁿ.
func power(c, n float64) string {
	return fmt.Sprintf("kind = \"power\"\ncoefficient = %.17g\nexponent = %g\n"+
		"head_unit = \"m\"\nflow_unit = \"m3/s\"\n", c, n)
}

var (
	notch90 = power(kNotch*root2g*math.Tan(math.Pi/4), 2.5)
	notch60 = power(kNotch*root2g*math.Tan(math.Pi/6), 2.5)
	crest05 = power(2.0/3*0.62*root2g*0.5, 1.5)
)

func loadMonth(t testing.TB) (m month) {
	t.Helper()
	text, err := os.ReadFile("../testdata/check/synthetic-month.csv")
	if err != nil {
		t.Fatal(err)
	}
	for line := range strings.Lines(string(text)) {
		if h, err := strconv.ParseFloat(strings.TrimSpace(line), 64); err == nil {
			i := len(m.head)
			m.head, m.flow = append(m.head, h), append(m.flow, notch(h, 90))
			m.air = append(m.air, 12+12*math.Sin(2*math.Pi*(math.Mod(float64(i)*0.25, 24)-9)/24))
		}
	}
	if len(m.head) != 31*96 {
		t.Fatal(len(m.head))
	}
	return m
}

// cubicMetres is the volume of flows every 15 minutes, by the trapezoid.
func cubicMetres(flow []float64) (v float64) {
	for i := 1; i < len(flow); i++ {
		v += (flow[i-1] + flow[i]) / 2 * step15.Seconds()
	}
	return v
}

// mistake is one way in which a meter was set up wrongly: what it logged, what it was set to, and what the site file
// says about it.
type mistake struct {
	name     string
	columns  string // of the log: "level" or "level,temperature"
	log      func(m *month, i int) []float64
	more     string // under [log]
	settings string
	change   string // further tables
	column   string // more for the columns
	begin    string // first stamp, when it is another
	screened bool   // with screening as a site file that says nothing has it
}

var units = map[string]string{
	"distance":        "m",
	"level":           "m",
	"head":            "m",
	"flow":            "m3/s",
	"temperature":     "degC",
	"counter":         "m3",
	"interval_volume": "m3",
	"downstream":      "m",
}

const begin = "2031-03-01 00:00:00"

// outcome is what a run made of a mistake.
type outcome struct {
	result *recompute.Result
	flow   map[int]float64 // recovered flow by reading
	before float64         // sum of the flows before, m³/s
	after  float64
}

// undo writes the log of a mistake at full precision, runs the site and returns what came out.
func undo(t testing.TB, m *month, k *mistake, format string) outcome {
	t.Helper()
	dir := t.TempDir()
	names := strings.Split(k.columns, ",")
	var log strings.Builder
	log.WriteString("Time")
	columns := "[log.columns]\ntime = \"Time\"\n"
	for _, name := range names {
		log.WriteString("," + name)
		columns += fmt.Sprintf("%s = { name = %q, unit = %q, missing = []%s }\n", name, name, units[name], k.column)
	}
	log.WriteString("\n")
	at, _ := time.Parse("2006-01-02 15:04:05", cmp.Or(k.begin, begin))
	for i := range m.head {
		fmt.Fprintf(&log, "%s", at.Add(time.Duration(i)*step15).Format("2006-01-02 15:04:05"))
		for _, v := range k.log(m, i) {
			fmt.Fprintf(&log, ","+format, v)
		}
		log.WriteString("\n")
	}
	text := "id = \"mistake\"\n" +
		"[log]\nfiles = [\"log.csv\"]\ntime_zone = \"+00:00\"\n" + k.more + columns + k.settings + k.change
	if !strings.Contains(text, "[screening]") {
		text += "[screening]\n"
	}
	if !k.screened {
		text += "spike = \"keep\"\nstuck = \"keep\"\nvalidity = \"keep\"\n"
	}
	for name, content := range map[string]string{"site.toml": text, "log.csv": log.String()} {
		if err := os.WriteFile(filepath.Join(dir, name), []byte(content), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	s, err := site.Load(filepath.Join(dir, "site.toml"))
	if err != nil {
		t.Fatalf("%s: %v", k.name, err)
	}
	l, err := ingest.Open(s)
	if err != nil {
		t.Fatalf("%s: %v", k.name, err)
	}
	out := outcome{flow: map[int]float64{}}
	begin := func() (func(*recompute.Rows) error, error) {
		clear(out.flow)
		out.before, out.after = 0, 0
		return func(rows *recompute.Rows) error {
			for i, at := range rows.Time {
				out.before += rows.Before[i]
				if rows.Used[i] {
					out.after += rows.After[i]
					out.flow[int((at-l.From)/int64(step15))] = rows.After[i]
				}
			}
			return nil
		}, nil
	}
	if out.result, err = recompute.Run(context.Background(), l, l.Site, recompute.Options{Rows: begin}); err != nil {
		t.Fatalf("%s: %v", k.name, err)
	}
	return out
}

// settings writes [settings] and its device.
func settings(keys, device string) string {
	return "[settings]\n" + keys + "[settings.device]\n" + device
}

// correction writes one [[correction]] over the whole log.
func correction(keys string) string { return "[[correction]]\nreason = \"test\"\n" + keys }

// device writes the device of a correction.
func device(text string) string { return "[correction.device]\n" + text }

func sqrtRatio(a, b float64) float64 { return math.Sqrt((a + 273.15) / (b + 273.15)) }

// shift is a correction of head that depends on head: +2 mm at 50 mm to +8 mm at 300 mm.
func shift(h float64) float64 {
	return math.Min(math.Max(0.002+(h-0.05)/0.25*0.006, 0.002), 0.008)
}

// seen is the head that becomes h when shift is added.
func seen(h float64) float64 {
	low, high := 0.0, 1.0
	for range 200 {
		if middle := (low + high) / 2; middle+shift(middle) < h {
			low = middle
		} else {
			high = middle
		}
	}
	return low
}

// exactMistakes are the errors that have an exact inverse, each from the quantities that the meter may have logged.
func exactMistakes() []mistake {
	level := func(f func(h float64) float64) func(*month, int) []float64 {
		return func(m *month, i int) []float64 { return []float64{f(m.head[i])} }
	}
	e150, e152 := "empty_distance = \"1.5 m\"\n", "empty_distance = \"1.52 m\"\n"
	ft := 1 / 0.3048
	return []mistake{
		{
			name:     "1 empty distance, from levels",
			columns:  "level",
			log:      level(func(h float64) float64 { return h + 0.02 }),
			settings: settings(e152, notch90),
			change:   correction(e150),
		},
		{
			name:     "1 empty distance, from distances",
			columns:  "distance",
			log:      level(func(h float64) float64 { return trueE - h }),
			settings: settings(e152, notch90),
			change:   correction(e150),
		},
		{
			name:     "1 empty distance, from flows",
			columns:  "flow",
			log:      level(func(h float64) float64 { return notch(h+0.02, 90) }),
			settings: settings(e152, notch90),
			change:   correction(e150),
		},
		{
			name:     "2 level of zero flow, from heads",
			columns:  "head",
			log:      level(func(h float64) float64 { return h + 0.013 }),
			settings: settings("level_of_zero_flow = \"0.1 m\"\n", notch90),
			change:   correction("level_of_zero_flow = \"0.113 m\"\n"),
		},
		{
			name:     "2 level of zero flow, from flows",
			columns:  "flow",
			log:      level(func(h float64) float64 { return notch(h+0.013, 90) }),
			settings: settings("level_of_zero_flow = \"0.1 m\"\n", notch90),
			change:   correction("level_of_zero_flow = \"0.113 m\"\n"),
		},
		{
			name:     "4 offset applied twice",
			columns:  "level",
			log:      level(func(h float64) float64 { return h + 0.04 }),
			settings: settings("empty_distance = \"1.54 m\"\n", notch90),
			change:   correction(e150),
		},
		{
			name:     "5 offset in inches for centimetres",
			columns:  "level",
			log:      level(func(h float64) float64 { return h + 0.02*1.54 }),
			settings: settings("empty_distance = \"1.5308 m\"\n", notch90),
			change:   correction(e150),
		},
		{
			name:     "6 span of the loop, from levels",
			columns:  "level",
			log:      level(func(h float64) float64 { return h / 0.3 * 0.4 }),
			settings: settings("loop = { low = \"0 m\", high = \"0.4 m\" }\n", notch90),
			change:   correction("loop = { low = \"0 m\", high = \"0.3 m\" }\n"),
		},
		{
			name:     "6 span of the loop, from flows of an affine level",
			columns:  "level",
			log:      level(func(h float64) float64 { return 0.05 + h/0.3*0.35 }),
			settings: settings("loop = { low = \"0.05 m\", high = \"0.4 m\" }\n", notch90),
			change:   correction("loop = { low = \"0 m\", high = \"0.3 m\" }\n"),
		},
		{
			name:     "7 0 to 20 mA for 4 to 20 mA",
			columns:  "level",
			log:      level(func(h float64) float64 { return (4 + 16*h/0.3) / 20 * 0.3 }),
			settings: settings("loop = { low = \"0 m\", high = \"0.3 m\", from = 0, to = 20 }\n", notch90),
			change:   correction("loop = { low = \"0 m\", high = \"0.3 m\", from = 4, to = 20 }\n"),
		},
		{
			name:     "8 reversed output",
			columns:  "level",
			log:      level(func(h float64) float64 { return 0.3 - h }),
			settings: settings("loop = { low = \"0 m\", high = \"0.3 m\", from = 4, to = 20 }\n", notch90),
			change:   correction("loop = { low = \"0 m\", high = \"0.3 m\", from = 20, to = 4 }\n"),
		},
		{
			name:    "9 sound at a fixed 20 degC, from levels",
			columns: "level,temperature",
			log: func(m *month, i int) []float64 {
				return []float64{trueE - (trueE-m.head[i])*sqrtRatio(20, m.air[i]), m.air[i]}
			},
			settings: settings(e150+"air_temperature = \"20 degC\"\n", notch90),
			change:   correction("air_temperature = \"logged\"\n"),
		},
		{
			name:    "9 sound, from distances, probe 2 K too warm",
			columns: "distance,temperature",
			log: func(m *month, i int) []float64 {
				return []float64{(trueE - m.head[i]) * sqrtRatio(m.air[i]+2, m.air[i]), m.air[i] + 2}
			},
			settings: settings(e150+"air_temperature = \"logged\"\n", notch90),
			change:   correction("air_temperature = { logged_plus = \"-2 K\" }\n"),
		},
		{
			name:    "9 sound, from flows",
			columns: "flow,temperature",
			log: func(m *month, i int) []float64 {
				return []float64{notch(trueE-(trueE-m.head[i])*sqrtRatio(20, m.air[i]), 90), m.air[i]}
			},
			settings: settings(e150+"air_temperature = \"20 degC\"\n", notch90),
			change:   correction("air_temperature = \"logged\"\n"),
		},
		{
			name:    "9 sound, empty distance set by echo at 5 degC",
			columns: "distance",
			log:     level(func(h float64) float64 { return (trueE - h) * sqrtRatio(20, 12) }),
			settings: settings(
				fmt.Sprintf("empty_distance = \"%.17g m\"\nair_temperature = \"20 degC\"\n", trueE*sqrtRatio(20, 5)),
				notch90,
			),
			change: correction("air_temperature = \"12 degC\"\nempty_distance_set_at = \"5 degC\"\n"),
		},
		{
			name:     "12 tilted sensor",
			columns:  "distance",
			log:      level(func(h float64) float64 { return (trueE - h) / math.Cos(0.1) }),
			settings: settings(e150, notch90),
			change:   correction(fmt.Sprintf("distance_factor = %.17g\n", math.Cos(0.1))),
		},
		{
			name:     "13 head taken in the wrong place",
			columns:  "level",
			log:      level(seen),
			settings: settings("", notch90),
			change:   correction("head_shift = [[\"0.05 m\", \"2 mm\"], [\"0.30 m\", \"8 mm\"]]\n"),
		},
		{
			name:     "14 drift",
			columns:  "level",
			log:      func(m *month, i int) []float64 { return []float64{m.head[i] + 0.015*float64(i)/2975} },
			settings: settings(e150, notch90),
			change: "[[correction]]\nreason = \"test\"\nfrom = 2031-03-01T00:00:00\nuntil = 2031-04-01T00:00:00\n" +
				"empty_distance = { from = \"1.5 m\", to = \"" + fmt.Sprintf("%.17g", 1.5-0.015*2976/2975) + " m\" }\n",
		},
		{
			name:     "16 notch angle, from levels",
			columns:  "level",
			log:      level(func(h float64) float64 { return h }),
			settings: settings("", notch60),
			change:   correction(device(notch90)),
		},
		{
			name:     "16 notch angle, from flows",
			columns:  "flow",
			log:      level(func(h float64) float64 { return notch(h, 60) }),
			settings: settings("", notch60),
			change:   correction(device(notch90)),
		},
		{
			name:     "17 wrong device, from flows",
			columns:  "flow",
			log:      level(crest),
			settings: settings("", crest05),
			change:   correction(device(notch90)),
		},
		{
			name:     "18 wrong size: a coefficient and an exponent",
			columns:  "flow",
			log:      level(func(h float64) float64 { return 0.5354 * math.Pow(h, 1.53) }),
			settings: settings("", power(0.5354, 1.53)),
			change:   correction(device(notch90)),
		},
		{
			name:    "19 maximum head of a relative rating",
			columns: "flow",
			log:     level(func(h float64) float64 { return 0.07 * math.Pow(h/0.25, 2.5) }),
			settings: settings("", "kind = \"maximum\"\nmaximum_head = \"0.25 m\"\n"+
				"maximum_flow = \"70 L/s\"\nexponent = 2.5\n"),
			change: correction(device(fmt.Sprintf("kind = \"maximum\"\nmaximum_head = \"0.30 m\"\n"+
				"maximum_flow = \"%.17g m3/s\"\nexponent = 2.5\n", notch(0.3, 90)))),
		},
		{
			name:     "20 maximum flow: a factor",
			columns:  "flow",
			log:      level(func(h float64) float64 { return 1.4 * notch(h, 90) }),
			settings: settings("", notch90),
			change:   correction(fmt.Sprintf("logged_factor = %.17g\n", 1/1.4)),
		},
		{
			name:     "22 cut-off, from levels",
			columns:  "level",
			log:      level(func(h float64) float64 { return h }),
			settings: settings("flow_cut_off = \"2 L/s\"\n", notch90),
			change:   correction("maximum_head = \"2 m\"\n"),
		},
		{
			name:     "23 linear output taken as flow",
			columns:  "flow",
			log:      level(func(h float64) float64 { return 0.2 * h }),
			settings: settings("", power(0.2, 1)),
			change:   correction(device(notch90)),
		},
		{
			name:    "24 no segment for low heads",
			columns: "flow",
			log: level(func(h float64) float64 {
				if h < 0.1 {
					return 0.05 * h
				}
				return 0.05 * 0.1 * math.Pow(h/0.1, 1.6)
			}),
			settings: settings("", fmt.Sprintf("kind = \"segments\"\nhead_unit = \"m\"\nflow_unit = \"m3/s\"\n"+
				"segments = [{ from = \"0 m\", coefficient = 0.05, exponent = 1 }, "+
				"{ from = \"0.1 m\", coefficient = %.17g, exponent = 1.6 }]\n", 0.05*0.1/math.Pow(0.1, 1.6))),
			change: correction(device(notch90)),
		},
		{
			name:     "26 sediment: the crest is higher and its coefficient another",
			columns:  "flow",
			log:      level(func(h float64) float64 { return 1.7 * math.Pow(h+0.03, 1.5) }),
			settings: settings("", power(1.7, 1.5)),
			change:   correction("level_of_zero_flow = \"0.03 m\"\n" + device(notch90)),
		},
		{
			name:     "28 imperial for US gallons",
			columns:  "flow",
			log:      level(func(h float64) float64 { return notch(h, 90) * gallonUK / gallonUS }),
			settings: settings("", notch90),
			change:   correction(fmt.Sprintf("logged_factor = %.17g\n", gallonUS/gallonUK)),
		},
		{
			name:     "28 head in feet read as metres",
			columns:  "flow",
			log:      level(func(h float64) float64 { return notch(h*ft, 90) }),
			settings: settings(fmt.Sprintf("head_factor = %.17g\n", ft), notch90),
			change:   correction("head_factor = 1\n"),
		},
		{
			name:    "41 a change of settings that nobody recorded",
			columns: "level",
			log: func(m *month, i int) []float64 {
				if i >= 1000 {
					return []float64{m.head[i] + 0.02}
				}
				return []float64{m.head[i]}
			},
			settings: settings(e150, notch90),
			change:   "[[correction]]\nreason = \"test\"\nfrom = 2031-03-11T10:00:00\nempty_distance = \"1.48 m\"\n",
		},
		{
			name:    "several at once: loop, offset, sound and device, from flows",
			columns: "flow,temperature",
			log: func(m *month, i int) []float64 {
				d := (trueE - m.head[i]) * sqrtRatio(20, m.air[i])
				return []float64{crest(1.1*(1.52-d)) * 1.2, m.air[i]}
			},
			settings: settings(e152+"head_factor = 1.1\nair_temperature = \"20 degC\"\n", crest05),
			change: correction(fmt.Sprintf("empty_distance = \"1.5 m\"\nhead_factor = 1\n"+
				"air_temperature = \"logged\"\nlogged_factor = %.17g\n", 1/1.2) + device(notch90)),
		},
	}
}

// TestExactInverses: what has an exact inverse is recovered to 1e-9, reading by reading and in the total.
func TestExactInverses(t *testing.T) {
	m := loadMonth(t)
	want := cubicMetres(m.flow)
	for _, k := range exactMistakes() {
		out := undo(t, &m, &k, "%.17g")
		if len(out.flow) != len(m.flow) {
			t.Errorf("%s: %d of %d readings recovered", k.name, len(out.flow), len(m.flow))
		}
		worst := 0.0
		for i, q := range out.flow {
			if k.name[:3] != "41 " || i != 1000 { // the interval of an unrecorded change
				worst = math.Max(worst, math.Abs(q/m.flow[i]-1))
			}
		}
		after := out.result.Total.After.M3()
		bound := 1e-9
		if strings.HasPrefix(k.name, "41 ") {
			bound = 1e-4 // the truth within the interval of the change is not a straight line of what was logged
		}
		if worst > 1e-9 || math.Abs(after/want-1) > bound {
			t.Errorf("%s: flow off by %.2g, total by %.2g of itself", k.name, worst, after/want-1)
		}
		k.screened = true
		if off := undo(t, &m, &k, "%.17g").result.Total.After.M3()/after - 1; math.Abs(off) > 1e-9 {
			t.Errorf("%s: screening moves the total by %+.2g of itself", k.name, off)
		}
		lower, upper := out.result.Total.Lower(), math.Inf(1)
		if lower != after && out.result.Total.Classes[total.Bounded].Covered > 0 {
			t.Errorf("%s: bounded between %v and %v, and it is exact", k.name, lower, upper)
		}
	}
}

// within reports whether the truth lies between the bounds of a total, and how wide they are in per cent of it.
func within(r *recompute.Result, truth float64) (ok bool, low, high float64) {
	upper, known := r.Total.Upper()
	if !known {
		upper = math.Inf(1)
	}
	lower := r.Total.Lower()
	return lower <= truth*(1+1e-9) && truth <= upper*(1+1e-9), 100 * (lower/truth - 1), 100 * (upper/truth - 1)
}

// TestBoundedInverses: where a meter hid the truth, the bounds contain it; with screening too, for what stands at an
// end is not stuck.
func TestBoundedInverses(t *testing.T) {
	m := loadMonth(t)
	truth := cubicMetres(m.flow)
	each := func(f func(h float64) float64) func(*month, int) []float64 {
		return func(m *month, i int) []float64 { return []float64{f(m.head[i])} }
	}
	counted := func(m *month) []float64 { // m³ by the end of each reading
		sums := make([]float64, len(m.flow))
		for i := 1; i < len(sums); i++ {
			sums[i] = sums[i-1] + (m.flow[i-1]+m.flow[i])/2*step15.Seconds()
		}
		return sums
	}
	sums := counted(&m)
	var shifted []float64 // what a counter makes of levels 20 mm too high
	for i := range m.head {
		q := notch(m.head[i]+0.02, 90)
		if i == 0 {
			shifted = append(shifted, 0)
			continue
		}
		shifted = append(shifted, shifted[i-1]+(notch(m.head[i-1]+0.02, 90)+q)/2*step15.Seconds())
	}
	e150, e152 := "empty_distance = \"1.5 m\"\n", "empty_distance = \"1.52 m\"\n"
	for _, c := range []struct {
		mistake
		low, high float64 // per cent of the truth, of the reference's SIM rows or worked out here; NaN for no figure
		within    float64
	}{
		{mistake{
			name:     "3 clamped at zero (SIM-14)",
			columns:  "level",
			log:      each(func(h float64) float64 { return math.Max(0, h-0.09) }),
			settings: settings("empty_distance = \"1.41 m\"\nbelow_zero = \"clamped\"\n", notch90),
			change:   correction(e150),
		}, -6.7165, 3.9691, 0.08},
		{mistake{
			name:     "3 clamped at zero, from flows (SIM-14)",
			columns:  "flow",
			log:      each(func(h float64) float64 { return notch(h-0.09, 90) }),
			settings: settings("empty_distance = \"1.41 m\"\n", notch90),
			change:   correction(e150),
		}, -6.7165, 3.9691, 0.08},
		{mistake{
			name:     "22 cut-off of 2 L/s, from flows (SIM-28)",
			columns:  "flow",
			log:      each(func(h float64) float64 { return cut(notch(h, 90), 0.002) }),
			settings: settings("flow_cut_off = \"2 L/s\"\n", notch90),
			change:   correction("maximum_head = \"2 m\"\n"),
		}, -2.7429, 0.6411, 0.08},
		{mistake{
			name:     "22 cut-off of 4 L/s, from flows (SIM-29)",
			columns:  "flow",
			log:      each(func(h float64) float64 { return cut(notch(h, 90), 0.004) }),
			settings: settings("flow_cut_off = \"4 L/s\"\n", notch90),
			change:   correction("maximum_head = \"2 m\"\n"),
		}, -8.5656, 6.2918, 0.2},
		{mistake{
			name:     "21 capped at 10 L/s, channel 0.30 m deep",
			columns:  "flow",
			log:      each(func(h float64) float64 { return math.Min(notch(h, 90), 0.010) }),
			settings: settings("maximum_flow = \"10 L/s\"\nchannel_depth = \"0.30 m\"\n", notch90),
			change:   correction("maximum_head = \"2 m\"\n"),
		}, math.NaN(), math.NaN(), 0},
		{mistake{
			name:     "21 capped, nothing known above",
			columns:  "flow",
			log:      each(func(h float64) float64 { return math.Min(notch(h, 90), 0.010) }),
			settings: settings("maximum_flow = \"10 L/s\"\n", notch90),
			change:   correction("maximum_head = \"2 m\"\n"),
		}, math.NaN(), math.Inf(1), 0},
		{mistake{
			name:     "10 nearer than the blanking distance",
			columns:  "distance",
			log:      each(func(h float64) float64 { return math.Max(trueE-h, 1.35) }),
			settings: settings(e150+"blanking_distance = \"1.3501 m\"\nchannel_depth = \"0.30 m\"\n", notch90),
			change:   correction("empty_distance = \"1.5 m\"\n"),
		}, math.NaN(), math.NaN(), 0},
		{mistake{
			name:     "6 loop saturated at 20.5 mA",
			columns:  "level",
			log:      each(func(h float64) float64 { return math.Min(h, 0.15*16.5/16) }),
			settings: settings("loop = { low = \"0 m\", high = \"0.15 m\" }\nchannel_depth = \"0.30 m\"\n", notch90),
			change:   correction("level_of_zero_flow = \"0 m\"\n"),
		}, math.NaN(), math.NaN(), 0},
		{mistake{
			name:     "1 empty distance, from a counter alone",
			columns:  "counter",
			log:      func(_ *month, i int) []float64 { return []float64{shifted[i]} },
			settings: settings(e152+"maximum_head = \"0.30 m\"\n", notch90),
			change:   correction(e150),
		}, math.NaN(), math.NaN(), 0},
		{mistake{
			name:     "1 empty distance, from interval volumes alone",
			columns:  "interval_volume",
			log:      func(_ *month, i int) []float64 { return []float64{shifted[i] - shifted[max(i-1, 0)]} },
			settings: settings(e152+"maximum_head = \"0.30 m\"\n", notch90),
			change:   correction(e150),
		}, math.NaN(), math.NaN(), 0},
		{mistake{
			name:     "29 weight of the counter, exact",
			columns:  "counter",
			log:      func(_ *month, i int) []float64 { return []float64{sums[i] * 10} },
			settings: settings("", notch90),
			change:   correction("logged_factor = 0.1\n"),
		}, 0, 0, 1e-7},
		{mistake{
			name:     "30 the counter rolls over, exact",
			columns:  "counter",
			log:      func(_ *month, i int) []float64 { return []float64{math.Mod(sums[i], 5000) * 2} },
			column:   ", rollover = \"10000 m3\"",
			settings: settings("", notch90),
			change:   correction("logged_factor = 0.5\n"),
		}, 0, 0, 1e-6},
	} {
		out := undo(t, &m, &c.mistake, "%.17g")
		ok, low, high := within(out.result, truth)
		if !ok {
			t.Errorf("%s: the truth is not between %+.4f and %+.4f %%", c.name, low, high)
		}
		if !math.IsNaN(c.low) && math.Abs(low-c.low) > c.within ||
			!math.IsNaN(c.high) &&
				!(math.Abs(high-c.high) <= c.within || math.IsInf(high, 1) && math.IsInf(c.high, 1)) {
			t.Errorf("%s: bounds %+.4f to %+.4f %%, want %+.4f to %+.4f", c.name, low, high, c.low, c.high)
		}
		t.Logf("%-50s %+9.4f .. %+9.4f %%", c.name, low, high)
		c.screened = true
		ok, least, most := within(undo(t, &m, &c.mistake, "%.17g").result, truth)
		if !ok || math.Abs(least-low) > 0.2 || math.Abs(most-high) > 0.2 {
			t.Errorf("%s, screened: %+.4f to %+.4f %%, unscreened %+.4f to %+.4f", c.name, least, most, low, high)
		}
	}
}

func cut(q, limit float64) float64 {
	if q < limit {
		return 0
	}
	return q
}

// TestMeansOfLevels: error 27, a mean level in place of levels. The flow of the mean is not the mean flow: SIM-31 and
// SIM-32 say by how much. The bounds know it.
func TestMeansOfLevels(t *testing.T) {
	m := loadMonth(t)
	truth := 0.0
	for _, q := range m.flow {
		truth += q
	}
	for _, c := range []struct {
		readings int
		left     float64 // per cent
	}{{4, -0.05871}, {96, -9.9930}} {
		k := mistake{name: "27 means of levels", columns: "level", log: func(m *month, i int) []float64 {
			sum, first := 0.0, i/c.readings*c.readings
			for _, h := range m.head[first : first+c.readings] {
				sum += h
			}
			return []float64{sum / float64(c.readings)}
		}, more: "values = \"means\"\nstamp = \"start\"\n", settings: settings("maximum_head = \"0.30 m\"\n", notch90)}
		out := undo(t, &m, &k, "%.17g")
		volume := truth * step15.Seconds()
		ok, low, high := within(out.result, volume)
		// The flow of the mean, and the least that flowed.
		left, least := 100*(out.before/truth-1), 100*(out.after/truth-1)
		if !ok || math.Abs(left-c.left) > 5e-5 || least > left || least < left-0.005 || high < 1 {
			t.Errorf("means of %d readings: %+.5f %%, at least %+.5f, want %+.5f; bounds %+.4f to %+.4f %%",
				c.readings, left, least, c.left, low, high)
		}
	}
}

// TestClockErrors: errors 32, 33, 34 and 37: the stamps are wrong and the flows are right. Volumes come back to their
// days.
func TestClockErrors(t *testing.T) {
	m := loadMonth(t)
	truth := undo(t, &m, &mistake{
		columns:  "flow",
		log:      func(m *month, i int) []float64 { return []float64{m.flow[i]} },
		settings: settings("", notch90),
	}, "%.17g").result
	for _, c := range []struct{ name, more string }{
		{"32 one hour ahead", "[[log.clock_check]]\nat = 2031-03-05T00:00:00\nerror = \"1 h\"\n"},
		{"33 drift of a day over the month", "[[log.clock_check]]\nat = 2031-03-01T00:00:00\nerror = \"0 s\"\n" +
			"[[log.clock_check]]\nat = 2031-04-01T00:00:00\nerror = \"24 h\"\n"},
		{"34 another zone", "ZONE"},
	} {
		k := mistake{
			name:     c.name,
			columns:  "flow",
			log:      func(m *month, i int) []float64 { return []float64{m.flow[i]} },
			settings: settings("", notch90),
			more:     c.more,
			change:   "[report]\ntime_zone = \"+00:00\"\n",
		}
		if c.more == "ZONE" {
			// As if the logger had kept another zone than the report.
			k.more, k.change = "", "[report]\ntime_zone = \"+01:00\"\n"
		}
		r := undo(t, &m, &k, "%.17g").result
		want := truth.Total.After.M3()
		if strings.HasPrefix(c.name, "33") {
			want *= 30.0 / 31 // each hour of the logger was shorter
		}
		if got := r.Total.After.M3(); math.Abs(got/want-1) > 2e-9 {
			t.Errorf("%s: %.6f m3, want %.6f", c.name, got, want)
		}
		first := r.Days[1]
		if strings.HasPrefix(c.name, "32") {
			// What was reported stands under the clock that was wrong, and only days differ.
			if first.Before.M3() == first.After.M3() ||
				math.Abs(first.Before.M3()-cubicMetres(m.flow[:97])) > 1e-6 ||
				math.Abs(r.Total.Before.M3()/want-1) > 2e-9 {
				t.Errorf("%s: before %.6f m3 on %s", c.name, first.Before.M3(), first.Label)
			}
		}
		if strings.HasPrefix(c.name, "32") &&
			(r.Days[0].Label != "2031-02-28" || math.Abs(first.After.M3()-shiftedDay(&m, 4)) > 1e-6) {
			t.Errorf("%s: day %s has %.6f m3, want %.6f",
				c.name, first.Label, first.After.M3(), shiftedDay(&m, 4))
		}
	}
}

// TestHourOfClockError: SIM-30 of the reference, a clock one hour ahead changes days by -14.650 to +5.421 %, each
// reading standing for the 15 minutes after it.
func TestHourOfClockError(t *testing.T) {
	m := loadMonth(t)
	k := mistake{
		columns:  "flow",
		begin:    "2031-03-01 01:00:00",
		log:      func(m *month, i int) []float64 { return []float64{m.flow[i]} },
		settings: settings("", notch90),
		more: "values = \"means\"\nstamp = \"start\"\n" +
			"[[log.clock_check]]\nat = 2031-03-05T00:00:00\nerror = \"1 h\"\n",
	}
	r := undo(t, &m, &k, "%.17g").result
	least, most := 0.0, 0.0
	for _, d := range r.Days[1:30] {
		change := 100 * (d.Before.M3()/d.After.M3() - 1)
		least, most = math.Min(least, change), math.Max(most, change)
	}
	if math.Abs(least+14.650) > 5e-4 || math.Abs(most-5.421) > 5e-4 {
		t.Errorf("days change by %+.3f to %+.3f %%", least, most)
	}
}

// shiftedDay is the volume of the first whole day when the log begins so many readings before it.
func shiftedDay(m *month, readings int) float64 { return cubicMetres(m.flow[readings : readings+97]) }

// TestLostSpans: errors 11 and 15, and corrections too large: nothing is made of such readings, and the total says for
// how long.
func TestLostSpans(t *testing.T) {
	m := loadMonth(t)
	falseTarget := mistake{
		name:    "11 false target",
		columns: "level",
		log: func(m *month, i int) []float64 {
			if i >= 960 && i <= 1056 {
				return []float64{0.2}
			}
			return []float64{m.head[i]}
		},
		settings: settings("", notch90),
		change: "[[correction]]\nreason = \"a ladder in the beam\"\nfrom = 2031-03-11T00:00:00\n" +
			"until = 2031-03-12T00:15:00\nunusable = true\n",
	}
	r := undo(t, &m, &falseTarget, "%.17g").result
	want := cubicMetres(m.flow[:960]) + cubicMetres(m.flow[1057:])
	if got := r.Total.After.M3(); math.Abs(got/want-1) > 1e-9 || r.Total.After.Covered != int64(2975-98)*int64(step15) {
		t.Errorf("%.6f m3 over %d, want %.6f", got, r.Total.After.Covered/int64(step15), want)
	}
	large := mistake{
		name:     "too large",
		columns:  "level",
		log:      func(m *month, i int) []float64 { return []float64{m.head[i]} },
		settings: settings("empty_distance = \"1.5 m\"\n", notch90),
		change: "[[correction]]\nreason = \"drift\"\nfrom = 2031-03-01T00:00:00\nuntil = 2031-03-31T23:45:00\n" +
			"empty_distance = { from = \"1.5 m\", to = \"1.4 m\" }\n" +
			"[screening]\nlargest_correction = \"50 mm\"\n",
	}
	r = undo(t, &m, &large, "%.17g").result
	if half := r.Total.Coverage(); half < 0.49 || half > 0.51 {
		t.Errorf("coverage %v, want a half", half)
	}
}

// TestSimulatedTotals: what each error does to the total, before correction, is what the reference's month says (SIM
// rows), and so is what is left when the log is rounded.
func TestSimulatedTotals(t *testing.T) {
	m := loadMonth(t)
	truth := 0.0 // the reference adds readings up
	for _, q := range m.flow {
		truth += q
	}
	for _, c := range []struct {
		id, name string
		format   string
		error    float64 // per cent of the truth, before
		left     float64 // after
		within   float64
	}{
		{"SIM-02", "1 empty distance, from levels", "%.17g", 42.7206, 0, 5e-5},
		{"SIM-15", "16 notch angle, from flows", "%.17g", -42.2650, 0, 5e-5},
		{"SIM-17", "17 wrong device, from flows", "%.17g", 407.0304, 0, 5e-5},
		{"SIM-21", "7 0 to 20 mA for 4 to 20 mA", "%.17g", 79.8809, 0, 5e-5},
		{"SIM-22", "28 imperial for US gallons", "%.17g", 20.0950, 0, 5e-5},
		{"SIM-23", "28 head in feet read as metres", "%.17g", 1849.6767, 0, 5e-5},
		{"SIM-24", "9 sound at a fixed 20 degC, from levels", "%.17g", -18.0341, 0, 5e-5},
		{"SIM-34", "14 drift", "%.17g", 15.2258, 0, 5e-5},
	} {
		list := exactMistakes()
		i := slices.IndexFunc(list, func(k mistake) bool { return k.name == c.name })
		if i < 0 {
			t.Fatal(c.name)
		}
		out := undo(t, &m, &list[i], c.format)
		before, after := 100*(out.before/truth-1), 100*(out.after/truth-1)
		if math.Abs(before-c.error) > c.within || math.Abs(after-c.left) > min(c.within, 1e-6) {
			t.Errorf("%s %s: before %+.4f %%, want %+.4f; after %+.6f %%, want %+.6f",
				c.id, c.name, before, c.error, after, c.left)
		}
	}
	// SIM rows of rounded levels: 1 mm leaves +0.005723 %, 10 mm leaves +0.146277 %.
	list := exactMistakes()
	for format, left := range map[string]float64{"%.3f": 0.005723, "%.2f": 0.146277} {
		out := undo(t, &m, &list[0], format)
		if after := 100 * (out.after/truth - 1); math.Abs(after-left) > 5e-7 {
			t.Errorf("levels logged to %s leave %+.6f %%, want %+.6f", format, after, left)
		}
	}
	// SIM-26: the air's temperature known 2 K too warm leaves -8.751440 %. SIM-37: a drift corrected as a step at
	// mid-month leaves -0.231305 %.
	warm := exactMistakes()[slices.IndexFunc(exactMistakes(), func(k mistake) bool {
		return strings.HasPrefix(k.name, "9 sound at a fixed")
	})]
	warm.change = correction("air_temperature = { logged_plus = \"2 K\" }\n")
	if left := 100 * (undo(t, &m, &warm, "%.17g").after/truth - 1); math.Abs(left+8.751440) > 5e-7 {
		t.Errorf("SIM-26: %+.6f %%", left)
	}
	drift := exactMistakes()[slices.IndexFunc(exactMistakes(), func(k mistake) bool { return k.name == "14 drift" })]
	drift.change = "[[correction]]\nreason = \"test\"\nfrom = 2031-03-16T12:00:00\nempty_distance = \"1.485 m\"\n"
	if left := 100 * (undo(t, &m, &drift, "%.17g").after/truth - 1); math.Abs(left+0.231305) > 5e-7 {
		t.Errorf("SIM-37: %+.6f %%", left)
	}
}

// TestFoundStep: error 41, a change that nobody recorded, is found between the two readings where it was made, and
// becomes a defensible onset; a correction from another day makes no difference.
func TestFoundStep(t *testing.T) {
	m := loadMonth(t)
	k := mistake{
		columns: "level",
		log: func(m *month, i int) []float64 {
			if i >= 1000 {
				return []float64{m.head[i] + 0.02}
			}
			return []float64{m.head[i]}
		},
		settings: settings("empty_distance = \"1.5 m\"\n", notch90),
		change: "[[correction]]\nreason = \"test\"\nfrom = 2031-03-20T00:00:00\nuntil = 2031-04-01T00:00:00\n" +
			"empty_distance = \"1.48 m\"\nonset = { last_good_check = 2031-03-03T00:00:00, cap = \"20 d\" }\n",
	}
	uncorrected := k
	uncorrected.change = ""
	made := time.Date(2031, 3, 1, 0, 0, 0, 0, time.UTC).Add(1000 * step15).UnixNano()
	r := undo(t, &m, &uncorrected, "%.4f").result
	if len(r.Changes) != 0 || len(r.Moves) != 1 || r.Moves[0].After != made ||
		r.Moves[0].Before != made-step15.Nanoseconds() || math.Abs(r.Moves[0].Size-0.02) > 0.002 {
		t.Fatalf("%+v, %+v", r.Changes, r.Moves)
	}
	for limit, moves := range map[string]int{"19 mm": 1, "22 mm": 0} {
		limited := uncorrected
		limited.change = "[screening]\nstep = { limit = \"" + limit + "\" }\n"
		if found := undo(t, &m, &limited, "%.4f").result.Moves; len(found) != moves {
			t.Errorf("with a limit of %s: %+v", limit, found)
		}
	}
	out := undo(t, &m, &k, "%.4f")
	var names []string
	for _, l := range out.result.WhatIfs {
		names = append(names, l.Name)
	}
	want := []string{
		"onset at the last good check, 2031-03-03 00:00:00",
		"onset half-way since the last good check, 2031-03-17 12:00:00",
		fmt.Sprintf("onset at a move of %+.2g mm in what the sensor measured, 2031-03-11 10:00:00",
			1000*r.Moves[0].Size),
	}
	if !slices.Equal(names, want) {
		t.Errorf("%q", names)
	}
	if !slices.Equal(out.result.Moves, r.Moves) {
		t.Errorf("with a correction from another day: %+v", out.result.Moves)
	}
}

// TestFoundDrift: error 14 without its correction shows as a drift of the night minimum, and not as steps.
func TestFoundDrift(t *testing.T) {
	m := loadMonth(t)
	k := exactMistakes()[slices.IndexFunc(exactMistakes(), func(k mistake) bool { return k.name == "14 drift" })]
	k.change = ""
	changes := undo(t, &m, &k, "%.4f").result.Changes
	if len(changes) != 1 || !changes[0].Drift || math.Abs(changes[0].Size-15) > 2 {
		t.Errorf("%+v", changes)
	}
}

// TestFollowsAir: error 9 without its correction shows in the night minimum, by as much as sound explains; a log
// without the error shows nothing. A day whose course is turned round is told.
func TestFollowsAir(t *testing.T) {
	m := loadMonth(t)
	for i := range m.air {
		m.air[i] = 10 + 8*math.Sin(float64(i)/96/3)
	}
	for name, fixed := range map[string]bool{"fixed at 20 degC": true, "compensated": false} {
		k := mistake{name: name, columns: "level,temperature", log: func(m *month, i int) []float64 {
			h := m.head[i]
			if i/96 == 20 {
				h = m.head[20*96+95-i%96] // the day runs backwards
			}
			if fixed {
				h = trueE - (trueE-h)*sqrtRatio(20, m.air[i])
			}
			return []float64{h, m.air[i]}
		}, settings: settings("empty_distance = \"1.5 m\"\n", notch90), change: "[screening]\nair_temperature = true\n"}
		p := undo(t, &m, &k, "%.4f").result.Pattern
		if follows := p.Correlation > 0.8; follows != fixed || fixed && math.Abs(p.PerKelvin-1.4/2/283.15*1000) > 0.5 {
			t.Errorf("%s: %+v", name, p)
		}
		if !slices.Contains(p.Broken, "2031-03-21") || len(p.Broken) > 2 {
			t.Errorf("%s: days %v are unlike those before", name, p.Broken)
		}
	}
}
