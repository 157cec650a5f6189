package report

import (
	"testing"

	"retotal/ingest/site"
	"retotal/recompute"
	"retotal/recompute/audit"
	"retotal/recompute/explain"
)

// TestOpen: a weekly run goes quiet only where somebody answers for every setting that differs. What no setting
// explains cannot be accepted by the name of one.
func TestOpen(t *testing.T) {
	used := func(v explain.Verdict, names ...string) audit.Explained {
		return audit.Explained{Finding: explain.Finding{Verdict: v, Twins: 1,
			Best: []explain.Explanation{{Names: names, Values: make([]float64, len(names)),
				Snapped: make([]string, len(names))}}}}
	}
	datum := used(explain.SettingDiffers, "datum")
	both := used(explain.SettingDiffers, "angle", "datum")
	none := used(explain.CannotCompare, "same")
	differs := audit.Finding{Topic: audit.LoggedFlow, Verdict: audit.Differs}
	agrees := audit.Finding{Topic: audit.LoggedFlow, Verdict: audit.Agrees}
	for _, c := range []struct {
		name     string
		used     []audit.Explained
		found    audit.Finding
		accepted []string
		want     bool
	}{
		{"nothing differs", nil, agrees, nil, false},
		{"a datum", []audit.Explained{datum}, differs, nil, true},
		{"a datum, accepted", []audit.Explained{datum}, differs, []string{"datum"}, false},
		{"a datum, something else accepted", []audit.Explained{datum}, differs, []string{"angle"}, true},
		{"two, accepted", []audit.Explained{both}, differs, []string{"angle and datum"}, false},
		{"two, one accepted", []audit.Explained{both}, differs, []string{"datum"}, true},
		{"two times, one accepted", []audit.Explained{datum, both}, differs, []string{"datum"}, true},
		{"two times, both accepted", []audit.Explained{datum, both}, differs, []string{"datum", "angle and datum"}, false},
		{"unexplained", []audit.Explained{none}, differs, []string{"same", "datum"}, true},
	} {
		s := &site.Site{}
		for _, a := range c.accepted {
			s.Accepted = append(s.Accepted, site.Accepted{Finding: a})
		}
		r := &Run{Result: &recompute.Result{Site: s}, Used: c.used, Findings: []audit.Finding{c.found}}
		if got := (&Audit{list: c.used, run: r}).Open(); got != c.want {
			t.Errorf("%s: %v", c.name, got)
		}
	}
}
