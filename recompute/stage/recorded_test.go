package stage

import (
	"math"
	"testing"
	"time"

	"retotal/ingest/reading"
	"retotal/ingest/site"
	"retotal/qa"
	"retotal/recompute/block"
	"retotal/recompute/settings"
)

// TestRecordedByAClockThatIsOff: a logger's clock that is an hour ahead, six readings of 0.9 m distance, one a minute
// from 22:57, and 1 m empty distance, 1.1 m from a change on that was entered anew: 10 L/s, then 20, from the very
// instant of the change, whether it lies between readings or on one. By the clock midnight is at 23:00.
func TestRecordedByAClockThatIsOff(t *testing.T) {
	at := []float64{1377, 1378, 1379, 1380, 1381, 1382}
	figures := []float64{0.9, 0.9, 0.9, 0.9, 0.9, 0.9}
	for change, before := range map[string]float64{
		"22:59:30": 0.01*150 + 0.02*30,
		"22:59:00": 0.01*120 + 0.02*60,
	} {
		b := loaded(t, distances, "empty_distance = \"1 m\"\n",
			"[[settings.change]]\nat = 2031-03-01T"+change+"\nempty_distance = \"1.1 m\"\nmoved = false\n", at, figures)
		asShown(b, 60)
		r := NewRecorded(b)
		b.High = 3 // in two blocks
		r.Add(b)
		b.Low, b.High = 3, 6
		r.Add(b)
		day0, kept := r.Day(0)
		holds(t, change+", day 0", day0, before, 3)
		holds(t, change+", kept", kept, before, 3)
		day1, _ := r.Day(1)
		holds(t, change+", day 1", day1, 0.02*120, 2)
		if math.Abs(r.Peak-0.02) > 1e-12 {
			t.Errorf("peak %g", r.Peak)
		}
	}
}

// TestRecordedAndKept: what was shown runs by the logger's clock, what a meter with the corrected settings would have
// shown by true time; nothing runs over a gap. Flows of 1, 2, 4, 8 and 3, 3, 5, 7 m³/s by the minute, with a gap before
// the last; a clock that is a day ahead.
func TestRecordedAndKept(t *testing.T) {
	b := hand([]float64{0, 1, 2, 3}, []float64{1, 2, 4, 8})
	b.Kept = plain(3, 3, 5, 7)
	b.Flags[3] = qa.Gap
	asShown(b, 1440)
	r := NewRecorded(b)
	r.Add(b)
	shown, kept := r.Day(0)
	holds(t, "shown on day 0", shown, 0, 0)
	holds(t, "kept on day 0", kept, 60*(3+4), 2)
	shown, _ = r.Day(1)
	holds(t, "shown on day 1", shown, 60*(1.5+3), 2)
	if r.Peak != 8 {
		t.Errorf("peak %g", r.Peak)
	}

	b = hand([]float64{0, 1, 2, 7}, []float64{1, 2, 4, 8})
	b.Means = true
	asShown(b, 1440-1)
	r = NewRecorded(b)
	r.Add(b)
	shown, _ = r.Day(0) // by the clock the first interval is from 23:58, the third from 00:00, the last from 00:05
	holds(t, "means, day 0", shown, 60*(1+2), 2)
	shown, _ = r.Day(1)
	holds(t, "means, day 1", shown, 60*(4+8), 2)
}

// TestOtherDayRules: months by other days and clocks, when a figure was reported. 10 L/s from 20:00 on the last of
// March to 10:00 UTC; the logger keeps +01:00, so that its April begins at 23:00 UTC.
func TestOtherDayRules(t *testing.T) {
	var at, flows []float64
	for k := range 29 {
		at, flows = append(at, float64(30*1440+20*60+30*k)), append(flows, 0.01)
	}
	b := hand(at, flows)
	b.Site.Report.Clock.Location, b.Site.Log.Clock.Location = time.UTC, time.FixedZone("+01:00", 3600)
	if r := NewRecorded(b); r.rules != nil || len(r.Rules(month)) != 0 {
		t.Error("nothing was reported")
	}
	b.Site.Report.Reported = map[string]site.Reported{"2031-03": {}}
	r := NewRecorded(b)
	r.Add(b)
	march, april := r.Rules(month)["2031-03"], r.Rules(month)["2031-04"]
	if len(march) != 9 || len(april) != 9 { // four other starts by UTC, five by the logger
		t.Fatalf("%d and %d rules", len(march), len(april))
	}
	hours := map[string]float64{ // of March after 20:00 UTC
		"days from 06:00 in UTC": 10, "days from 07:00 in UTC": 11, "days from 08:00 in UTC": 12,
		"days from 09:00 in UTC": 13, "days from 00:00 in +01:00": 3, "days from 06:00 in +01:00": 9,
		"days from 07:00 in +01:00": 10, "days from 08:00 in +01:00": 11, "days from 09:00 in +01:00": 12,
	}
	for i, x := range march {
		h, ok := hours[x.Rule]
		if !ok || april[i].Rule != x.Rule {
			t.Errorf("%s, %s", x.Rule, april[i].Rule)
		}
		holds(t, "March, "+x.Rule, x.Volume, 36*h, 60*h)
		holds(t, "April, "+x.Rule, april[i].Volume, 36*(14-h), 60*(14-h))
	}
	if name := zoneName(time.FixedZone("+00:00", 0)); name != "UTC" {
		t.Error(name)
	}
}

