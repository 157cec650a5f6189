package audit

import (
	"strings"
	"testing"

	"retotal/recompute/evidence"
	"retotal/recompute/explain"
)

// TestGraded: where no setting differs, what is left decides whether a person has to look: one step below, at and above
// each limit. Misfits are of 1000 m³.
func TestGraded(t *testing.T) {
	found := func(v explain.Verdict, unlike, lag float64, names ...string) []Explained {
		return []Explained{{Finding: explain.Finding{Verdict: v, Unlike: unlike, Lag: lag, Twins: 1,
			Best: []explain.Explanation{{Names: names}}}}}
	}
	same := found(explain.Same, 0, 0, "same")
	other := func(unlike float64) []Explained { return found(explain.AnotherEquation, unlike, 0, "equation") }
	late := func(unlike float64) []Explained { return found(explain.CannotCompare, unlike, 600, "delay") }
	left := func(worth float64, above int) evidence.Misfit {
		return evidence.Misfit{Logged: 1000, Lane: 1000, Worth: worth, AboveCap: above}
	}
	for _, c := range []struct {
		name   string
		misfit evidence.Misfit
		used   []Explained
		want   Verdict
	}{
		{"a per cent is left", left(10, 0), same, Agrees},
		{"a little more", left(10.01, 0), same, Differs},
		{"one reading above the cap", left(1, 1), same, Agrees},
		{"two", left(1, 2), same, Differs},
		{"another equation leaves five per cent", left(100, 0), other(0.05), Agrees},
		{"a little more", left(100, 0), other(0.0501), Differs},
		{"a lag leaves five per cent", left(100, 0), late(0.05), CannotTell},
		{"a little more", left(100, 0), late(0.0501), Differs},
		{"nothing explains it", left(100, 0), found(explain.CannotCompare, 0.4, 0, "same"), Differs},
		{"a setting", left(100, 0), found(explain.SettingDiffers, 0, 0, "datum"), Differs},
		{"a setting in one of two", left(1, 0), append(found(explain.SettingDiffers, 0, 0, "datum"), same...), Differs},
	} {
		if got, ok := graded(c.misfit, c.used); got != c.want || ok != (c.want != Differs) {
			t.Errorf("%s: %v, want %v", c.name, got, c.want)
		}
	}
}

// TestDropMore: of explanations that fit as well as the best, one that is another and a setting more is dropped.
func TestDropMore(t *testing.T) {
	f := explain.Finding{Twins: 4}
	for _, names := range []string{"angle", "angle cap", "flow factor;cap", "flow factor", "angle datum"} {
		sep := " "
		if strings.Contains(names, ";") || names == "flow factor" {
			sep = ";"
		}
		f.Best = append(f.Best, explain.Explanation{Names: strings.Split(names, sep)})
	}
	dropMore(&f)
	var left []string
	for _, e := range f.Best {
		left = append(left, strings.Join(e.Names, " and "))
	}
	want := "angle, flow factor and cap, flow factor, angle and datum"
	if got := strings.Join(left, ", "); got != want || f.Twins != 3 {
		t.Errorf("%s are left, of which %d fit as well; want %s", got, f.Twins, want)
	}
}
