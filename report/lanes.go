package report

import (
	"fmt"
	"math"

	"retotal/recompute/audit"
	"retotal/recompute/total"
)

// laneTotal is the total of a lane beside the corrected one.
type laneTotal struct {
	name   string
	volume func(*period) total.Volume
}

// whatIf is the table of the what-if lanes beside the corrected one, which stands first; without a lane it is empty.
func (r *Run) whatIf() *Table {
	res, limit := r.Result, r.Site().Report.DailyVolume
	var lanes []laneTotal
	if len(res.WhatIfs) > 0 {
		lanes = append(lanes, laneTotal{"corrected, as chosen", func(p *period) total.Volume { return p.After }})
	}
	for i, lane := range res.WhatIfs {
		lanes = append(lanes, laneTotal{lane.Name, func(p *period) total.Volume { return p.WhatIf[i] }})
	}
	decimals, after := r.decimals(res.Total.Before.M3()), res.Total.After
	beside := func(l *laneTotal) bool { return l != &lanes[0] && !l.volume(&res.Total).Missing() && !after.Missing() }
	figures := []figure[laneTotal]{
		words("", "settings", func(l *laneTotal) string { return l.name }),
		{Column{Title: "total", Kind: Volume, Decimals: decimals, Missing: "missing"},
			func(l *laneTotal) any { return some(l.volume(&res.Total)) }},
		{Column{Title: "to corrected", Kind: Change, Decimals: decimals, Bare: true},
			func(l *laneTotal) any { return known(l.volume(&res.Total).M3()-after.M3(), beside(l)) }},
		{Column{Title: "to corrected", Short: " ", Kind: Growth},
			func(l *laneTotal) any {
				return known(100*(l.volume(&res.Total).M3()/after.M3()-1), beside(l) && after.M3() != 0)
			}},
	}
	if limit != nil {
		figures = append(figures, count("", "days over limit, by figure",
			func(l *laneTotal) int { return audit.DaysOver(res, limit.SI, l.volume) }))
	}
	return tabulate(r, lanes, figures)
}

// onsetRange says between which totals the defensible onsets lie; "" when no onset is open.
func (r *Run) onsetRange(decimals int) string {
	res := r.Result
	low, high, any := res.Total.After.M3(), res.Total.After.M3(), false
	for i, lane := range res.WhatIfs {
		if lane.Onset {
			v := res.Total.WhatIf[i].M3()
			low, high, any = math.Min(low, v), math.Max(high, v), true
		}
	}
	if !any {
		return ""
	}
	unit := r.Site().Report.VolumeUnit
	return fmt.Sprintf("By the defensible onsets of the error the total lies between %s and %s %s.",
		Grouped(unit.FromSI(low), decimals), Grouped(unit.FromSI(high), decimals), unit.Symbol)
}
