package report

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
	"time"

	"retotal/ingest/quantity"
	"retotal/ingest/site"
	"retotal/recompute"
)

// Letter is page one: what it is, the answer, how much, what is open, and what it rests on. All texts are ready to
// print, with their signs and units set (Typeset).
type Letter struct {
	Title    string
	Period   string // what the totals are, over which time, in which zone
	Short    string // the period in few words, for foot lines
	Status   string // as it is printed: DRAFT, CHECKED, SIGNED
	Signed   bool   // nothing says DRAFT any more
	Strip    []Entry
	Sentence []Phrase // what the meter did and why
	OnFile   string   // the reason that the site file gives for it; ""
	Answer   []Phrase // the total to report, and how sure it is
	Unit     string   // of all volumes
	Reported bool     // figures were reported
	BeforeIs string   // heading of what the meter made
	Months   []Month
	Total    *Month // of several months
	Note     string // how the table adds up
	Points   []Point
	Rests    []Rest
	Prepared string
	Checked  string
	Foot     [2]string // of every printed page: site, period and status; hashes
}

// Entry is a key of the strip with its text; a Mono one is a hash.
type Entry struct {
	Key, Text string
	Mono      bool
}

// Phrase is a part of a sentence.
type Phrase struct {
	Text   string
	Strong bool
}

// Month is a line of page one's table: a month, a year of a long record, or all of them.
type Month struct {
	Name, Reported, Before, After, Interval, Change, Covered string
	State                                                    State
	rounded                                                  float64 // After as it was written
}

// State is how far a figure may be relied on: shape and word.
type State string

// The states, the worst last.
const (
	Final       State = "final"
	Between     State = "between bounds"
	AtMost      State = "at most"
	AtLeast     State = "at least"
	NeedsPerson State = "needs a person"
)

var worstLast = []State{Final, Between, AtMost, AtLeast, NeedsPerson}

// Mark is the shape of a state: a filled dot, a sign, an open ring.
func (s State) Mark() string {
	return map[State]string{Final: "●", Between: "↔", AtMost: "≤", AtLeast: "≥", NeedsPerson: "○"}[s]
}

// mostMonths is how many months page one lists; of more it lists years.
const mostMonths = 24

// NewLetter makes page one of a run.
func NewLetter(r *Run) *Letter {
	approval := &r.Site().Approval
	l := &Letter{
		Title:    r.Title(),
		Status:   strings.ToUpper(orWord(approval.Status, "draft")),
		Signed:   approval.Status == site.Signed,
		Unit:     Typeset(r.Site().Report.VolumeUnit.Symbol),
		Reported: len(r.Site().Report.Reported) > 0,
		BeforeIs: "meter, same readings",
		Prepared: approval.Author,
		Checked:  approval.Reviewer,
		Points:   r.points(),
		Rests:    r.rests(),
	}
	if r.beforeIs() != asTheMeter {
		l.BeforeIs = "settings on file, same readings"
	}
	first, last := r.reportSpan()
	l.Period = fmt.Sprintf("Corrected flow totals, %s, %s", spanWords(first, last), r.Site().Report.Clock.Name)
	l.Short = shortSpan(first, last)
	l.Strip = r.strip()
	l.table(r)
	l.Sentence, l.OnFile = r.sentence()
	l.Answer = r.answer(l)
	l.typeset()
	l.Foot = r.foot(l)
	return l
}

// typeset sets signs and units of the texts that are ours; names and reasons stay as they were written.
func (l *Letter) typeset() {
	for _, list := range [][]Phrase{l.Sentence, l.Answer} {
		for i := range list {
			list[i].Text = Typeset(list[i].Text)
		}
	}
	l.Note = Typeset(l.Note)
	for i := range l.Points {
		l.Points[i].Clause, l.Points[i].Text = Typeset(l.Points[i].Clause), Typeset(l.Points[i].Text)
	}
	for i := range l.Rests {
		l.Rests[i].Text = Typeset(l.Rests[i].Text)
	}
}

