package audit

import (
	"fmt"
	"math"
	"slices"

	"retotal/ingest/quantity"
	"retotal/recompute"
	"retotal/recompute/uncertainty"
)

// dailyUncertainty says how many daily volumes are known as well as the permit asks, each of the time that it covers,
// and what would make it more; false where nothing is asked or no uncertainty was worked out.
func dailyUncertainty(r *recompute.Result) (f Finding, asked bool) {
	required := r.Site.Report.DailyUncertainty
	if required == 0 {
		return f, false
	}
	met, days, hidden, missing := 0, 0, 0, 0
	var unsure []*recompute.Period
	for i := range r.Days {
		d := &r.Days[i]
		x, ok := d.Interval()
		if !ok {
			if d.After.Missing() {
				missing++
			}
			continue
		}
		days++
		after := d.After.M3()
		switch low, high := after*(1-required), after*(1+required); {
		case x.Low >= low && x.High <= high:
			met++
		case x.Wide:
			hidden++
		default:
			unsure = append(unsure, d)
		}
	}
	if days == 0 {
		return f, false
	}
	percent := quantity.Digits(100*required, 3) + " %"
	f = Finding{
		Topic: "daily volumes and their uncertainty", Verdict: Agrees,
		Tolerance: percent + " (95 %) of each day, as stated",
		Sentence: fmt.Sprintf("%d of %d days are known to %s or better, of the time that they cover.", met, days,
			percent),
	}
	if missing > 0 {
		f.Sentence += fmt.Sprintf(" %d more have no total.", missing)
	}
	if met == days {
		return f, true
	}
	f.Verdict, f.By = Differs, fmt.Sprintf("%d of %d days are known less well than to %s", days-met, days, percent)
	if hidden > 0 {
		f.Sentence += fmt.Sprintf(" On %d it is what the meter hid, not the uncertainty, that makes it more.", hidden)
	}
	f.Sentence += whatWould(unsure, required)
	return f, true
}

// whatWould says how well the source that matters most on most of some days would have to be known for half of them to
// be known as well as is asked.
func whatWould(days []*recompute.Period, required float64) string {
	counts := map[*uncertainty.Component]int{}
	var most *uncertainty.Component
	for _, d := range days {
		if s := largest(d.Budget); s != nil {
			if counts[s]++; most == nil || counts[s] > counts[most] {
				most = s
			}
		}
	}
	if most == nil {
		return ""
	}
	var inputs []float64
	for _, d := range days {
		if input, ok := wanted(d, most, required); ok {
			inputs = append(inputs, input)
		}
	}
	if half := (len(days) + 1) / 2; len(inputs) >= half && most.Unit != "" {
		slices.Sort(inputs)
		return fmt.Sprintf(" On %d days it is mostly the %s: known to %s %s in place of %s %s, half of these would be.",
			len(days), most.Name, quantity.Digits(uncertainty.Coverage*inputs[len(inputs)-half], 2), most.Unit,
			quantity.Digits(uncertainty.Coverage*most.Input, 2), most.Unit)
	}
	return fmt.Sprintf(" On %d days it is mostly the %s, and more than that would have to be known better.", len(days),
		most.Name)
}

// largest is the source that adds most to a budget.
func largest(b *uncertainty.Budget) (most *uncertainty.Component) {
	effect := 0.0
	for i := range b.Parts {
		if e := math.Abs(b.Parts[i].Effect); e > effect {
			most, effect = b.Parts[i].Component, e
		}
	}
	return most
}

// wanted is the standard uncertainty of a source at which a day would be known as well as is asked.
func wanted(d *recompute.Period, s *uncertainty.Component, required float64) (input float64, ok bool) {
	own := 0.0
	for i := range d.Budget.Parts {
		if p := &d.Budget.Parts[i]; p.Component == s {
			own = float64(p.Effect * p.Effect)
		}
	}
	allowed := required*d.After.M3()/uncertainty.Coverage - d.Tally.Lift/uncertainty.Coverage
	left := float64(allowed*allowed) - (float64(d.Budget.Standard*d.Budget.Standard) - own)
	if own == 0 || allowed <= 0 || left <= 0 {
		return 0, false
	}
	return s.Input * math.Sqrt(left/own), true
}
