package report

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"retotal/ingest/quantity"
	"retotal/recompute/audit"
)

// Section is a part of the report below page one: what page and paper both say, in one order.
type Section struct {
	Part   Part
	Title  string
	Blocks []Block
}

// Block is one thing of a section: of its fields, one is set.
type Block struct {
	Text    string // a paragraph, with signs and units set
	Strong  bool   // of it
	Table   *PageTable
	Code    string // of a site file, as it is written
	Picture string // the name of one
}

// Sections are the parts of a run's report in the order of the questions: why, how sure, which limits, which averages,
// what screening did, and then what it all rests on.
func Sections(r *Run) (list []Section) {
	rec := NewRecord(r)
	for _, s := range []Section{
		{PartMonths, "Months", tables("Totals by month", rec.Months)},
		{PartWhy, "Why: what was corrected", r.whyBlocks(rec)},
		{PartSure, "How sure: what is known of the total", r.sureBlocks(rec)},
		{PartAgree, "Do log, settings and counter agree?", r.agreeBlocks(rec)},
		{PartVisits, "Site visits", r.visitBlocks(rec)},
		{PartLimits, "Limits", r.limitBlocks(rec)},
		{PartAverages, "Averages", r.averageBlocks(rec)},
		{PartScreening, "Screening, by effect", r.screeningBlocks(rec)},
		{PartPictures, "The record in pictures", pictures("hydrograph", "months", "cumulative")},
		{PartDays, "Days", tables("Totals by day", rec.Days)},
		{PartSettings, "Settings", r.settingBlocks(rec)},
		{PartRead, "Certificate: what was read", r.readBlocks(rec)},
	} {
		if s.Blocks = slices.DeleteFunc(s.Blocks, empty); len(s.Blocks) > 0 {
			list = append(list, s)
		}
	}
	return list
}

func empty(b Block) bool {
	return b.Text == "" && b.Code == "" && b.Picture == "" && (b.Table == nil || len(b.Table.Rows) == 0)
}

// paragraphs are sentences of ours, each a block.
func paragraphs(texts ...string) (list []Block) {
	for _, text := range texts {
		list = append(list, Block{Text: Typeset(strings.TrimSpace(text))})
	}
	return list
}

// verbatim are sentences that name files, hashes or what somebody wrote, each a block.
func verbatim(texts ...string) (list []Block) {
	for _, text := range texts {
		list = append(list, Block{Text: text})
	}
	return list
}

func tables(caption string, t *Table) []Block {
	if t == nil {
		return nil
	}
	laid := t.Page()
	laid.Caption = caption
	return []Block{{Table: laid}}
}

func pictures(names ...string) (list []Block) {
	for _, name := range names {
		list = append(list, Block{Picture: name})
	}
	return list
}

func (r *Run) whyBlocks(rec *Record) []Block {
	if len(rec.Corrections.Rows) == 0 {
		return append(paragraphs(
			"Nothing was corrected: the site file has no correction. After differs from before by screening alone."),
			r.approvalBlocks(rec.Approval)...)
	}
	decimals := r.decimals(r.Result.Total.Before.M3())
	list := tables("Corrections, times in "+r.Site().Report.Clock.Name, rec.Corrections)
	if p := &r.Result.Total; p.Both() {
		list = append(list, paragraphs(fmt.Sprintf("The difference of %s is %s.",
			r.withUnit(r.signed(p.Difference(), decimals)), r.splitText(p, decimals)), r.apartText(p, decimals))...)
	}
	list = append(list, paragraphs(r.onsetRange(decimals))...)
	if worst := r.mostChanged(); worst != "" {
		list = append(list, paragraphs("Most changed day: "+worst+".")...)
	}
	list = append(list, tables("What if", r.whatIf())...)
	return append(list, r.approvalBlocks(rec.Approval)...)
}

