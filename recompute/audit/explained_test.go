package audit

import (
	"strings"
	"testing"

	"retotal/ingest/quantity"
	"retotal/ingest/reading"
	"retotal/ingest/site"
	"retotal/recompute"
	"retotal/recompute/evidence"
	"retotal/recompute/explain"
	"retotal/recompute/settings"
	"retotal/recompute/uncertainty"
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
	standing := func(worth float64) evidence.Misfit {
		m := left(1, 0)
		m.Standing.Logged, m.Standing.Lane = 1000, 1000-worth
		return m
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
		{"two per cent stand in a span", standing(20), same, Agrees},
		{"a little more", standing(20.01), same, Differs},
		{"of another equation five per cent", standing(50), other(0), Agrees},
		{"a little more", standing(50.01), other(0), Differs},
		{"nothing explains it", left(100, 0), found(explain.CannotCompare, 0.4, 0, "same"), Differs},
		{"a setting", left(100, 0), found(explain.SettingDiffers, 0, 0, "datum"), Differs},
		{"a setting in one of two", left(1, 0), append(found(explain.SettingDiffers, 0, 0, "datum"), same...), Differs},
	} {
		if got, ok := graded(c.misfit, c.used); got != c.want || ok != (c.want != Differs) {
			t.Errorf("%s: %v, want %v", c.name, got, c.want)
		}
	}
}

// TestDropMore: of explanations that fit as well as the best, one that is another and a setting more is dropped; of
// those behind, one that leaves as much as the settings on file.
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
	behind := explain.Finding{Twins: 1, OnFile: 0.2, Best: []explain.Explanation{{Names: []string{"angle"}},
		{Names: []string{"width"}, Left: 0.18}, {Names: []string{"same"}, Left: 0.2}}}
	if dropMore(&behind); len(behind.Best) != 2 || behind.Twins != 1 || behind.Best[1].Names[0] != "width" {
		t.Errorf("behind the best: %+v", behind.Best)
	}
	if got := strings.Join(left, ", "); got != want || f.Twins != 3 {
		t.Errorf("%s are left, of which %d fit as well; want %s", got, f.Twins, want)
	}
}

// TestTrialText: what a site file is to say of a datum, by what was logged. A log of heads says nothing of where its
// zero is, so that no key of [settings] says it.
func TestTrialText(t *testing.T) {
	empty := &site.Ramp{From: quantity.Value{SI: 1.25}, To: quantity.Value{SI: 1.25}}
	for _, c := range []struct {
		name    string
		primary reading.Quantity
		empty   *site.Ramp
		want    string // the last line
	}{
		{"distance", reading.Distance, empty, `empty_distance = "1.225 m"`},
		{"level", reading.Level, nil, `level_of_zero_flow = "0.025 m"`},
		{"head", reading.Head, nil, ""},
	} {
		x := Explained{Segment: &settings.Segment{From: settings.Always}, Finding: explain.Finding{
			Verdict: explain.SettingDiffers, Twins: 1, Best: []explain.Explanation{{
				Names: []string{"datum"}, Values: []float64{0.025}, Snapped: []string{""}}}}}
		x.Segment.Settings.Values[site.EmptyDistance] = c.empty
		text := x.Trial(&recompute.Result{Site: &site.Site{Log: site.Log{Primary: c.primary}}}, 1)
		lines := strings.Split(strings.TrimSpace(text), "\n")
		if got := lines[len(lines)-1]; got != c.want {
			t.Errorf("%s: %q, want %q", c.name, got, c.want)
		}
	}
}

// TestDailyUncertaintyOfMissingDays: a day of 80 m3 to 2 % (95 %) and one without a total. At 2 % the one day meets it,
// at 1.9 % none does; the other is told and counted in neither.
func TestDailyUncertaintyOfMissingDays(t *testing.T) {
	r := result(0, 0, evidence.Misfit{}, evidence.Misfit{})
	standard := 0.02 * 80 / uncertainty.Coverage
	r.Days[0].Budget = &uncertainty.Budget{Standard: standard, Low: standard, High: standard}
	r.Days = append(r.Days[:1], recompute.Period{Label: "2031-03-02"})
	for _, c := range []struct {
		required float64
		want     Verdict
		says     string
	}{
		{0.02 + 1e-9, Agrees, "1 of 1 days are known to 2 % or better"},
		{0.019, Differs, "0 of 1 days are known to 1.9 % or better"},
	} {
		r.Site.Report.DailyUncertainty = c.required
		f, asked := dailyUncertainty(r)
		if !asked || f.Verdict != c.want || !strings.Contains(f.Sentence, c.says) ||
			!strings.Contains(f.Sentence, "1 more have no total") {
			t.Errorf("%g: %v %s", c.required, f.Verdict, f.Sentence)
		}
	}
}
