package report

import (
	"fmt"
	"io"
	"math"
	"slices"
	"strings"
	"time"

	"retotal/ingest/reading"
	"retotal/recompute/audit"
)

// standing is one row of the table of what stands behind findings.
type standing = audit.Cause

// answered reports whether somebody answers for what stands behind a finding.
func (r *Run) answered(f *finding) bool {
	return f.Cause != nil && (audit.Accepts(r.Site(), f.Cause) != nil || r.follows(f.Cause) && r.accepted())
}

// follows reports whether a cause only says what another finding does: that the meter showed another flow than the
// settings on file make, and that this was reported.
func (r *Run) follows(c *standing) bool {
	return c.Name == audit.LoggedReported && slices.ContainsFunc(r.Findings, func(f finding) bool {
		return f.Topic == audit.LoggedFlow && f.Verdict == audit.Differs
	})
}

// openCauses are those that a person has to look at and nobody answers for.
func (r *Run) openCauses() (list []*standing) {
	for _, c := range audit.Causes(r.Findings) {
		allowed := slices.ContainsFunc(r.Findings, func(f finding) bool { return f.Cause == c && f.Allowed })
		if !c.Cannot && !allowed && !r.follows(c) && audit.Accepts(r.Site(), c) == nil {
			list = append(list, c)
		}
	}
	return list
}

// OpenWorths are what those causes are worth that a person has to look at and nobody answers for, m³, where that is
// known.
func (r *Run) OpenWorths() (list []float64) {
	for _, c := range r.openCauses() {
		if !math.IsNaN(c.Worth) {
			list = append(list, c.Worth)
		}
	}
	return list
}

// causes is the table of what stands behind counter, reported figures, clock and level that cannot be right.
func (r *Run) causes() *Table {
	list := audit.Causes(r.Findings)
	t := tabulate(r, list, []figure[*standing]{
		words("topic", "", func(c **standing) string { return (*c).Topic }),
		words("cause", "what", func(c **standing) string { return (*c).Name }).styled(Strong),
		words("value", "value", func(c **standing) string { return (*c).Valued((*c).Value) }),
		words("interval", "95 % interval", func(c **standing) string { return (*c).Interval() }),
		words("since", "since", func(c **standing) string {
			if text := (*c).Began(); text != "" {
				return strings.TrimPrefix(text, "since ")
			}
			return "the beginning"
		}),
		{Column{Key: "worth_m3", Title: "worth", Kind: Change, Missing: "not known"}, func(c **standing) any {
			return known((*c).Worth, !math.IsNaN((*c).Worth))
		}},
		words("fits_as_well", "fits as well", func(c **standing) string { return strings.Join((*c).AsWell, ", ") }),
		words("against", "", func(c **standing) string { return (*c).Against }),
		words("confounded_with", "", func(c **standing) string { return (*c).Confounded }),
		words("settles_it", "", func(c **standing) string { return (*c).Settles }),
		yesNo("only_possible", func(c **standing) bool { return (*c).Cannot }).optional(),
		words("accepted_by", "", func(c **standing) string {
			if a := audit.Accepts(r.Site(), *c); a != nil {
				return a.By
			}
			return ""
		}).optional(),
	})
	for i, c := range list {
		t.Minor[i] = c.Cannot // people read it in words
	}
	return t
}

// textOfCauses prints the table, and below it what settles each, or who answers for it.
func (r *Run) textOfCauses(w io.Writer, t *Table) {
	list := audit.Causes(r.Findings)
	if len(list) == 0 {
		return
	}
	if t.shown() > 0 {
		fmt.Fprintln(w, "\nCounter, reported totals, clock, level: what stands behind what disagrees")
		t.Text(w)
	}
	told := map[string]bool{}
	for _, c := range list {
		if c.Cannot {
			fmt.Fprintf(w, "\nPossible: %s of %s. The record alone cannot tell it from %s. To settle it: %s.\n", c.Name,
				c.Valued(c.Value), c.Confounded, c.Settles)
			continue
		}
		if told[c.Name] {
			continue
		}
		told[c.Name] = true
		if by := audit.Accepts(r.Site(), c); by != nil {
			fmt.Fprintf(w, "\nAccepted: %s. %s (%s)\n", by.Finding, by.Reason, by.By)
			continue
		}
		fmt.Fprintf(w, "\n%s: cheapest measurement that settles it: %s.\n", c.Name, c.Settles)
		if c.Confounded != "" {
			fmt.Fprintf(w, "The record alone cannot tell it from %s.\n", c.Confounded)
		}
		if c.Against != "" {
			fmt.Fprintf(w, "Against it: %s.\n", c.Against)
		}
		if r.follows(c) {
			fmt.Fprintln(w, "It goes with what the meter used, above.")
			continue
		}
		fmt.Fprintf(w, "To accept it: [[audit.accepted]] with finding = %q, reason and by.\n", c.Name)
	}
}

// fewestWitnesses is how many reported days it takes for them to be witnesses of a clock.
const fewestWitnesses = 6

// unseen says what is tried and this log has no witness of.
func (r *Run) unseen() (list []string) {
	days := 0
	for label := range r.Site().Report.Reported {
		if len(label) == len(time.DateOnly) {
			days++
		}
	}
	if days < fewestWitnesses {
		list = append(list, "a clock that is off or drifts, since nothing in it goes by another clock (figures of "+
			"days in [reported] do)")
	}
	if r.Site().Log.Primary <= reading.Head && len(r.Result.Visits) == 0 {
		list = append(list, "a slow drift of the sensor, which the season makes as well, since there is no visit "+
			"([[visit]]) to hold it to")
	}
	return list
}
