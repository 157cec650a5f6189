package report

import (
	"bytes"
	_ "embed" // the page
	"fmt"
	"html/template"
	"slices"
	"strings"
	"time"

	"retotal/ingest/quantity"
	"retotal/recompute"
	"retotal/recompute/audit"
	"retotal/recompute/device"
)

//go:embed page.html
var pageText string

var page = template.Must(template.New("page").Funcs(template.FuncMap{"at": shortTime, "seconds": seconds}).Parse(pageText))

// pageData is what the page's template shows: texts, ready to print.
type pageData struct {
	Title, ID, Span, Zone, Unit, FlowUnit string
	Before, After, Difference, Percent    string
	Split, Apart                          string
	Coverage, Classes, Bounded, Drowned   string
	Months, Days                          []rowData
	HasCounter, HasLogged                 bool
	Worst                                 string
	Limit, Newly, Cleared, Still, Unsure  string
	Findings                              []findingData
	Lanes                                 []laneRow
	Onsets, Proposal                      string
	Visits                                []visitRow
	Changes                               []string
	Doubt, Halve, DifferenceDoubt         string
	Budget                                []budgetRow
	Limits                                []limitRow
	Averages                              []averageData
	AverageRule, Completeness             string
	HasFigures                            bool
	Statistics                            []string
	Rulings                               []rulingRow
	Approval                              *approvalRecord
	Needs, Warnings                       []string
	Corrections                           []correctionRecord
	Recorded, Corrected                   []segmentRecord
	Devices                               []device.Description
	Flags                                 []flagData
	Silent                                []string
	Rows                                  rowsData
	Log                                   logRecord
	Columns                               []string
	Inputs                                []inputRecord
	SiteFile                              siteRecord
	Pictures                              []pictureData
	Version                               string
}

type rowData struct{ Label, Before, After, Difference, Percent, Coverage, Bridged, Bounded, Logged, Counted, Mark, Doubt string }

type averageData struct {
	Month, Measured, Discharging, All string
	Days, With, Flowing               int
	Figure                            string
}

type findingData struct{ Topic, Verdict, Sentence, Tolerance string }

type flagData struct{ Title, Sentence, Action, Rows, Spans, Effect, Limit, Source string }

