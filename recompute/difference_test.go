package recompute_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"retotal/recompute"
)

// TestUncertaintyOfDifference: of after less before, against 20,000 draws of both lanes through the ratings, with the
// same error in both where both have it: the datum (but where a correction has a survey of its own: then its error is
// after's alone), the coefficient, the noise of each reading. Within 10 %, in six sites.
func TestUncertaintyOfDifference(t *testing.T) {
	const n, draws = 97, 20000
	heads := make([]float64, n)
	for i := range heads {
		heads[i] = 0.08 + 0.04*math.Sin(float64(i)/15)
	}
	const halfway = "2031-03-01T04:00:00" // reading 48
	low := func(h float64) float64 { return h }
	for _, c := range []struct {
		name, quantity, device string
		scale                  float64 // of the heads
		settings, change       string
		surveys                []float64 // standard uncertainty of each half, m; 0 for the datum's
		off                    []float64 // m, head before less head after in each half
		cap                    float64   // m, highest head that the meter shows; 0 for none
		shown                  func(h float64) float64
	}{
		{
			name:     "V-notch at low head, datum wrong in the first half",
			quantity: "level",
			device:   "kind = \"v-notch\"\nangle = \"90 deg\"\n",
			scale:    1,
			settings: "empty_distance = \"1.52 m\"\n",
			change:   "[[correction]]\nuntil = " + halfway + "\nreason = \"x\"\nempty_distance = \"1.50 m\"\n",
			off:      []float64{0.02, 0},
			shown:    low,
		},
		{
			name:     "Parshall",
			quantity: "level",
			device:   "kind = \"parshall\"\nthroat = \"9 in\"\n",
			scale:    2,
			settings: "empty_distance = \"1.52 m\"\n",
			change:   "[[correction]]\nreason = \"x\"\nempty_distance = \"1.50 m\"\nuncertainty = \"3 mm\"\n",
			surveys:  []float64{0.0015, 0.0015},
			off:      []float64{0.02, 0.02},
			shown:    low,
		},
		{
			name:     "Manning",
			quantity: "level",
			device: "kind = \"manning\"\nsection = \"circular\"\ndiameter = \"0.6 m\"\n" +
				"roughness = 0.013\nslope = 0.002\n",
			scale:    2,
			settings: "empty_distance = \"1.51 m\"\n",
			change:   "[[correction]]\nuntil = " + halfway + "\nreason = \"x\"\nempty_distance = \"1.50 m\"\n",
			off:      []float64{0.01, 0},
			shown:    low,
		},
		{
			name:     "table",
			quantity: "level",
			device: "kind = \"table\"\n" +
				"points = [[\"0.02 m\", \"1 L/s\"], [\"0.1 m\", \"9 L/s\"], " +
				"[\"0.2 m\", \"40 L/s\"], [\"0.4 m\", \"160 L/s\"]]\n",
			scale:    2,
			settings: "empty_distance = \"1.51 m\"\n",
			change: "[[correction]]\nfrom = " + halfway + "\nreason = \"x\"\nempty_distance = \"1.50 m\"\n" +
				"uncertainty = \"5 mm\"\n",
			surveys: []float64{0, 0.0025},
			off:     []float64{0, 0.01},
			shown:   low,
		},
		{
			name:     "level log with two surveys",
			quantity: "level",
			device:   "kind = \"v-notch\"\nangle = \"60 deg\"\n",
			scale:    2,
			settings: "empty_distance = \"1.52 m\"\n",
			change: "[[correction]]\nuntil = " + halfway + "\nreason = \"x\"\nempty_distance = \"1.50 m\"\n" +
				"uncertainty = \"4 mm\"\n" +
				"[[correction]]\nfrom = " + halfway + "\nreason = \"x\"\nempty_distance = \"1.51 m\"\n" +
				"uncertainty = \"2 mm\"\n",
			surveys: []float64{0.002, 0.001},
			off:     []float64{0.02, 0.01},
			shown:   low,
		},
		{
			name:     "flow log with caps",
			quantity: "flow",
			device:   "kind = \"v-notch\"\nangle = \"90 deg\"\n",
			scale:    2,
			settings: "empty_distance = \"1.52 m\"\nmaximum_head = \"0.21 m\"\nchannel_depth = \"0.6 m\"\n",
			change:   "[[correction]]\nreason = \"x\"\nempty_distance = \"1.50 m\"\nuncertainty = \"4 mm\"\n",
			surveys:  []float64{0.002, 0.002},
			off:      []float64{0.02, 0.02},
			cap:      0.21,
		},
	} {
		text := "[screening]\nspike = \"keep\"\nstuck = \"keep\"\n" +
			"[uncertainty]\ndatum = \"3 mm\"\nreading = \"2 mm\"\ncoefficient = \"2 %\"\n" +
			"[settings]\n" + c.settings + "[settings.device]\n" + c.device + c.change
		half := func(i int) int {
			if i < 48 {
				return 0
			}
			return 1
		}
		figures := func(rating interface{ Flow(float64) float64 }) string {
			var values []string
			for i, h := range heads {
				v := h*c.scale + c.off[half(i)] // level above the datum of the corrected lane, as the meter has it
				if c.quantity == "flow" {
					v = rating.Flow(math.Min(v, c.cap))
				}
				values = append(values, fmt.Sprintf("%.17g", v))
			}
			return every5(values, c.quantity)
		}
		r := withBudget(t, siteOf(t, c.quantity, figures(fixed{}), text))
		rating := r.Corrected.Segments[0].Rating
		if c.quantity == "flow" {
			r = withBudget(t, siteOf(t, c.quantity, figures(rating), text))
		}
		random := rand.New(rand.NewPCG(7, uint64(len(c.name))))
		sum, squares := 0.0, 0.0
		for range draws {
			datum, coefficient := 0.0015*random.NormFloat64(), 1+0.01*random.NormFloat64()
			survey := []float64{random.NormFloat64(), random.NormFloat64()}
			if len(c.surveys) == 2 && strings.Count(c.change, "[[correction]]") == 1 {
				survey[1] = survey[0]
			}
			previous, volume := 0.0, 0.0
			for i, h := range heads {
				after, before := datum, datum
				if c.surveys != nil && c.surveys[half(i)] > 0 {
					after, before = c.surveys[half(i)]*survey[half(i)], 0
				}
				noise := 0.001 * random.NormFloat64()
				a, b := h*c.scale, h*c.scale+c.off[half(i)]
				if c.cap > 0 && b >= c.cap {
					// What the meter showed is its cap, whatever the errors; after counts the least.
					b = c.cap
					a, noise, before = c.cap-c.off[half(i)], 0, 0
				}
				q := coefficient * (rating.Flow(a+after+noise) - rating.Flow(b+before+noise))
				if i > 0 {
					volume += (previous + q) / 2 * 300
				}
				previous = q
			}
			sum, squares = sum+volume, squares+volume*volume
		}
		deviation := math.Sqrt(squares/draws - sum/draws*sum/draws)
		t.Logf("%-52s difference %9.3f m3, known to %.4f by draws, %.4f by the budget (u)",
			c.name, r.Total.Difference(), deviation, r.Total.Budget.Difference)
		if ratio := r.Total.Budget.Difference / deviation; math.Abs(ratio-1) > 0.10 {
			t.Errorf("%s: the budget gives %.3f of the draws", c.name, ratio)
			for _, p := range r.Total.Budget.Parts {
				t.Logf("    %-30s %.4f on after, %.4f on the difference", p.Component.Name, p.Effect, p.Difference)
			}
		}
	}
}

