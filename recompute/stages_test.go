package recompute_test

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"
	"time"

	"retotal/recompute"
	"retotal/recompute/effect"
	"retotal/recompute/total"
)

// still is a log of distances of 0.9 m, one a minute: 10 L/s at 1 m empty distance.
func still(n int) string { return minutes(slices.Repeat([]float64{0.9}, n)...) }

// keepStuck leaves readings that repeat themselves alone.
const keepStuck = "[screening]\nstuck = \"keep\"\n"

// ruling is one of minute 5, from half a minute before to half a minute after it.
func ruling(text string) string {
	return "[[ruling]]\nfrom = 2031-03-01T00:04:30\nuntil = 2031-03-01T00:05:30\n" +
		"reason = \"by hand\"\nby = \"test\"\n" + text
}

// TestStatedFlowInEveryLane: a flow that a person states is that of every lane; a reading that a person keeps is each
// lane's own. The what-if gives 20 L/s in place of 10.
func TestStatedFlowInEveryLane(t *testing.T) {
	for _, c := range []struct {
		name, action  string
		after, whatIf float64
	}{
		{"stated, 30 L/s", "action = \"value\"\nflow = \"30 L/s\"\n", 6 + 0.02*60, 12 + 0.01*60},
		{"kept", "action = \"keep\"\n", 6, 12},
		{"left out", "action = \"leave-out\"\n", 4.8, 9.6},
		{"between 5 and 40 L/s", "action = \"bound\"\nleast = \"5 L/s\"\nmost = \"40 L/s\"\n", 6 - 0.005*60, 12 - 0.015*60},
	} {
		r := run(
			t,
			simple(t, still(11), keepStuck+ruling(c.action)+"[[what_if]]\nname = \"x\"\nempty_distance = \"1.1 m\"\n"),
		)
		near(t, c.name+", after", r.Total.After.M3(), c.after)
		near(t, c.name+", what if", r.Total.WhatIf[0].M3(), c.whatIf)
		if s := r.Total.Split(); s.Settings != 0 || s.Limits != 0 ||
			math.Abs(s.Screening-r.Total.Difference()) > 1e-12 {
			t.Errorf("%s: a person's decision is no matter of settings or limits: %+v", c.name, s)
		}
		if len(r.Rulings) != 1 || r.Rulings[0].Rows != 1 {
			t.Errorf("%s: %+v", c.name, r.Rulings)
		}
	}
}

// TestLostTimeStandsApart: of eleven minutes of 10 L/s, 20 corrected, two are left out: what before and the corrected
// meter counted in them is no part of the difference.
func TestLostTimeStandsApart(t *testing.T) {
	r := run(t, simple(t, still(11), keepStuck+ruling("action = \"leave-out\"\n")+
		"[[correction]]\nreason = \"test\"\nempty_distance = \"1.1 m\"\n"))
	p := &r.Total
	near(t, "before", p.Before.M3(), 6)
	near(t, "lost", p.Parts.Lost.M3(), 1.2)
	near(t, "kept", p.Kept.M3(), 12)
	near(t, "kept and lost", p.Parts.LostKept.M3(), 2.4)
	near(t, "difference", p.Difference(), 4.8)
	if s := p.Split(); math.Abs(s.Settings-4.8) > 1e-9 || math.Abs(s.Screening) > 1e-9 || s.Limits != 0 ||
		s.Filled != 0 {
		t.Errorf("%+v", s)
	}
}

// TestFilledTimeInParts: the same two minutes filled along a line: the settings explain what both meters counted there,
// and filling nothing more. Where nothing was logged, what is filled has no before.
func TestFilledTimeInParts(t *testing.T) {
	const fill = "[filling]\nrule = \"linear\"\nlimit = \"10 min\"\n" +
		"[[correction]]\nreason = \"test\"\nempty_distance = \"1.1 m\"\n"
	r := run(t, simple(t, still(11), keepStuck+ruling("action = \"leave-out\"\n")+fill))
	if s := r.Total.Split(); math.Abs(s.Settings-6) > 1e-9 || math.Abs(s.Filled) > 1e-9 ||
		r.Total.Parts.Gained.M3() != 0 {
		t.Errorf("left out and filled: %+v", s)
	}
	near(t, "kept of what is filled", r.Total.Parts.FilledKept.M3(), 2.4)
	gap := minutes(0.9, 0.9, 0.9, -1, -1, -1, 0.9, 0.9, 0.9)
	r = run(t, simple(t, gap, keepStuck+fill))
	near(t, "gained", r.Total.Parts.Gained.M3(), 0.02*240)
	near(t, "difference", r.Total.Difference(), 0.01*240)
	if s := r.Total.Split(); math.Abs(s.Filled) > 1e-9 || math.Abs(s.Settings-2.4) > 1e-9 {
		t.Errorf("a gap that is filled: %+v", s)
	}
}