// approvalBlocks say who stands for the correction and on what.
func (r *Run) approvalBlocks(a *approvalRecord) []Block {
	if a == nil {
		return nil
	}
	texts := []string{"Status: " + stopped(a.words())}
	if a.Basis != "" {
		texts = append(texts, "Basis: "+a.Basis)
	}
	for _, e := range a.Evidence {
		texts = append(texts, "Evidence: "+e)
	}
	for _, e := range a.Examined {
		texts = append(texts, fmt.Sprintf("Examined and left alone, %s to %s: %s",
			orWord(r.clockTime(e.From), "first reading"), orWord(r.clockTime(e.Until), "last reading"), e.Reason))
	}
	if a.Supersedes != "" {
		texts = append(texts, "Takes the place of the record "+a.Supersedes+".")
	}
	return verbatim(texts...)
}

// clockTime writes an instant of the record in the report's zone; "" where there is none.
func (r *Run) clockTime(rfc3339 string) string {
	at, err := time.Parse(time.RFC3339, rfc3339)
	if err != nil {
		return ""
	}
	return strings.TrimSuffix(r.stamp(at.UnixNano()), ":00")
}

func (r *Run) sureBlocks(rec *Record) []Block {
	p := &r.Result.Total
	decimals := r.decimals(p.Before.M3())
	covered := noTime(p)
	if covered == "" {
		covered = fmt.Sprintf("The corrected total covers %.2f %% of the time: %s.", 100*p.Coverage(), classes(p))
	}
	list := paragraphs(covered, r.boundsSentence(decimals), r.withinSentence(), r.drownedSentence(),
		r.filledSentence())
	if rec.Budget != nil && len(rec.Budget.Rows) > 0 {
		list = append(list, tables("Uncertainty of the corrected total, "+Typeset(r.plusMinus(p, decimals)),
			rec.Budget)...)
		list = append(list, pictures("budget")...)
		list = append(list, paragraphs(
			"Sources add in squares (GUM, JCGM 100), to an expanded uncertainty of about 95 %.",
			r.differenceOf(p, decimals), r.liftText(p, decimals), r.halveSentence(p), r.drawsSentence(decimals))...)
	}
	return list
}

// differenceOf is how well the difference is known; "" where there is none.
func (r *Run) differenceOf(p *period, decimals int) string {
	if p.Budget == nil || !p.Both() {
		return ""
	}
	return r.differenceText(p, decimals)
}

func (r *Run) agreeBlocks(rec *Record) []Block {
	list := tables("Comparisons", rec.Findings)
	list = append(list, tables("What stands behind what disagrees", rec.Causes)...)
	for _, c := range audit.Causes(r.Findings) {
		list = append(list, paragraphs(r.causeSentence(c))...)
	}
	list = append(list, tables("What the meter used, by its own log", rec.Used)...)
	if rec.Used != nil && len(rec.Used.Rows) > 0 {
		list = append(list, paragraphs("The log says what was used, not whether it was right: that takes the site.")...)
	}
	if changes := r.changeSentences(); len(changes) > 0 {
		list = append(list, Block{Text: "Steps and patterns in the log, candidates for what changed and when" +
			r.changesZone() + ":", Strong: true})
		list = append(list, paragraphs(changes...)...)
	}
	for _, w := range rec.Warnings {
		list = append(list, verbatim("To look at: "+w)...)
	}
	return list
}

// causeSentence says what settles a cause, or who answers for it.
func (r *Run) causeSentence(c *standing) string {
	switch by := audit.Accepts(r.Site(), c); {
	case by != nil:
		return fmt.Sprintf("Accepted: %s. %s (%s)", by.Finding, by.Reason, by.By)
	case c.Cannot:
		return fmt.Sprintf("Possible: %s of %s. The record alone cannot tell it from %s. To settle it: %s.", c.Name,
			c.Valued(c.Value), c.Confounded, c.Settles)
	}
	return fmt.Sprintf("%s: cheapest measurement that settles it: %s.", capital(c.Name), c.Settles)
}

