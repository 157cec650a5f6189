package audit

import (
	"fmt"
	"math"
	"strings"
	"testing"
	"time"

	"retotal/ingest/site"
	"retotal/qa"
	"retotal/recompute"
	"retotal/recompute/effect"
	"retotal/recompute/evidence"
	"retotal/recompute/settings"
	"retotal/recompute/total"
)

// TestHeadDoubts: heads a step below, at and above each limit of what a record's heads hardly are; of 1,000 readings.
func TestHeadDoubts(t *testing.T) {
	inf := math.Inf(1)
	for _, c := range []struct {
		name           string
		heads          evidence.Heads
		usual, maximum float64
		want           string // "" for no doubt
	}{
		{"nothing was read", evidence.Heads{}, 0.5, inf, ""},
		{"sound", evidence.Heads{Readings: 1000, Median: 0.1, Highest: 0.4}, 0.5, inf, ""},
		{"half are too high", evidence.Heads{Readings: 1000, Surcharged: 500, Median: 0.5, Highest: 1}, 0.5, inf, ""},
		{"one more", evidence.Heads{Readings: 1000, Surcharged: 501, Median: 0.5, Highest: 1}, 0.5, inf, "above the highest"},
		{"10 m", evidence.Heads{Readings: 1000, Median: 10, Highest: 10}, inf, inf, ""},
		{"deeper", evidence.Heads{Readings: 1000, Median: 10.001, Highest: 11}, inf, inf, "a median head of 10 m"},
		{"5 in 1000 far off", evidence.Heads{Readings: 1000, Far: 5, Median: 0.1, Highest: 90}, 0.5, inf, ""},
		{"6 in 1000", evidence.Heads{Readings: 1000, Far: 6, Median: 0.1, Highest: 90}, 0.5, inf, "that no such device has"},
		{"20 mm below zero", evidence.Heads{Readings: 1000, Median: -0.02, Highest: 0}, 0.5, inf, ""},
		{"21 mm", evidence.Heads{Readings: 1000, Median: -0.021, Highest: 0}, 0.5, inf, "below zero flow"},
		{"and it flows at times", evidence.Heads{Readings: 1000, Median: -0.021, Highest: 0.001}, 0.5, inf, ""},
		{"5 mm at the most", evidence.Heads{Readings: 1000, Median: 0.001, Highest: 0.005}, 0.5, inf, ""},
		{"4.9 mm", evidence.Heads{Readings: 1000, Median: 0.001, Highest: 0.0049}, 0.5, inf, "no head above 4.9 mm"},
		{"4.9 mm, dry", evidence.Heads{Readings: 1000, Median: 0, Highest: 0.0049}, 0.5, inf, ""},
		{"2 % of the maximum head", evidence.Heads{Readings: 1000, Median: 0.001, Highest: 0.01}, 0.5, 0.5, ""},
		{"less", evidence.Heads{Readings: 1000, Median: 0.001, Highest: 0.0099}, 0.5, 0.5, "no head above 9.9 mm"},
	} {
		r := &recompute.Result{Corrected: &settings.Lane{Segments: []settings.Segment{{Usual: c.usual}}}}
		r.Corrected.Segments[0].MaximumHead, r.Heads = c.maximum, c.heads
		got := strings.Join(headDoubts(r), "; ")
		if (got == "") != (c.want == "") || !strings.Contains(got, c.want) {
			t.Errorf("%s: %q, want %q", c.name, got, c.want)
		}
	}
}

