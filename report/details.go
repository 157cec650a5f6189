package report

import (
	"fmt"
	"slices"
	"strings"

	"retotal/ingest"
	"retotal/recompute/audit"
)

// Details are what page and paper say beside the record and its tables, and below page one: texts, ready to print.
type Details struct {
	*Run
	Record                               *Record
	WhatIf                               *Table
	Title, Span, Unit                    string
	Before, BeforeIs                     string
	After, Difference, Percent           string
	U95, DifferenceU95                   string
	Split, Apart                         string
	Coverage, Classes, NoTime            string
	Bounded, Drowned                     string
	Onsets, Worst, Halve                 string
	Limit, Newly, Cleared, Still, Unsure string
	AverageRule, Completeness            string
	Statistics, Changes, Silent, Columns []string
	ChangesZone                          string
	SetAside                             []string
	WorthIs, WorthDo                     string
	Devices                              []deviceRecord
	Account                              *ingest.Account
	Reasons                              []string
}

// ShortTime makes a time of the record fit for a table: 2031-04-02 10:30.
func ShortTime(rfc3339 string) string {
	return strings.TrimSuffix(strings.TrimSuffix(strings.Replace(rfc3339, "T", " ", 1), "Z"), ":00")
}

// distinct lists the devices of all segments, each once.
func distinct(segments []segmentRecord) (out []deviceRecord) {
	for _, s := range segments {
		if !slices.ContainsFunc(out, func(d deviceRecord) bool {
			return d.Equation == s.Device.Equation && slices.Equal(d.Dimensions, s.Device.Dimensions)
		}) {
			out = append(out, s.Device)
		}
	}
	return out
}

// NewDetails makes the details of a run.
func NewDetails(r *Run) *Details {
	res, rec, report := r.Result, NewRecord(r), &r.Site().Report
	total, decimals := &res.Total, r.decimals(res.Total.Before.M3())
	d := &Details{
		Run:      r,
		Record:   rec,
		WhatIf:   r.whatIf(),
		Title:    r.Title(),
		Span:     r.local(total.From) + " to " + r.local(total.Until),
		Unit:     report.VolumeUnit.Symbol,
		Before:   r.withUnit(r.volume(total.Before, decimals)),
		BeforeIs: r.beforeIs(),
		After:    r.withUnit(r.after(total, decimals)),
		Percent:  percent(total),
		U95:      r.plusMinus(total, decimals),
		Coverage: fmt.Sprintf("%.2f %%", 100*total.Coverage()),
		Classes:  classes(total),
		NoTime:   noTime(total),
		Bounded:  r.boundsSentence(decimals),
		Onsets:   r.onsetRange(decimals),
		Worst:    r.mostChanged(),
		Drowned:  strings.TrimSpace(r.withinSentence() + " " + r.drownedSentence() + " " + r.filledSentence()),
		Halve: strings.TrimSpace(r.liftText(total, decimals) + " " + r.halveSentence(total) + " " +
			r.drawsSentence(decimals)),
		AverageRule:  string(report.Average),
		Completeness: r.completeness(),
		Statistics:   r.statisticLines(),
		Changes:      r.changeSentences(),
		ChangesZone:  r.changesZone(),
		Silent:       silent(res.Flags),
		SetAside:     r.setAside(),
		WorthIs:      r.worthIs(),
		WorthDo:      worthDo,
		Columns:      columnsRead(r.Log),
		Devices:      distinct(slices.Concat(rec.Recorded, rec.Corrected)),
		Account:      &r.Log.Account,
	}
	d.addDifference(total, decimals)
	d.addLimit()
	for _, e := range d.Account.Examples {
		d.Reasons = append(d.Reasons, exampleText(relative(r.Site(), e.File), e))
	}
	return d
}

// addDifference says by what after differs from before, and of what that is made.
func (d *Details) addDifference(p *period, decimals int) {
	if !p.Both() {
		return
	}
	d.Difference = d.withUnit(d.signed(p.Difference(), decimals))
	d.Split = d.splitText(p, decimals)
	d.Apart = d.apartText(p, decimals)
	if p.Budget != nil && !bounded(p) {
		d.DifferenceU95 = "+/- " +
			strings.TrimPrefix(d.signed(p.Budget.ExpandedDifference(), decimals), "+") + " " + d.Unit
	}
}

// addLimit says what became of the days beside the daily limit.
func (d *Details) addLimit() {
	if limit := d.Site().Report.DailyVolume; limit != nil {
		by := byOutcome(d.Over)
		d.Limit, d.Newly = limit.Text, days(by[audit.Newly])
		d.Cleared, d.Still, d.Unsure = days(by[audit.Cleared]), days(by[audit.Still]), d.unsure(by)
	}
}