func (r *Run) visitBlocks(rec *Record) []Block {
	if rec.Visits == nil || len(rec.Visits.Rows) == 0 {
		return nil
	}
	list := append(tables("Log less visit in mm of head, times in the logger's zone", rec.Visits),
		pictures("visits")...)
	if r.Proposal != "" {
		list = append(list, paragraphs(
			"A correction that would bring the log to the visits, for a competent person to judge:")...)
		list = append(list, Block{Code: r.Proposal})
	}
	return list
}

// limitBlocks list what became of figures beside their limits where that changed or cannot be told; the rest is
// counted.
func (r *Run) limitBlocks(rec *Record) []Block {
	if rec.Limits == nil || len(rec.Limits.Rows) == 0 {
		return nil
	}
	open, still := r.limits(), 0
	for i := range open.Rows {
		if outcome := open.Rows[i][len(open.Columns)-1]; outcome == string(audit.Still) {
			open.Minor[i] = true
			still++
		}
	}
	list := tables("Figures whose verdict changed or cannot be told", open)
	if still > 0 {
		list = append(list, paragraphs(fmt.Sprintf("%s above a limit before and after, beyond doubt; they stand in "+
			"record.json.", counted(still, "figure is", "figures are")))...)
	}
	if limit := r.Site().Report.DailyVolume; limit != nil {
		by := byOutcome(r.Over)
		text := fmt.Sprintf("Daily volume limit %s: newly exceeded on %s, cleared on %s, exceeded before and after "+
			"on %s", limit.Text, days(by[audit.Newly]), days(by[audit.Cleared]), days(by[audit.Still]))
		if unsure := r.unsure(by); unsure != "" {
			text += ", " + unsure
		}
		list = append(list, paragraphs(text+".")...)
	}
	return append(list, paragraphs("Time without readings and what the meter hid count from no flow to the most that "+
		"channel or device can carry. Periods without any data are not listed: nothing can be told of them.")...)
}

// counted writes a count with the word for one or for several.
func counted(n int, one, several string) string {
	if n == 1 {
		return "One " + one
	}
	return Grouped(float64(n), 0) + " " + several
}

func (r *Run) averageBlocks(rec *Record) []Block {
	report := &r.Site().Report
	list := tables(fmt.Sprintf("Average daily volume after correction, %s a day", Typeset(report.VolumeUnit.Symbol)),
		rec.Averages)
	list = append(list, paragraphs(fmt.Sprintf("The site's rule is over days %s, and %s; the average over all days "+
		"takes missing time as no flow and is shown to be recognised, not to be reported.", report.Average,
		r.completeness()))...)
	list = append(list, paragraphs(r.statisticLines()...)...)
	return append(list, pictures("duration")...)
}

func (r *Run) screeningBlocks(rec *Record) []Block {
	list := tables("What each check flagged, and what that does to the total", rec.Screening)
	list = append(list, paragraphs(r.setAside()...)...)
	for _, h := range rec.Habits {
		list = append(list, paragraphs(h+".")...)
	}
	if len(r.Result.Rulings) > 0 {
		list = append(list, tables("Rulings, times in the logger's zone", r.rulings())...)
	}
	if silent := silent(r.Result.Flags); len(silent) > 0 {
		list = append(list, paragraphs("Flagged nothing: "+strings.Join(silent, ", ")+".")...)
	}
	list = append(list, paragraphs("A reading with several flags counts for the first of them, and a stretch for the "+
		"first flag of its first reading. Spans are listed in events.csv.")...)
	if worth := r.worth(); len(worth.Rows) > 0 {
		list = append(list, tables(r.worthIs(), worth)...)
		list = append(list, verbatim(strings.ReplaceAll(worthDo, "\n", " "))...)
	}
	return list
}