// reportSpan is the period in the report's zone, its ends a moment later or earlier where only an interval is missing
// to a day.
func (r *Run) reportSpan() (first, last time.Time) {
	in := func(at int64) time.Time { return time.Unix(0, at).In(r.Site().Report.Clock.Location) }
	p, step := &r.Result.Total, int64(r.Result.Facts.Interval)
	first, last = in(p.From), in(p.Until)
	days := r.Result.Days
	if len(days) == 0 {
		return first, last
	}
	if p.From-days[0].From <= step {
		first = in(days[0].From)
	}
	if whole := r.Result.WholeDay(&days[len(days)-1]); whole.Until-p.Until <= step {
		last = in(whole.Until)
	}
	return first, last
}

// spanWords writes a period: 1 July to 30 September 2031, with times where it does not begin or end with a day.
func spanWords(first, last time.Time) string {
	if midnight(first) && midnight(last) && last.After(first) {
		end := last.AddDate(0, 0, -1)
		switch {
		case first.Equal(end):
			return end.Format("2 January 2006")
		case first.Year() == end.Year() && first.Month() == end.Month():
			return first.Format("2") + " to " + end.Format("2 January 2006")
		case first.Year() == end.Year():
			return first.Format("2 January") + " to " + end.Format("2 January 2006")
		}
		return first.Format("2 January 2006") + " to " + end.Format("2 January 2006")
	}
	return first.Format("2 January 2006 15:04") + " to " + last.Format("2 January 2006 15:04")
}

func midnight(t time.Time) bool { return t.Hour() == 0 && t.Minute() == 0 && t.Second() == 0 }

// shortSpan writes a period in few words: Jul–Sep 2031.
func shortSpan(first, last time.Time) string {
	end := last.Add(-1)
	if end.Before(first) {
		end = first
	}
	switch {
	case first.Year() != end.Year():
		return first.Format("Jan 2006") + "–" + end.Format("Jan 2006")
	case first.Month() != end.Month():
		return first.Format("Jan") + "–" + end.Format("Jan 2006")
	}
	return end.Format("Jan 2006")
}

// strip is what the report is about and who stands for it.
func (r *Run) strip() []Entry {
	var names []string
	for _, d := range distinct(segments(r.Result.Corrected, r.Log)) {
		if !slices.Contains(names, d.Name) {
			names = append(names, d.Name)
		}
	}
	device := strings.Join(names[:min(len(names), 1)], "")
	if len(names) > 1 {
		device += fmt.Sprintf(" + %d", len(names)-1)
	}
	every := ", every " + quantity.FormatDuration(r.Result.Facts.Interval)
	if r.Result.Facts.Interval == 0 {
		every = ""
	}
	if len(r.Log.Samplings) > 1 {
		every += " and otherwise"
	}
	approval := &r.Site().Approval
	return []Entry{
		{Key: "Device", Text: Typeset(device)},
		{Key: "Prepared by", Text: orWord(approval.Author, "not said")},
		{Key: "Checked by", Text: orWord(approval.Reviewer, "nobody yet")},
		{Key: "Readings", Text: Grouped(float64(r.Log.Account.Used), 0) + every},
		{Key: "Site file, log (SHA-256)", Text: r.hashes(), Mono: true},
	}
}

// hashes are the beginnings of the hashes of site file and first log.
func (r *Run) hashes() string {
	var list []string
	for _, in := range newInputs(r) {
		list = append(list, cut(in.SHA256, 8))
	}
	text := cut(hexSum(r.Site().Text), 8)
	if len(list) > 0 {
		text += ", " + list[0]
	}
	if len(list) > 1 {
		text += fmt.Sprintf(" + %d", len(list)-1)
	}
	return text
}

func cut(text string, n int) string { return text[:min(n, len(text))] }

// foot is the foot line of every printed page.
func (r *Run) foot(l *Letter) [2]string {
	site, log, _ := strings.Cut(r.hashes(), ", ")
	hashes := "site " + site
	if log != "" {
		hashes += " · log " + log
	}
	return [2]string{l.Title + " · " + l.Short + " · " + l.Status, hashes}
}

// lines are the months, or the years of a long record.
func (r *Run) lines() []period {
	if len(r.Result.Months) > mostMonths {
		return r.Result.Periods(year)
	}
	return r.Result.Months
}

