package workbook

import (
	"fmt"
	"math"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"time"
	"unicode/utf8"

	"github.com/xuri/excelize/v2"

	"retotal/recompute"
	"retotal/recompute/total"
	"retotal/report"
)

// answerWidths are the widths of the columns of page one, in characters.
var answerWidths = []float64{24, 16, 16, 16, 22, 14, 11, 20}

// answer is what page one says.
func (b *Book) answer(l *report.Letter) {
	s := b.begin("Answer", answerWidths, 0, 0)
	s.over(0, l.Title, style{bold: true, large: true})
	s.over(0, l.Period, style{})
	s.over(1, l.Status, style{bold: true}, b.text("Status", style{}))
	for _, e := range l.Strip {
		s.over(1, e.Text, style{}, b.text(e.Key, style{}))
	}
	s.add()
	s.over(0, joined(l.Sentence), style{bold: true})
	if l.OnFile != "" {
		s.over(0, "On file: "+l.OnFile, style{})
	}
	s.over(0, joined(l.Answer), style{})
	s.add()
	b.lines(s, l)
	s.over(0, l.Note, style{})
	s.over(0, "Volumes are rounded here as they are printed; in full, with formulas, they are on the sheets Months "+
		"and Days.", style{})
	s.add()
	s.over(0, "Before you send this", style{bold: true})
	if len(l.Points) == 0 {
		s.over(0, "Nothing is open.", style{})
	}
	for i, p := range l.Points {
		s.over(0, fmt.Sprintf("%d. %s %s", i+1, p.Clause, p.Text), style{})
	}
	s.add()
	s.over(0, "What it rests on", style{bold: true})
	for _, x := range l.Rests {
		s.over(2, x.Text, style{}, b.text(x.Word, style{wrap: true}), b.text(x.MarkWord(), style{indent: true}))
	}
	s.add()
	for _, text := range report.Cautions {
		s.over(0, text, style{})
	}
	s.end()
}

// lines is the table of page one.
func (b *Book) lines(s *sheet, l *report.Letter) {
	heads, formats := []string{"Volume, " + l.Unit}, []string{""}
	if l.Reported {
		heads, formats = append(heads, "as reported"), append(formats, "x")
	}
	s.heads(append(heads, l.BeforeIs, "corrected, to report", "95 % interval", "change by correction", "time covered",
		"state"), append(formats, "x", "x", "x", "x", "x", ""))
	for _, m := range l.Months {
		s.add(b.line(&m, l.Reported, style{})...)
	}
	if l.Total != nil {
		s.add(b.line(l.Total, l.Reported, style{sum: true})...)
	}
}

// line is a line of page one's table; its figures are numbers where they are plain ones.
func (b *Book) line(m *report.Month, reported bool, s style) []any {
	strong := s
	strong.bold = true
	cells := []any{b.text(m.Name, strong)}
	if reported {
		cells = append(cells, b.printed(m.Reported, s))
	}
	cells = append(cells, b.printed(m.Before, s), b.printed(m.After, strong), b.printed(m.Interval, s),
		b.printed(m.Change, s), b.printed(m.Covered, s))
	s.indent = true
	return append(cells, b.text(m.State.Mark()+" "+string(m.State), s))
}

// figure is a number as it is printed: what stands before it, sign, digits, decimals and per cent.
var figure = regexp.MustCompile(`^(± )?([+−-]?)([0-9,]+)(\.[0-9]+)?( %)?$`)

// blanks are those that keep figures and units together.
var blanks = strings.NewReplacer("\u00a0", " ", "\u202f", " ", "\u2009", " ")

