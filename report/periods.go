package report

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"retotal/ingest/site"
	"retotal/recompute"
	"retotal/recompute/audit"
	"retotal/recompute/total"
)

type period = recompute.Period

// periods is the table of the totals of a group of periods: days, months, the whole. People read volumes with so many
// decimals. A new figure of a period is one line in one of the lists below.
func (r *Run) periods(group string, list []period, decimals int) *Table {
	return tabulate(r, list, slices.Concat(r.totals(group, decimals), r.shares(decimals), r.bounds(),
		r.toReport(), r.flows(),
		r.remarks(group), apart(), r.whatIfs()))
}

func (r *Run) months() *Table {
	return r.periods("month", r.Result.Months, r.decimals(r.Result.Total.Before.M3()))
}
func (r *Run) days() *Table  { return r.periods("day", r.Result.Days, 1) }
func (r *Run) total() *Table { return r.periods("total", []period{r.Result.Total}, 0) }

// totalsCSV writes days, months and the whole, and other periods that reports go by.
func totalsCSV(r *Run) []byte {
	res := r.Result
	return asCSV(r.days(), r.periods("week", res.Periods(week), 0), r.months(),
		r.periods("quarter", res.Periods(quarter), 0),
		r.periods("year", res.Periods(year), 0), r.periods("rolling 3 months", res.Rolling(3), 0),
		r.periods("rolling 12 months", res.Rolling(12), 0), r.total())
}

// volumeOf is a column of volumes.
func volumeOf(c Column, of func(*period) total.Volume) figure[period] {
	c.Kind = Volume
	return figure[period]{c, func(p *period) any { return some(of(p)) }}
}

// totals are what a period is, and its total before and after.
func (r *Run) totals(group string, decimals int) []figure[period] {
	return []figure[period]{
		words("", "period", func(*period) string { return group }).in(InCSV),
		{Column{Key: "label", Title: "label", Short: group}, func(p *period) any { return p.Label }},
		{Column{Key: "start", Title: "start", Kind: Instant, In: machines}, func(p *period) any { return p.From }},
		{Column{Key: "end", Title: "end", Kind: Instant, In: machines, Bare: true}, func(p *period) any { return p.Until }},
		volumeOf(Column{Key: "before_m3", Title: "before", Decimals: decimals, Missing: "missing"},
			func(p *period) total.Volume { return p.Before }),
		{Column{Key: "after_m3", Title: "after", Kind: Volume, Missing: "missing", Style: Strong},
			func(p *period) any { return told{some(p.After), r.after(p, decimals)} }},
		{Column{Key: "difference_m3", Title: "difference", Short: "difference", Kind: Change, Decimals: decimals},
			func(p *period) any { return known(p.Difference(), p.Both()) }},
		{Column{Key: "difference_percent", Title: "difference", Short: " ", Kind: Growth},
			func(p *period) any { return known(p.Percent()) }},
		{Column{Key: "covered_percent", Title: "covered", Kind: Percent}, func(p *period) any { return 100 * p.Coverage() }},
	}
}

// shares are the total after by how it is known, and what the log itself counts.
func (r *Run) shares(decimals int) []figure[period] {
	class := func(c Column, class total.Class) figure[period] {
		c.Decimals = 1
		return volumeOf(c, func(p *period) total.Volume { return p.Classes[class] })
	}
	whole := &r.Result.Total
	logged, counted := machines|only(!whole.Logged.Missing(), InPage), machines|only(!whole.Counted.Missing(), InPage)
	return []figure[period]{
		class(Column{Key: "measured_m3", Title: "measured", In: machines}, total.Measured),
		class(Column{Key: "bridged_m3", Title: "bridged", In: machines | InPage}, total.Bridged),
		class(Column{Key: "bounded_below_m3", Title: "bounded below", In: machines | InPage}, total.Bounded),
		class(Column{Key: "estimated_m3", Title: "estimated", In: machines}, total.Estimated),
		class(Column{Key: "filled_m3", Title: "filled", In: machines, Optional: true}, total.Filled),
		volumeOf(Column{
			Key: "logged_flow_m3", Title: "logged flow", Decimals: decimals, In: logged, Missing: "missing",
		},
			func(p *period) total.Volume { return p.Logged }),
		volumeOf(Column{Key: "counter_m3", Title: "counter", Decimals: decimals, In: counted, Missing: "missing"},
			func(p *period) total.Volume { return p.Counted }),
		volumeOf(Column{Key: "interval_volumes_m3", In: InRecord},
			func(p *period) total.Volume { return p.Passed }),
	}
}

// only returns writers where a condition holds, and none otherwise.
func only(is bool, w Writers) Writers {
	if is {
		return w
	}
	return 0
}

