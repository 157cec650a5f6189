package recompute_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"slices"
	"strings"
	"testing"
	"time"

	"retotal/recompute"
	"retotal/recompute/total"
)

// minutesOf writes a log of one quantity, a reading a minute, at full precision.
func minutesOf(values []float64, unit string) string {
	var b strings.Builder
	fmt.Fprintf(&b, "Time,Value (%s)\n", unit)
	at := time.Date(2031, 3, 1, 0, 0, 0, 0, time.UTC)
	for i, v := range values {
		if !math.IsNaN(v) {
			fmt.Fprintf(&b, "%s,%.17g\n", at.Add(time.Duration(i)*time.Minute).Format("2006-01-02 15:04:05"), v)
		}
	}
	return b.String()
}

// siteOf writes a site of one quantity.
func siteOf(t testing.TB, quantity, log, more string) string {
	t.Helper()
	file := simple(t.(*testing.T), log, more)
	return replaceIn(t, file, "distance = \"Distance\"", quantity+" = \"Value\"")
}

// TestHeldForHours: a flow log that stands at its maximum for three hours is bounded, not stuck. Q = 0.1 m²/s × h. The
// flow rises in an hour from 10 to 40 L/s, on to 60 L/s in an hour and a half, and falls as it rose; the meter shows no
// more than 40 L/s. Worked out by hand: at least 50 L/s × 3600 s + 40 L/s × 10,800 s.
func TestHeldForHours(t *testing.T) {
	var shown []float64
	for i := range 301 {
		far := math.Abs(float64(i) - 150) // minutes from the peak
		flow := 0.060 - 0.020*far/90
		if far > 90 {
			flow = 0.040 - 0.030*(far-90)/60
		}
		shown = append(shown, math.Min(flow, 0.040))
	}
	const least = 0.050*3600 + 0.040*10800
	for name, c := range map[string]struct {
		more string
		most float64
	}{
		"open":                {"", math.Inf(1)},
		"channel 0.7 m deep":  {"channel_depth = \"0.7 m\"\n", 0.050*3600 + 0.070*10680 + (0.070+0.040)/2*0},
		"by its maximum head": {"maximum_head = \"0.4 m\"\n", math.Inf(1)},
	} {
		limit := "maximum_flow = \"40 L/s\"\n"
		if strings.Contains(c.more, "maximum_head") {
			limit = ""
		}
		r := run(t, siteOf(t, "flow", minutesOf(shown, "m3/s"), "[settings]\n"+limit+c.more+tenth))
		upper, known := r.Total.Upper()
		if stuck := rowsOf(r, "stuck"); stuck != 0 || rowsOf(r, "capped") != 181 {
			t.Errorf("%s: %d readings stuck, %d capped", name, stuck, rowsOf(r, "capped"))
		}
		near(t, name+", at least", r.Total.Lower(), least)
		near(t, name+", after", r.Total.After.M3(), least)
		switch {
		case math.IsInf(c.most, 1) && known:
			t.Errorf("%s: at most %v", name, upper)
		case !math.IsInf(c.most, 1): // the steps into and out of the cap go from its flow to the depth's
			near(t, name+", at most", upper, 0.050*3600-(0.0395+0.040)/2*120+0.070*10800+(0.0395+0.070)/2*120)
		}
	}
}

// rowsOf is how many readings a check flagged.
func rowsOf(r *recompute.Result, check string) int {
	for _, f := range r.Flags {
		if f.Check == check {
			return f.Rows
		}
	}
	return -1
}

