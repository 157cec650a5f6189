package workbook

import (
	"bytes"
	"math"
	"strconv"
	"strings"
	"testing"
	"time"
	"unicode/utf16"

	"github.com/xuri/excelize/v2"

	"retotal/ingest/site"
	"retotal/qa"
	"retotal/recompute"
	"retotal/report"
)

// TestSerial: days since 30 December 1899, by the ISO/IEC 29500-1 1900 date system: 1 January 2031 is 47,849 (2000 is
// 36,526, and 31 years of 365 days with eight leap days follow), noon half a day more. Wall times count, whatever the
// zone.
func TestSerial(t *testing.T) {
	zone := time.FixedZone("", 7200)
	for at, want := range map[time.Time]float64{
		time.Date(2000, 1, 1, 0, 0, 0, 0, time.UTC):  36526,
		time.Date(2031, 1, 1, 12, 0, 0, 0, time.UTC): 36526 + 31*365 + 8 + 0.5,
		time.Date(2031, 1, 1, 18, 0, 0, 0, zone):     36526 + 31*365 + 8 + 0.75,
		time.Date(1900, 3, 1, 0, 0, 0, 0, time.UTC):  61,
		time.Date(2200, 3, 1, 0, 0, 0, 0, time.UTC):  61 + 300*365 + 73, // leap years 1904 to 2196, not 2100
	} {
		if got := serial(at); got != want {
			t.Errorf("%v: %v, want %v", at, got, want)
		}
	}
}

// TestSecondsAreCut: a program that cuts a time to whole seconds, as LibreOffice does, shows the second that was meant,
// from a number of 15 digits: beyond those the library cuts numbers.
func TestSecondsAreCut(t *testing.T) {
	for _, year := range []int{1904, 1970, 2031, 2199} {
		for second := range 86400 {
			v := serial(time.Date(year, 3, 1, 0, 0, second, 0, time.UTC))
			if text := strconv.FormatFloat(v, 'f', -1, 64); len(text) > 16 {
				t.Fatalf("second %d of a day of %d is stored as %s", second, year, text)
			}
			if shown := (v - math.Floor(v)) * 86400; int(shown) != second || shown-float64(second) > 1e-4 {
				t.Fatalf("second %d of a day of %d is shown as %v", second, year, shown)
			}
		}
	}
}

// hostile are texts that somebody may write.
var hostile = []string{
	"=1+1", "+1", "-1", "@SUM(A1)", "\t=1", "=HYPERLINK(\"http://a\")", "</t></is></c><x>", "a\x00\x01b", "\xff\xfe",
	"水位 🌊 \u202eabc", "_x0041_", "<script>", strings.Repeat("é", 40000), strings.Repeat("🌊", 20000),
}

// TestTextStaysText: a text is a text of the cell, whatever it begins with, and never a formula; read back, it is what
// was written, but for what XML cannot hold and for what a cell has no room for, which is said.
func TestTextStaysText(t *testing.T) {
	b := New(false)
	s := b.begin("A", []float64{10}, 1, 0)
	for _, text := range hostile {
		s.add(b.text(text, style{}))
	}
	s.end()
	b.properties(&report.Letter{Title: hostile[0] + "\x01"})
	var out bytes.Buffer
	if b.check(b.file.Write(&out)); b.err != nil {
		t.Fatal(b.err)
	}
	f, err := excelize.OpenReader(&out)
	if err != nil {
		t.Fatal(err)
	}
	for i, text := range hostile {
		cell, _ := excelize.CoordinatesToCellName(1, i+1)
		got, err := f.GetCellValue("A", cell)
		formula, err2 := f.GetCellFormula("A", cell)
		kind, err3 := f.GetCellType("A", cell)
		if err != nil || err2 != nil || err3 != nil || formula != "" ||
			kind != excelize.CellTypeInlineString && kind != excelize.CellTypeSharedString {
			t.Errorf("%.20q is a cell of type %v with formula %q (%v %v %v)", text, kind, formula, err, err2, err3)
		}
		if want := clean(text); got != want {
			t.Errorf("%.30q came back as %.30q (%d letters of %d)", want, got, len(got), len(want))
		}
		if n := len(utf16.Encode([]rune(got))); n > 32767 {
			t.Errorf("%.20q has %d letters", text, n)
		}
		if len(text) > 70000 && !strings.HasSuffix(got, "(cut: longer than a cell holds)") {
			t.Errorf("%.20q was cut in silence", text)
		}
	}
}