// printed is a cell with a printed figure as a number that is shown as it was printed; others stay text.
func (b *Book) printed(text string, s style) any {
	parts := figure.FindStringSubmatch(blanks.Replace(text))
	s.right = true
	if parts == nil {
		return b.text(text, s)
	}
	v, err := strconv.ParseFloat(strings.ReplaceAll(parts[3], ",", "")+parts[4], 64)
	if err != nil {
		return b.text(text, s)
	}
	zero := func(r rune) rune { return map[bool]rune{true: '.', false: '0'}[r == '.'] }
	shown := "#,##0" + strings.Map(zero, parts[4])
	if parts[5] != "" {
		v, shown = v/100, shown+" %"
	}
	if parts[2] != "" && parts[2] != "+" {
		v = -v
	}
	switch {
	case parts[1] != "":
		s.format = `"± "` + shown
	case parts[2] == "+":
		s.format = "+" + shown
	default:
		s.format = shown + `;"−"` + shown
	}
	return excelize.Cell{StyleID: b.style(s), Value: v}
}

func joined(list []report.Phrase) (text string) {
	for _, p := range list {
		text += p.Text
	}
	return text
}

// periodHeads are the columns of months and days; % stands for the unit of volume. Differences and sums are formulas.
var periodHeads = []string{
	"", "start", "end", "before, %", "after, %", "before on the same readings, %", "after on the same readings, %",
	"difference, %", "difference, per cent", "covered, per cent", "interval from, %", "interval to, %", "measured, %",
	"bridged, %", "bounded, %", "estimated, %", "filled, %", "logged flow, %", "counter, %",
}

// Columns of periodHeads that formulas name.
const (
	beforeShared = "F"
	afterShared  = "G"
	difference   = "H"
)

// periods is a sheet of the totals of days or months.
func (b *Book) periods(name, what string, list []recompute.Period) {
	widths := []float64{11, 16, 16}
	for range periodHeads[3:] {
		widths = append(widths, 12.5)
	}
	s := b.begin(name, widths, 2, 1)
	unit := b.run.Site().Report.VolumeUnit
	s.add(b.text(fmt.Sprintf("Totals by %s in %s; times in %s; differences over the time that both cover", what,
		report.Typeset(unit.Symbol), b.run.Site().Report.Clock.Name), style{}))
	var names, formats []string
	b.kept, b.volumes = b.filled(list), b.shownAs(list)
	for i, head := range periodHeads {
		format := "x"
		if i >= 3 && !b.kept[i-3] {
			continue
		}
		if i == 0 {
			head, format = what, ""
		}
		names = append(names, withUnit(head, report.Typeset(unit.Symbol)))
		formats = append(formats, format)
	}
	s.heads(names, formats)
	for i := range list {
		b.period(s, &list[i])
	}
	if len(list) > 0 {
		b.sums(s, list)
	}
	s.end()
}

// filled tells which figures of periods are kept: those that formulas name, and others that any of them has.
func (b *Book) filled(list []recompute.Period) []bool {
	kept := make([]bool, len(periodHeads)-3)
	for i := range kept {
		kept[i] = i < 7
	}
	for i := range list {
		for k, v := range b.figures(&list[i]) {
			kept[k] = kept[k] || !math.IsNaN(v)
		}
	}
	return kept
}

// withUnit puts a unit in the place of %.
func withUnit(head, unit string) string {
	if n := len(head); n > 0 && head[n-1] == '%' {
		return head[:n-1] + unit
	}
	return head
}

// shownAs is the format of the volumes of periods: their cells hold them in full, and show about six digits of the
// greatest.
func (b *Book) shownAs(list []recompute.Period) string {
	greatest := 0.0
	for i := range list {
		for k, v := range b.figures(&list[i]) {
			if k < 2 && !math.IsNaN(v) {
				greatest = max(greatest, v)
			}
		}
	}
	switch {
	case greatest >= 10000:
		return "#,##0.0"
	case greatest >= 100:
		return "#,##0.00"
	}
	return "#,##0.000"
}