// TestDeadEnds: readings at an end that was reached or left by a jump say nothing: they are missing and not a lower
// bound. Reached as the water of the record comes and goes, they are bounded. Distances in metres, one a minute; the
// sensor sees nothing nearer than 0.3 m.
func TestDeadEnds(t *testing.T) {
	random := rand.New(rand.NewPCG(5, 6))
	calm := func(n int, from, to float64) (out []float64) {
		for i := range n {
			out = append(out, math.Round((from+(to-from)*float64(i)/float64(n)+0.0008*random.NormFloat64())*1000)/1000)
		}
		return out
	}
	at := func(n int, v float64) (out []float64) { return append(out, repeat(v, n)...) }
	join := func(parts ...[]float64) (out []float64) {
		for _, p := range parts {
			out = append(out, p...)
		}
		return out
	}
	settings := "[settings]\nempty_distance = \"1 m\"\nblanking_distance = \"0.3 m\"\n" + tenth
	for _, c := range []struct {
		name       string
		distances  []float64
		dead, near int
	}{
		{"dirt for two hours", join(calm(300, 0.85, 0.84), at(120, 0.29), calm(300, 0.84, 0.83)), 120, 120},
		{"dirt that is cleaned off slowly", join(calm(300, 0.85, 0.84), at(120, 0.29), calm(120, 0.305, 0.80), calm(200, 0.80, 0.83)), 120, 120},
		{"a flood", join(calm(300, 0.85, 0.84), calm(200, 0.84, 0.303), at(120, 0.298), calm(200, 0.303, 0.84)), 0, 120},
		{"a glitch of two readings", join(calm(300, 0.85, 0.84), at(2, 0.29), calm(300, 0.84, 0.83)), 0, 2},
	} {
		r := run(t, simple(t, minutes(c.distances...), settings))
		if dead, near := rowsOf(r, "dead"), rowsOf(r, "blanking"); dead != c.dead || near != c.near {
			t.Errorf("%s: %d dead and %d too near, want %d and %d", c.name, dead, near, c.dead, c.near)
		}
		if missing := r.Total.Coverage() < 1; missing != (c.dead > 0) {
			t.Errorf("%s: covers %v", c.name, r.Total.Coverage())
		}
		if bounded := r.Total.Classes[total.Bounded].Covered > 0; bounded != (c.name == "a flood") {
			t.Errorf("%s: bounded %v", c.name, bounded)
		}
	}
}

// TestBadReadingInAStorm: a storm beyond an end of what the meter shows is known between bounds; one reading of zero in
// the middle of it does not make it a fault, whether the water stands inside the blanking distance or at the cap.
func TestBadReadingInAStorm(t *testing.T) {
	random := rand.New(rand.NewPCG(5, 7))
	storm := func(odd bool) (levels []float64) {
		for i := range 1200 {
			far := math.Abs(float64(i) - 600)
			levels = append(levels, math.Round(1000*(0.1+0.5*math.Exp(-far/150))+random.NormFloat64())/1000)
		}
		if odd {
			levels[640] = 0
		}
		return levels
	}
	for name, settings := range map[string]string{
		"blanking": "[settings]\nempty_distance = \"1 m\"\nblanking_distance = \"0.6 m\"\n" + tenth,
		"cap":      "[settings]\nempty_distance = \"1 m\"\nmaximum_flow = \"40 L/s\"\n" + tenth,
		"maximum":  "[settings]\nempty_distance = \"1 m\"\nmaximum_head = \"0.4 m\"\n" + tenth,
	} {
		lower := [2]float64{}
		for i, odd := range []bool{false, true} {
			levels := storm(odd)
			for k, l := range levels {
				levels[k] = 1 - l
			}
			r := run(t, simple(t, minutes(levels...), settings))
			if got := rowsOf(r, "dead"); got > 0 {
				t.Errorf("%s, odd %v: %d dead readings", name, odd, got)
			}
			lower[i] = r.Total.Lower()
		}
		if math.Abs(lower[1]-lower[0]) > 0.01*lower[0] {
			t.Errorf("%s: at least %v m3, %v with one bad reading", name, lower[0], lower[1])
		}
	}
}

func repeat(v float64, n int) (out []float64) {
	for range n {
		out = append(out, v)
	}
	return out
}

