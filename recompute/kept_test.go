package recompute_test

import (
	"fmt"
	"maps"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"
	"time"

	"retotal/ingest/site"
	"retotal/qa"
	"retotal/recompute"
	"retotal/recompute/effect"
	"retotal/testdata/effort"
)

// troubled is a log of minutes or of means over them, full of trouble: spikes to either side, spells of noise and of
// one value, heads below zero and above the channel, gaps, and a second sensor and a level below the device that
// wander off.
func troubled(random *rand.Rand, rows int) string {
	var b strings.Builder
	b.WriteString("Time,Head (m),Other (m),Below (m)\n")
	at := time.Date(2031, 3, 1, 0, 0, 0, 0, time.UTC)
	h, below, off, left, spell := 0.2, 0.0, 0.0, 0, 0
	for range rows {
		at = at.Add(time.Minute)
		h = math.Min(0.45, math.Max(-0.01, h+0.002*random.NormFloat64()))
		if left--; left < 0 {
			left, spell = random.IntN(60), random.IntN(8)
		}
		shown := h
		switch {
		case spell == 0:
			shown += 0.02 * random.NormFloat64()
		case spell == 1:
			shown = 0.15
		case random.IntN(50) == 0:
			shown += 0.4 * (random.Float64() - 0.3)
		}
		below = math.Max(0, 0.98*below+0.02*random.NormFloat64())
		off = 0.98*off + 0.003*random.NormFloat64()
		switch {
		case random.IntN(200) == 0:
			at = at.Add(time.Duration(random.IntN(40)) * time.Minute)
		case random.IntN(10) == 0:
			continue
		}
		fmt.Fprintf(&b, "%s,%.3f,%.3f,%.3f\n", at.Format("2006-01-02 15:04:05"), shown, h+off, below)
	}
	return b.String()
}

// troubledSite is a site for such a log: settings that were changed and corrected, and limits that flag a lot.
func troubledSite(t *testing.T, round int, log, screening, more string) string {
	t.Helper()
	file := siteOf(t, "head", log, `
[screening]
user_range.least    = "0.05 m"
user_range.most     = "0.3 m"
rate_of_change.up   = "10 mm"
rate_of_change.down = "10 mm"
rate_of_change.per  = "1 min"
bridge_limit        = "12 min"
`+screening+`
[settings]
level_of_zero_flow = "10 mm"
`+[]string{"", "channel_depth = \"0.35 m\"\n"}[round%2]+`[settings.device]
kind = "parshall"
throat = "1 ft"
[[settings.change]]
at = 2031-03-01T18:20:30
level_of_zero_flow = "0 mm"
[[correction]]
from = 2031-03-01T11:00:30
until = 2031-03-01T18:20:30
reason = "by hand"
level_of_zero_flow = "4 mm"
[report]
from = 2031-03-01T01:00:30
until = 2031-03-02T12:00:20
`+more)
	columns := "head = \"Head\"\nsecond_level = \"Other\"\ndownstream = \"Below\""
	file = replaceIn(t, file, "head = \"Value\"", columns)
	if round%4 > 1 {
		file = replaceIn(t, file, "[log]\n", "[log]\nvalues = \"means\"\n")
	}
	return file
}

// ruled are a few rulings over such a log, of all actions.
func ruled(random *rand.Rand) (text string) {
	for _, action := range []string{
		"keep", "leave-out", "bridge", "value\"\nflow = \"90 L/s", "bound\"\nleast = \"20 L/s", "keep", "bridge",
	} {
		at := time.Date(2031, 3, 1, 0, random.IntN(1800), 30, 0, time.UTC)
		until := at.Add(time.Duration(1+random.IntN(25)) * time.Minute)
		text += fmt.Sprintf("[[ruling]]\nfrom = %s\nuntil = %s\naction = \"%s\"\nreason = \"x\"\nby = \"x\"\n",
			at.Format("2006-01-02T15:04:05"), until.Format("2006-01-02T15:04:05"), action)
	}
	return text
}