// fixed is a rating that is not asked.
type fixed struct{}

func (fixed) Flow(float64) float64 { return 0 }

// TestNoCorrectionNoDifference: without a correction the settings part is exactly 0 and known exactly, whatever
// screening does.
func TestNoCorrectionNoDifference(t *testing.T) {
	m := loadMonth(t)
	r := withBudget(t, writeMonth(t, &m, ""))
	if s := r.Total.Split(); s != (recompute.Split{}) || r.Total.Difference() != 0 {
		t.Errorf("%+v", s)
	}
	if u := r.Total.Budget.Difference; u > 1e-9 {
		t.Errorf("a difference of nothing is known to %v m3", u)
		for _, p := range r.Total.Budget.Parts {
			t.Logf("    %-30s %.4f on after, %.4f on the difference", p.Component.Name, p.Effect, p.Difference)
		}
	}
}

// TestNoiseLifts: 20 mm of noise at 100 mm of head lift the mean flow of a notch: by half of Q″ times the variance,
// ½·2.5·1.5·(20/100)² = 7.5 % of the flow of the mean head, and a little more by the fourth moment. The interval allows
// for it, and the lift is known from the scatter of the readings alone.
func TestNoiseLifts(t *testing.T) {
	random := rand.New(rand.NewPCG(3, 4))
	var values []float64
	for range 2881 {
		values = append(values, 0.1+0.02*random.NormFloat64())
	}
	r := withBudget(t, siteOf(t, "level", minutesOf(values, "m"), "[screening]\nspike = \"keep\"\nstuck = \"keep\"\n"+
		"[settings]\n[settings.device]\n"+notch90))
	truth := notch(0.1, 90) * 172800
	lifted := r.Total.After.M3() - truth
	if lifted/truth < 0.05 || math.Abs(r.Total.Tally.Lift/lifted-1) > 0.25 {
		t.Errorf("lifted by %.2f m3 of %.2f, said to be %.2f", lifted, truth, r.Total.Tally.Lift)
	}
	if x, ok := r.Total.Interval(); !ok || !x.Wide || x.Low > truth || x.High < truth {
		t.Errorf("%+v does not hold %.2f", x, truth)
	}
	calm := loadMonth(t)
	if r := withBudget(t, writeMonth(t, &calm, "")); r.Total.Tally.Lift > r.Total.Budget.Expanded()/10 {
		t.Errorf("storms without noise are said to lift by %.2f m3", r.Total.Tally.Lift)
	}
}