type rowsData struct {
	Read, Used, Repeated, Conflicting, Rejected, Out int
	Reasons                                          []string
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
func distinct(lanes ...[]segmentRecord) (out []device.Description) {
	for _, lane := range lanes {
		for _, s := range lane {
			if !slices.ContainsFunc(out, func(d device.Description) bool { return d.Same(s.Device) }) {
				out = append(out, s.Device)
			}
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
	res, rec := r.Result, NewRecord(r)
	decimals := r.decimals(res.Total.Before.M3())
	d := &pageData{Title: r.title(), ID: r.site().ID, Span: r.local(res.Total.Start) + " to " + r.local(res.Total.End), Zone: r.site().Report.Clock.Name,
		Unit: r.site().Report.VolumeUnit.Symbol, FlowUnit: r.site().Report.FlowUnit.Symbol,
		Before: r.volume(res.Total.Before, decimals), After: r.after(&res.Total, decimals), Percent: percent(&res.Total),
		Coverage: fmt.Sprintf("%.2f %%", 100*res.Total.Coverage()), Classes: classes(&res.Total),
		Recorded: rec.Recorded, Corrected: rec.Corrected, Corrections: rec.Corrections, Needs: r.NeedsPerson(), Warnings: rec.Warnings,
		Log: rec.Log, Columns: columnsRead(res.Log), Inputs: rec.Inputs, SiteFile: rec.Site, Silent: notShown(res.Flags), Version: r.Version}
	if res.Total.Both() {
		d.Difference = r.signed(res.Total.Difference(), decimals)
		d.Split, d.Apart = r.splitText(&res.Total, decimals), r.apartText(&res.Total, decimals)
	}
	d.Bounded = r.boundsSentence(decimals)
	d.Lanes, d.Onsets, d.Visits, d.Proposal, d.Approval = r.laneRows(decimals), r.onsetRange(decimals), r.visitRows(), r.Proposal, rec.Approval
	d.Doubt, d.Budget, d.Halve = r.plusMinus(&res.Total, decimals), r.budgetRows(res.Total.Budget), strings.TrimSpace(r.liftText(&res.Total, decimals)+" "+r.halveSentence(res.Total.Budget)+" "+r.drawsSentence(decimals))
	if res.Total.Budget != nil && res.Total.Both() {
		if _, bounded := wide(&res.Total); !bounded {
			d.DifferenceDoubt = "+/- " + grouped(r.site().Report.VolumeUnit.FromSI(res.Total.Budget.ExpandedDifference()), decimals) + " " + d.Unit
		}
	}
	d.Limits, d.Statistics = r.limitRows(), r.statisticLines()
	for _, m := range audit.MonthlyAverages(res) {
		by := r.perDays(&m.After)
		d.Averages = append(d.Averages, averageData{m.Period.Label, by[0], by[1], by[2], m.After.Days, m.After.Measured, m.After.Discharging, r.toReport(m.Period)})
	}
	d.Completeness = r.completeness()
	d.AverageRule, d.HasFigures = string(r.site().Report.Average), r.site().Report.Figures > 0
	d.Changes, d.Rulings = r.changeSentences(), r.rulingRows()
	d.Drowned = strings.TrimSpace(r.drownedSentence() + " " + r.filledSentence())
	d.HasLogged, d.HasCounter = !res.Total.Logged.Missing(), !res.Total.Counted.Missing()
	d.Devices = distinct(d.Recorded, d.Corrected)
	r.addTables(d, decimals)
	r.addLists(d)
	for _, p := range pictures {
		d.Pictures = append(d.Pictures, pictureData{p.Caption, inline(p.SVG)})
	}
	return d
}

// inline takes the drawing out of an SVG file: what comes before its root element does not belong in a page.
func inline(svg []byte) template.HTML {
	if i := bytes.Index(svg, []byte("<svg")); i >= 0 {
		svg = svg[i:]
	}
	return template.HTML(svg) // drawn by ourselves; its texts are escaped by the library
}

func (r *Run) addTables(d *pageData, decimals int) {
	for i := range r.Result.Months {
		d.Months = append(d.Months, r.pageRow(&r.Result.Months[i], decimals))
	}
	over := map[string]string{}
	for _, o := range r.Over {
		over[o.Day] = "daily limit: " + string(o.Outcome)
	}
	for i := range r.Result.Days {
		row := r.pageRow(&r.Result.Days[i], 1)
		row.Mark = over[row.Label]
		if text, _ := r.comment(&r.Result.Days[i]); text != "" {
			row.Mark = strings.TrimPrefix(row.Mark+"; "+text, "; ")
		}
		d.Days = append(d.Days, row)
	}
	if worst := r.Result.Worst(); worst != nil && worst.Difference() != 0 {
		d.Worst = fmt.Sprintf("%s: %s to %s %s (%s)", worst.Label, r.volume(worst.Before, 1), r.volume(worst.After, 1), d.Unit, percent(worst))
	}
}

func (r *Run) pageRow(p *recompute.Period, decimals int) rowData {
	row := rowData{Label: p.Label, Before: r.volume(p.Before, decimals), After: r.after(p, decimals), Percent: percent(p),
		Coverage: fmt.Sprintf("%.2f %%", 100*p.Coverage()), Doubt: r.doubt(p), Logged: r.volume(p.Logged, decimals), Counted: r.volume(p.Counted, decimals)}
	if p.Both() {
		row.Difference = r.signed(p.Difference(), decimals)
	}
	if v := p.Classes[recompute.Bridged]; !v.Missing() {
		row.Bridged = r.volume(v, 1)
	}
	if v := p.Classes[recompute.Bounded]; !v.Missing() {
		row.Bounded = r.volume(v, 1)
	}
	return row
}

func (r *Run) addLists(d *pageData) {
	if limit := r.site().Report.DailyVolume; limit != nil {
		by := byOutcome(r.Over)
		d.Limit, d.Newly, d.Cleared, d.Still, d.Unsure = limit.Text, days(by[audit.Newly]), days(by[audit.Cleared]), days(by[audit.Still]), r.unsure(by)
	}
	for _, f := range r.Findings {
		d.Findings = append(d.Findings, findingData{f.Topic, string(f.Verdict), f.Sentence, f.Tolerance})
	}
	for _, f := range shownFlags(r.Result.Flags) {
		d.Flags = append(d.Flags, flagData{f.Title, sentence(f.Check), string(f.Action), grouped(float64(f.Rows), 0), grouped(float64(f.Spans), 0), r.signed(f.Effect, 1), f.Limit, f.Source})
	}
	a := &r.Result.Log.Account
	d.Rows = rowsData{a.Read, a.Used, a.Repeated, a.Conflicting, a.RejectedRows(), a.OutOfPeriod, a.Oddities()}
	for _, e := range a.Examples {
		d.Rows.Reasons = append(d.Rows.Reasons, exampleText(relative(r.site(), e.File), e))
	}
}