// setAll is the part of a site file that gives an action to every check whose action is one of some.
func setAll(to site.Action, of ...site.Action) (text string) {
	for _, c := range site.Checks {
		for _, action := range of {
			if c.Default == action && slices.Contains(site.ActionsOf(c.Name), to) {
				text += c.Name + ".action = \"" + string(to) + "\"\n"
			}
		}
	}
	return text
}

// TestLeavingOut: what leaving out kept readings would do is what doing it does. Of each check that keeps it is what
// setting that check alone to bridge does, of all together what setting all to bridge does, and of an event what a
// ruling over its readings does: volume and missing time.
func TestLeavingOut(t *testing.T) {
	random := rand.New(rand.NewPCG(41, 42))
	overlap := 0
	for round := range 8 {
		log, rulings := troubled(random, 1500), ruled(random)
		filling := []string{"", "[filling]\nrule = \"linear\"\nlimit = \"25 min\"\n"}[round/4%2]
		acts := map[string]site.Action{}
		if round%2 > 0 {
			acts["spike"], acts["surcharge"] = site.Keep, site.Keep
		}
		load := func(rulings string, bridged ...string) *recompute.Result {
			actions := maps.Clone(acts)
			for _, check := range bridged {
				actions[check] = site.Bridge
			}
			text := ""
			for _, check := range slices.Sorted(maps.Keys(actions)) {
				text += check + ".action = \"" + string(actions[check]) + "\"\n"
			}
			return run(t, troubledSite(t, round, log, text, rulings+filling))
		}
		kept := load(rulings)
		was := kept.Total.After
		same := func(what string, told effect.Change, r *recompute.Result) {
			t.Helper()
			is := r.Total.After
			if math.Abs(is.M3()-was.M3()-told.Volume) > 1e-9*was.M3() || was.Covered-is.Covered != told.Missing {
				t.Errorf("round %d, %s: %.9f m3 and %d ns missing; told %.9f, %d", round, what, is.M3()-was.M3(),
					was.Covered-is.Covered, told.Volume, told.Missing)
			}
		}
		all, sum, tried := []string{}, effect.Change{}, 0
		for _, f := range kept.Flags {
			if f.Action != site.Keep {
				if f.Left != (effect.Change{}) {
					t.Errorf("round %d: %s is not kept: %+v", round, f.Check, f.Left)
				}
				continue
			}
			if all = append(all, f.Check); f.Left.Volume != 0 {
				tried++
			}
			sum.Volume, sum.Missing = sum.Volume+f.Left.Volume, sum.Missing+f.Left.Missing
			if random.IntN(4) < effort.Rounds(1, 4) {
				same(f.Check, f.Left, load(rulings, f.Check))
			}
		}
		same("all", kept.Left, load(rulings, all...))
		if math.Abs(sum.Volume-kept.Left.Volume) > 0.001*was.M3() {
			overlap++
		}
		for range effort.Rounds(4, 20) {
			e := kept.Events[random.IntN(len(kept.Events))]
			if clear := e.Action == site.Keep && !slices.ContainsFunc(kept.Events, func(o *effect.Event) bool {
				return o.Flag != qa.Gap && o.Action != site.Keep && o.From <= e.Until && o.Until >= e.From
			}); !clear {
				continue
			}
			over := fmt.Sprintf("[[ruling]]\nfrom = %s\nuntil = %s\naction = \"bridge\"\nreason = \"x\"\nby = \"x\"\n",
				stamped(e.From), stamped(e.Until+1e9))
			same(e.Check+" at "+stamped(e.From), e.Left, load(over+rulings))
		}
		if tried < 4 || math.Abs(kept.Left.Volume) < 0.001*was.M3() || round%4 < 2 && kept.Left.Missing == 0 {
			t.Errorf("round %d tries little: %d, %+v of %g m3", round, tried, kept.Left, was.M3())
		}
	}
	if overlap < 5 {
		t.Errorf("flags overlap in %d rounds only", overlap)
	}
}

// stamped writes an instant as a site file has it.
func stamped(at int64) string { return time.Unix(0, at).UTC().Format("2006-01-02T15:04:05") }

