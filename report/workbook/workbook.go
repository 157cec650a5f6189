// Package workbook writes report.xlsx: the figures of a report with formulas that a reader can check.
package workbook

import (
	"archive/zip"
	"bufio"
	"errors"
	"fmt"
	"io"
	"math"
	"os"
	"slices"
	"strings"
	"time"
	"unicode"
	"unicode/utf16"
	"unicode/utf8"

	"github.com/xuri/excelize/v2"

	"retotal/report"
)

// Book is a workbook on its way. All sheets are written as streams: rows from above, once.
type Book struct {
	file     *excelize.File
	styles   map[style]int
	run      *report.Run
	foot     string
	readings *readings
	kept     []bool // figures of the periods at hand that have a column
	volumes  string // the format of their volumes
	err      error
}

// style is how a cell is shown.
type style struct {
	format                   string
	bold, wrap, large, right bool
	indent                   bool // of text beside numbers
	rule, sum                bool // a line below, as heads have, or above, as sums have
}

// New begins a workbook. With readings, every reading gets a row of its own in sheets at its end, see Rows.
func New(withReadings bool) *Book {
	b := &Book{file: excelize.NewFile(), styles: map[style]int{}}
	b.check(b.file.SetSheetName(b.file.GetSheetName(0), sheetNames[0])) // the one that is there, and in front
	for _, name := range sheetNames[1:] {
		_, err := b.file.NewSheet(name)
		b.check(err)
	}
	if withReadings {
		b.readings = &readings{book: b, most: excelize.TotalRows}
	}
	return b
}

// sheetNames are the sheets in their order. Those of readings, which are written before them, come last.
var sheetNames = []string{
	"Answer", "Months", "Days", "Events", "Limits", "Visits", "Screening", "Settings", "Certificate",
}

// Write writes the sheets and the file.
func (b *Book) Write(out io.Writer, run *report.Run) error {
	b.run = run
	letter := report.NewLetter(run)
	b.foot = letter.Foot[0]
	b.answer(letter)
	b.periods("Months", "month", run.Result.Months)
	b.periods("Days", "day", run.Result.Days)
	b.tables()
	if b.readings != nil {
		b.readings.finish()
	}
	b.properties(letter)
	if b.err == nil {
		b.check(b.pack(out))
	}
	return errors.Join(b.err, b.file.Close())
}

// pack writes the file with its parts in the order of their names: the library puts sheets in the order of a map. They
// are packed in a file first, as readings may be too many for memory.
func (b *Book) pack(out io.Writer) error {
	temporary, err := os.CreateTemp("", "workbook-*")
	if err != nil {
		return err
	}
	defer os.Remove(temporary.Name())
	defer temporary.Close()
	buffered := bufio.NewWriter(temporary)
	b.file.SetZipWriter(func(io.Writer) excelize.ZipWriter { return zip.NewWriter(buffered) })
	if _, err := b.file.WriteToBuffer(); err != nil { // of which nothing goes into the buffer
		return err
	}
	if err := buffered.Flush(); err != nil {
		return err
	}
	size, err := temporary.Seek(0, io.SeekEnd)
	if err != nil {
		return err
	}
	return inOrder(temporary, size, out)
}

// inOrder copies an archive, its parts in the order of their names.
func inOrder(from io.ReaderAt, size int64, to io.Writer) error {
	parts, err := zip.NewReader(from, size)
	if err != nil {
		return err
	}
	slices.SortFunc(parts.File, func(a, b *zip.File) int { return strings.Compare(a.Name, b.Name) })
	packed := zip.NewWriter(to)
	for _, part := range parts.File {
		if err := packed.Copy(part); err != nil {
			return err
		}
	}
	return packed.Close()
}

// Close lets go of a workbook that is not written.
func (b *Book) Close() { b.file.Close() }

// properties name the workbook; it holds no time of its own, so that the same run gives the same bytes.
func (b *Book) properties(l *report.Letter) {
	const then = "2000-01-01T00:00:00Z"
	b.check(b.file.SetDocProps(&excelize.DocProperties{
		Title: clean(l.Title), Creator: "retotal", LastModifiedBy: "retotal", Created: then, Modified: then,
		Description: "A correction is for a competent person to review before it is reported.",
	}))
}

func (b *Book) check(err error) {
	if b.err == nil {
		b.err = err
	}
}

