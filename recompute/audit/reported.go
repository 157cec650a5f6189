package audit

import (
	"fmt"
	"maps"
	"math"
	"slices"
	"strings"
	"time"

	"retotal/ingest/quantity"
	"retotal/ingest/site"
	"retotal/recompute"
)

// matchWithin is how near a figure must be to be recognised as reckoned by another rule: figures are reported to four
// digits or so.
const matchWithin = 0.0005

// reported compares reported figures of months, volumes or average flows, with the recorded lane under the stated rule
// and, where they differ, under every other plausible one: another bound of the day or zone, another denominator,
// missing time taken as zero or filled, another unit, or the corrected settings. A rule that matches is named.
func reported(r *recompute.Result) (out []Finding) {
	for i, m := range MonthlyAverages(r) {
		reported, ok := r.Site.Report.Reported[m.Period.Label]
		if !ok || m.Period.Before.Missing() {
			continue
		}
		out = append(out, reportedMonth(r, i, m, reported))
	}
	return slices.Concat(out, reportedDays(r), reportedOutside(r))
}

// reportedOutside names reported figures of periods that the log does not reach, with which nothing can be compared: a
// year may be mistyped. Those outside what is reported now are none of its business.
func reportedOutside(r *recompute.Result) []Finding {
	var outside []string
	for _, label := range slices.Sorted(maps.Keys(r.Site.Report.Reported)) {
		known := func(p recompute.Period) bool { return p.Label == label && !p.Before.Missing() }
		if r.Site.Report.HoldsLabel(label) && !slices.ContainsFunc(r.Months, known) &&
			!slices.ContainsFunc(r.Days, known) {
			outside = append(outside, label)
		}
	}
	if len(outside) == 0 {
		return nil
	}
	named, more := outside[:min(len(outside), mostNamed)], ""
	if n := len(outside) - len(named); n > 0 {
		more = fmt.Sprintf(" and %d more", n)
	}
	return []Finding{{
		Topic: "reported figures without a log", Verdict: CannotTell,
		Sentence: fmt.Sprintf("The log has no readings of what was reported for %s%s: check the dates.",
			strings.Join(named, ", "), more),
	}}
}

// reportedDays compares reported volumes or average flows of days with the recorded lane, all in one finding. A rule
// that gives all that are off is named.
func reportedDays(r *recompute.Result) []Finding {
	f := Finding{
		Topic: "reported figures of days", Verdict: Agrees, Tolerance: fmt.Sprintf("%.1f %%", counterWithin*100),
	}
	unit, days, partly, off := r.Site.Report.VolumeUnit, 0, 0, []string{}
	explain := map[string]int{} // how many days off each rule gives
	for i := range r.Days {
		d := &r.Days[i]
		reported, ok := r.Site.Report.Reported[d.Label]
		if !ok || d.Before.Missing() {
			continue
		}
		v := reported.Volume.SI
		if reported.Volume.Unit.Dimension == quantity.FlowDimension {
			v *= float64(d.Until-d.From) * 1e-9
		}
		if r.Covered(d, d.Before) < 1 && v > d.Before.M3() { // what was missed may make the difference
			partly++
			continue
		}
		if days++; math.Abs(v-d.Before.M3()) <= counterWithin*d.Before.M3() {
			continue
		}
		f.part = max(f.part, math.Abs(v-d.Before.M3())/math.Max(d.Before.M3(), math.SmallestNonzeroFloat64))
		off = append(off, fmt.Sprintf("%s (%s against %.1f %s)",
			d.Label, reported.Volume.Text, unit.FromSI(d.Before.M3()), unit.Symbol))
		for _, c := range candidatesOfDay(d) {
			if c.v > 0 && math.Abs(v/c.v-1) <= matchWithin {
				explain[c.rule]++
			}
		}
	}
	if days+partly == 0 {
		return nil
	}
	if days == 0 {
		f.Verdict = CannotTell
	}
	f.Sentence = fmt.Sprintf("Of %d reported days %d agree with the recorded settings.", days, days-len(off))
	if len(off) > 0 {
		f.Verdict = Differs
		f.Sentence += " Off: " + strings.Join(off[:min(len(off), mostNamed)], ", ")
		if more := len(off) - mostNamed; more > 0 {
			f.Sentence += fmt.Sprintf(" and %d more", more)
		}
		f.Sentence += "." + whatExplains(explain, len(off))
	}
	if partly > 0 {
		f.Sentence += fmt.Sprintf(" Of %d more the log lacks a part, which may be what is more in them.", partly)
	}
	f.allow(f.part, r.Site.Audit.Volumes)
	return []Finding{f}
}

// whatExplains names the rules that give all figures that are off.
func whatExplains(explain map[string]int, off int) string {
	var rules []string
	for _, rule := range slices.Sorted(maps.Keys(explain)) {
		if explain[rule] == off {
			rules = append(rules, rule)
		}
	}
	switch {
	case len(rules) == 0:
		return " No other usual rule gives them all."
	case off == 1:
		return " It matches " + strings.Join(rules, ", and ") + "."
	}
	return " They match " + strings.Join(rules, ", and ") + "."
}

// candidatesOfDay are the volumes of a day by every other plausible rule.
func candidatesOfDay(d *recompute.Period) []candidate {
	list := []candidate{
		{"the corrected settings", d.After.M3()}, {"the logged flow", d.Logged.M3()}, {"the counter", d.Counted.M3()},
	}
	for _, other := range d.DayRules {
		list = append(list, candidate{other.Rule, other.Volume.M3()})
	}
	for _, x := range unitSlips {
		list = append(list, candidate{x.rule, d.Before.M3() * x.v})
	}
	return list
}

// candidate is a figure by some rule, SI.
type candidate struct {
	rule string
	v    float64
}