// TestEventsAddUp: the changes of the events of a check add up to its own, where no dropped reading stands between two.
func TestEventsAddUp(t *testing.T) {
	random := rand.New(rand.NewPCG(45, 46))
	for round := range 4 {
		file := troubledSite(t, round, troubled(random, 1500), "default = \"keep\"\n", "")
		r := run(t, file)
		sums := map[string]effect.Change{}
		for _, e := range r.Events {
			x := sums[e.Check]
			sums[e.Check] = effect.Change{Volume: x.Volume + e.Left.Volume, Missing: x.Missing + e.Left.Missing}
		}
		for _, f := range r.Flags {
			if x := sums[f.Check]; math.Abs(x.Volume-f.Left.Volume) > 1e-9 || x.Missing != f.Left.Missing {
				t.Errorf("round %d, %s: %+v, its events %+v", round, f.Check, f.Left, x)
			}
		}
	}
}

// TestEffectsOfTroubledLogs: the effects of all events, and of what persons decided, add up to what they made of the
// total that has every reading as it is.
func TestEffectsOfTroubledLogs(t *testing.T) {
	random := rand.New(rand.NewPCG(43, 44))
	byRulings := 0
	for round := range 8 {
		log, rulings := troubled(random, 1500), ruled(random)
		acts := "rate_of_change.action = \"bridge\"\nuser_range.action = \"leave-out\"\nnoise.action = \"bridge\"\n"
		acts += []string{"", "stuck.action = \"leave-out\"\n"}[round/4%2]
		with := run(t, troubledSite(t, round, log, acts, rulings))
		without := run(t, troubledSite(t, round, log, "default = \"keep\"\n", ""))
		effects, flags := with.Ruled, 0
		for _, f := range with.Flags {
			if effects += f.Effect; f.Effect != 0 {
				flags++
			}
		}
		was, is := without.Total.After.M3(), with.Total.After.M3()
		if math.Abs(is-was-effects) > 1e-9*was {
			t.Errorf("round %d: screening and rulings made %.9f m3 of %.9f; told %.9f", round, is-was, was, effects)
		}
		if with.Ruled != 0 {
			byRulings++
		}
		if flags == 0 {
			t.Errorf("round %d tries little", round)
		}
	}
	if byRulings < 5 {
		t.Errorf("only %d rounds have a stretch that begins with a ruling", byRulings)
	}
}

