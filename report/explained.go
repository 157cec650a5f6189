package report

import (
	"cmp"
	"encoding/json"
	"fmt"
	"io"
	"math"
	"slices"
	"strings"

	"retotal/ingest/quantity"
	"retotal/recompute/audit"
	"retotal/recompute/explain"
	"retotal/recompute/settings"
)

// Audit is what audit found at a site: what the meter used by its own log.
type Audit struct {
	Site     string   `json:"site"`
	Verdict  string   `json:"verdict"`
	Pairs    int      `json:"pairs"`
	Sentence []string `json:"sentences"`
	Worth    number   `json:"worth_m3"` // logged less what the settings on file make of the level
	Table    *Table   `json:"explanations,omitzero"`
	Causes   *Table   `json:"causes,omitzero"` // of what else disagrees
	Needs    []string `json:"needs_a_person,omitempty"`
	Unseen   []string `json:"cannot_be_seen,omitempty"` // in this log, since it has no witness of it
	Review   string   `json:"review"`
	list     []audit.Explained
	run      *Run
}

// mostBehind is how many explanations are listed that fit worse than the best.
const mostBehind = 2

// explanation is one row of the table: a setting of one of the explanations.
type explanation struct {
	number, place, part int // its number in the table, and its place among those of its settings, from 1
	of                  *audit.Explained
	*explain.Explanation
}

// NewAudit puts together what the pairs of a run say and what else disagrees.
func NewAudit(r *Run) *Audit {
	list := r.Used
	a := &Audit{Site: r.Site().ID, Review: review, Needs: r.NeedsPerson(), Table: r.used(),
		Causes: r.causes(), Unseen: r.unseen(), list: list, run: r}
	worst := explain.Same
	for k := range list {
		x := &list[k]
		a.Pairs += x.Pairs
		a.Sentence = append(a.Sentence, x.Sentence())
		if worst = max(worst, x.Verdict); len(x.Best) > 0 {
			a.Worth += number(x.Best[0].Volume)
		}
	}
	switch a.Verdict = worst.String(); {
	case a.Differs():
		a.Verdict = explain.SettingDiffers.String()
	case len(list) == 0 || a.unexplained():
		a.plain()
	}
	return a
}

// unexplained reports whether log and settings differ, and no setting is found that explains it.
func (a *Audit) unexplained() bool {
	return !a.Differs() && slices.ContainsFunc(a.run.Findings, func(f audit.Finding) bool {
		return f.Topic == audit.LoggedFlow && f.Verdict == audit.Differs && !f.Allowed
	})
}

// allowed reports whether what differs is no more than the site file allows.
func (r *Run) allowed() bool {
	return slices.ContainsFunc(r.Findings, func(f audit.Finding) bool {
		return f.Topic == audit.LoggedFlow && f.Allowed
	})
}

// listed is how many explanations of one set of recorded settings are shown.
func listed(x *audit.Explained) int {
	switch x.Verdict {
	case explain.AnotherEquation:
		return 1 // no setting differs
	case explain.SettingDiffers:
		return min(len(x.Best), x.Twins+mostBehind)
	}
	return 0
}

// used is the table of what explains the logged flow, the best first and what fits as well behind it.
func (r *Run) used() *Table {
	var rows []explanation
	number := 0
	for k := range r.Used {
		x := &r.Used[k]
		for n := range listed(x) {
			number++
			for part := range x.Best[n].Names {
				rows = append(rows, explanation{number, n + 1, part, x, &x.Best[n]})
			}
		}
	}
	return tabulate(r, rows, explanationFigures())
}

// plain takes the finding for the answer where nothing had to be explained, or nothing could be.
func (a *Audit) plain() {
	for _, f := range a.run.Findings {
		if f.Topic == audit.LoggedFlow {
			if a.Sentence = []string{f.Sentence}; f.Verdict != audit.Agrees {
				a.Verdict = explain.CannotCompare.String()
			}
		}
	}
	a.Pairs = a.run.Result.FlowCheck.Recorded.Readings
}