// TestDeadIsDropped: whether the time of a run as of a dead sensor, here hours 10 to 30, counts in the total is told
// where readings of it do not; a flag that keeps or holds says nothing, nor does one beside the run, and a ruling over
// it may have decided otherwise.
func TestDeadIsDropped(t *testing.T) {
	const hour = int64(time.Hour)
	const in = " in the corrected total (flagged "
	none, part := "; none of it counts"+in, "; part of it does not count"+in
	event := func(f qa.Flags, action site.Action, from, until int64) *effect.Event {
		return &effect.Event{Flag: f, Check: f.Text(), Action: action, From: from * hour, Until: until * hour}
	}
	for _, c := range []struct {
		events []*effect.Event
		ruled  bool
		want   string
	}{
		{nil, false, ""},
		{[]*effect.Event{event(qa.Dead, site.LeaveOut, 10, 30)}, false, none + "dead)"},
		{[]*effect.Event{event(qa.Stuck, site.Bridge, 9, 31)}, false, none + "stuck)"},
		{[]*effect.Event{event(qa.Stuck, site.Bridge, 11, 30)}, false, part + "stuck)"},
		{[]*effect.Event{event(qa.Spike, site.Bridge, 10, 10), event(qa.Dead, site.LeaveOut, 10, 30)}, false, none + "dead)"},
		{[]*effect.Event{event(qa.Still, site.Keep, 10, 30), event(qa.CutOff, site.Hold, 10, 30)}, false, ""},
		{[]*effect.Event{event(qa.Gap, site.LeaveOut, 9, 10), event(qa.Stuck, site.Bridge, 31, 40)}, false, ""},
		{[]*effect.Event{event(qa.Dead, site.LeaveOut, 10, 30)}, true, ""},
	} {
		r := &recompute.Result{}
		r.Events = c.events
		r.Corrected = &settings.Lane{Segments: []settings.Segment{{}}}
		r.Dead = []evidence.Still{{From: 10 * hour, Until: 30 * hour, Head: 0.4, Entered: 1, Left: 1}}
		if c.ruled {
			r.Rulings = []recompute.RulingResult{{Ruling: &site.Ruling{
				From: site.Instant{UTC: 30 * hour}, Until: site.Instant{UTC: 40 * hour},
			}}}
		}
		got := levels(r)[0].Doubts[0]
		if _, after, _ := strings.Cut(got, "a dead sensor does so"); after != c.want {
			t.Errorf("%q, want %q", after, c.want)
		}
	}
}

// TestSwappedDates: days that lie a month apart and follow each other in the other order are doubted, from three on;
// one on the 13th shows that they are right; days that follow each other as read are.
func TestSwappedDates(t *testing.T) {
	for _, c := range []struct {
		name   string
		days   []string // month-day
		doubts bool
	}{
		{"three swapped", []string{"01-03", "02-03", "03-03"}, true},
		{"two", []string{"01-03", "02-03"}, false},
		{"one on the 13th", []string{"01-03", "02-03", "03-03", "04-13"}, false},
		{"as read", []string{"03-01", "03-02", "03-03"}, false},
		{"a reading a month, of the middle", []string{"01-15", "02-15", "03-15"}, false},
		{"far apart either way", []string{"01-03", "03-05", "05-07", "07-09"}, false},
	} {
		r := &recompute.Result{}
		for _, day := range c.days {
			r.Days = append(r.Days, recompute.Period{
				Label: "2031-" + day, Before: total.Volume{Covered: int64(time.Hour)},
			}, recompute.Period{Label: "2031-12-31"}) // a day without readings
		}
		if got := dates(r); (len(got) > 0) != c.doubts {
			t.Errorf("%s: %v", c.name, got)
		}
	}
}

// TestSteadyFactor: one factor holds for a counter as long as no more than one day in ten lies off the line.
func TestSteadyFactor(t *testing.T) {
	for off, want := range map[int]bool{0: true, 2: true, 3: false} {
		var pairs []dayPair
		for i := range 20 {
			p := dayPair{fmt.Sprint(i), float64(100 + 10*i), 1.1 * float64(100+10*i)}
			if i >= 20-off {
				p.counted *= 1.2
			}
			pairs = append(pairs, p)
		}
		if l := reconcile(pairs, 0); l.steady() != want {
			t.Errorf("%d of 20 days off: %v", off, l.steady())
		}
	}
}
