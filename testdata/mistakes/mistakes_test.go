package mistakes

import (
	"maps"
	"math"
	"math/rand/v2"
	"reflect"
	"slices"
	"testing"

	"retotal/recompute/device"
	"retotal/recompute/explain"
	"retotal/testdata/effort"
)

// TestEquations: the equations written out here agree with those of the program, which are held to published tables,
// at all devices that are drawn; so do the second ones that the program has. 0.05 % is what rounded factors come to.
func TestEquations(t *testing.T) {
	random := rand.New(rand.NewPCG(51, 14))
	seen := map[string]int{}
	for range 300 {
		for _, d := range []*primary{deviceOne(random), deviceTwo(random)} {
			seen[d.kind]++
			agrees(t, d, d.settings, d.rate(d.sizes, false))
			if key, name := secondOf(d); d.second && key != "" {
				seen[name]++
				keys := maps.Clone(d.settings)
				keys[key] = name
				agrees(t, d, keys, d.rate(d.sizes, true))
			}
		}
	}
	if len(seen) != 8+4 {
		t.Errorf("%v were seen", seen)
	}
}

// secondOf is how the program names the second equation of a device; "" where it has none.
func secondOf(d *primary) (key, name string) {
	switch {
	case d.kind == "v-notch":
		return "equation", "cone"
	case d.kind == "parshall":
		return "set", "rounded"
	case d.kind == "rectangular" && d.sizes["width"] > 0.999*d.ranges["width"][1]:
		return "equation", "rehbock"
	case d.kind == "rectangular":
		return "equation", "francis"
	}
	return "", ""
}

func agrees(t *testing.T, d *primary, keys map[string]any, rating curve) {
	t.Helper()
	r, issues := device.Build(d.kind, keys)
	if len(issues) > 0 {
		t.Fatalf("%s %v: %v", d.kind, keys, issues)
	}
	for h := d.low / 2; h < d.top*1.1; h += d.top / 50 {
		if q, want := rating(h), r.Flow(h); math.Abs(q/want-1) > 5e-4 {
			t.Errorf("%s %v: at %.3f m %.6f m3/s, the program has %.6f", d.kind, keys, h, q, want)
			return
		}
	}
}

// TestSound: the pairs of a meter that is right are those of its settings to the steps of the log.
func TestSound(t *testing.T) {
	for set := 1; set <= 2; set++ {
		for number := range 12 {
			c := deal(set, 7, number, Clean, "", 0)
			r := c.Record
			rating, _ := device.Build(r.Kind, r.Dimensions)
			shown := func(h float64) float64 {
				q := math.Min(rating.Flow(h)*(1+5e-4), r.MaximumFlow)
				if q < r.CutOff {
					return 0
				}
				return q
			}
			level, flow := c.steps()
			reach := level / 2
			if set == 2 {
				reach = level * 2 // its level has noise of its own
			}
			off := 0
			for _, p := range r.Pairs {
				if p.Flow < shown(p.Head-reach)*(1-1e-3)-flow/2 || p.Flow > shown(p.Head+reach)+flow/2 {
					off++
				}
			}
			if off > 0 && set == 1 || off > len(r.Pairs)/500 {
				t.Errorf("%v: %d of %d pairs are off", c, off, len(r.Pairs))
			}
		}
	}
}

// steps are those of the figures themselves.
func (c *Case) steps() (level, flow float64) {
	level, flow = math.Inf(1), math.Inf(1)
	for i, p := range c.Record.Pairs[1:] {
		before := c.Record.Pairs[i]
		if d := math.Abs(p.Head - before.Head); d > 1e-7 {
			level = math.Min(level, d)
		}
		if d := math.Abs(p.Flow - before.Flow); d > 1e-9 {
			flow = math.Min(flow, d)
		}
	}
	return level, flow
}

// TestSteps: steps that a record states are those of its figures.
func TestSteps(t *testing.T) {
	for set := 1; set <= 2; set++ {
		for number := range 10 {
			c := Make(set, 3, number)
			if c.Record.LevelStep == 0 {
				continue
			}
			level, flow := c.steps()
			if math.Abs(level/c.Record.LevelStep-1) > 0.01 || flow < c.Record.FlowStep*0.99 {
				t.Errorf("%v: steps of %.6f m and %.9f m3/s, stated as %.6f and %.9f", c, level, flow,
					c.Record.LevelStep, c.Record.FlowStep)
			}
		}
	}
}

// TestAgain: a case can be made again by its set, seed and number; another number is another case.
func TestAgain(t *testing.T) {
	a, b, other := Make(2, 5, 33), Make(2, 5, 33), Make(2, 5, 34)
	if !reflect.DeepEqual(a.Record, b.Record) || !reflect.DeepEqual(a.Right, b.Right) {
		t.Error("a case made again differs")
	}
	if reflect.DeepEqual(a.Record.Pairs, other.Record.Pairs) {
		t.Error("two cases are one")
	}
}

// TestNumbers: as many cases of a kind of noise are made as are asked for.
func TestNumbers(t *testing.T) {
	for _, noise := range Noises() {
		var y Tally
		for _, number := range Numbers(3, noise, 7, 5) {
			switch c := Make(1, 3, number); {
			case c.Noise != noise:
				t.Errorf("%v, want %v", c, noise)
			case len(c.Truth.Names) == 0:
				y.Sound++
			default:
				y.Wrong++
			}
		}
		if y.Wrong != 7 || y.Sound != 5 {
			t.Errorf("%v: %d with a mistake and %d without, want 7 and 5", noise, y.Wrong, y.Sound)
		}
	}
}