// monthsIn are the months of a line: itself, or those of a year that the log touches.
func (r *Run) monthsIn(line *period) (list []period) {
	for i := range r.Result.Months {
		if m := &r.Result.Months[i]; m.From < line.Until && m.Until > line.From {
			list = append(list, *m)
		}
	}
	return list
}

// covered is the part of the months of a line that the corrected total covers; months are as long as the calendar has
// them.
func covered(months []period) float64 {
	sum, whole := int64(0), int64(0)
	for i := range months {
		sum, whole = sum+months[i].After.Covered, whole+months[i].Until-months[i].From
	}
	if whole == 0 {
		return 0
	}
	return float64(sum) / float64(whole)
}

// lineName names a line: July, 2031, or Jan–May 2031 of a year of which the log has some months only.
func (r *Run) lineName(line *period, oneYear bool) string {
	months := r.monthsIn(line)
	if n := len(months); len(line.Label) == 4 && n > 0 && n < 12 {
		from, until := monthName(months[0].Label, true), monthName(months[n-1].Label, true)
		if n == 1 {
			return from + " " + line.Label
		}
		return from[:3] + "–" + until[:3] + " " + line.Label
	}
	return monthName(line.Label, oneYear)
}

// table fills in the months, or the years of a long record.
func (l *Letter) table(r *Run) {
	list := r.lines()
	scope := r.openIn()
	oneYear := len(list) > 0 && list[0].Label[:4] == list[len(list)-1].Label[:4]
	for i := range list {
		m := r.month(&list[i], scope)
		m.Name = r.lineName(&list[i], oneYear)
		l.Months = append(l.Months, m)
	}
	if len(list) > 1 {
		l.Total = r.sum(l.Months, scope)
	}
	l.Note = r.note(l, len(list) != len(r.Result.Months))
}

// monthName writes a label as people read it: July, July 2031, 2031.
func monthName(label string, oneYear bool) string {
	t, err := time.Parse("2006-01", label)
	switch {
	case err != nil:
		return label
	case oneYear:
		return t.Format("January")
	}
	return t.Format("January 2006")
}

// month is the line of a period.
func (r *Run) month(p *period, scope func(*period) bool) Month {
	decimals := r.decimals(r.Result.Total.Before.M3())
	m := Month{Before: missing, After: "no total", Reported: r.reportedOf(p), State: r.state(p, scope)}
	if !p.Before.Missing() {
		m.Before = r.volume(p.Before, decimals)
	}
	if p.Both() {
		m.Before = Grouped(r.Site().Report.VolumeUnit.FromSI(p.CommonBefore()), decimals)
	}
	m.Covered = floored(covered(r.monthsIn(p)))
	if p.After.Missing() {
		return m
	}
	m.After, m.rounded = r.written(p)
	m.Interval = Typeset(r.pmFigures(p, m.After))
	if v, ok := p.Percent(); ok {
		m.Change = Typeset(oneDecimal(v))
	}
	return m
}

// written is a total as it goes into a report: rounded by the permit's rule, where it has one.
func (r *Run) written(p *period) (text string, value float64) {
	if text = r.rounded(p); text != "" {
		value, _ = strconv.ParseFloat(text, 64) // written by ourselves
		return Grouped(value, decimalsOf(text)), value
	}
	decimals := r.decimals(r.Result.Total.Before.M3())
	value, _ = strconv.ParseFloat(fixed(r.Site().Report.VolumeUnit.FromSI(p.After.M3()), decimals), 64)
	return Grouped(value, decimals), value
}

func decimalsOf(text string) int {
	_, fraction, _ := strings.Cut(text, ".")
	return len(fraction)
}

// pmFigures writes the 95 % interval of a total to three figures, none finer than those of the total; "" without a
// budget.
func (r *Run) pmFigures(p *period, after string) string {
	if p.Budget == nil {
		return ""
	}
	unit, finest := r.Site().Report.VolumeUnit, decimalsOf(after)
	if x, ok := wide(p); ok {
		low := threeFigures(unit.FromSI(x.Low), finest)
		if x.Open {
			return low + " or more"
		}
		return low + " to " + threeFigures(unit.FromSI(x.High), finest)
	}
	return "+/- " + threeFigures(unit.FromSI(p.Budget.Expanded()), finest)
}

