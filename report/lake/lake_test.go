package lake

import (
	"errors"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"retotal/recompute"
	"retotal/recompute/total"
)

func number3(v float64) *float64 { return &v }

// three are sites of which one failed, with names that would do harm.
func three() []*Piece {
	return []*Piece{
		{Schema: Schema, Key: "a", Site: Site{ID: "a", State: Done, Name: "<script>alert(1)</script>",
			Before: number3(1000), After: number3(900), Difference: number3(-100), AtStake: 100, Needs: 2,
			First: "=cmd()", Coverage: number3(0.5)},
			Course: &Course{Before: []*float64{number3(1), nil, number3(2)}, After: []*float64{nil, nil, number3(4)}},
			Totals: []Total{{Site: "a", Lane: "after", Kind: "total", Value: number3(900), Unit: "m3"}}},
		{Schema: Schema, Key: "b", Site: Site{ID: "b", State: Failed, Reason: "b.toml: there is no such file"}},
		{Schema: Schema, Key: "c", Site: Site{ID: "c", State: Done, AtStake: 2500.4, Difference: number3(2500.4)},
			Totals: []Total{{Site: "c", Lane: "after", Kind: "total", Value: nil, Unit: "m3"}}},
	}
}

// TestGather: what failed stands first, then what is most at stake; lists are made whole, once, and again when one is
// gone; a site without a piece stops them.
func TestGather(t *testing.T) {
	f := Folder(t.TempDir())
	if err := f.Open("1"); err != nil {
		t.Fatal(err)
	}
	for _, p := range three() {
		if err := f.Write(p); err != nil {
			t.Fatal(err)
		}
	}
	var missing Missing
	if _, err := f.Gather("1", []string{"a", "b", "c", "d"}); !errors.As(err, &missing) || missing[0] != "d" {
		t.Errorf("without d: %v", err)
	}
	if b, err := f.ReadBatch(); err != nil || b.Complete {
		t.Errorf("without d: %+v, %v", b, err)
	}
	sites, err := f.Gather("1", []string{"c", "b", "a"})
	if err != nil {
		t.Fatal(err)
	}
	var order []string
	for _, s := range sites {
		order = append(order, s.ID)
	}
	if !slices.Equal(order, []string{"b", "c", "a"}) {
		t.Errorf("in the order %v", order)
	}
	if want := "2 of 3 sites are done, 1 could not be done; at 1 a person has to look. The corrections change +2,400 " +
		"m3 in all; 2,600 m3 are at stake."; Answer(sites) != want {
		t.Errorf("%s", Answer(sites))
	}
	read := func(name string) string {
		text, err := os.ReadFile(filepath.Join(string(f), name))
		if err != nil {
			t.Fatal(err)
		}
		return string(text)
	}
	page := read("index.html")
	if strings.Contains(page, "<script>alert") || !strings.Contains(page, "&lt;script&gt;") ||
		!strings.Contains(page, "there is no such file") {
		t.Error("the page lacks something, or takes a name for markup")
	}
	if list := read("sites.csv"); !strings.Contains(list, "'=cmd()") {
		t.Errorf("a need begins as a formula: %s", list)
	}
	if err := os.Remove(filepath.Join(string(f), "sites.csv")); err != nil {
		t.Fatal(err)
	}
	if _, err := f.Gather("1", []string{"a", "b", "c"}); err != nil || read("sites.csv") == "" {
		t.Errorf("a list that was removed: %v", err)
	}
}

// TestCourse: 61 days in 60 parts, each the mean a day over the time that is covered; the last holds two days of which
// one is half covered: 100 m³ in 12 h and 100 in 24 h are 133.333 a day.
func TestCourse(t *testing.T) {
	day := int64(24 * 3600 * 1e9)
	var days []recompute.Period
	for i := range 61 {
		v := total.Volume{Covered: day}
		if i == 60 {
			v.Covered = day / 2
		}
		v.Sum.Add(100)
		days = append(days, recompute.Period{Before: v})
	}
	c := course(days)
	if len(c.Before) != 60 || *c.Before[0] != 100 || *c.Before[59] != 133.333 || c.After[0] != nil {
		t.Errorf("%d parts, %v and %v", len(c.Before), *c.Before[0], *c.Before[59])
	}
}