func reportedMonth(r *recompute.Result, i int, m MonthAverages, reported site.Reported) Finding {
	f := Finding{
		Topic:     "reported figure of " + m.Period.Label,
		Verdict:   Agrees,
		Tolerance: fmt.Sprintf("%.1f %%", counterWithin*100),
	}
	unit := r.Site.Report.VolumeUnit
	stated := candidate{"a total", m.Period.Before.M3()}
	average := reported.Volume.Unit.Dimension == quantity.FlowDimension
	if average {
		v, ok := m.Before.Average(r.Site.Report.Average)
		stated = candidate{"an average over days " + string(r.Site.Report.Average), v / 86400}
		unit = reported.Volume.Unit
		if !ok {
			f.Verdict = CannotTell
			f.Sentence = fmt.Sprintf("Reported %s; no day of the month counts towards %s.",
				reported.Volume.Text, stated.rule)
			return f
		}
	}
	difference := reported.Volume.SI/stated.v - 1
	figure := fmt.Sprintf("%.1f", unit.FromSI(stated.v))
	if average {
		figure = quantity.Digits(unit.FromSI(stated.v), 5)
	}
	f.Sentence = fmt.Sprintf("Reported %s; the recorded settings give %s of %s %s (%+.2f %%).",
		reported.Volume.Text, stated.rule, figure, unit.Symbol, math.Round(1e4*difference)/100+0)
	if math.Abs(difference) <= counterWithin {
		return f
	}
	f.Verdict = Differs
	if text, possible := inMissingTime(r, m, reported); text != "" && !average {
		if f.Sentence += text; possible {
			f.Verdict = CannotTell
		}
	}
	var matches []string
	for _, c := range candidates(r, i, m, average) {
		if c.v > 0 && math.Abs(reported.Volume.SI/c.v-1) <= matchWithin {
			matches = append(matches, c.rule)
		}
	}
	if len(matches) > 0 {
		f.Sentence += " It matches " + strings.Join(matches, ", and ") + "."
	} else {
		f.Sentence += " No other usual rule gives it."
	}
	f.allow(difference, r.Site.Audit.Volumes)
	return f
}

// inMissingTime says what a reported volume leaves for the time of its month that the recorded lane does not cover, and
// whether so much can have flowed in it: no comparison is made over time that only one of them covers. It is "" where
// nothing is missing, or nothing is left.
func inMissingTime(r *recompute.Result, m MonthAverages, reported site.Reported) (text string, possible bool) {
	covered, left := r.Covered(m.Period, m.Period.Before), reported.Volume.SI-m.Period.Before.M3()
	missing := (1 - covered) * float64(m.Period.Until-m.Period.From)
	if left <= 0 || missing < float64(r.Facts.Interval) {
		return "", false
	}
	unit, flow := r.Site.Report.VolumeUnit, left/(missing*1e-9)
	shown := r.Site.Report.FlowUnit
	text = fmt.Sprintf(" The log covers %.2f %% of the month, over which they can be compared; the reported figure "+
		"leaves %.1f %s for the other %s, %s %s", 100*covered,
		unit.FromSI(left), unit.Symbol, quantity.FormatDuration(time.Duration(missing).Round(time.Second)),
		quantity.Digits(shown.FromSI(flow), 4), shown.Symbol)
	if possible = flow <= r.Statistics.PeakBefore; possible {
		return text + ", which may have flowed.", true
	}
	return text + ", more than the highest flow that was shown.", false
}

// candidates are the figures of a month by every other plausible rule.
func candidates(r *recompute.Result, i int, m MonthAverages, average bool) (list []candidate) {
	days := float64(m.Period.Until-m.Period.From) * 1e-9 / 86400
	volumes := []candidate{
		{"the corrected settings", m.Period.After.M3()},
		{"the logged flow", m.Period.Logged.M3()},
		{"the counter", m.Period.Counted.M3()},
		{
			"a total in which missing time is filled with the mean",
			m.Period.Before.M3() * float64(m.Period.Until-m.Period.From) / float64(max(m.Period.Before.Covered, 1)),
		},
	}
	for _, other := range r.Months[i].DayRules {
		volumes = append(volumes, candidate{other.Rule, other.Volume.M3()})
	}
	if average {
		for _, x := range []struct {
			rule site.AverageRule
			word string
		}{
			{site.AverageMeasured, "an average over days measured"},
			{site.AverageDischarging, "an average over days with flow"},
			{site.AverageAll, "an average over all days, missing ones as zero"},
		} {
			if v, ok := m.Before.Average(x.rule); ok && x.rule != r.Site.Report.Average {
				list = append(list, candidate{x.word, v / 86400})
			}
		}
		for _, c := range volumes {
			list = append(list, candidate{c.rule + ", over all days", c.v / days / 86400})
		}
	} else {
		list = append(list, volumes...)
	}
	stated := m.Period.Before.M3()
	if average {
		v, _ := m.Before.Average(r.Site.Report.Average)
		stated = v / 86400
	}
	for _, x := range unitSlips {
		list = append(list, candidate{x.rule, stated * x.v})
	}
	return list
}

// unitSlips are factors by which a figure is off when a unit was mistaken (UCUM for the gallons).
var unitSlips = []candidate{
	{"imperial gallons written as US gallons", 3.785411784 / 4.54609},
	{"US gallons written as imperial gallons", 4.54609 / 3.785411784},
	{"litres a second written as cubic metres an hour", 1 / 3.6},
	{"cubic metres an hour written as litres a second", 3.6},
	{"a thousand times too much", 1000},
	{"a thousandth", 0.001},
	{"ten times too much", 10},
	{"a tenth", 0.1},
	{"cubic feet written as cubic metres", 35.3146667},
}