// TestDeadFlow: a flow log whose sensor dies at zero for two hours is missing there; valves that stop the flow again
// and again are not.
func TestDeadFlow(t *testing.T) {
	for stops, dead := range map[int]int{1: 120, 5: 0} {
		var flows []float64
		for range stops {
			for i := range 400 {
				flows = append(flows, 0.020+0.0001*math.Sin(float64(i)/20))
			}
			flows = append(flows, repeat(0, 120)...)
		}
		flows = append(flows, repeat(0.020, 10)...)
		r := run(t, siteOf(t, "flow", minutesOf(flows, "m3/s"), "[settings]\n"+tenth))
		if got := rowsOf(r, "dead"); got != dead {
			t.Errorf("%d stops: %d dead readings, want %d", stops, got, dead)
		}
	}
}

// TestMaximumHeadOfLevels: a log of levels is capped at the meter's maximum head, unless it shows more; a log of
// distances never is.
func TestMaximumHeadOfLevels(t *testing.T) {
	rise := func(top float64) (out []float64) {
		for i := range 400 {
			out = append(out, math.Min(0.1+0.3*math.Abs(math.Sin(float64(i)/130)), top))
		}
		return out
	}
	settings := "[settings]\nmaximum_head = \"0.3 m\"\n" + tenth
	capped := run(t, siteOf(t, "level", minutesOf(rise(0.3), "m"), settings))
	if _, known := capped.Total.Upper(); known || rowsOf(capped, "capped") < 100 || rowsOf(capped, "stuck") != 0 {
		t.Errorf("levels that stop at 0.3 m: %d capped, %d stuck, bounded above %v",
			rowsOf(capped, "capped"), rowsOf(capped, "stuck"), known)
	}
	more := run(t, siteOf(t, "level", minutesOf(rise(0.39), "m"), settings))
	if _, known := more.Total.Upper(); !known || rowsOf(more, "capped") != 0 {
		t.Errorf("levels that go on to 0.39 m: %d capped, bounded above %v", rowsOf(more, "capped"), known)
	}
}

// TestValidityIsNoCap: above the limit of validity the equation goes on; its coefficient is less sure in proportion,
// doubled at 1.5 times the limit. A broad crest is not asked here but a power law with a V-notch beside it: the notch
// with full contraction is valid to 0.38 m (Bos 1989, from memory), heads stand at 0.57 m.
func TestValidityIsNoCap(t *testing.T) {
	distances := repeat(0.43, 100)
	settings := "[screening]\nstuck = \"keep\"\n" +
		"[uncertainty]\ndatum = \"0.001 mm\"\nreading = \"0.001 mm\"\ncoefficient = \"1 %\"\n" +
		"[settings]\nempty_distance = \"1 m\"\nmaximum_head = \"0.6 m\"\n" +
		"[settings.device]\nkind = \"v-notch\"\nangle = \"90 deg\"\ncontraction = \"full\"\n"
	r := withBudget(t, simple(t, minutes(distances...), settings))
	want := r.Corrected.Segments[0].Rating.Flow(0.57) * 99 * 60
	near(t, "after", r.Total.After.M3(), want)
	if rowsOf(r, "validity") != 100 || rowsOf(r, "surcharge") != 0 {
		t.Errorf("%d beyond validity, %d above the rating", rowsOf(r, "validity"), rowsOf(r, "surcharge"))
	}
	high := r.Corrected.Segments[0].Rating.Limits().High
	if got, double := r.Total.Budget.Expanded()/want, 0.01*(1+2*(0.57/high-1)); math.Abs(got/double-1) > 1e-3 {
		t.Errorf("uncertainty %v, want %v", got, double)
	}
}

// replaceIn replaces text in a file and returns its name.
func replaceIn(t testing.TB, file, old, new string) string {
	t.Helper()
	text, err := os.ReadFile(file)
	if err != nil || !strings.Contains(string(text), old) {
		t.Fatal(err, old)
	}
	if err := os.WriteFile(file, []byte(strings.Replace(string(text), old, new, 1)), 0o644); err != nil {
		t.Fatal(err)
	}
	return file
}

