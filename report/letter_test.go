package report

import (
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// TestTypeset: signs and units as the SI brochure (9th edition, 5.4) sets them; dates and names stay.
func TestTypeset(t *testing.T) {
	for plain, want := range map[string]string{
		"-14,711 m3 is known to +/- 445 m3": "−14,711 m³ is known to ± 445 m³",
		"12 m3/h (-3.5 %)":                  "12 m³/h (−3.5\u00a0%)",
		"2031-03-17 to 2031-04-02":          "2031-03-17 to 2031-04-02",
		"90 deg at 20 degC":                 "90° at 20 °C",
		"a V-notch, km3, item 3-4":          "a V-notch, km3, item 3-4",
		"+/-3 mm":                           "±3 mm",
	} {
		if got := Typeset(plain); got != want {
			t.Errorf("%q became %q, want %q", plain, got, want)
		}
	}
}

// TestThreeFigures: three figures, none finer than those of the total beside them; worked out by hand.
func TestThreeFigures(t *testing.T) {
	for _, c := range []struct {
		v      float64
		finest int
		want   string
	}{
		{4344.2, 0, "4,340"}, {22.81, 0, "23"}, {0.1234, 3, "0.123"}, {0, 2, "0"}, {99950, 0, "100,000"}, {12.345, 1, "12.3"},
	} {
		if got := threeFigures(c.v, c.finest); got != c.want {
			t.Errorf("%v to %d decimals: %s, want %s", c.v, c.finest, got, c.want)
		}
	}
}

// TestEveryNeedIsAPoint: what a person has to look at stands among the open points of page one.
func TestEveryNeedIsAPoint(t *testing.T) {
	for _, file := range []string{"site.toml", "one-day.toml"} {
		run, _ := correct(t, file)
		needs, points := run.needs(), run.points()
		for _, n := range needs {
			told := false
			for _, p := range points {
				told = told || p.Decision && strings.Contains(strings.ToLower(p.Clause+" "+p.Text),
					strings.ToLower(firstWords(n.reason)))
			}
			if !told && n.kind != littleCovered {
				t.Errorf("%s: %q is not among the points of page one: %v", file, n.reason, points)
			}
		}
		if len(points) == 0 || points[len(points)-1].Part != PartSign {
			t.Errorf("%s: page one does not say that nobody has checked it", file)
		}
	}
}

// firstWords is enough of a reason to know it by.
func firstWords(reason string) string {
	topic, _, _ := strings.Cut(reason, ":")
	return topic
}

// sentenceOf is the sentence of page one, with blanks of one kind.
func sentenceOf(run *Run) (text string) {
	for _, p := range NewLetter(run).Sentence {
		text += p.Text
	}
	return strings.ReplaceAll(text, "\u00a0", " ")
}

// TestOvercount: by hand from the demo's totals.csv: the days up to 2 April add up to 44,462.8 before and 30,059.9
// after, which is 47.9 % too much; later days change by screening alone.
func TestOvercount(t *testing.T) {
	run, _ := correct(t, "site.toml")
	want := "The meter counted about 48 % too much from 1 March to 2 April 2031, because it was told an empty " +
		"distance of 1.250 m in place of 1.225 m."
	if text := sentenceOf(run); text != want {
		t.Errorf("page one says %q, want %q", text, want)
	}
}

// variant is the demo with other corrections in the place of its own.
func variant(t *testing.T, corrections string) *Run {
	t.Helper()
	folder, err := filepath.Abs(filepath.Join("..", "testdata", "quarry-lane"))
	if err != nil {
		t.Fatal(err)
	}
	text, err := os.ReadFile(filepath.Join(folder, "site.toml"))
	if err != nil {
		t.Fatal(err)
	}
	before, rest, _ := strings.Cut(string(text), "[[correction]]")
	_, after, _ := strings.Cut(rest, "# What was read beside")
	file := filepath.Join(t.TempDir(), "site.toml")
	made := strings.Replace(before, `["2031-`, `["`+filepath.ToSlash(folder)+`/2031-`, 1) + corrections + "\n# " + after
	if err := os.WriteFile(file, []byte(made), 0o644); err != nil {
		t.Fatal(err)
	}
	run, _ := correctFile(t, file)
	return run
}

// TestSentences (times are the logger's, which keeps +00:00, and days those of Dublin, an hour ahead from 30 March on:
// an hour of a day does not make the span): errors of opposite signs are told apart and never added up, a drift is no
// place of its own, and an onset that is not sure is an open point whose months nobody calls final.
func TestSentences(t *testing.T) {
	if testing.Short() {
		t.Skip("seven sites; the plain run does it")
	}
	one := func(from, until, rest string) string {
		return "[[correction]]\nfrom = " + from + "T00:00:00\nuntil = " + until + "T00:00:00\nreason = \"r\"\n" +
			"by = \"b\"\nsure = true\n" + rest + "\n"
	}
	for _, c := range []struct{ corrections, want string }{
		{one("2031-03-01", "2031-03-11", `empty_distance = "1.225 m"`) + one("2031-03-20", "2031-03-31",
			`empty_distance = "1.275 m"`), "too much from 1 March to 10 March 2031"},
		{one("2031-03-01", "2031-03-11", `empty_distance = "1.225 m"`) + one("2031-03-20", "2031-03-31",
			`empty_distance = "1.275 m"`), "too little from 20 March to 30 March 2031"},
		{one("2031-03-01", "2031-04-01", `empty_distance = { from = "1.250 m", to = "1.225 m" }`),
			"in place of 1.250 m, which drifted to 1.225 m"},
		{one("2031-03-01", "2031-04-01", `empty_distance = "1.225 m"`), "too much in March 2031"},
		{"", "made of +0 settings"},
	} {
		if text := sentenceOf(variant(t, c.corrections)); !strings.Contains(text, c.want) {
			t.Errorf("page one says %q, which does not hold %q", text, c.want)
		}
	}
	run := variant(t, one("2031-03-20", "2031-04-02", "empty_distance = \"1.225 m\"\n"+
		"onset = { last_good_check = 2031-03-02T00:00:00 }"))
	told := false
	for _, p := range run.points() {
		told = told || strings.HasPrefix(p.Clause, "When the error began")
	}
	if state := NewLetter(run).Months[0].State; !told || state != NeedsPerson {
		t.Errorf("an onset that is not sure: told %v, state %s", told, state)
	}
}

// TestEveryStateHasItsPoint: a line that needs a person stands beside an open point, and a log of days does not cover
// its month.
func TestEveryStateHasItsPoint(t *testing.T) {
	run, _ := correct(t, "one-day.toml")
	l := NewLetter(run)
	named := false
	for _, p := range l.Points {
		named = named || strings.Contains(p.Clause, "not covered") && p.Decision
	}
	if l.Months[0].State != NeedsPerson || !named {
		t.Errorf("a day of a month: state %s, points %v", l.Months[0].State, l.Points)
	}
}

// TestPageInWords holds every text and table of page and paper, for the demo, to a file that people read.
func TestPageInWords(t *testing.T) {
	run, _ := correct(t, "site.toml")
	l := NewLetter(run)
	var b strings.Builder
	fmt.Fprintln(&b, l.Title, "|", l.Period, "|", l.Status)
	for _, e := range l.Strip {
		fmt.Fprintln(&b, e.Key, "|", e.Text)
	}
	for _, list := range [][]Phrase{l.Sentence, {{Text: l.OnFile}}, l.Answer} {
		for _, p := range list {
			fmt.Fprint(&b, p.Text)
		}
		fmt.Fprintln(&b)
	}
	for _, m := range append(l.Months, *l.Total) {
		fmt.Fprintln(&b, m.Name, "|", m.Before, "|", m.After, "|", m.Interval, "|", m.Change, "|", m.Covered, "|",
			m.State)
	}
	fmt.Fprintln(&b, l.Note)
	for _, p := range l.Points {
		fmt.Fprintln(&b, "-", p.Clause, p.Text, "->", p.Part)
	}
	for _, x := range l.Rests {
		fmt.Fprintln(&b, x.Mark, x.Word, "|", x.Text)
	}
	fmt.Fprintln(&b, l.Foot[0], "|", l.Foot[1])
	for _, s := range Sections(run) {
		fmt.Fprintf(&b, "\n## %s\n", s.Title)
		for _, block := range s.Blocks {
			blockInWords(&b, &block)
		}
	}
	golden := filepath.Join("..", "testdata", "golden", "page.txt")
	if *update {
		if err := os.WriteFile(golden, []byte(b.String()), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	want, err := os.ReadFile(golden)
	if err != nil || b.String() != string(want) {
		t.Errorf("page and paper say something else than %s (%v); look at it after go test ./report -update:\n%s",
			golden, err, b.String())
	}
}

func blockInWords(b *strings.Builder, block *Block) {
	if block.Table == nil {
		fmt.Fprintln(b, block.Text+block.Code+block.Picture)
		return
	}
	fmt.Fprintln(b, "["+block.Table.Caption+"]")
	for _, row := range append([][]PageCell{block.Table.Head}, block.Table.Rows...) {
		var cells []string
		for _, c := range row {
			cells = append(cells, c.Text+c.Bar)
		}
		fmt.Fprintln(b, strings.Join(cells, " | "))
	}
}