// threeFigures writes a value to three figures and no more than so many decimals.
func threeFigures(v float64, finest int) string {
	if v == 0 {
		return "0"
	}
	text := significant(v, 3, true)
	rounded, _ := strconv.ParseFloat(text, 64)
	return Grouped(rounded, min(finest, decimalsOf(text)))
}

// oneDecimal writes a change in per cent; one that rounds to nothing has no sign.
func oneDecimal(percent float64) string {
	text := fmt.Sprintf("%+.1f %%", percent)
	if math.Abs(percent) < 0.05 {
		return "0.0 %"
	}
	return text
}

// floored writes a coverage in per cent: 100.0 only where nothing is missing.
func floored(part float64) string {
	return fmt.Sprintf("%.1f %%", math.Floor(1000*part+1e-9)/10)
}

// reportedOf is what was reported for a period: for a year, the sum of its months, where all of them were.
func (r *Run) reportedOf(p *period) string {
	report := &r.Site().Report
	if x, ok := report.Reported[p.Label]; ok {
		return Grouped(report.VolumeUnit.FromSI(x.Volume.SI), r.decimalsReported(&x.Volume))
	}
	sum, n, decimals := 0.0, 0, 0
	for i := range r.Result.Months {
		m := &r.Result.Months[i]
		if m.Until <= p.From || m.From >= p.Until {
			continue
		}
		x, ok := report.Reported[m.Label]
		if !ok {
			return ""
		}
		sum, n = sum+report.VolumeUnit.FromSI(x.Volume.SI), n+1
		decimals = max(decimals, r.decimalsReported(&x.Volume))
	}
	if n == 0 || len(report.Reported) == 0 {
		return ""
	}
	return Grouped(sum, decimals)
}

// decimalsReported are those that a reported figure was written with, or that its size asks for where it was written in
// another unit than that of the report.
func (r *Run) decimalsReported(v *quantity.Value) int {
	if number, unit, _ := strings.Cut(v.Text, " "); unit == r.Site().Report.VolumeUnit.Symbol {
		return decimalsOf(number)
	}
	return r.decimals(v.SI)
}

// sum is the line of all months: where they are rounded by the permit's rule, the sum of what each goes into the report
// with, so that the column adds up for whoever checks it; else the total as it stands elsewhere.
func (r *Run) sum(months []Month, scope func(*period) bool) *Month {
	t := r.month(&r.Result.Total, scope)
	t.Name = "Total"
	value, decimals := 0.0, 0
	for _, m := range months {
		if m.After != "no total" {
			value, decimals = value+m.rounded, max(decimals, decimalsOf(m.After))
		}
		if slices.Index(worstLast, m.State) > slices.Index(worstLast, t.State) {
			t.State = m.State
		}
	}
	if r.Site().Report.Figures > 0 && !r.Result.Total.After.Missing() {
		t.After, t.rounded = Grouped(value, decimals), value
		t.Interval = Typeset(r.pmFigures(&r.Result.Total, t.After))
	}
	return &t
}

// state says how far a period's total may be relied on.
func (r *Run) state(p *period, open func(*period) bool) State {
	if p.After.Missing() || covered(r.monthsIn(p)) < leastCoverage || open(p) {
		return NeedsPerson
	}
	return boundState(p)
}

// boundState is the state of a total by its bounds alone.
func boundState(p *period) State {
	if p.After.Missing() || p.Bracketed.Counted.Missing() {
		return Final
	}
	upper, known := p.Upper()
	switch near := func(m3 float64) bool { return math.Abs(m3-p.After.M3()) <= 1e-9*math.Abs(p.After.M3()) }; {
	case known && near(p.Lower()) && near(upper):
		return Final
	case near(p.Lower()) && !known:
		return AtLeast
	case known && near(upper):
		return AtMost
	}
	return Between
}

