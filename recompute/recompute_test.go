package recompute_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"retotal/recompute"
	"retotal/recompute/total"
)

// simple is a site with a rating that can be integrated by hand: Q = 0.1 m²/s × h, empty distance 1 m, one reading a
// minute. more is put at its end.
func simple(t *testing.T, log, more string) string {
	t.Helper()
	dir := t.TempDir()
	text := `id = "simple"
[log]
files = ["log.csv"]
time_zone = "+00:00"
[log.columns]
time = "Time"
distance = "Distance"
` + more
	if !strings.Contains(more, "[settings]") {
		text += `
[settings]
empty_distance = "1 m"
` + tenth
	}
	for name, content := range map[string]string{"site.toml": text, "log.csv": log} {
		if err := os.WriteFile(filepath.Join(dir, name), []byte(content), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	return filepath.Join(dir, "site.toml")
}

// tenth is a device that discharges 0.1 m³/s per metre of head: totals can be worked out by hand.
const tenth = `[settings.device]
kind = "power"
coefficient = 0.1
exponent = 1
head_unit = "m"
flow_unit = "m3/s"
`

// minutes writes a log of distances, one a minute from 2031-03-01 00:00; a negative one leaves its row out.
func minutes(distances ...float64) string {
	var b strings.Builder
	b.WriteString("Time,Distance (m)\n")
	at := time.Date(2031, 3, 1, 0, 0, 0, 0, time.UTC)
	for i, d := range distances {
		if d >= 0 {
			fmt.Fprintf(&b, "%s,%.3f\n", at.Add(time.Duration(i)*time.Minute).Format("2006-01-02 15:04:05"), d)
		}
	}
	return b.String()
}

func near(t *testing.T, what string, got, want float64) {
	t.Helper()
	if math.Abs(got-want) > 1e-9*math.Max(1, math.Abs(want)) {
		t.Errorf("%s: %.12g, want %.12g", what, got, want)
	}
}

// TestStepBetweenReadings: where the corrected settings change, something moved and the water did not jump: the flows
// of the readings on both sides, each by its own settings, are joined with a straight line. Distances stand at 0.9 m,
// so the recorded flow is 0.01 m³/s; the corrected empty distance of 1.1 m gives 0.02 at the reading of minute 2 alone,
// since that of minute 3 belongs to the settings that hold from then on.
func TestStepBetweenReadings(t *testing.T) {
	file := simple(t, minutes(0.9, 0.9, 0.9, 0.9, 0.9), `
[screening]
stuck = "keep"
[[correction]]
from = 2031-03-01T00:01:20
until = 2031-03-01T00:03:00
reason = "by hand"
empty_distance = "1.1 m"
`)
	r := run(t, file)
	near(t, "before", r.Total.Before.M3(), 0.01*240)
	near(t, "after", r.Total.After.M3(), 0.01*240+0.01/2*120)
	if s := r.Total.Split(); math.Abs(s.Screening) > 1e-12 || r.Total.Coverage() != 1 {
		t.Errorf("screening %v m3, coverage %v", s.Screening, r.Total.Coverage())
	}
}

// TestRamp: a drift from 1.0 to 1.1 m over four minutes adds 0.01 m³/s × t/240 s, to the reading of minute 3 at last:
// 0.0075; that of minute 4 is right again. It is prorated by time (DRIFT-2 of the reference): with rows missing the
// total is the same.
func TestRamp(t *testing.T) {
	correction := `
[screening]
stuck = "keep"
[[correction]]
from = 2031-03-01T00:00:00
until = 2031-03-01T00:04:00
reason = "drift found by tape"
empty_distance = { from = "1.0 m", to = "1.1 m" }
`
	for _, log := range []string{minutes(0.9, 0.9, 0.9, 0.9, 0.9), minutes(0.9, -1, -1, 0.9, 0.9)} {
		r := run(t, simple(t, log, correction))
		near(t, "after", r.Total.After.M3(), 0.01*240+0.0075/2*180+0.0075/2*60)
	}
}

// TestChangeOfSettings: the meter's own change counts in both lanes.
func TestChangeOfSettings(t *testing.T) {
	r := run(t, simple(t, minutes(0.9, 0.9, 0.9), `
[settings]
empty_distance = "1 m"
`+tenth+`
[[settings.change]]
at = 2031-03-01T00:00:30
[settings.change.device]
coefficient = 0.2
`))
	near(t, "before", r.Total.Before.M3(), 0.01*30+0.02*90)
	near(t, "after", r.Total.After.M3(), 0.01*30+0.02*90)
}

// TestGapsAndActions: what each action makes of a bad reading, by hand. The flow is 0.01 m³/s except at the reading in
// question.
func TestGapsAndActions(t *testing.T) {
	steady := []float64{0.900, 0.901, 0.899, 0.900, 0.901, 0.899, 0.900, 0.901, 0.899, 0.900, 0.901}
	with := func(i int, v float64) []float64 {
		out := append([]float64(nil), steady...)
		out[i] = v
		return out
	}
	flow := func(d float64) float64 { return math.Max(0, 0.1*(1-math.Round(d*1000)/1000)) }
	trapezoids := func(d []float64, skip func(i int) bool) (sum float64) {
		for i := 1; i < len(d); i++ {
			if !skip(i) {
				sum += (flow(d[i-1]) + flow(d[i])) / 2 * 60
			}
		}
		return sum
	}
	all := func(int) bool { return false }
	const byHand = "[screening]\nspike = { threshold = 3 }\n"
	around5 := func(i int) bool { return i == 5 || i == 6 }
	for _, c := range []struct {
		name, more string
		distances  []float64
		after      float64
		seconds    int64
	}{
		{"nothing odd", "", steady, trapezoids(steady, all), 600},
		{"spike bridged", byHand, with(5, 0.5), trapezoids(steady, around5) + (flow(steady[4])+flow(steady[6]))/2*120, 600},
		{"spike left out", "[screening]\nspike = { action = \"leave-out\", threshold = 3 }\n", with(5, 0.5), trapezoids(steady, around5), 480},
		{"spike kept", "[screening]\nspike = \"keep\"\n", with(5, 0.5), trapezoids(with(5, 0.5), all), 600},
		{"bridge too long", byHand + "bridge_limit = \"90 s\"\n", with(5, 0.5), trapezoids(steady, around5), 480},
		{"what the record cannot tell is kept", "", with(5, 0.5), trapezoids(with(5, 0.5), all), 600},
		{"spike before a gap is no way over it", "gap_limit = \"1 min\"\n",
			func() []float64 { d := with(5, 0.5); d[6] = -1; return d }(),
			trapezoids(steady, func(i int) bool { return i >= 5 && i <= 7 }), 420},
		{"gap within the limit", "", with(5, -1), trapezoids(steady, around5) + (flow(steady[4])+flow(steady[6]))/2*120, 600},
		{"gap beyond the limit", "gap_limit = \"1 min\"\n", with(5, -1), trapezoids(steady, around5), 480},
		{"below zero", "", with(5, 1.004), trapezoids(with(5, 1.004), all), 600},
	} {
		more := c.more
		if strings.HasPrefix(more, "gap_limit") {
			file := simple(t, minutes(c.distances...), byHand)
			text, _ := os.ReadFile(file)
			os.WriteFile(file, []byte(strings.Replace(string(text), "[log]\n", "[log]\n"+more, 1)), 0o644)
			checkAfter(t, c.name, run(t, file), c.after, c.seconds)
			continue
		}
		if c.name == "below zero" { // no spike: the check that is meant
			more = "[screening]\nspike = \"keep\"\n"
		}
		checkAfter(t, c.name, run(t, simple(t, minutes(c.distances...), more)), c.after, c.seconds)
	}
}

func checkAfter(t *testing.T, name string, r *recompute.Result, volume float64, seconds int64) {
	t.Helper()
	near(t, name, r.Total.After.M3(), volume)
	if r.Total.After.Covered != seconds*1e9 {
		t.Errorf("%s: covers %d s, want %d", name, r.Total.After.Covered/1e9, seconds)
	}
}

// TestSurchargeIsBounded: readings above the channel's depth count as the flow at it, and the volume says that it is
// bounded. A maximum head stops only the meter: a logged distance still knows the water, so the corrected flow goes on,
// and what the meter could not show is told apart from settings, which are right.
func TestSurchargeIsBounded(t *testing.T) {
	distances := minutes(0.90, 0.89, 0.88, 0.87, 0.86, 0.85, 0.84, 0.83)
	settings := func(limit string) string { return "\n[settings]\nempty_distance = \"1 m\"\n" + limit + tenth }
	r := run(t, simple(t, distances, settings("channel_depth = \"0.15 m\"\n")))
	near(t, "bounded", r.Total.Classes[total.Bounded].M3(), 0.015*120)
	near(t, "measured", r.Total.Classes[total.Measured].M3(), (0.010+0.015)/2*300)
	near(t, "before", r.Total.Before.M3(), (0.010+0.017)/2*420)
	r = run(t, simple(t, distances, settings("maximum_head = \"0.15 m\"\n")))
	near(t, "measured", r.Total.Classes[total.Measured].M3(), (0.010+0.017)/2*420)
	near(t, "before", r.Total.Before.M3(), (0.010+0.015)/2*300+0.015*120)
	s := r.Total.Split()
	near(t, "beyond what the meter shows", s.Limits, (0.010+0.017)/2*420-(0.010+0.015)/2*300-0.015*120)
	if s.Settings != 0 || math.Abs(s.Screening) > 1e-12 {
		t.Errorf("settings make %v, screening %v", s.Settings, s.Screening)
	}
}

// TestEffectsAddUp: settings and the effects of all flags explain the whole difference, on random logs full of trouble;
// and the sum over days is the total.
func TestEffectsAddUp(t *testing.T) {
	random := rand.New(rand.NewPCG(13, 14))
	for round := range 20 {
		var distances []float64
		d := 0.9
		for range 4000 {
			d = math.Min(1.01, math.Max(0.6, d+0.002*random.NormFloat64()))
			v := math.Round(d*1000) / 1000
			switch random.IntN(60) {
			case 0:
				v = -1
			case 1:
				v = 0.3 + random.Float64()
			}
			if random.IntN(300) == 0 {
				for range random.IntN(30) {
					distances = append(distances, -1)
				}
			}
			distances = append(distances, v)
		}
		settings := `
[settings]
empty_distance = "1.02 m"
maximum_head = "0.30 m"
` + []string{"", "channel_depth = \"0.25 m\"\n"}[round%2] + `[settings.device]
kind = "v-notch"
angle = "90 deg"
`
		corrected := settings +
			"[[correction]]\nuntil = 2031-03-02T12:00:10\nreason = \"by hand\"\nempty_distance = \"1.0 m\"\n"
		keep := "[screening]\nspike = \"keep\"\nstuck = \"keep\"\nsurcharge = \"keep\"\nbelow_zero = \"zero\"\n"
		with := run(t, simple(t, minutes(distances...), corrected))
		without := run(t, simple(t, minutes(distances...), keep+corrected))
		effects := 0.0
		for _, e := range with.Events {
			effects += e.Effect
		}
		for _, f := range with.Flags {
			rows, spans, effect := 0, 0, 0.0
			for _, e := range with.Events {
				if e.Flag == f.Flag {
					rows, spans, effect = rows+e.Rows, spans+e.Spans, effect+e.Effect
				}
			}
			if f.Rows != rows || f.Spans != spans || f.Effect != effect {
				t.Errorf("round %d, %s: %d rows, %d spans, %g m3; its events %d, %d, %g",
					round, f.Check, f.Rows, f.Spans, f.Effect, rows, spans, effect)
			}
		}
		if math.Abs(without.Total.After.M3()+effects-with.Total.After.M3()) > 1e-6 {
			t.Errorf("round %d: unscreened %.6f + screening %.6f is not after %.6f",
				round, without.Total.After.M3(), effects, with.Total.After.M3())
		}
		sum := 0.0
		for i := range with.Days {
			sum += with.Days[i].After.M3()
		}
		near(t, "sum of days", sum, with.Total.After.M3())
		s := with.Total.Split()
		near(t, "parts of the difference", s.Settings+s.Limits+s.Drowned+s.Filled+s.Screening, with.Total.Difference())
	}
}

// TestDrowned: a logged downstream level turns free flow into drowned flow. Villemonte at h2/h1 = 0.5 and n = 1.5
// leaves 0.845386 of the free flow, 1.8589 b h^1.5 of a Cipolletti weir (3.367 in ft); the volume is an estimate, and
// the recorded lane knows nothing of it.
func TestDrowned(t *testing.T) {
	log := "Time,Distance (m),Below (m)\n"
	for i := range 6 {
		log += fmt.Sprintf("2031-03-01 00:0%d:00,0.800,0.1%02d\n", i, 0)
	}
	file := simple(t, log, `downstream = "Below"
[screening]
stuck = "keep"
[settings]
empty_distance = "1 m"
[settings.device]
kind = "cipolletti"
width = "1 m"
`)
	r := run(t, file)
	free := 3.367 * math.Sqrt(0.3048) * math.Pow(0.2, 1.5) * 300
	near(t, "before", r.Total.Before.M3(), free)
	got := r.Total.Classes[total.Estimated].M3()
	if math.Abs(got/free-0.845386) > 1e-6 || math.Abs(r.Total.After.M3()-got) > 1e-12 {
		t.Errorf("estimated %v of %v", got, free)
	}
	if d := r.Drowned; d.Readings != 6 || d.Computed != 6 || d.Spread != 0.10 {
		t.Errorf("%+v", d)
	}
	if s := r.Total.Split(); math.Abs(s.Drowned-(r.Total.After.M3()-r.Total.Before.M3())) > 1e-9 || s.Settings != 0 {
		t.Errorf("drowning explains %v of the difference %v", s.Drowned, r.Total.After.M3()-r.Total.Before.M3())
	}
}

// TestDrownedMeans: the same levels as means over six minutes. Free flow would be that of the mean at the least, since
// Q grows faster than h; drowned it is 0.845386 of that. What flowed at the most is not known any better for it.
func TestDrownedMeans(t *testing.T) {
	log := "Time,Distance (m),Below (m)\n"
	for i := range 6 {
		log += fmt.Sprintf("2031-03-01 00:0%d:00,0.800,0.100\n", i)
	}
	file := simple(t, log, `downstream = "Below"
[settings]
empty_distance = "1 m"
[settings.device]
kind = "cipolletti"
width = "1 m"
`)
	r := run(t, replaceIn(t, file, "[log]\n", "[log]\nvalues = \"means\"\n"))
	free := 3.367 * math.Sqrt(0.3048) * math.Pow(0.2, 1.5) * 360
	if got := r.Total.Lower() / free; math.Abs(got-0.845386) > 1e-6 {
		t.Errorf("at least %v of the free flow", got)
	}
	if upper, known := r.Total.Upper(); known && upper < free {
		t.Errorf("at most %v m3, less than the %v of free flow", upper, free)
	}
}

// TestRulings: a person's decision stands over screening. Distances stand at 0.9 m, so the flow is 0.01 m³/s over 10
// minutes, 6 m³; the reading of minute 5 is a spike down to 0.5 m, 0.05 m³/s, which screening bridges.
func TestRulings(t *testing.T) {
	distances := make([]float64, 11)
	for i := range distances {
		distances[i] = 0.9
	}
	distances[5] = 0.5
	rule := func(text string) string {
		return "[screening]\nstuck = \"keep\"\nspike = { threshold = 3 }\n" +
			"[[ruling]]\nfrom = 2031-03-01T00:04:30\nuntil = 2031-03-01T00:05:30\nreason = \"by hand\"\n" +
			"by = \"test\"\n" + text
	}
	for _, c := range []struct {
		name, more          string
		after, lower, upper float64
		covered             time.Duration
	}{
		{"screening alone", "[screening]\nstuck = \"keep\"\nspike = { threshold = 3 }\n", 6, 6, 6, 10 * time.Minute},
		{"keep: the spike is real", rule("action = \"keep\"\n"), 6 + 0.04*60, 6 + 0.04*60, 6 + 0.04*60, 10 * time.Minute},
		{"keep, of another check", rule("action = \"keep\"\nchecks = [\"surcharge\"]\n"), 6, 6, 6, 10 * time.Minute},
		{"leave out: two minutes are missing", rule("action = \"leave-out\"\n"), 4.8, 4.8, 4.8, 8 * time.Minute},
		{"bridge", rule("action = \"bridge\"\n"), 6, 6, 6, 10 * time.Minute},
		{"value of 20 L/s", rule("action = \"value\"\nflow = \"20 L/s\"\n"), 6 + 0.01*60, 6 + 0.01*60, 6 + 0.01*60, 10 * time.Minute},
		{"between 10 and 40 L/s", rule("action = \"bound\"\nleast = \"10 L/s\"\nmost = \"40 L/s\"\n"), 6, 6, 6 + 0.03*60, 10 * time.Minute},
	} {
		r := run(t, simple(t, minutes(distances...), c.more))
		near(t, c.name, r.Total.After.M3(), c.after)
		near(t, c.name+", at least", r.Total.Lower(), c.lower)
		upper, known := r.Total.Upper()
		near(t, c.name+", at most", upper, c.upper)
		if !known || r.Total.After.Covered != int64(c.covered) {
			t.Errorf("%s: covered %v, upper bound known %v", c.name, time.Duration(r.Total.After.Covered), known)
		}
	}
}

// TestFilling: nothing is put in the place of missing time unless the site file asks; then all of a gap, or nothing of
// one that is too long (NUM-GAP1 of the reference). Flows are 0.01 m³/s, then after a gap of 4 minutes 0.02.
func TestFilling(t *testing.T) {
	log := minutes(0.9, 0.9, 0.9, -1, -1, -1, 0.8, 0.8, 0.8)
	for _, c := range []struct {
		name, more    string
		after, filled float64
	}{
		{"not asked for", "", 0.01*120 + 0.02*120, 0},
		{"linear", "[filling]\nrule = \"linear\"\nlimit = \"4 min\"\n", 3.6 + 0.015*240, 0.015 * 240},
		{"hold", "[filling]\nrule = \"hold\"\nlimit = \"4 min\"\n", 3.6 + 0.01*240, 0.01 * 240},
		{"too long: whole gap or nothing", "[filling]\nrule = \"linear\"\nlimit = \"3 min\"\n", 3.6, 0},
	} {
		r := run(t, simple(t, log, "[screening]\nstuck = \"keep\"\n"+c.more))
		near(t, c.name, r.Total.After.M3(), c.after)
		near(t, c.name+", filled", r.Total.Classes[total.Filled].M3(), c.filled)
		filled := r.Total.Classes[total.Filled].M3()
		if r.Days[0].Classes[total.Filled].M3() != filled || r.Months[0].Classes[total.Filled].M3() != filled {
			t.Errorf("%s: what is filled is not marked up to the month", c.name)
		}
	}
}