// TestLeavingOutByHand: Q = 0.1 m²/s × h, empty distance 1 m, a reading a minute: 0.9 m is 10 L/s, 0.4 m is 60 L/s and
// below what its user expects. Volumes are those of trapezoids; leaving out what is flagged puts a line in its place.
func TestLeavingOutByHand(t *testing.T) {
	const limit = "user_range.least = \"0.5 m\"\n"
	type left map[string]float64 // m³ by check
	for _, c := range []struct {
		name      string
		log       []float64
		screening string
		more      string
		left      left
		missing   float64 // minutes
	}{
		{"a spike between sound readings", []float64{.9, .9, .4, .9, .9}, "", "",
			left{"user_range": -0.05 * 60}, 0},
		{"the beginning", []float64{.4, .4, .9, .9}, "", "", left{"user_range": -0.06*60 - 0.035*60}, 2},
		{"the end", []float64{.9, .9, .4, .4}, "", "", left{"user_range": -0.035*60 - 0.06*60}, 2},
		{"nothing but that", []float64{.4, .4, .4}, "", "", left{"user_range": -0.06 * 120}, 2},
		{"across a gap", []float64{.9, .4, -1, -1, -1, -1, -1, .4, .9}, "", "", left{"user_range": -2 * 0.035 * 60}, 2},
		{"as long as a bridge", []float64{.9, .4, .4, .4, .9}, "bridge_limit = \"4 min\"\n", "",
			left{"user_range": -0.05 * 180}, 0},
		{"longer than a bridge", []float64{.9, .4, .4, .4, .9}, "bridge_limit = \"3 min\"\n", "",
			left{"user_range": -0.06*120 - 2*0.035*60}, 4},
		{"longer, and filled", []float64{.9, .4, .4, .4, .9}, "bridge_limit = \"3 min\"\n",
			"[filling]\nrule = \"linear\"\nlimit = \"4 min\"\n", left{"user_range": -0.05 * 180}, 0},
		// The flow is 10 L/s before the change and 20 L/s after it where the distance stays; from 0.4 to 0.9 m it is
		// 0.65 m at the change, which is 35 and 45 L/s.
		{"across a change of settings", []float64{.9, .4, .9}, "",
			"[[settings.change]]\nat = 2031-03-01T00:01:30\nempty_distance = \"1.1 m\"\n" +
				"moved = false\n",
			left{"user_range": 0.01*90 + 0.02*30 - 0.035*60 - (0.06+0.035)/2*30 - (0.045+0.02)/2*30}, 0},
		// What moved at the change moved the water too: one line joins 10 and 20 L/s.
		{"across a correction", []float64{.9, .4, .9}, "",
			"[[correction]]\nfrom = 2031-03-01T00:01:30\nreason = \"x\"\nempty_distance = \"1.1 m\"\n",
			left{"user_range": 0.015*120 - 0.035*60 - 0.04*60}, 0},
		// Minute 1 is flagged by both checks, minute 2 by the one and minute 3 by the other. Without 1 and 3 a line
		// goes from 10 to 60 L/s and one from there to 12; without 1 and 2, one from 10 to 10.
		{"flags that overlap", []float64{.9, .4, .4, .9, .88}, "rate_of_change.up = \"50 mm\"\n" +
			"rate_of_change.down = \"50 mm\"\nrate_of_change.per = \"1 min\"\n", "", left{
			"rate_of_change": (0.035+0.036)*120 - (0.035+0.06+0.035+0.011)*60,
			"user_range":     0.01*180 - (0.035+0.06+0.035)*60,
		}, 0},
		{"a ruling keeps the middle", []float64{.9, .4, .4, .4, .9}, "", "[[ruling]]\nfrom = 2031-03-01T00:02:00\n" +
			"until = 2031-03-01T00:02:30\naction = \"keep\"\nreason = \"x\"\nby = \"x\"\n",
			left{"user_range": -2 * (0.05 / 2 * 60)}, 0},
		{"beside what is left out", []float64{.9, .4, .05, .9}, "sensor_range.least = \"0.1 m\"\n", "",
			left{"user_range": -0.035 * 60}, 1},
		{"over a day's bound", []float64{.9, .4, .9}, "", "[report]\nday_starts = \"00:01\"\n",
			left{"user_range": -0.05 * 60}, 0},
		{"over the period's end", []float64{.9, .4, .9}, "", "[report]\nuntil = 2031-03-01T00:01:30\n",
			left{"user_range": -0.05/2*60 - (0.05+0.025)/2*30}, 0},
		{"means", []float64{.9, .4, .9}, "", "means", left{"user_range": -0.05 * 60}, 0},
		{"means, longer than a bridge", []float64{.9, .4, .4, .9}, "bridge_limit = \"1 min\"\n", "means",
			left{"user_range": -0.06 * 120}, 2},
		{"means, the first", []float64{.4, .9, .9}, "", "means", left{"user_range": -0.06 * 60}, 1},
	} {
		load := func(screening string) *recompute.Result {
			more, means := strings.CutPrefix(c.more, "means")
			file := simple(t, minutes(c.log...), "[screening]\n"+limit+c.screening+screening+
				"[settings]\nempty_distance = \"1 m\"\n"+tenth+more)
			if means {
				file = replaceIn(t, file, "[log]\n", "[log]\nvalues = \"means\"\n")
			}
			return run(t, file)
		}
		r := load("")
		for _, f := range r.Flags {
			if math.Abs(f.Left.Volume-c.left[f.Check]) > 1e-9 {
				t.Errorf("%s, %s: %.9g m3, want %.9g", c.name, f.Check, f.Left.Volume, c.left[f.Check])
			}
		}
		if float64(r.Left.Missing) != c.missing*60e9 {
			t.Errorf("%s: %g minutes missing, want %g", c.name, float64(r.Left.Missing)/60e9, c.missing)
		}
		bridged := load(setAll(site.Bridge, site.Keep))
		near(t, c.name+", bridged", bridged.Total.After.M3(), r.Total.After.M3()+r.Left.Volume)
	}
}
