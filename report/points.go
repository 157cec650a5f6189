package report

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"retotal/ingest/quantity"
	"retotal/ingest/site"
	"retotal/qa"
	"retotal/recompute/effect"
)

// Point is something open that whoever sends the figures has to know: a clause of few words, when and how large and
// what to do, and where more is said.
type Point struct {
	Clause, Text string
	Part         Part
	Decision     bool // it needs one before the figures are sent
}

// Part is a part of the report below page one, by the name that links lead to.
type Part string

// The parts, in the order in which they follow each other.
const (
	PartMonths    Part = "months"
	PartWhy       Part = "why"
	PartSure      Part = "how-sure"
	PartAgree     Part = "agreement"
	PartVisits    Part = "visits"
	PartLimits    Part = "limits"
	PartAverages  Part = "averages"
	PartScreening Part = "screening"
	PartPictures  Part = "pictures"
	PartDays      Part = "days"
	PartSettings  Part = "settings"
	PartRead      Part = "certificate"
	PartSign      Part = "signatures"
)

// Word is the name of a part as a reader sees it.
func (p Part) Word() string {
	return map[Part]string{
		PartMonths: "Months", PartWhy: "Why", PartSure: "How sure", PartAgree: "Comparisons", PartVisits: "Visits",
		PartLimits: "Limits", PartAverages: "Averages", PartScreening: "Screening", PartPictures: "Pictures",
		PartSettings: "Settings", PartDays: "Days", PartRead: "Certificate", PartSign: "Signatures",
	}[p]
}

// points are all open points, the worst first. Every reason why a person has to look is among them.
func (r *Run) points() (list []Point) {
	for _, n := range r.needs() {
		if n.kind != littleCovered {
			list = append(list, r.point(&n))
		}
	}
	list = append(list, r.onsetPoints()...)
	list = append(list, r.missingPoints()...)
	list = append(list, r.partialPoints()...)
	list = append(list, r.boundedPoints()...)
	for i := range r.Result.Rulings {
		if x := &r.Result.Rulings[i]; x.Rows == 0 {
			text := fmt.Sprintf("%s to %s, %s: no reading is under it.", x.Ruling.From.Text, x.Ruling.Until.Text,
				x.Ruling.Action)
			list = append(list, Point{"A ruling is without effect.", text, PartScreening, true})
		}
	}
	if n := len(r.Warnings); n > 0 {
		text := worded(r.Site(), r.Warnings[0])
		if n > 1 {
			text += fmt.Sprintf(" And %d more.", n-1)
		}
		list = append(list, Point{"Something in the settings looks odd.", text, PartAgree, true})
	}
	slices.SortStableFunc(list, func(a, b Point) int { return rankOf(a.Part) - rankOf(b.Part) })
	return append(list, r.signPoints()...)
}

// rankOf is how urgent points of a part are: what may upset every figure first.
func rankOf(p Part) int {
	return slices.Index([]Part{
		PartAgree, PartVisits, PartWhy, PartDays, PartMonths, PartSure, PartLimits, PartScreening,
	}, p)
}

// point words one reason why a person has to look.
func (r *Run) point(n *need) Point {
	switch n.kind {
	case disagreement:
		return Point{capital(n.about.Topic) + ": differs.", inShort(firstSentence(n.about.Sentence)), PartAgree, true}
	case doubt:
		return Point{capital(n.about.Topic) + " is doubtful.", capital(n.reason) + ".", PartAgree, true}
	case newlyOver:
		return Point{"A limit is newly exceeded.", capital(n.reason) + ".", PartLimits, true}
	case cannotTellOver:
		return Point{"A limit cannot be told.", capital(n.reason) + ": it lies within what is known of the figure.",
			PartLimits, true}
	case visitDiffers:
		return Point{"A visit differs.", capital(n.reason) + ".", PartVisits, true}
	}
	return Point{"The total is unusual.", capital(n.reason) + ".", PartSure, true}
}

// onsetPoints says that it is not sure when an error began, where totals of other defensible onsets differ.
func (r *Run) onsetPoints() []Point {
	text := r.onsetRange(r.decimals(r.Result.Total.Before.M3()))
	if text == "" {
		return nil
	}
	return []Point{{"When the error began is not sure.",
		text + " The figures above are those of the onset on file: settle it, or report the range.", PartWhy, true}}
}

// onsetMoves reports whether another defensible onset changes a total.
func (r *Run) onsetMoves(p *period) bool {
	for i, lane := range r.Result.WhatIfs {
		if lane.Onset && i < len(p.WhatIf) && math.Abs(p.WhatIf[i].M3()-p.After.M3()) > 1e-9*math.Abs(p.After.M3()) {
			return true
		}
	}
	return false
}

// partialPoints names the months, or the years of a long record, that the log does not cover.
func (r *Run) partialPoints() []Point {
	list := r.lines()
	partial := func(p *period) bool { return p.After.Missing() || covered(r.monthsIn(p)) < leastCoverage }
	var names []string
	part := ""
	for i := range list {
		if partial(&list[i]) {
			names = append(names, r.lineName(&list[i], false))
			part = floored(covered(r.monthsIn(&list[i])))
		}
	}
	switch len(names) {
	case 0:
		return nil
	case 1:
	default:
		part = "less than 95 %"
	}
	return []Point{{fmt.Sprintf("%s %s not covered.", listed3(names), isAre(names)),
		fmt.Sprintf("The corrected total covers %s of the time; it is what the log holds, not all that flowed. Say so "+
			"where it is reported, or report what the permit's rule on missing time gives.", part), PartMonths, true}}
}