// TestTwoDepthsOfAPipe: a pipe of 0.6 m carries the same flow at two depths above its full flow, so a logged flow there
// is bounded between what the corrected settings make of either; a logged level has one flow. The depths are found here
// by bisection on Manning's equation written out: Q = A R^(2/3) √S / n.
func TestTwoDepthsOfAPipe(t *testing.T) {
	const d, n, slope = 0.6, 0.013, 0.002
	manning := func(h float64) float64 {
		angle := 2 * math.Acos(1-2*h/d)
		area, wetted := d*d/8*(angle-math.Sin(angle)), d/2*angle
		return area * math.Pow(area/wetted, 2.0/3) * math.Sqrt(slope) / n
	}
	depth := func(q, low, high float64, rises bool) float64 {
		for range 200 {
			if middle := (low + high) / 2; (manning(middle) < q) == rises {
				low = middle
			} else {
				high = middle
			}
		}
		return low
	}
	full := manning(d * (1 - 1e-15))
	const peak = 0.938 * d
	shown := 1.04 * full
	a, b := depth(shown, 0.1, peak, true), depth(shown, peak, d, false)
	pipe := "[settings.device]\nkind = \"manning\"\nsection = \"circular\"\ndiameter = \"0.6 m\"\n" +
		"roughness = 0.013\nslope = 0.002\n"
	r := run(t, siteOf(t, "flow", minutesOf(repeat(shown, 60), "m3/s"), "[settings]\nempty_distance = \"2 m\"\n"+
		pipe+
		"[[correction]]\nreason = \"test\"\nempty_distance = \"1.9 m\"\n"))
	upper, known := r.Total.Upper()
	flows := []float64{manning(a - 0.1), manning(b - 0.1)}
	low, high := math.Min(flows[0], flows[1])*59*60, math.Max(flows[0], flows[1])*59*60
	if !known || math.Abs(r.Total.Lower()/low-1) > 1e-6 || math.Abs(upper/high-1) > 1e-6 {
		t.Errorf("between %v and %v (%v), want %v and %v", r.Total.Lower(), upper, known, low, high)
	}
	r = run(t, siteOf(t, "level", minutesOf(repeat(0.57, 60), "m"), "[screening]\nstuck = \"keep\"\n[settings]\n"+pipe))
	near(t, "a depth has one flow", r.Total.After.M3()/(59*60)/manning(0.57), 1)
	if rowsOf(r, "validity") != 60 || rowsOf(r, "surcharge") != 0 {
		t.Errorf("%d flagged as nearly full, %d as surcharge", rowsOf(r, "validity"), rowsOf(r, "surcharge"))
	}
}

// TestDrownedBeyondItsEquation: a Parshall flume of 1 ft at 0.2 m whose water below stands at 0.95 of it has no
// equation: the flow lies between 0 and the last drowned value, that at 0.90. It counts as an estimate of at most that,
// and opens the interval to 0.
func TestDrownedBeyondItsEquation(t *testing.T) {
	log := func(ratio float64) string {
		text := "Time,Value (m),Below (m)\n"
		for i := range 6 {
			text += fmt.Sprintf("2031-03-01 00:0%d:00,0.200,%.3f\n", i, 0.2*ratio)
		}
		return text
	}
	settings := "downstream = \"Below\"\n" +
		"[screening]\nstuck = \"keep\"\n" +
		"[settings]\n[settings.device]\nkind = \"parshall\"\nthroat = \"1 ft\"\n"
	last := withBudget(t, siteOf(t, "level", log(0.90), settings))
	r := withBudget(t, siteOf(t, "level", log(0.95), settings))
	near(t, "at most", r.Total.After.M3(), last.Total.After.M3())
	near(t, "estimated", r.Total.Classes[total.Estimated].M3(), last.Total.After.M3())
	if x, ok := r.Total.Interval(); !ok || !x.Wide || x.Low != 0 || x.Open || x.High < last.Total.After.M3() {
		t.Errorf("%+v, %v", x, ok)
	}
	if x, _ := last.Total.Interval(); x.Wide {
		t.Errorf("the equation holds at 0.90: %+v", x)
	}
}