// TestMeansAreNotScreened: of means only bounds are known, and the least counts. What that takes off a total is none of
// screening's doing where nothing was screened: it belongs to the settings where these were corrected, and to what the
// log does not show where they were not.
func TestMeansAreNotScreened(t *testing.T) {
	var levels, litres []float64
	for i := range 1200 {
		h := 0.2 + 0.1*math.Sin(float64(i)/57)
		levels, litres = append(levels, h), append(litres, 1000*math.Pow(h, 2.5))
	}
	with := func(limits, correction string) string {
		return "[settings]\nempty_distance = \"1 m\"\n" + limits + "[settings.device]\nkind = \"power\"\n" +
			"coefficient = 1\nexponent = 2.5\nhead_unit = \"m\"\nflow_unit = \"m3/s\"\n" + correction
	}
	const depth, highest = "channel_depth = \"0.5 m\"\n", "maximum_head = \"0.5 m\"\n"
	const begin = "[[correction]]\nreason = \"test\"\n"
	const datum, bent = begin + "empty_distance = \"0.98 m\"\n", begin + "[correction.device]\nexponent = 2.2\n"
	ofLevels := func(more string) string { return siteOf(t, "level", minutesOf(levels, "m"), with(depth, more)) }
	ofFlows := func(more string) string { return siteOf(t, "flow", minutesOf(litres, "L/s"), with(highest, more)) }
	for name, c := range map[string]struct {
		file      string
		corrected bool
	}{
		"levels":                {ofLevels(""), false},
		"levels, datum":         {ofLevels(datum), true},
		"flows, datum":          {ofFlows(datum), true},
		"flows, bent downwards": {ofFlows(bent), true},
	} {
		r := run(t, replaceIn(t, c.file, "[log]\n", "[log]\nvalues = \"means\"\n"))
		s, total := r.Total.Split(), r.Total.After.M3()
		if r.Total.Bracketed.High.M3() <= r.Total.Bracketed.Low.M3() {
			t.Errorf("%s: nothing is left open", name)
		}
		if math.Abs(s.Screening) > 1e-9*total {
			t.Errorf("%s: %g m3 of %g are said to be screening", name, s.Screening, total)
		}
		if (math.Abs(s.Settings) > 1e-9*total) != c.corrected {
			t.Errorf("%s: %g m3 of %g are said to be settings", name, s.Settings, total)
		}
		for _, f := range r.Flags {
			if math.Abs(f.Effect) > 1e-9*total {
				t.Errorf("%s: %d readings flagged %s have an effect of %g m3", name, f.Rows, f.Check, f.Effect)
			}
		}
	}
}
