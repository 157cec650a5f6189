package report

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"retotal/ingest/site"
	"retotal/qa"
	"retotal/recompute"
	"retotal/recompute/effect"
	"retotal/recompute/total"
	"retotal/recompute/uncertainty"
)

// TestTotalReasons: a total that screening changes by more than 5 %, or that is known to more than half of itself, is
// for a person; at the limit it is not. Before is 100 m³; nothing was corrected, so what is left of the difference is
// screening.
func TestTotalReasons(t *testing.T) {
	volume := func(m3 float64) (v total.Volume) {
		v.Covered = int64(time.Hour)
		v.Sum.Add(m3)
		return v
	}
	for _, c := range []struct {
		after, u float64 // m³, standard uncertainty
		want     string
	}{
		{100, 1, ""}, {95, 1, ""}, {94.9, 1, "screening alone changes the total by -5.1 %"},
		{105, 1, ""}, {105.1, 1, "screening alone changes the total by +5.1 %"},
		{100, 25, ""}, {100, 25.1, "the total is known to +/- 50 % only"},
	} {
		p := recompute.Period{Before: volume(100), Kept: volume(100), After: volume(c.after)}
		p.Budget = &uncertainty.Budget{Standard: c.u, Low: c.u, High: c.u}
		r := &Run{Result: &recompute.Result{Total: p}}
		if got := strings.Join(r.totalReasons(), "; "); got != c.want {
			t.Errorf("after %g, u %g: %q, want %q", c.after, c.u, got, c.want)
		}
	}
}

// TestLeftOutMost: of 10 days of hours the check is named whose readings made most time missing: of single readings
// that are left out an hour on either side, of a bridge what is too long for it, of a ruling nothing; and none where
// gaps in the log made as much.
func TestLeftOutMost(t *testing.T) {
	const hour = int64(time.Hour)
	event := func(f qa.Flags, action site.Action, from, until int64) *effect.Event {
		rows := int(until - from + 1)
		return &effect.Event{
			Flag: f, Check: f.Text(), Action: action, From: from * hour, Until: until * hour, Rows: rows, Spans: 1,
		}
	}
	dead, stuck := event(qa.Dead, site.LeaveOut, 10, 30), event(qa.Stuck, site.Bridge, 40, 80)
	short, joined := event(qa.Spike, site.Bridge, 1, 1), event(qa.Unusable, site.LeaveOut, 0, 200)
	joined.Rows, joined.Spans = 7, 3
	most := "; of the checks, %s left out most of the time, about %s"
	for _, c := range []struct {
		events []*effect.Event
		ruled  int64 // hour
		want   string
	}{
		{nil, -1, ""},
		{[]*effect.Event{event(qa.Dead, site.LeaveOut, 0, 239)}, -1, fmt.Sprintf(most, "dead", "10 d")},
		{[]*effect.Event{dead, stuck, short}, -1, fmt.Sprintf(most, "stuck", "1 d 18 h")},
		{[]*effect.Event{dead, stuck, short}, 50, fmt.Sprintf(most, "dead", "22 h")},
		{[]*effect.Event{short, event(qa.Still, site.Keep, 1, 90)}, -1, ""},
		{[]*effect.Event{joined}, -1, fmt.Sprintf(most, "unusable", "10 h")},
		{[]*effect.Event{dead, event(qa.Gap, site.LeaveOut, 100, 122)}, -1, ""},
		{[]*effect.Event{dead, event(qa.Gap, site.LeaveOut, 100, 121)}, -1, fmt.Sprintf(most, "dead", "22 h")},
	} {
		r := &Run{Result: &recompute.Result{}}
		r.Result.Events, r.Result.Facts.Interval = c.events, time.Hour
		r.Result.Screened.Limits.BridgeLimit = 4 * time.Hour
		r.Result.Total.Until = 240 * hour
		if c.ruled >= 0 {
			r.Result.Rulings = []recompute.RulingResult{{Ruling: &site.Ruling{
				From: site.Instant{UTC: c.ruled * hour}, Until: site.Instant{UTC: (c.ruled + 1) * hour},
			}}}
		}
		if got := r.leftOutMost(); got != c.want {
			t.Errorf("%q, want %q", got, c.want)
		}
	}
}