// TestManyReadings: readings that one sheet has no room for go on in the next, none lost or twice; what is not known is
// an empty cell.
func TestManyReadings(t *testing.T) {
	b := New(true)
	b.readings.most = 4
	s := &site.Site{ID: "a"}
	s.Report.Clock.Location, s.Report.FlowUnit.Factor = time.UTC, 1
	for i := range 7 {
		at := time.Date(2031, 3, 1, i, 0, 0, 0, time.UTC).UnixNano()
		rows := &recompute.Rows{
			Time: []int64{at}, Head: []float64{math.NaN()}, Before: []float64{float64(i)},
			After: []float64{math.Inf(1)},
			Used:  []bool{true}, Flags: []qa.Flags{0},
		}
		if err := b.Rows(s, rows); err != nil {
			t.Fatal(err)
		}
	}
	b.readings.finish()
	var out bytes.Buffer
	if b.check(b.pack(&out)); b.err != nil {
		t.Fatal(b.err)
	}
	f, err := excelize.OpenReader(&out)
	if err != nil {
		t.Fatal(err)
	}
	var flows []string
	for _, name := range []string{"Readings", "Readings 2", "Readings 3"} {
		rows, err := f.GetRows(name, excelize.Options{RawCellValue: true})
		if err != nil || len(rows) > 4 {
			t.Errorf("%s: %d rows (%v)", name, len(rows), err)
		}
		for _, row := range rows[1:] {
			if flows = append(flows, row[3]); row[2] != "" || row[4] != "" {
				t.Errorf("%q: what is not known has a number", row)
			}
		}
	}
	if got := strings.Join(flows, " "); got != "0 1 2 3 4 5 6" {
		t.Errorf("readings %s", got)
	}
}

// TestPrinted: a figure of page one is a number, and is shown as it was printed; what is no plain figure stays text.
// How a number is shown is worked out by excelize from the format; it puts the blank before a per cent sign behind it,
// so blanks are left out there. LibreOffice keeps it in its place.
func TestPrinted(t *testing.T) {
	b := New(false)
	s := b.begin("A", []float64{10}, 1, 0)
	list := []struct {
		text  string
		value any
	}{
		{"28,308", 28308.0}, {"1,234,567.25", 1234567.25}, {"0", 0.0}, {"−1,204.5", -1204.5}, {"± 1,480", 1480.0},
		{"±\u00a00.25", 0.25}, {"−32.7 %", -0.327}, {"+4.0\u00a0%", 0.04}, {"0.0 %", 0.0}, {"99.8 %", 0.998},
		{"100.0 %", 1.0},
		{"no total", nil}, {"–", nil}, {"", nil}, {"1,200 to 1,300", nil}, {"1,200 or more", nil}, {"=1", nil},
		{"1.2.3", nil},
	}
	for _, x := range list {
		s.add(b.printed(x.text, style{}))
	}
	s.end()
	var out bytes.Buffer
	if b.check(b.pack(&out)); b.err != nil {
		t.Fatal(b.err)
	}
	f, err := excelize.OpenReader(&out)
	if err != nil {
		t.Fatal(err)
	}
	for i, x := range list {
		cell, _ := excelize.CoordinatesToCellName(1, i+1)
		shown, err := f.GetCellValue("A", cell)
		raw, err2 := f.GetCellValue("A", cell, excelize.Options{RawCellValue: true})
		kind, err3 := f.GetCellType("A", cell)
		v, notNumber := strconv.ParseFloat(raw, 64)
		isText := kind == excelize.CellTypeInlineString
		squeezed := strings.NewReplacer(" %", "%", "% ", "%")
		want, got := squeezed.Replace(blanks.Replace(x.text)), squeezed.Replace(blanks.Replace(shown))
		if err != nil || err2 != nil || err3 != nil || got != want ||
			isText != (x.value == nil) || x.value != nil && (notNumber != nil || v != x.value) {
			t.Errorf("%q is shown as %q and holds %q (%v %v %v)", x.text, shown, raw, err, err2, err3)
		}
	}
}

// TestFoot: a name turns no words of the foot line around, and is no code of its own there: & begins one (ISO/IEC
// 29500-1, 18.3.1.46, from memory).
func TestFoot(t *testing.T) {
	b := New(false)
	b.foot = "A &P\u202eB\u2067 · DRAFT"
	s := b.begin("Answer", []float64{10}, 0, 0)
	s.end()
	foot, err := b.file.GetHeaderFooter("Answer")
	const want = "&LA &&PB · DRAFT · Answer&Rpage &P of &N"
	if b.err != nil || err != nil || foot.OddFooter != want {
		t.Errorf("the foot line is %q, want %q (%v %v)", foot.OddFooter, want, b.err, err)
	}
}

// TestLines: rows are as high as their texts take, words whole where they can be.
func TestLines(t *testing.T) {
	for _, x := range []struct {
		text string
		wide float64
		want int
	}{
		{"", 10, 1}, {"a", 10, 1}, {"one two three", 8, 2}, {"one\ntwo", 40, 2}, {strings.Repeat("x", 25), 8, 3},
		{strings.Repeat("word ", 20), 8, 10},
	} {
		if got := lines(x.text, x.wide); got != x.want {
			t.Errorf("%q in %v: %d lines, want %d", x.text, x.wide, got, x.want)
		}
	}
}