func (r *Run) settingBlocks(rec *Record) []Block {
	list := []Block{{Table: r.settingTable(rec.Recorded, rec.Corrected)}}
	for _, d := range distinct(slices.Concat(rec.Recorded, rec.Corrected)) {
		text := stopped(d.Name) + " " + stopped(d.Equation) + " " + stopped(d.Source)
		if d.UncertainBy != "" {
			text += " Uncertainty of the coefficient (95 %): " + stopped(d.UncertainBy)
		}
		for _, a := range d.Assumed {
			text += " Assumed: " + stopped(a)
		}
		for _, a := range d.Advice {
			text += " Note: " + stopped(a)
		}
		list = append(list, paragraphs(text)...)
	}
	return append(list, pictures("rating")...)
}

// settingTable is the settings of both lanes over time.
func (r *Run) settingTable(recorded, corrected []segmentRecord) *PageTable {
	t := &PageTable{
		Caption: "Settings over time, in " + r.Site().Report.Clock.Name,
		Head:    []PageCell{{Text: "settings as"}, {Text: "from"}, {Text: "settings"}, {Text: "device"}},
	}
	for _, lane := range []struct {
		name     string
		segments []segmentRecord
	}{{"recorded", recorded}, {"corrected", corrected}} {
		for _, s := range lane.segments {
			t.Rows = append(t.Rows, []PageCell{
				{Text: lane.name, Strong: lane.name == "corrected"},
				{Text: orWord(r.clockTime(s.From), "beginning")},
				{Text: Typeset(strings.Join(s.Settings, ", "))}, {Text: Typeset(s.Device.Name)},
			})
		}
	}
	return t
}

// stopped ends a sentence with a full stop, unless it ends with one: a name may end with an initial.
func stopped(text string) string {
	if strings.HasSuffix(text, ".") {
		return text
	}
	return text + "."
}

func (r *Run) readBlocks(rec *Record) []Block {
	a := &r.Log.Account
	list := verbatim(fmt.Sprintf(
		"Rows read %d = used %d + repeated %d + conflicting %d + rejected %d + out of period %d.",
		a.Read, a.Used, a.Repeated, a.Conflicting, a.RejectedRows(), a.OutOfPeriod))
	list = append(list, verbatim(a.Oddities()...)...)
	for _, e := range a.Examples {
		list = append(list, verbatim(exampleText(relative(r.Site(), e.File), e))...)
	}
	log, ended := &rec.Log, ""
	if log.GapDefault {
		ended = " (default)"
	}
	seconds := func(s float64) string { return quantity.FormatDuration(time.Duration(s * 1e9)) }
	list = append(list, verbatim(fmt.Sprintf("Columns used: %s. Logger's clock %s; a reading every %s; steps over %s "+
		"are gaps%s; reporting day starts at %s, %s, and carries the date of its %s.",
		strings.Join(columnsRead(r.Log), ", "), log.TimeZone, seconds(log.IntervalS), seconds(log.GapLimitS), ended,
		log.DayStarts, log.ReportZone, log.DayLabel))...)
	list = append(list, Block{Table: hashTable(r)})
	return append(list, verbatim("Made by retotal "+r.Version+
		" from the files above; the same files give the same results.")...)
}

// hashTable lists the inputs with their hashes.
func hashTable(r *Run) *PageTable {
	t := &PageTable{
		Caption: "Inputs",
		Head:    []PageCell{{Text: "input"}, {Text: "bytes", Right: true}, {Text: "SHA-256"}},
		Rows:    [][]PageCell{{{Text: r.sitePath()}, {Right: true}, {Text: hexSum(r.Site().Text), Mono: true}}},
	}
	for _, in := range newInputs(r) {
		t.Rows = append(t.Rows, []PageCell{
			{Text: in.File}, {Text: Grouped(float64(in.Bytes), 0), Right: true}, {Text: in.SHA256, Mono: true},
		})
	}
	return t
}

// Cautions stand in everything that is printed.
var Cautions = []string{
	review,
	"Measurements at the site follow local codes and licensed practice: confined spaces, gas and moving water kill.",
}