// figures are the volumes of a period, in the order of the columns from the first that is summed; NaN where there is
// none.
func (b *Book) figures(p *recompute.Period) []float64 {
	unit := b.run.Site().Report.VolumeUnit
	v := func(v total.Volume) float64 {
		if v.Missing() {
			return math.NaN()
		}
		return unit.FromSI(v.M3())
	}
	shared := [2]float64{math.NaN(), math.NaN()}
	if p.Both() {
		shared = [2]float64{unit.FromSI(p.CommonBefore()), unit.FromSI(p.CommonAfter())}
	}
	low, high := math.NaN(), math.NaN()
	if x, ok := p.Interval(); ok {
		if low = unit.FromSI(x.Low); !x.Open {
			high = unit.FromSI(x.High)
		}
	}
	list := []float64{
		v(p.Before), v(p.After), shared[0], shared[1], shared[1] - shared[0], math.NaN(), math.NaN(), low, high,
	}
	if p.Both() && shared[0] != 0 {
		list[5] = 100 * (shared[1] - shared[0]) / shared[0]
	}
	list[6] = 100 * p.Coverage()
	for c := range total.Classes {
		list = append(list, v(p.Classes[c]))
	}
	return append(list, v(p.Logged), v(p.Counted))
}

// period writes the row of a period.
func (b *Book) period(s *sheet, p *recompute.Period) {
	row := s.row + 1
	cells := []any{b.text(p.Label, style{bold: true}), b.instant(p.From), b.instant(p.Until)}
	for i, v := range b.figures(p) {
		if !b.kept[i] {
			continue
		}
		format := b.volumes
		if i == 5 || i == 6 {
			format = "0.00"
		}
		switch {
		case math.IsNaN(v):
			cells = append(cells, nil)
		case i == 4:
			cells = append(cells, b.formula(fmt.Sprintf("%s%d-%s%d", afterShared, row, beforeShared, row), v,
				style{format: format}))
		case i == 5:
			cells = append(cells, b.formula(fmt.Sprintf("100*%s%d/%s%d", difference, row, beforeShared, row), v,
				style{format: format}))
		default:
			cells = append(cells, b.number(v, format))
		}
	}
	s.add(cells...)
}

// sums writes the row that adds everything up. An interval has no sum: what is uncertain goes together.
func (b *Book) sums(s *sheet, list []recompute.Period) {
	first, last := s.row-len(list)+1, s.row
	sum := make([]float64, len(b.figures(&list[0])))
	given := make([]bool, len(sum))
	for i := range list {
		for k, v := range b.figures(&list[i]) {
			if !math.IsNaN(v) {
				sum[k], given[k] = sum[k]+v, true
			}
		}
	}
	none := b.text("", style{sum: true})
	cells := []any{b.text("sum", style{bold: true, sum: true}), none, none}
	for k, v := range sum {
		if !b.kept[k] {
			continue
		}
		column, err := excelize.ColumnNumberToName(len(cells) + 1)
		b.check(err)
		shown := style{format: b.volumes, bold: true, sum: true}
		switch {
		case !given[k] || k == 6 || k == 7 || k == 8:
			cells = append(cells, none)
		case k == 5:
			shown.format = "0.00"
			cells = append(cells, b.formula(fmt.Sprintf("100*%s%d/%s%d", difference, last+1, beforeShared, last+1),
				100*sum[4]/sum[2], shown))
		default:
			cells = append(cells, b.formula(fmt.Sprintf("SUM(%s%d:%s%d)", column, first, column, last), v, shown))
		}
	}
	s.add(cells...)
}

// instant is a cell with a time, or with its text where workbooks know no such date.
func (b *Book) instant(ns int64) any {
	return b.moment(time.Unix(0, ns).In(b.run.Site().Report.Clock.Location))
}

func (b *Book) moment(t time.Time) any {
	if v := serial(t); v >= firstSerial && t.Year() < 9999 {
		return b.number(v, "yyyy-mm-dd hh:mm:ss")
	}
	return b.text(t.Format("2006-01-02 15:04:05"), style{})
}

// tables are the sheets of the other tables; several may stand below each other.
func (b *Book) tables() {
	var list []*report.BookTable // of the sheet at hand
	names := sheetNames[3:]
	until := func(name string) {
		for ; len(names) > 0 && names[0] != name; names = names[1:] {
			b.below(names[0], list)
			list = nil
		}
	}
	report.BookTables(b.run, func(t *report.BookTable) {
		until(t.Name)
		list = append(list, t)
	})
	until("")
}