// style returns the number of a style.
func (b *Book) style(s style) int {
	if id, ok := b.styles[s]; ok {
		return id
	}
	x := &excelize.Style{Alignment: &excelize.Alignment{Vertical: "top", WrapText: s.wrap}, Font: &excelize.Font{
		Family: "Arial", Size: 10, Bold: s.bold, Color: "17202A"}}
	if s.format != "" {
		x.CustomNumFmt = &s.format
	}
	switch {
	case s.right:
		x.Alignment.Horizontal = "right"
	case s.indent:
		x.Alignment.Horizontal, x.Alignment.Indent = "left", 1
	}
	if s.large {
		x.Font.Size = 14
	}
	switch {
	case s.rule:
		x.Border = []excelize.Border{{Type: "bottom", Color: "17202A", Style: 1}}
	case s.sum:
		x.Border = []excelize.Border{{Type: "top", Color: "17202A", Style: 1}}
	}
	id, err := b.file.NewStyle(x)
	b.check(err)
	b.styles[s] = id
	return id
}

// sheet is one sheet on its way.
type sheet struct {
	book *Book
	name string
	w    *excelize.StreamWriter
	row  int // of the last row written, from 1

	widths []float64 // of columns, in characters
}

// begin begins a sheet whose columns are so many characters wide and whose first rows stay in sight and are printed on
// every page.
func (b *Book) begin(name string, widths []float64, heads, left int) *sheet {
	_, err := b.file.NewSheet(name)
	b.check(err)
	b.layout(name, heads)
	w, err := b.file.NewStreamWriter(name)
	if b.check(err); b.err != nil {
		return &sheet{book: b, name: name}
	}
	for i, width := range widths {
		b.check(w.SetColWidth(i+1, i+1, width))
	}
	if heads > 0 {
		corner, err := excelize.CoordinatesToCellName(left+1, heads+1)
		b.check(err)
		pane := "bottomRight"
		if left == 0 {
			pane = "bottomLeft"
		}
		b.check(w.SetPanes(&excelize.Panes{
			Freeze: true, XSplit: left, YSplit: heads, TopLeftCell: corner, ActivePane: pane,
		}))
	}
	return &sheet{book: b, name: name, w: w, widths: widths}
}

// layout sets paper, foot line and the rows that every page repeats.
func (b *Book) layout(name string, heads int) {
	across, a4, one, any := "landscape", 9, 1, 0
	fit := true
	b.check(b.file.SetPageLayout(name, &excelize.PageLayoutOptions{
		Orientation: &across, Size: &a4, FitToWidth: &one, FitToHeight: &any,
	}))
	b.check(b.file.SetSheetProps(name, &excelize.SheetPropsOptions{FitToPage: &fit}))
	side, above, below, foot := 0.45, 0.45, 0.7, 0.35 // inches
	b.check(b.file.SetPageMargins(name, &excelize.PageLayoutMarginsOptions{
		Left: &side, Right: &side, Top: &above, Bottom: &below, Footer: &foot,
	}))
	title := strings.ReplaceAll(clean(oneWay(b.foot)), "&", "&&")
	if utf8.RuneCountInString(title) > 120 {
		title = string([]rune(title)[:120]) + "…"
	}
	b.check(b.file.SetHeaderFooter(name, &excelize.HeaderFooterOptions{
		OddFooter: "&L" + title + " · " + name + "&Rpage &P of &N",
	}))
	if heads > 0 {
		b.check(b.file.SetDefinedName(&excelize.DefinedName{
			Name: "_xlnm.Print_Titles", RefersTo: fmt.Sprintf("'%s'!$1:$%d", name, heads), Scope: name,
		}))
	}
}

// oneWay leaves out what turns the direction of writing: in a foot line it would turn the words behind a name, too.
func oneWay(text string) string {
	return strings.Map(func(r rune) rune {
		if unicode.Is(unicode.Bidi_Control, r) {
			return -1
		}
		return r
	}, text)
}

// add writes a row.
func (s *sheet) add(cells ...any) { s.high(1, cells...) }

// lineHigh is the height of a line of text, points.
const lineHigh = 13

// high writes a row so many lines high: programs that open the file do not work it out.
func (s *sheet) high(lines int, cells ...any) {
	s.row++
	if s.book.err != nil {
		return
	}
	var options []excelize.RowOpts
	if lines > 1 {
		options = append(options, excelize.RowOpts{Height: float64(min(lines, 30) * lineHigh)})
	}
	at, err := excelize.CoordinatesToCellName(1, s.row)
	s.book.check(err)
	s.book.check(s.w.SetRow(at, cells, options...))
}