func explanationFigures() []figure[explanation] {
	value := func(x *explanation, v float64) string {
		return audit.Value(x.Names[x.part], v, "")
	}
	return []figure[explanation]{
		{Column{Key: "of_settings_from", Title: "settings of", Kind: Instant, Missing: "the beginning"},
			func(x *explanation) any {
				if x.of.Segment.From == settings.Always {
					return nil
				}
				return x.of.Segment.From
			}},
		count("number", "no.", func(x *explanation) int { return x.number }),
		words("setting", "setting", func(x *explanation) string { return x.Names[x.part] }).styled(Strong),
		words("value", "what the meter used", func(x *explanation) string {
			return audit.Value(x.Names[x.part], x.Values[x.part], x.Snapped[x.part])
		}),
		words("interval", "95 % interval", func(x *explanation) string {
			if x.Low[x.part] == x.High[x.part] || x.Names[x.part] == "same" {
				return ""
			}
			return value(x, x.Low[x.part]) + " to " + value(x, x.High[x.part])
		}),
		exact("value_si", func(x *explanation) float64 { return x.Values[x.part] }),
		exact("low_si", func(x *explanation) float64 { return x.Low[x.part] }),
		exact("high_si", func(x *explanation) float64 { return x.High[x.part] }),
		words("unit_si", "", func(x *explanation) string { return audit.Unit(x.Names[x.part]) }),
		words("taken_for", "", func(x *explanation) string { return x.Snapped[x.part] }).optional(),
		words("equation", "equation", func(x *explanation) string { return x.Equation }).in(machines),
		{Column{Key: "since", Title: "since", Kind: Instant, Missing: "the beginning"}, func(x *explanation) any {
			if x.Since == 0 {
				return nil
			}
			return x.Since
		}},
		{Column{Key: "since_from", Kind: Instant, Optional: true}, func(x *explanation) any {
			return onset(x, x.SinceLow)
		}},
		{Column{Key: "since_until", Kind: Instant, Optional: true}, func(x *explanation) any {
			return onset(x, x.SinceHigh)
		}},
		{Column{Key: "worth_m3", Title: "worth", Kind: Change}, func(x *explanation) any { return x.Worth }},
		worthOf("worth_low_m3", func(x *explanation) float64 { return x.WorthLow }),
		worthOf("worth_high_m3", func(x *explanation) float64 { return x.WorthHigh }),
		words("against", "against it", func(x *explanation) string { return x.of.Against(x.Explanation) }),
		words("fit", "fit", func(x *explanation) string {
			switch {
			case x.place == 1:
				return "best"
			case x.place <= x.of.Twins:
				return "as well"
			}
			return fmt.Sprintf("worse by %.2f", x.Score-x.of.Best[0].Score)
		}),
	}
}

// onset is an end of the interval of an onset, or nil where it holds from the first pair on.
func onset(x *explanation, at int64) any {
	if x.Since == 0 {
		return nil
	}
	return at
}

// worthOf is a volume of the record alone.
func worthOf(key string, of func(*explanation) float64) figure[explanation] {
	return figure[explanation]{Column{Key: key, Kind: Change}, func(x *explanation) any { return of(x) }}
}

// exact is a figure of the record alone, in SI units to six digits; nil where it is no number.
func exact[T any](key string, of func(*T) float64) figure[T] {
	return figure[T]{Column{Key: key, Kind: Written}, func(x *T) any {
		if v := of(x); !math.IsInf(v, 0) && !math.IsNaN(v) {
			return json.Number(quantity.Digits(v, 6))
		}
		return nil
	}}
}

// Differs reports whether the meter used another setting than the site file has; Open whether it did and nobody answers
// for that.
func (a *Audit) Differs() bool {
	return slices.ContainsFunc(a.list, func(x audit.Explained) bool { return x.Differs() })
}

// Open is told beside Differs.
func (a *Audit) Open() bool {
	return a.unexplained() || a.Differs() && !a.run.accepted() && !a.run.allowed() || len(a.run.openCauses()) > 0
}

