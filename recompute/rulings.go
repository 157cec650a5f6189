package recompute

import (
	"retotal/ingest/site"
	"retotal/qa"
	"retotal/recompute/settings"
)

// RulingResult is what a ruling did.
type RulingResult struct {
	Ruling *site.Ruling
	Rows   int
	Effect float64 // m³ that the corrected total has by it; what screening alone would have made is left
}

// rulings are the decisions of persons, over what screening found.
type rulings struct {
	list     []site.Ruling
	checks   []qa.Flags // of each: the flags that it is about; 0 for all readings
	rows     []int
	passOver *int // ruling that is passed over, to see what it did; nil for none
}

func newRulings(s *site.Site) rulings {
	r := rulings{list: s.Rulings, rows: make([]int, len(s.Rulings))}
	for _, x := range s.Rulings {
		flags := qa.Flags(0)
		for _, c := range qa.Checks {
			for _, name := range x.Checks {
				if c.Name == name {
					flags |= c.Flag
				}
			}
		}
		r.checks = append(r.checks, flags)
	}
	return r
}

// of returns the number of the ruling that a reading is under, the last one that is about it; −1 for none.
func (r *rulings) of(at int64, flags qa.Flags) int {
	for i := len(r.list) - 1; i >= 0; i-- {
		x := &r.list[i]
		if (r.passOver == nil || i != *r.passOver) && at >= x.From.UTC && at <= x.Until.UTC && (r.checks[i] == 0 || r.checks[i]&flags != 0) {
			return i
		}
	}
	return -1
}

// rule applies ruling n to row i: its action in terms of screening, its flow and its bounds.
func (e *Engine) rule(n, i int, flow float64) (site.Action, float64, settings.Bound) {
	x := &e.rulings.list[n]
	e.rulings.rows[n]++
	switch x.Action {
	case site.RuleLeaveOut:
		return site.LeaveOut, flow, settings.Bound{}
	case site.RuleBridge:
		return site.Bridge, flow, settings.Bound{}
	case site.RuleValue:
		return site.Keep, x.Flow, settings.Exactly(x.Flow)
	case site.RuleBound:
		return site.Keep, x.Least, settings.Bound{Held: true, Lower: x.Least, Upper: x.Most}
	}
	return site.Keep, flow, settings.Exactly(flow)
}