func (s *sheet) end() {
	if s.book.err == nil {
		s.book.check(s.w.Flush())
	}
}

// text is a cell of text. It is never a formula, whatever it begins with.
func (b *Book) text(text string, s style) any {
	return excelize.Cell{StyleID: b.style(s), Value: clean(text)}
}

// number is a cell with a number; empty where there is none, for which workbooks have no sign.
func (b *Book) number(v float64, format string) any {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return nil
	}
	return excelize.Cell{StyleID: b.style(style{format: format}), Value: v}
}

// formula is a cell with a formula and what it comes to.
func (b *Book) formula(formula string, v float64, s style) any {
	return excelize.Cell{StyleID: b.style(s), Formula: formula, Value: v}
}

// heads is a row of headings.
func (s *sheet) heads(names []string, formats []string) {
	var cells []any
	lines := 1
	for i, name := range names {
		right := i < len(formats) && formats[i] != ""
		lines = max(lines, s.lines(i, name))
		cells = append(cells, s.book.text(name, style{
			bold: true, wrap: true, rule: true, right: right, indent: !right && i > 0,
		}))
	}
	s.high(lines, cells...)
}

// over writes a row whose last cell is a text over all columns from one on, as many lines high as it takes.
func (s *sheet) over(from int, text string, x style, before ...any) {
	x.wrap = true
	x.indent = from > 0
	room := 0.0
	for _, w := range s.widths[min(from, len(s.widths)):] {
		room += w
	}
	s.high(lines(text, room), append(before, s.book.text(text, x))...)
	if s.book.err != nil || from >= len(s.widths)-1 {
		return
	}
	first, err1 := excelize.CoordinatesToCellName(from+1, s.row)
	last, err2 := excelize.CoordinatesToCellName(len(s.widths), s.row)
	s.book.check(errors.Join(err1, err2))
	s.book.check(s.w.MergeCell(first, last))
}

// lines is how many lines a text takes in a column of a sheet.
func (s *sheet) lines(column int, text string) int {
	if column >= len(s.widths) {
		return 1
	}
	return lines(text, s.widths[column])
}

// lines is how many lines a text takes in a column so many characters wide: letters are narrower than the digits by
// which a column is measured, and words stay whole where they can.
func lines(text string, wide float64) (n int) {
	room := max(4, int(1.25*wide))
	for line := range strings.SplitSeq(text, "\n") {
		left := room
		for word := range strings.FieldsSeq(line) {
			letters := utf8.RuneCountInString(word)
			if letters > left && left < room {
				n, left = n+1, room
			}
			for ; letters > room; letters -= room {
				n++
			}
			left -= letters + 1
		}
		n++
	}
	return n
}

// serial is a wall time as workbooks count: days since 30 December 1899, rounded up to as many digits as the library
// keeps, which are 15; it cuts off what is beyond. Below the time, programs that cut seconds would show the one before.
func serial(t time.Time) float64 {
	wall := time.Date(t.Year(), t.Month(), t.Day(), t.Hour(), t.Minute(), t.Second(), 0, time.UTC)
	since := wall.Unix() - time.Date(1899, time.December, 30, 0, 0, 0, 0, time.UTC).Unix()
	const day = 86400
	parts := 1e10
	if since >= 100_000*day {
		parts = 1e9
	}
	days, rest := float64(since/day), float64(since%day)+float64(t.Nanosecond())*1e-9
	v := (days*parts + math.Ceil(rest/day*parts)) / parts
	if (v-days)*day < rest {
		v = (days*parts + math.Ceil(rest/day*parts) + 1) / parts
	}
	return v
}

// firstSerial is the first day that workbooks show as a date.
const firstSerial = 61 // 1 March 1900

// mostLetters is how long a text of a cell may be, in UTF-16 units; a workbook cannot hold more than 32,767.
const mostLetters = 32000

// clean makes a text fit for a cell: what XML cannot hold becomes an open square, and too long a text is cut and says
// so.
func clean(text string) string {
	text = strings.Map(func(r rune) rune {
		switch {
		case r == '\n' || r == '\t':
			return r
		case r < ' ' || r == utf8.RuneError || r == 0xfffe || r == 0xffff:
			return '□'
		}
		return r
	}, text)
	if len(text) <= mostLetters {
		return text
	}
	units := 0
	for i, r := range text {
		if units += utf16.RuneLen(r); units > mostLetters {
			return text[:i] + " … (cut: longer than a cell holds)"
		}
	}
	return text
}