// Text prints an audit, the answer first.
func (a *Audit) Text(w io.Writer) {
	r := a.run
	fmt.Fprintf(w, "%s: %s\n", a.Site, a.Verdict)
	for _, s := range a.Sentence {
		fmt.Fprintf(w, "  %s\n", s)
	}
	unit := r.Site().Report.VolumeUnit
	if a.Differs() {
		fmt.Fprintf(w, "  Over %s pairs of level and flow the meter counted %s %s against the settings on file.\n",
			Grouped(float64(a.Pairs), 0), signed(unit.FromSI(float64(a.Worth)), 0), unit.Symbol)
	}
	if len(a.Table.Rows) > 0 {
		fmt.Fprintln(w, "\nWhat explains the logged flow, by the log alone")
		a.Table.Text(w)
		if slices.ContainsFunc(a.list, func(x audit.Explained) bool { return x.Moves() }) {
			fmt.Fprintln(w,
				"A datum is the head on file less the head that the meter used: below zero, its heads were higher.")
		}
	}
	for i := range a.list {
		x := &a.list[i]
		if x.Lag != 0 && x.Verdict != explain.Same {
			fmt.Fprintf(w, "\nThe flow follows the level by about %s.\n", audit.Value("delay", x.Lag, ""))
		}
		if !x.Differs() {
			continue
		}
		if by := x.AcceptedBy(r.Site()); by != nil {
			fmt.Fprintf(w, "\nAccepted: %s. %s (%s)\n", by.Finding, by.Reason, by.By)
			continue
		}
		fmt.Fprintf(w, "\nTo accept this finding: [[audit.accepted]] with finding = %q, reason and by.\n", x.Name())
		if m := x.Measurement(); m != "" {
			fmt.Fprintf(w, "\nCheapest measurement that settles it: %s.\n", m)
		}
	}
	a.run.textOfCauses(w, a.Causes)
	for _, text := range a.Unseen {
		fmt.Fprintf(w, "\nCannot be seen in this log: %s.\n", text)
	}
	if a.Differs() {
		fmt.Fprintln(w, cannotShow)
	}
	if len(a.Needs) > 0 {
		fmt.Fprintln(w, "\nA person has to look")
		for _, n := range a.Needs {
			fmt.Fprintf(w, "  - %s\n", n)
		}
	}
	fmt.Fprintln(w, "\n"+review)
}

const cannotShow = `
What this log cannot show: whether what the meter used was right. That takes the site: sheet, tape, gauge or visit;
stay out of sewers and moving water without the permits and people they need.`

// Trial is explanation n of the audit as text for a site file, "" where no key of one says it; false where there is no
// such explanation.
func (a *Audit) Trial(n int) (text string, ok bool) {
	for i := range a.list {
		x := &a.list[i]
		if k := listed(x); n > k {
			n -= k
			continue
		}
		return x.Trial(a.run.Result, n), true
	}
	return "", false
}

// Ranked prints a line a site, those with most volume at stake first: the open ones, then the others.
func Ranked(w io.Writer, list []*Audit, most int) {
	slices.SortStableFunc(list, func(a, b *Audit) int {
		if a.Open() != b.Open() {
			return cmp.Compare(b.rank(), a.rank())
		}
		return cmp.Compare(math.Abs(float64(b.Worth)), math.Abs(float64(a.Worth)))
	})
	if len(list) == 0 {
		return
	}
	laidOut(list[0].run.units(), list[:min(most, len(list))], []figure[*Audit]{
		words("", "site", func(a **Audit) string { return (*a).Site }),
		words("", "verdict", func(a **Audit) string { return (*a).Verdict }),
		words("", "the meter used", func(a **Audit) string { return (*a).names() }),
		words("", "counted against the settings on file", func(a **Audit) string {
			unit := (*a).run.Site().Report.VolumeUnit
			return signed(unit.FromSI(float64((*a).Worth)), 0) + " " + unit.Symbol
		}),
	}).Text(w)
}

// rank is 1 for what is open.
func (a *Audit) rank() int {
	if a.Open() {
		return 1
	}
	return 0
}

// names are the settings that differ, of all recorded settings.
func (a *Audit) names() string {
	var list []string
	for i := range a.list {
		if x := &a.list[i]; x.Differs() && !slices.Contains(list, x.Name()) {
			list = append(list, x.Name())
		}
	}
	return strings.Join(list, "; ")
}
