package block

import (
	"testing"

	"retotal/ingest/site"
	"retotal/qa"
)

// TestStrongestAction: of the actions of several flags the strongest holds, whatever the order of the flags; a gap is
// no flag of a reading.
func TestStrongestAction(t *testing.T) {
	weakToStrong := []site.Action{site.Keep, site.Zero, site.Hold, site.Bridge, site.LeaveOut}
	for i, weak := range weakToStrong {
		for _, strong := range weakToStrong[i:] {
			for _, flags := range [][2]qa.Flags{{qa.Spike, qa.Surcharge}, {qa.Surcharge, qa.Spike}} {
				f := Frame{Actions: map[qa.Flags]site.Action{flags[0]: weak, flags[1]: strong, qa.Gap: site.LeaveOut}}
				if got := f.ActionOf(qa.Spike | qa.Surcharge | qa.Gap); got != strong {
					t.Errorf("%s beside %s: %s", weak, strong, got)
				}
			}
		}
	}
	for action, holds := range map[site.Action]bool{site.Hold: true, site.Keep: false, site.LeaveOut: false} {
		f := Frame{Actions: map[qa.Flags]site.Action{qa.Surcharge: action}}
		if f.HoldsTop() != holds {
			t.Errorf("%s: the top is held: %v", action, !holds)
		}
	}
}

// TestActions: a flag drops a reading from the fast way unless the site file keeps it and its flow is what it shows.
func TestActions(t *testing.T) {
	f := Frame{Site: &site.Site{}}
	f.Site.Screening.Actions = map[string]site.Action{}
	for _, c := range qa.Checks {
		f.Site.Screening.Actions[c.Name] = site.Keep
	}
	delete(f.Site.Screening.Actions, "gap")
	f.setActions()
	want := qa.Drowned | qa.CutOff | qa.Capped | qa.Blanking | qa.Spike | qa.Gap
	if f.Drops != want || f.Actions[qa.Gap] != site.LeaveOut {
		t.Errorf("dropped are %s", f.Drops.Text())
	}
	f.Site.Screening.Actions["stuck"] = site.Bridge
	f.Drops = 0
	f.setActions()
	if f.Drops != want|qa.Stuck {
		t.Errorf("with stuck bridged, dropped are %s", f.Drops.Text())
	}
}

// TestRulingOf: a ruling holds from its first instant until its end, which is open, for the checks that it names; the
// last one that is about a reading holds, and one that is passed over does not.
func TestRulingOf(t *testing.T) {
	at := func(ns int64) site.Instant { return site.Instant{UTC: ns} }
	s := &site.Site{Rulings: []site.Ruling{
		{From: at(10), Until: at(20)},
		{From: at(15), Until: at(30), Checks: []string{"spike", "stuck"}},
	}}
	for _, c := range []struct {
		at       int64
		flags    qa.Flags
		passOver []int
		want     int
	}{
		{9, qa.Spike, nil, -1}, {10, 0, nil, 0}, {14, qa.Spike, nil, 0}, {15, qa.Spike, nil, 1}, {15, qa.Stuck | qa.Gap, nil, 1},
		{15, qa.Capped, nil, 0}, {19, qa.Capped, nil, 0}, {20, qa.Capped, nil, -1}, {29, qa.Spike, nil, 1}, {30, qa.Spike, nil, -1},
		{31, qa.Spike, nil, -1}, {15, qa.Spike, []int{1}, 0}, {12, qa.Spike, []int{0}, -1}, {25, qa.Spike, []int{0}, 1}, {15, qa.Spike, []int{0, 1}, -1},
	} {
		r := newRulings(s)
		if r.PassOver != nil {
			t.Fatal("something is passed over")
		}
		r.PassOver = c.passOver
		ruling, got := r.of(c.at, c.flags)
		if got != c.want || (ruling == nil) != (got < 0) || got >= 0 && ruling != &r.List[got] {
			t.Errorf("%+v: %d", c, got)
		}
	}
}