// TestMeansThatEndAtMidnight: hourly means whose intervals end with the day leave nothing of it open.
func TestMeansThatEndAtMidnight(t *testing.T) {
	log := "Time,Value (L/s)\n"
	for h := 1; h <= 48; h++ {
		at := time.Date(2031, 3, 1, h, 0, 0, 0, time.UTC)
		log += fmt.Sprintf("%s,%d\n", at.Format("2006-01-02 15:04:05"), 20+h%3)
	}
	file := siteOf(t, "flow", log, "")
	r := run(t, replaceIn(t, file, "[log]\n", "[log]\nvalues = \"means\"\n"))
	if len(r.Days) != 2 {
		t.Fatal(len(r.Days))
	}
	for i := range r.Days {
		d := &r.Days[i]
		upper, known := d.Upper()
		if d.Edges != (total.Edges{}) || d.Lower() != d.After.M3() || upper != d.After.M3() || !known {
			t.Errorf("%s: %+v", d.Label, d.Edges)
		}
		near(t, d.Label, d.After.M3(), 21*86.4)
	}
}

// TestChecksNotRun: a check that could not be run says why, and passes nothing.
func TestChecksNotRun(t *testing.T) {
	var heads, flows []float64
	for i := range 60 {
		heads, flows = append(heads, 0.1+0.001*float64(i%7)), append(flows, 10+float64(i%7))
	}
	means := func(file string) string { return replaceIn(t, file, "[log]\n", "[log]\nvalues = \"means\"\n") }
	const none, no, noRate = "", "nothing hides", "no rate is set"
	with := func(limit string) string { return "[settings]\nempty_distance = \"1 m\"\n" + limit + "\n" + tenth }
	levels, litres := minutesOf(heads, "m"), minutesOf(flows, "L/s")
	for name, c := range map[string]struct {
		file                        string
		cutOff, capped, spike, rate string // how the reason begins
	}{
		"levels":     {siteOf(t, "level", levels, ""), no, no, none, noRate},
		"many":       {siteOf(t, "level", minutesOf(slices.Repeat(heads, 7), "m"), ""), no, no, none, none},
		"its limit":  {siteOf(t, "level", levels, with("maximum_head = \"0.106 m\"")), no, none, none, none},
		"flows":      {siteOf(t, "flow", litres, ""), no, no, none, noRate},
		"a limit":    {siteOf(t, "flow", litres, with("maximum_flow = \"15 L/s\"")), no, none, none, noRate},
		"a cut-off":  {siteOf(t, "flow", litres, with("flow_cut_off = \"2 L/s\"")), none, no, none, noRate},
		"means":      {means(siteOf(t, "flow", litres, "")), no, no, "the log holds means", noRate},
		"a rate set": {siteOf(t, "level", levels, "[screening]\nrate_of_change.up = \"50 mm\"\n"), no, no, none, none},
	} {
		r := run(t, c.file)
		for check, want := range map[string]string{
			"cut_off": c.cutOff, "capped": c.capped, "spike": c.spike, "stuck": c.spike, "rate_of_change": c.rate,
			"drowned": "the log has no downstream level", "blanking": "no blanking distance",
			"second_sensor": "the log has no second level", "gap": none, "conflict": none,
			"sensor_range": "no sensor range", "user_range": "no user range",
			"unusable": "no span is marked", "loop_current": "the log holds no loop current",
		} {
			i := slices.IndexFunc(r.Flags, func(f effect.Summary) bool { return f.Check == check })
			f := &r.Flags[i]
			if (f.NotRun == "") != (want == "") || !strings.HasPrefix(f.NotRun, want) {
				t.Errorf("%s, %s: %q, want %q", name, check, f.NotRun, want)
			}
			if passed := r.Readings - f.Rows; f.NotRun == "" && f.Passed != passed || f.NotRun != "" && f.Passed != 0 {
				t.Errorf("%s, %s: %d passed of %d, %d failed", name, check, f.Passed, r.Readings, f.Rows)
			}
		}
	}
}