// TestGreatest: one and a half times the most that any recorded segment lets the meter show; not known where one has no
// end.
func TestGreatest(t *testing.T) {
	ends := func(flows ...float64) *settings.Lane {
		l := &settings.Lane{}
		for _, q := range flows {
			l.Segments = append(l.Segments, settings.Segment{MaximumHead: math.Inf(1), MaximumFlow: q})
		}
		return l
	}
	for _, c := range []struct {
		l    *settings.Lane
		want float64
	}{{ends(2, 4, 3), 6}, {ends(2, math.Inf(1), 3), 0}, {ends(math.Inf(1)), 0}} {
		if got := greatest(c.l); got != c.want {
			t.Errorf("%g, want %g", got, c.want)
		}
	}
}

// TestLoggedFlow: the logged flow over rows that have one, not over a gap; by the clock of the log.
func TestLoggedFlow(t *testing.T) {
	const is, no = reading.Present, reading.Empty
	b := hand([]float64{0, 1, 2, 3, 4, 5, 6}, make([]float64, 7))
	b.Logged = []float64{1, 2, 100, 3, 5, 7, 9}
	b.LoggedState = []reading.State{is, is, no, is, is, is, is}
	b.Flags[5] = qa.Gap
	asShown(b, 1440)
	l := NewLogged(b)
	b.High = 4
	l.Add(b)
	b.Low, b.High = 4, 7
	l.Add(b)
	flow, counted, passed := l.Day(1)
	holds(t, "flow", flow, 60*(1.5+4+8), 3) // minutes 0–1, 3–4, 5–6
	holds(t, "counter", counted, 0, 0)
	holds(t, "volumes", passed, 0, 0)

	b.Means, b.Low = true, 0
	asShown(b, 1440-0.5)
	l = NewLogged(b)
	l.Add(b)
	flow, _, _ = l.Day(0) // by the clock from 23:58:30: a minute and half of one
	holds(t, "means, day 0", flow, 60*(1+2*0.5), 1.5)
	flow, _, _ = l.Day(1)
	holds(t, "means, day 1", flow, 60*(2*0.5+3+5+7+9), 4.5)
}

// TestLoggedVolumes: what passed in each interval, evenly over the interval; of a counter the rise between readings.
func TestLoggedVolumes(t *testing.T) {
	const is, no = reading.Present, reading.Empty
	b := hand([]float64{0, 1, 2, 7}, make([]float64, 4))
	b.Passed, b.PassedState = []float64{6, 60, 30, 12}, []reading.State{is, no, is, is}
	b.Counter, b.CounterState = []float64{100, 110, 0, 150}, []reading.State{is, is, no, is}
	b.Means = true
	asShown(b, 1440-1.5)
	l := NewLogged(b)
	l.Add(b)
	_, _, passed := l.Day(0) // 23:57:30 to 23:58:30; the third from 23:59:30, half of it
	holds(t, "volumes, day 0", passed, 6+15, 1.5)
	_, _, passed = l.Day(1) // the last is of its own minute alone
	holds(t, "volumes, day 1", passed, 15+12, 1.5)
	asShown(b, 0)
	l = NewLogged(b)
	b.High = 2
	l.Add(b)
	b.Low, b.High = 2, 4
	l.Add(b)
	_, counted, _ := l.Day(0)
	holds(t, "counter", counted, 50, 7)
}

// TestEdgesOfMeans: 2 m³/s from 22:00 to 04:00: 2 h on one side of midnight and 4 h on the other. A mean that ends at
// midnight, or where the period does, has nothing on the other side.
func TestEdgesOfMeans(t *testing.T) {
	b := hand([]float64{1320, 1680, 2880, 2881}, []float64{9, 2, 3, 4})
	b.Steps = []block.Step{{Kind: block.Run, Low: 1, High: 2}, counts(b, 2, block.Joined), drops(3, true)}
	e := &Edges{}
	e.Add(b)
	const hour = 3600
	day0, day1 := e.Day(0), e.Day(1)
	if day0.EndIn != 2*2*hour || day0.EndOut != 2*4*hour || day0.StartIn != 0 || day0.StartOut != 0 ||
		day1.StartIn != 2*4*hour || day1.StartOut != 2*2*hour || day1.EndIn != 0 || day1.EndOut != 0 {
		t.Errorf("%+v, %+v", day0, day1)
	}
	if day2 := e.Day(2); day2 != e.Day(99) || day2.StartIn != 0 {
		t.Errorf("%+v", day2)
	}
	b.Until = start + 1440*minute
	e = &Edges{}
	e.Add(b)
	if day0 := e.Day(0); day0 != e.Day(99) {
		t.Errorf("at the end of the period: %+v", day0)
	}
	// one over two bounds, from 22:00 to 02:00 two days later: 2 h and 26 h before, 26 h and 2 h after
	b = hand([]float64{1320, 1320 + 28*60}, []float64{1, 1})
	b.Steps = []block.Step{counts(b, 1, block.Joined)}
	e = &Edges{}
	e.Add(b)
	if day0, day1, day2 := e.Day(0), e.Day(1), e.Day(2); day0.EndIn != 2*hour || day0.EndOut != 26*hour ||
		day1.StartIn != 26*hour || day1.StartOut != 2*hour || day1.EndIn != 26*hour || day1.EndOut != 2*hour ||
		day2.StartIn != 2*hour || day2.StartOut != 26*hour {
		t.Errorf("%+v, %+v, %+v", day0, day1, day2)
	}
}

// month names the month of a day.
func month(day string) string { return day[:7] }
