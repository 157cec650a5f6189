package workbook

import (
	"bytes"
	"math"
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
	} {
		if got := serial(at); got != want {
			t.Errorf("%v: %v, want %v", at, got, want)
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
			Time: []int64{at}, Head: []float64{math.NaN()}, Before: []float64{float64(i)}, After: []float64{math.Inf(1)},
			Used: []bool{true}, Flags: []qa.Flags{0},
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
