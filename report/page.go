package report

import (
	"bytes"
	_ "embed" // the page
	"fmt"
	"html/template"
	"slices"
	"strings"
	"time"

	"retotal/ingest"
	"retotal/ingest/quantity"
	"retotal/recompute/audit"
)

//go:embed page.html
var pageText string

var page = template.Must(
	template.New("page").Funcs(template.FuncMap{"at": shortTime, "seconds": seconds, "stop": stop}).Parse(pageText),
)

// stop ends a sentence with a full stop, unless it ends with one: a name may end with an initial.
func stop(text string) string {
	if strings.HasSuffix(text, ".") {
		return text
	}
	return text + "."
}

// pageData is what the page's template shows beside the record and its tables: texts, ready to print, a field a place
// of the page.
type pageData struct {
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
	Pictures                             []pictureData
}

type pictureData struct {
	Caption string
	SVG     template.HTML
}

// shortTime makes a time of the record fit for a table: 2031-04-02 10:30.
func shortTime(rfc3339 string) string {
	return strings.TrimSuffix(strings.TrimSuffix(strings.Replace(rfc3339, "T", " ", 1), "Z"), ":00")
}

// seconds writes a duration given in seconds.
func seconds(s float64) string { return quantity.FormatDuration(time.Duration(s * 1e9)) }

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

// pageHTML makes the page: one file, with the pictures in it.
func pageHTML(r *Run, pictures []drawn) ([]byte, error) {
	var b bytes.Buffer
	err := page.Execute(&b, newPage(r, pictures))
	return b.Bytes(), err
}

func newPage(r *Run, pictures []drawn) *pageData {
	res, rec, report := r.Result, NewRecord(r), &r.site().Report
	total, decimals := &res.Total, r.decimals(res.Total.Before.M3())
	d := &pageData{
		Run:      r,
		Record:   rec,
		WhatIf:   r.whatIf(),
		Title:    r.title(),
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
		d.Reasons = append(d.Reasons, exampleText(relative(r.site(), e.File), e))
	}
	for _, p := range pictures {
		d.Pictures = append(d.Pictures, pictureData{p.Caption, inline(p.SVG)})
	}
	return d
}

// addDifference says by what after differs from before, and of what that is made.
func (d *pageData) addDifference(p *period, decimals int) {
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
func (d *pageData) addLimit() {
	if limit := d.site().Report.DailyVolume; limit != nil {
		by := byOutcome(d.Over)
		d.Limit, d.Newly = limit.Text, days(by[audit.Newly])
		d.Cleared, d.Still, d.Unsure = days(by[audit.Cleared]), days(by[audit.Still]), d.unsure(by)
	}
}

// inline takes the drawing out of an SVG file: what comes before its root element does not belong in a page.
func inline(svg []byte) template.HTML {
	if i := bytes.Index(svg, []byte("<svg")); i >= 0 {
		svg = svg[i:]
	}
	return template.HTML(svg) // drawn by ourselves; its texts are escaped by the library
}