// TestCounterThatFell: the mean of the interval in which a counter fell is not known, that of the first reading is
// none, and no other row is touched.
func TestCounterThatFell(t *testing.T) {
	values := []float64{100, 100.6, 101.2, 5, 5.6, 6.2}
	var rows []float64
	var used []bool
	r := withBudgetTo(t, siteOf(t, "counter", minutesOf(values, "m3"), ""), func(x *recompute.Rows) error {
		rows, used = slices.Clone(x.Value), slices.Clone(x.Used)
		return nil
	})
	if n := rowsOf(r, "unusable"); n != 1 || !slices.Equal(used, []bool{true, true, true, false, true, true}) {
		t.Errorf("%d unusable, used %v", n, used)
	}
	for i, want := range []float64{0.01, 0.01, 0.01, 0, 0.01, 0.01} {
		if math.Abs(rows[i]-want) > 1e-12 {
			t.Errorf("row %d: %g m3/s, want %g", i, rows[i], want)
		}
	}
	if len(r.Falls) != 1 || r.Falls[0].From != 101.2 || r.Falls[0].To != 5 {
		t.Errorf("%+v", r.Falls)
	}
}

// TestAirBeforeItIsLogged: a log whose first temperatures are missing is computed; the speed of sound at the first is
// not known, and a reading without one has that of the reading before it.
func TestAirBeforeItIsLogged(t *testing.T) {
	log := "Time,Distance (m),Air (degC)\n2031-03-01 00:00:00,0.9,\n2031-03-01 00:01:00,0.9,20\n" +
		"2031-03-01 00:02:00,0.9,\n2031-03-01 00:03:00,0.9,20\n"
	more := "temperature = \"Air\"\n" + keepStuck
	r := run(t, simple(t, log, more))
	near(t, "as recorded", r.Total.After.M3(), 1.8)
	if r.Total.After.Covered != int64(3*time.Minute) {
		t.Errorf("covered %d", r.Total.After.Covered)
	}
}

// TestLoggedByHand: the logged flow is integrated between neighbours that have one: not over a missing one, not over a
// gap, each minute of 10 L/s 0.6 m³. The counter goes on over both. Interval volumes stand for their own minute.
func TestLoggedByHand(t *testing.T) {
	log := "Time,Distance (m),F (L/s),C (m3),V (m3)\n"
	for i := range 12 {
		flow, counter, volume := "10", fmt.Sprintf("%.1f", 100+0.6*float64(i)), "0.6"
		switch i {
		case 2:
			flow, counter = "", ""
		case 6, 7, 8, 9: // a gap of five minutes
			continue
		case 11:
			volume = ""
		}
		log += fmt.Sprintf("2031-03-01 00:%02d:00,0.9,%s,%s,%s\n", i, flow, counter, volume)
	}
	r := run(t, simple(t, log, "flow = \"F\"\ncounter = \"C\"\ninterval_volume = \"V\"\n"+keepStuck))
	p := &r.Total
	near(t, "logged", p.Logged.M3(), 0.6*(1+2+1))
	near(t, "counted", p.Counted.M3(), 6.6)
	near(t, "passed", p.Passed.M3(), 0.6*7)
	near(t, "before", p.Before.M3(), 0.6*(5+1))
	minute := int64(time.Minute)
	if p.Logged.Covered != 4*minute || p.Counted.Covered != 11*minute || p.Passed.Covered != 7*minute {
		t.Errorf("covered %v, %v, %v", p.Logged.Covered/minute, p.Counted.Covered/minute, p.Passed.Covered/minute)
	}
}

// TestClockErrorIsASetting: a clock that gains 10 minutes a day, over a day of 10 L/s: the flow went on for 1,430
// minutes in place of 1,440, 858 m³ in place of 864. That is what the correction of the clock makes, and not screening.
func TestClockErrorIsASetting(t *testing.T) {
	log := "Time,Distance (m)\n"
	for i := 0; i <= 1440; i += 5 {
		at := time.Date(2031, 3, 1, 0, i, 0, 0, time.UTC)
		log += at.Format("2006-01-02 15:04:05") + ",0.9\n"
	}
	r := run(t, simple(t, log, keepStuck+"[[log.clock_check]]\nat = 2031-03-01T00:00:00\nerror = \"0 min\"\n"+
		"[[log.clock_check]]\nat = 2031-03-02T00:00:00\nerror = \"10 min\"\n"))
	near(t, "before", r.Total.Before.M3(), 864)
	near(t, "after", r.Total.After.M3(), 858)
	if s := r.Total.Split(); math.Abs(s.Settings+6) > 1e-9 || math.Abs(s.Screening) > 1e-9 {
		t.Errorf("%+v", s)
	}
}