// TestStopsThatAreNoFaults: pumps that drive a meter to its cap again and again are how this water comes; a sensor that
// is dead behind an averaged reading on the way down is dead all the same. A zero that the log begins or ends with may
// be a bed that was dry until a flood came, or a valve: it is kept. So is one before every flood.
func TestStopsThatAreNoFaults(t *testing.T) {
	wave := func(from, n int) (out []float64) {
		for i := range n {
			out = append(out, 0.12+0.04*math.Sin(float64(from+i)/170))
		}
		return out
	}
	var pumps []float64
	for i := range 3000 {
		if pumps = append(pumps, 0.03); i%60 < 20 {
			pumps[i] = 0.15
		}
	}
	var flood []float64 // comes as a front, recedes over hours
	for i := range 600 {
		flood = append(flood, math.Round(500*math.Exp(-float64(i)/100))/1000)
	}
	zero := "below_zero = \"clamped\"\n"
	dead := slices.Concat(wave(0, 600), repeat(0, 500), wave(1100, 600))
	half := slices.Concat(wave(0, 600), []float64{0.06}, repeat(0, 500), wave(1100, 600))
	for name, c := range map[string]struct {
		levels   []float64
		settings string
		dead     int
	}{
		"pumps to the cap":        {pumps, "maximum_head = \"0.15 m\"\n", 0},
		"dead in the middle":      {dead, zero, 500},
		"dead behind half a step": {half, zero, 500},
		"zero from the beginning": {dead[600:], zero, 0},
		"zero until the end":      {dead[:1100], zero, 0},
		"a flood on a dry bed":    {slices.Concat(repeat(0, 900), flood, repeat(0, 900)), zero, 0},
		"three of them": {
			slices.Concat(repeat(0, 900), flood, repeat(0, 900), flood, repeat(0, 900), flood, repeat(0, 900)), zero, 0,
		},
	} {
		text := "[settings]\n" + c.settings + "[settings.device]\n" + power(1.4, 2.5)
		r := run(t, siteOf(t, "level", minutesOf(c.levels, "m"), text))
		if got := rowsOf(r, "dead"); got != c.dead {
			t.Errorf("%s: %d dead readings, want %d", name, got, c.dead)
		}
	}
}

// TestEndsOfLoops: a meter that clips at 20 mA stands at its end there; one whose log goes on to 20.5 mA stands there.
// Levels of a span of 0 to 0.2 m, Q = 0.1 m²/s × h; the water stands above the span for 4 h of 12.
func TestEndsOfLoops(t *testing.T) {
	for name, top := range map[string]float64{"20 mA": 0.2, "20.5 mA": 0.2 * 16.5 / 16} {
		var levels []float64
		truth := 0.0
		for i := range 721 {
			h := math.Max(0.1, 0.25-0.15*math.Abs(float64(i)-360)/360)
			if levels = append(levels, math.Min(h, top)); i > 0 {
				truth += 0.1 * h * 60
			}
		}
		loop := "loop = { low = \"0 m\", high = \"0.2 m\" }\n"
		text := "[settings]\n" + loop + "channel_depth = \"0.4 m\"\n" + tenth
		r := run(t, siteOf(t, "level", minutesOf(levels, "m"), text))
		upper, known := r.Total.Upper()
		if rowsOf(r, "stuck") != 0 || rowsOf(r, "capped") < 180 || !known || r.Total.Lower() > truth || upper < truth {
			t.Errorf("%s: %d stuck, %d capped, %v to %v (%v), truth %v",
				name, rowsOf(r, "stuck"), rowsOf(r, "capped"), r.Total.Lower(), upper, known, truth)
		}
	}
}