// bounds are how sure the total after is.
func (r *Run) bounds() []figure[period] {
	return []figure[period]{
		{Column{Key: "at_least_m3", Title: "at least", Kind: Volume, In: machines, Optional: true},
			func(p *period) any { return known(p.Lower(), !p.After.Missing()) }},
		{Column{Key: "at_most_m3", Title: "at most", Kind: Volume, In: machines, Optional: true}, func(p *period) any {
			most, bounded := p.Upper()
			return known(most, bounded && !p.After.Missing())
		}},
		{
			Column{Key: "u95_m3", Title: "uncertainty 95 %", Short: "+/- (95 %)", Kind: Volume, Optional: true},
			func(p *period) any {
				if p.Budget == nil {
					return nil
				}
				return told{p.Budget.Expanded(), r.sureness(p)}
			},
		},
		{Column{Key: "difference_u95_m3", Kind: Volume, Optional: true}, func(p *period) any {
			if p.Budget == nil || !p.Both() {
				return nil
			}
			return p.Budget.ExpandedDifference()
		}},
		{Column{Key: "interval_low_m3", Kind: Volume, Optional: true}, func(p *period) any {
			x, ok := p.Interval()
			return known(x.Low, ok)
		}},
		{Column{Key: "interval_high_m3", Kind: Volume, Optional: true}, func(p *period) any {
			x, ok := p.Interval()
			return known(x.High, ok && !x.Open)
		}},
	}
}

// toReport are the totals that were reported, and as they go into a report now.
func (r *Run) toReport() (list []figure[period]) {
	report := &r.Site().Report
	if len(report.Reported) > 0 {
		list = append(list, figure[period]{Column{Title: "reported", Kind: Written, In: InText}, func(p *period) any {
			if x, ok := report.Reported[p.Label]; ok {
				return x.Volume.Text
			}
			return nil
		}})
	}
	title, short := "after, to report ("+report.VolumeUnit.Symbol+")", fmt.Sprintf("to %d figures", report.Figures)
	in := InCSV | only(report.Figures > 0, people)
	return append(list, figure[period]{Column{Title: title, Short: short, Kind: Written, In: in},
		func(p *period) any { return r.rounded(p) }})
}

// flows are mean flows over the seconds that a total covers: a day of 23 hours has 82,800.
func (r *Run) flows() []figure[period] {
	mean := func(v total.Volume) any { return known(v.M3()/(float64(v.Covered)*1e-9), !v.Missing()) }
	return []figure[period]{
		{Column{Title: "mean flow before", Kind: Flow, In: InCSV}, func(p *period) any { return mean(p.Before) }},
		{Column{Title: "mean flow after", Kind: Flow, In: InCSV}, func(p *period) any { return mean(p.After) }},
	}
}

// remarks are what the site file says of a period, and of days where they stand beside the daily limit.
func (r *Run) remarks(group string) (list []figure[period]) {
	if len(r.Site().Report.Comments) > 0 {
		list = append(list, words("", "comment", r.comment).in(InCSV), words("", "code", r.codes).in(InCSV))
	}
	if group != "day" {
		return list
	}
	over := map[string]audit.Outcome{}
	for _, o := range r.Over {
		over[o.Day] = o.Outcome
	}
	return append(list, words("", "remark", func(p *period) string {
		if o, ok := over[p.Label]; ok {
			return strings.TrimSuffix("daily limit: "+string(o)+"; "+r.comment(p), "; ")
		}
		return r.comment(p)
	}).in(InPage))
}

// comments are what the site file says of a period: every comment whose span meets it.
func (r *Run) comments(p *period) (list []site.Comment) {
	for _, c := range r.Site().Report.Comments {
		if c.From.UTC < p.Until && c.Until.UTC > p.From {
			list = append(list, c)
		}
	}
	return list
}

func (r *Run) comment(p *period) string {
	var texts []string
	for _, c := range r.comments(p) {
		texts = append(texts, c.Text)
	}
	return strings.Join(texts, "; ")
}

func (r *Run) codes(p *period) string {
	var codes []string
	for _, c := range r.comments(p) {
		if c.Code != "" && !slices.Contains(codes, c.Code) {
			codes = append(codes, c.Code)
		}
	}
	return strings.Join(codes, " ")
}

// apart are what before counted in time that after does not cover, and what is filled in time that before does not
// cover.
func apart() []figure[period] {
	return []figure[period]{
		volumeOf(Column{Key: "before_only_m3", Optional: true},
			func(p *period) total.Volume { return p.Parts.Lost }),
		volumeOf(Column{Key: "after_only_m3", Optional: true},
			func(p *period) total.Volume { return p.Parts.Gained }),
	}
}

// whatIfs are the totals of the lanes beside the corrected one: a list in the record, a column each in CSV.
func (r *Run) whatIfs() []figure[period] {
	list := []figure[period]{{Column{Key: "what_if_m3", Kind: Volumes, Optional: true}, func(p *period) any {
		if len(p.WhatIf) == 0 {
			return nil
		}
		var cells []any
		for _, v := range p.WhatIf {
			cells = append(cells, some(v))
		}
		return cells
	}}}
	for i, l := range r.Result.WhatIfs {
		list = append(list, volumeOf(Column{Title: l.Name, In: InCSV}, func(p *period) total.Volume {
			if i < len(p.WhatIf) {
				return p.WhatIf[i]
			}
			return total.Volume{}
		}))
	}
	return list
}

// week, quarter and year name the period of a day by its label: 2031-W14 (ISO 8601), 2031-Q2, 2031.
func week(day string) string {
	t, err := time.Parse("2006-01-02", day)
	if err != nil {
		return day
	}
	y, w := t.ISOWeek()
	return fmt.Sprintf("%d-W%02d", y, w)
}

func quarter(day string) string {
	return day[:4] + "-Q" + string('1'+(10*(day[5]-'0')+day[6]-'0'-1)/3)
}

func year(day string) string { return day[:4] }