// missingTold is the missing time from which it is an open point; common practice.
const missingTold = int64(time.Hour)

// missingPoints says what time is not in the total.
func (r *Run) missingPoints() []Point {
	p := &r.Result.Total
	missing := missingTime(p)
	if p.Until <= p.From || missing < missingTold && p.Coverage() >= leastCoverage {
		return nil
	}
	text := fmt.Sprintf("The total covers %s of the time", floored(p.Coverage()))
	for _, n := range r.needs() {
		if n.kind == littleCovered {
			_, by, _ := strings.Cut(n.reason, ";")
			text += strings.TrimSuffix(";"+by, ";")
		}
	}
	text += "."
	if e := r.longestGap(); e != nil {
		text += fmt.Sprintf(" Longest without readings: %s.", r.shortTimes(e.From, e.Until))
	}
	how := " Have it filled by a rule, or say so where it is reported."
	if r.Site().Filling.Rule != "" {
		how = " The site file's rule does not fill it."
	}
	return []Point{{fmt.Sprintf("%s without a flow.", rough(missing)), text + how, PartDays, true}}
}

// longestGap is the longest time without readings that nothing bridges; nil when there is none.
func (r *Run) longestGap() (longest *effect.Event) {
	for _, e := range r.Result.Events {
		if e.Flag == qa.Gap && e.Action != site.Bridge &&
			(longest == nil || e.Until-e.From > longest.Until-longest.From) {
			longest = e
		}
	}
	return longest
}

// rough writes a time to the minute, or to the second below an hour: 37 h 16 min.
func rough(ns int64) string {
	d := time.Duration(ns)
	if d >= time.Hour {
		return quantity.FormatDuration(d.Round(time.Minute))
	}
	return quantity.FormatDuration(d.Round(time.Second))
}

// shortTimes writes a span in the report's zone: 19 Aug 15:26–17:12.
func (r *Run) shortTimes(from, until int64) string {
	zone := r.Site().Report.Clock.Location
	a, b := time.Unix(0, from).In(zone), time.Unix(0, until).In(zone)
	if a.YearDay() == b.YearDay() && a.Year() == b.Year() {
		return a.Format("2 Jan 15:04") + "–" + b.Format("15:04")
	}
	return a.Format("2 Jan 15:04") + " to " + b.Format("2 Jan 15:04")
}

// boundedPoints names the months whose total is a bound.
func (r *Run) boundedPoints() (list []Point) {
	for _, x := range []struct {
		state State
		why   string
	}{
		{AtLeast, "what the meter hid counts with the least that flowed, and nothing bounds it from above."},
		{AtMost, "drowned flow counts with the most that can have flowed."},
		{Between, "what the meter hid counts with the least that flowed, drowned flow with the most."},
	} {
		names := monthsOf(r.Result.Months, func(p *period) bool { return boundState(p) == x.state })
		if len(names) > 0 {
			list = append(list, Point{
				fmt.Sprintf("%s %s %s.", listed3(names), isAre(names), x.state),
				capital(x.why) + " " + r.boundsSentence(r.decimals(r.Result.Total.Before.M3())), PartSure, true,
			})
		}
	}
	return list
}

// listed3 lists up to three names.
func listed3(names []string) string {
	if len(names) > 3 {
		return fmt.Sprintf("%d months", len(names))
	}
	if len(names) < 2 {
		return strings.Join(names, "")
	}
	return strings.Join(names[:len(names)-1], ", ") + " and " + names[len(names)-1]
}

func isAre(names []string) string {
	if len(names) == 1 {
		return "is"
	}
	return "are"
}

// signPoints says what signatures lack.
func (r *Run) signPoints() []Point {
	switch a := &r.Site().Approval; {
	case a.Status == site.Signed:
		return nil
	case a.Reviewer == "":
		return []Point{{"Nobody has checked this.",
			"A second person signs below; until then every page says DRAFT.", PartSign, false}}
	}
	return []Point{{"This is not signed.", "Until then every page says DRAFT.", PartSign, false}}
}

// openIn tells of a period whether something is open that concerns its total: what disagrees or is doubtful concerns
// every period.
func (r *Run) openIn() func(*period) bool {
	all := false
	for _, n := range r.needs() {
		all = all || n.kind <= doubt || n.kind == visitDiffers || n.kind == oddTotal
	}
	return func(p *period) bool { return all || r.onsetMoves(p) }
}

// capital begins a text with a capital letter.
func capital(text string) string {
	if text == "" {
		return ""
	}
	return strings.ToUpper(text[:1]) + text[1:]
}

// firstSentence is a text up to its first full stop that ends a sentence.
func firstSentence(text string) string {
	for i := range text {
		if strings.HasPrefix(text[i:], ". ") && i+2 < len(text) && text[i+2] >= 'A' && text[i+2] <= 'Z' {
			return text[:i+1]
		}
	}
	return text
}

// mostLetters is how long a text of page one may be; the whole stands below.
const mostLetters = 220

// inShort cuts a long text at the last clause that page one has room for.
func inShort(text string) string {
	if len(text) <= mostLetters {
		return text
	}
	cut := max(strings.LastIndex(text[:mostLetters], "; "), strings.LastIndex(text[:mostLetters], ", "))
	if cut < mostLetters/3 {
		cut = strings.LastIndex(text[:mostLetters], " ")
	}
	if cut < 0 {
		return text
	}
	return text[:cut] + " …"
}