// note says how the table adds up.
func (r *Run) note(l *Letter, years bool) string {
	report, p := &r.Site().Report, &r.Result.Total
	var list []string
	if report.Figures > 0 {
		list = append(list, fmt.Sprintf("To report: to %d figures, by the site file's rule.", report.Figures))
	}
	if l.Total != nil {
		list = append(list, r.addsUp(l))
	}
	if p.Both() {
		text := "Change compares both over the same readings"
		if v, ok := p.Percent(); ok && math.Abs(v) >= 0.05 {
			text += ": " + oneDecimal(v) + " of what stood before"
			if after := p.CommonAfter(); after != 0 {
				text += fmt.Sprintf(", which was %s the corrected volume", percentOver(p.CommonBefore()/after-1))
			}
		}
		list = append(list, text+".")
	}
	list = append(list, r.apartText(p, r.decimals(p.Before.M3())))
	if years {
		list = append(list, "Months are listed below.")
	}
	return strings.TrimSpace(strings.Join(list, " "))
}

// addsUp says how the total goes together with the lines above it.
func (r *Run) addsUp(l *Letter) string {
	own, _ := r.written(&r.Result.Total)
	sum, decimals := 0.0, 0
	for _, m := range l.Months {
		sum, decimals = sum+m.rounded, max(decimals, decimalsOf(m.After))
	}
	switch added := Grouped(sum, decimals); {
	case r.Result.Total.After.Missing() || own == added:
		return "The total is the sum of the lines above it."
	case l.Total.After == added:
		return "The total is the sum of the lines above it; rounded by itself it is " + own + "."
	default:
		return "Each line is rounded by itself; those above the total add up to " + added + "."
	}
}

// percentOver words a part: 24.8 % above.
func percentOver(part float64) string {
	if part < 0 {
		return fmt.Sprintf("%.1f %% below", -100*part)
	}
	return fmt.Sprintf("%.1f %% above", 100*part)
}

// answer is the total to report in one line.
func (r *Run) answer(l *Letter) []Phrase {
	p := &r.Result.Total
	if p.After.Missing() {
		return []Phrase{{Text: "There is no total to report. " + noTime(p) + " " + countPoints(l.Points)}}
	}
	line := l.Months[0]
	if l.Total != nil {
		line = *l.Total
	}
	figure := line.After + " " + l.Unit
	if s, ok := sideOf(p); ok && s != both {
		figure = string(s) + " " + figure
	}
	text := []Phrase{{Text: "To report: "}, {Text: figure, Strong: true}}
	switch sure := line.Interval; {
	case strings.HasPrefix(sure, "±"):
		text = append(text, Phrase{" " + sure + " " + l.Unit, true})
	case strings.HasSuffix(sure, " or more"):
		least := strings.TrimSuffix(sure, " or more")
		text = append(text, Phrase{" (95 %: " + least + " " + l.Unit + " or more)", false})
	case sure != "":
		text = append(text, Phrase{" (95 %: " + sure + " " + l.Unit + ")", false})
	}
	of := "of the time"
	if own := floored(p.Coverage()); own != line.Covered && covered(r.Result.Months) < leastCoverage {
		of = fmt.Sprintf("of the calendar (%s of the time from the first reading to the last)", own)
	}
	return append(text, Phrase{Text: fmt.Sprintf(", which covers %s %s. %s", line.Covered, of, countPoints(l.Points))})
}

// countPoints says how many points need a decision.
func countPoints(points []Point) string {
	n := 0
	for _, p := range points {
		if p.Decision {
			n++
		}
	}
	switch {
	case n == 0:
		return "No point below needs a decision."
	case n == 1:
		return "One point below needs a decision first."
	}
	word := strconv.Itoa(n)
	if words := []string{"Two", "Three", "Four", "Five", "Six", "Seven", "Eight", "Nine"}; n-2 < len(words) {
		word = words[n-2]
	}
	return word + " points below need a decision first."
}

// missingTime is the time that the corrected total does not cover, ns.
func missingTime(p *recompute.Period) int64 { return p.Until - p.From - p.After.Covered }

// monthsOf names the months in which something is so: July, September 2031.
func monthsOf(list []period, is func(*period) bool) (names []string) {
	for i := range list {
		if is(&list[i]) {
			names = append(names, monthName(list[i].Label, false))
		}
	}
	return names
}