// below is a sheet of tables below each other.
func (b *Book) below(name string, list []*report.BookTable) {
	heads := 0
	for _, t := range list {
		dropEmpty(t)
	}
	if len(list) == 1 {
		heads = 2
	}
	s := b.begin(name, widthsOf(list), heads, 0)
	for i, t := range list {
		if i > 0 {
			s.add()
		}
		b.table(s, t)
	}
	if len(list) == 0 {
		s.add(b.text("There are none.", style{}))
	}
	if name == "Certificate" {
		b.account(s)
	}
	s.end()
}

// dropEmpty leaves out columns in which no row has anything.
func dropEmpty(t *report.BookTable) {
	for k := len(t.Heads) - 1; k >= 0; k-- {
		if slices.ContainsFunc(t.Rows, func(row []any) bool { return row[k] != nil && row[k] != "" }) {
			continue
		}
		t.Heads, t.Formats = slices.Delete(t.Heads, k, k+1), slices.Delete(t.Formats, k, k+1)
		for i := range t.Rows {
			t.Rows[i] = slices.Delete(t.Rows[i], k, k+1)
		}
	}
}

// table writes a caption, headings and rows.
func (b *Book) table(s *sheet, t *report.BookTable) {
	s.add(b.text(t.Caption, style{bold: len(t.Name) > 0}))
	s.heads(t.Heads, t.Formats)
	for _, row := range t.Rows {
		var cells []any
		lines := 1
		for i, v := range row {
			cells = append(cells, b.cell(v, t.Formats[i], i))
			if text, ok := v.(string); ok {
				lines = max(lines, s.lines(i, text))
			}
		}
		s.high(lines, cells...)
	}
}

// cell is a cell of a column of a table.
func (b *Book) cell(v any, format string, column int) any {
	switch v := v.(type) {
	case nil:
		return nil
	case float64:
		return b.number(v, format)
	case report.Valued:
		return b.number(v.Value, v.Format)
	case bool:
		return excelize.Cell{StyleID: b.style(style{}), Value: v}
	case time.Time:
		return b.moment(v)
	}
	text := fmt.Sprint(v)
	return b.text(text, style{wrap: true, right: format != "", indent: format == "" && column > 0})
}

// account says what became of every row, and by which program.
func (b *Book) account(s *sheet) {
	a := &b.run.Log.Account
	s.add()
	for _, x := range []struct {
		what  string
		count int
	}{
		{"rows read", a.Read}, {"used", a.Used}, {"repeated", a.Repeated}, {"conflicting", a.Conflicting},
		{"rejected", a.RejectedRows()}, {"out of period", a.OutOfPeriod},
	} {
		s.add(b.text(x.what, style{}), b.number(float64(x.count), "#,##0"))
	}
	s.add(b.text("made by", style{}), b.text("retotal "+b.run.Version, style{right: true}))
	for _, text := range report.Cautions {
		s.over(0, text, style{})
	}
}

// Widths of columns, in characters: of headings, which take several lines, of times, and of texts.
const (
	mostHead = 14
	timeWide = 18
	mostText = 44
	mostOf   = 30 // where tables stand below each other
	mostWord = 68 // that cannot be broken, such as a hash
)

// widthsOf are the widths of columns that tables below each other share.
func widthsOf(list []*report.BookTable) (widths []float64) {
	most := mostText
	if len(list) > 1 {
		most = mostOf
	}
	for _, t := range list {
		for i, head := range t.Heads {
			if len(widths) <= i {
				widths = append(widths, 9)
			}
			widths[i] = max(widths[i], float64(min(mostHead, utf8.RuneCountInString(head)+2)))
			for _, row := range t.Rows[:min(len(t.Rows), 200)] {
				widths[i] = max(widths[i], wide(row[i], most))
			}
		}
	}
	return widths
}

// wide is the width that a cell asks for; of a text, so many letters at most.
func wide(cell any, most int) float64 {
	switch v := cell.(type) {
	case time.Time:
		return timeWide
	case string:
		if !strings.Contains(v, " ") {
			most = mostWord
		}
		return float64(min(most, utf8.RuneCountInString(v)+2))
	}
	return 0
}