// TestBlankingOfFlows: water nearer than the blanking distance is hidden whatever the meter logs of it.
func TestBlankingOfFlows(t *testing.T) {
	for _, quantity := range []string{"level", "head", "flow"} {
		var figures []float64
		for i := range 721 {
			h := math.Min(0.1+0.2*math.Max(0, 1-math.Abs(float64(i)-360)/360), 0.2)
			if quantity == "flow" {
				h *= 0.1
			}
			figures = append(figures, h)
		}
		unit := "m"
		if quantity == "flow" {
			unit = "m3/s"
		}
		text := "[settings]\nempty_distance = \"0.6 m\"\nblanking_distance = \"0.4 m\"\n" + tenth
		r := run(t, siteOf(t, quantity, minutesOf(figures, unit), text))
		if _, known := r.Total.Upper(); known || rowsOf(r, "stuck") != 0 || rowsOf(r, "capped") < 300 {
			t.Errorf("%s: %d stuck, %d capped, bounded above %v",
				quantity, rowsOf(r, "stuck"), rowsOf(r, "capped"), known)
		}
	}
}

// TestFaultBeyondAnEnd: a sensor that is dead above an end of the meter, or below one, shows nothing of where the meter
// ends: what stands at the end stays bounded. Levels of a loop of 0 to 0.4 m, capped at 0.25 m by the maximum head for
// four hours, dead at full scale for six minutes or five hours.
func TestFaultBeyondAnEnd(t *testing.T) {
	for _, minutes := range []int{6, 300} {
		var levels []float64
		for i := range 2880 {
			h := 0.12 + 0.03*math.Sin(float64(i)/230) + 0.25*math.Exp(-math.Pow(float64(i-2000)/150, 2))
			levels = append(levels, math.Min(h, 0.25))
		}
		for i := range minutes {
			levels[600+i] = 0.4
		}
		text := "[settings]\nmaximum_head = \"0.25 m\"\nloop = { low = \"0 m\", high = \"0.4 m\" }\n" +
			"[settings.device]\n" + power(1.4, 2.5)
		r := run(t, siteOf(t, "level", minutesOf(levels, "m"), text))
		bounded := r.Total.Classes[total.Bounded].Covered
		if _, known := r.Total.Upper(); known || rowsOf(r, "dead") != minutes || rowsOf(r, "stuck") != 0 ||
			bounded < 3*int64(time.Hour) {
			t.Errorf("%d minutes dead: %d dead, %d capped, %d stuck, bounded %v h, open %v",
				minutes, rowsOf(r, "dead"), rowsOf(r, "capped"), rowsOf(r, "stuck"),
				float64(bounded)/3600e9, !known)
		}
	}
}

// TestDeadBelowZero: a loop of 4 to 20 mA from zero level whose sensor is dead at 3.8 mA for 200 minutes, with water
// before and after.
func TestDeadBelowZero(t *testing.T) {
	var levels []float64
	for i := range 1440 {
		levels = append(levels, 0.12+0.03*math.Sin(float64(i)/230))
	}
	for i := range 200 {
		levels[600+i] = -0.0125 * 0.4
	}
	r := run(t, siteOf(t, "level", minutesOf(levels, "m"), "[settings]\nloop = { low = \"0 m\", high = \"0.4 m\" }\n"+
		"[settings.device]\n"+power(1.4, 2.5)))
	if rowsOf(r, "dead") != 200 || r.Total.Coverage() > 0.87 {
		t.Errorf("%d dead, covers %v", rowsOf(r, "dead"), r.Total.Coverage())
	}
}

// TestDrownedAtTheCap: a reading at the cap that is drowned too is held at no more than its drowned flow, and at
// nothing where no equation is known. Levels stand at 0.25 m, the meter's most; the water below stands at 0.2 m, over
// the modular limit of 0.7 that the rating is given.
func TestDrownedAtTheCap(t *testing.T) {
	log := "Time,Value (m),Below (m)\n"
	for i := range 10 {
		log += fmt.Sprintf("2031-03-01 00:%02d:00,0.250,0.200\n", i)
	}
	r := run(t, siteOf(t, "level", log, "downstream = \"Below\"\n"+
		"[settings]\nmaximum_head = \"0.25 m\"\nchannel_depth = \"0.5 m\"\n"+
		"[settings.device]\nmodular_limit = 0.7\n"+power(1.4, 2.5)))
	upper, known := r.Total.Upper()
	near(t, "at least", r.Total.Lower(), 0)
	if near(t, "at most", upper, 1.4*math.Pow(0.5, 2.5)*540); !known {
		t.Error("open")
	}
}

