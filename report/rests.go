package report

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"retotal/ingest/quantity"
	"retotal/recompute/audit"
)

// Rest is one thing that the figures rest on: whether it agrees, what it is, and one clause with both numbers.
type Rest struct {
	Mark       string // ✓ agrees, ✗ differs, ? doubtful, – not given or cannot be compared
	Word, Text string
}

// The marks.
const (
	agrees   = "✓"
	differs  = "✗"
	doubtful = "?"
	without  = "–"
)

// MarkWord is a mark in words, for those who do not see it.
func (x *Rest) MarkWord() string {
	return map[string]string{
		agrees: "agrees", differs: "differs", doubtful: "doubtful", without: "not given or cannot be told",
	}[x.Mark]
}

// mostRests is how many findings, and how many visits, page one lists.
const mostRests = 6

// rests are what the figures rest on.
func (r *Run) rests() (list []Rest) {
	marks := map[audit.Verdict]string{
		audit.Agrees: agrees, audit.Plausible: agrees, audit.Differs: differs, audit.Doubtful: doubtful,
		audit.CannotTell: without,
	}
	for i := range r.Findings {
		f := &r.Findings[i]
		x := Rest{marks[f.Verdict], capital(f.Topic), inShort(firstSentence(f.Sentence))}
		if x.Mark == differs && (f.Allowed || r.answered(f)) {
			x.Text += " Accepted, or within what the site file allows."
		}
		list = append(list, x)
	}
	slices.SortStableFunc(list, func(a, b Rest) int { return gravity(a.Mark) - gravity(b.Mark) })
	list = shortened(list, "More comparisons")
	visits := r.visitRests()
	if len(visits) == 0 {
		visits = []Rest{{without, "Visits", "No visit was given."}}
	}
	return append(list, visits...)
}

// gravity puts what differs first.
func gravity(mark string) int {
	return slices.Index([]string{differs, doubtful, agrees, without}, mark)
}

// shortened cuts a list and counts the rest of it by their marks.
func shortened(list []Rest, word string) []Rest {
	if len(list) <= mostRests {
		return list
	}
	counts := map[string]int{}
	for _, x := range list[mostRests-1:] {
		counts[x.Mark]++
	}
	var words []string
	worst := without
	for _, mark := range []string{differs, doubtful, agrees, without} {
		if n := counts[mark]; n > 0 {
			words = append(words, fmt.Sprintf("%d %s", n, (&Rest{Mark: mark}).MarkWord()))
			if gravity(mark) < gravity(worst) {
				worst = mark
			}
		}
	}
	return append(list[:mostRests-1:mostRests-1], Rest{worst, word, strings.Join(words, ", ") + "; listed below."})
}

// visitRests are the visits, those that differ first.
func (r *Run) visitRests() (list []Rest) {
	for i := range r.Result.Visits {
		v := &r.Result.Visits[i]
		day, _, _ := strings.Cut(v.At.Text, "T")
		x := Rest{Mark: agrees, Word: "Visit " + day}
		switch verdict := r.visitVerdict(v); {
		case !v.Found:
			x.Mark, x.Text = without, capital(verdict)+"."
		default:
			if verdict != "agrees" {
				x.Mark = differs
			}
			x.Text = fmt.Sprintf("%s %s. The log was %s, corrected it is %s (+/- %s mm).", capital(v.Quantity.String()),
				v.Value.Text, offset(v.Before()), offset(v.After()), quantity.Digits(1000*v.U95(), 2))
		}
		list = append(list, x)
	}
	slices.SortStableFunc(list, func(a, b Rest) int { return gravity(a.Mark) - gravity(b.Mark) })
	return shortened(list, "More visits")
}

// offset words a difference of head, given in metres: 17 mm high.
func offset(m float64) string {
	mm := math.Round(10000*m) / 10
	switch {
	case mm > 0:
		return quantity.Digits(mm, 3) + " mm high"
	case mm < 0:
		return quantity.Digits(-mm, 3) + " mm low"
	}
	return "0 mm off"
}