// class are the names that count as right of a case, beside the truth.
func (c *Case) class() (list []string) {
	for _, a := range c.Right[1:] {
		list = append(list, a.String())
	}
	return list
}

// TestTwins: what is confounded by algebra is found to be; what is not is not. On a power law of exponent n a factor k
// on the head is one of kⁿ on the flow; roughness, the root of the slope and a factor are one; a live zero shifts and
// stretches the head.
func TestTwins(t *testing.T) {
	for number := range 15 {
		c := deal(1, 9, number, Clean, "head factor", 0)
		if c.Record.Kind == "parshall" {
			i := slices.IndexFunc(c.Right, func(a Answer) bool { return a.String() == "flow factor" })
			if i < 0 {
				t.Errorf("%v: %v", c, c.class())
				continue
			}
			n := math.Log(c.Right[i].Values[0]) / math.Log(c.Truth.Values[0])
			if n < 1.52 || n > 1.585 { // of Parshall 1950: 1.522 at 1 ft to 1.58 at 6 in
				t.Errorf("%v: the exponent comes out as %.4f", c, n)
			}
		}
	}
	for number := range 30 {
		for card, want := range map[string][]string{"flow factor": {"roughness", "slope"}, "datum": {}} {
			c := deal(2, 9, number, Clean, card, 0)
			// What a roughness may come to, and no more.
			if k := c.Truth.Values[0]; c.Record.Kind == "manning" && k > 0.7 && k < 1.6 {
				for _, name := range want {
					if !slices.Contains(c.class(), name) {
						t.Errorf("%v: %s is not among %v", c, name, c.class())
					}
				}
			}
			if card == "datum" && slices.Contains(c.class(), "flow factor") {
				t.Errorf("%v: a datum passes for a factor", c)
			}
		}
		c := deal(2, 9, number, Clean, "span offset", 0)
		if c.Record.Kind == "power" && !slices.Contains(c.class(), "datum, flow factor") &&
			!slices.Contains(c.class(), "datum, coefficient") {
			t.Errorf("%v: %v", c, c.class())
		}
	}
}

// truthTold is the finding of somebody who knows the truth.
func truthTold(c *Case) explain.Finding {
	if len(c.Truth.Names) == 0 {
		return explain.Finding{Verdict: explain.Same}
	}
	low, high := slices.Clone(c.Truth.Values), slices.Clone(c.Truth.Values)
	return explain.Finding{Verdict: explain.SettingDiffers, Twins: 1, Best: []explain.Explanation{{
		Names: c.Truth.Names, Values: c.Truth.Values, Low: low, High: high, Since: c.Truth.Since,
		Flow: func(h float64) float64 { return c.wrong.show(h) },
	}}}
}

// TestScore: the truth scores in full, whatever the noise, and its volume comes out; another answer, or none, does not.
func TestScore(t *testing.T) {
	var told, silent, blaming Table
	dealt := map[string]int{}
	for set := 1; set <= 2; set++ {
		for number := range effort.Rounds(60, 200) {
			c := Make(set, 2, number)
			dealt[c.Truth.String()]++
			told = append(told, Judge(c, truthTold(c)))
			silent = append(silent, Judge(c, explain.Finding{Verdict: explain.Same}))
			blaming = append(blaming, Judge(c, explain.Finding{Verdict: explain.SettingDiffers,
				Best: []explain.Explanation{{Names: []string{"crest height"}, Values: []float64{0.1}}}}))
			c.Record.Pairs = nil
		}
	}
	all := func(*Case) bool { return true }
	y := told.Of(all)
	if y.First != y.Wrong || y.TopThree != y.Wrong || y.Claims > 0 || y.InTime != y.Onsets || y.Held != y.Values {
		t.Errorf("the truth scores %+v", y)
	}
	if float64(y.Close) < 0.95*float64(y.Undone) {
		t.Errorf("the truth leaves other volumes: %+v", y)
	}
	if y := silent.Of(all); y.First+y.TopThree+y.Claims+y.InTime+y.Undone > 0 {
		t.Errorf("nothing said scores %+v", y)
	}
	if y := blaming.Of(all); y.First+y.TopThree > 0 || y.Claims != y.Sound {
		t.Errorf("blame scores %+v", y)
	}
	if len(dealt) < 15 {
		t.Errorf("%d kinds of mistakes: %v", len(dealt), dealt)
	}
	t.Logf("%v\n%v", dealt, told)
}

// TestAtMost holds the tail of the binomial distribution to values worked out by hand.
func TestAtMost(t *testing.T) {
	for _, row := range []struct {
		good, of     int
		chance, want float64
	}{{0, 3, 0.5, 0.125}, {1, 3, 0.5, 0.5}, {3, 3, 0.9, 1}, {1, 2, 0.9, 0.19}} {
		if got := AtMost(row.good, row.of, row.chance); math.Abs(got-row.want) > 1e-12 {
			t.Errorf("%+v: %.6f", row, got)
		}
	}
}