// TestKeptIsNotKnown: to keep a reading that the meter hid does not make it more than a bound, and a spike that is kept
// carries no more than the channel. Q = 0.1 m²/s × h; the sums are worked out by hand.
func TestKeptIsNotKnown(t *testing.T) {
	var shown []float64 // an hour up from 10 to 40 L/s, an hour at the maximum, an hour down
	for i := range 181 {
		shown = append(shown, math.Min(0.040, 0.010+0.030*math.Min(float64(i), 180-float64(i))/60))
	}
	for _, action := range []string{"hold", "keep"} {
		text := fmt.Sprintf("[screening]\ncapped = %q\n[settings]\nmaximum_flow = \"40 L/s\"\n", action)
		r := run(t, siteOf(t, "flow", minutesOf(shown, "m3/s"), text+tenth))
		near(t, action+", at least", r.Total.Lower(), 0.025*3600*2+0.040*3600)
		bounded := r.Total.Classes[total.Bounded].Covered
		if _, known := r.Total.Upper(); known || bounded < int64(time.Hour) {
			t.Errorf("%s: the top is taken for known: bounded for %v", action, time.Duration(bounded))
		}
	}
	for depth, spike := range map[string]float64{"0.5 m": 0.050, "0.899 m": 0.0899, "0.9 m": 0.090, "": 0.090} {
		levels := repeat(0.3, 61)
		levels[30] = 0.9
		limit := ""
		if depth != "" {
			limit = "channel_depth = \"" + depth + "\"\n"
		}
		r := run(t, siteOf(t, "level", minutesOf(levels, "m"), "[screening]\nspike = \"keep\"\nstuck = \"keep\"\n"+
			"[settings]\n"+limit+tenth))
		near(t, "spike in a channel of "+depth, r.Total.After.M3(), 0.030*3600+(spike-0.030)*60)
	}
}

// TestKeptBelowCutOff: a meter shows flows under 2 L/s as zero, Q = 0.1 m²/s × h; the level of zero flow was 10 mm
// higher, so that all flows are 1 L/s less and between 0 and 1 L/s flowed while it showed zero. Whether its zeros are
// held or kept, they hide that much, although zero lies below the corrected crest. Trapezoids by hand, of readings an
// hour apart.
func TestKeptBelowCutOff(t *testing.T) {
	shown := []float64{5, 4, 3, 2.2, 0, 0, 0, 0, 0, 2.2, 3, 4, 5}
	log, least, most := "Time,Value\n", 0.0, 0.0
	flows := func(i int) (low, high float64) {
		if shown[i] == 0 {
			return 0, 1
		}
		return shown[i] - 1, shown[i] - 1
	}
	for i, q := range shown {
		log += fmt.Sprintf("2031-03-01 %02d:00:00,%.4f\n", i, q/1000)
		if i > 0 {
			low0, high0 := flows(i - 1)
			low, high := flows(i)
			least, most = least+(low0+low)/2*3.6, most+(high0+high)/2*3.6
		}
	}
	const settings = "[settings]\nflow_cut_off = \"2 L/s\"\n" + tenth + "[[correction]]\nreason = \"survey\"\n" +
		"level_of_zero_flow = \"0.010 m\"\n"
	for _, screening := range []string{"", "[screening]\ndefault = \"keep\"\n"} {
		file := simple(t, log, screening+settings)
		r := run(t, replaceIn(t, file, "distance = \"Distance\"", `flow = { name = "Value", unit = "m3/s" }`))
		upper, known := r.Total.Upper()
		if lower := r.Total.Lower(); math.Abs(lower-least) > 1e-6 || !known || math.Abs(upper-most) > 1e-6 {
			t.Errorf("%q: between %.3f and %.3f m3, want %.3f and %.3f", screening, lower, upper, least, most)
		}
	}
}
