package workbook

import (
	"archive/zip"
	"bytes"
	"fmt"
	"io"
	"math"
	"strings"
	"time"

	"retotal/ingest/site"
	"retotal/qa"
	"retotal/recompute"
)

// readings writes a row a reading, as they come, to sheets of their own.
type readings struct {
	book   *Book
	report *site.Report
	now    *sheet
	names  []string
	told   map[qa.Flags]string
	most   int // rows of a sheet, its headings among them
}

// firstReadings is the first sheet of readings.
const firstReadings = "Readings"

// HasReadings reports whether a workbook of this program, a file, has a row a reading. What is no workbook has none.
func HasReadings(file string) bool {
	z, err := zip.OpenReader(file)
	if err != nil {
		return false
	}
	defer z.Close()
	list, err := z.Open("xl/workbook.xml")
	if err != nil {
		return false
	}
	defer list.Close()
	text, err := io.ReadAll(io.LimitReader(list, 1<<20))
	return err == nil && bytes.Contains(text, []byte(`<sheet name="`+firstReadings+`"`))
}

// Rows takes in a stretch of decided readings of a site; without sheets for readings it does nothing.
func (b *Book) Rows(s *site.Site, rows *recompute.Rows) error {
	if b.readings == nil {
		return nil
	}
	b.readings.report, b.foot = &s.Report, s.ID
	for i := range rows.Time {
		b.readings.add(rows, i)
	}
	return b.err
}

// add writes one reading.
func (r *readings) add(rows *recompute.Rows, i int) {
	if r.now == nil || r.now.row >= r.most {
		r.next()
	}
	b, flow := r.book, r.report.FlowUnit
	wall := time.Unix(0, rows.Time[i]).In(r.report.Clock.Location)
	cells := []any{
		b.moment(wall), b.moment(wall.UTC()), b.known(rows.Head[i]), b.known(flow.FromSI(rows.Before[i])), nil,
		rows.Used[i], r.flags(rows.Flags[i]),
	}
	if rows.Used[i] {
		cells[4] = b.known(flow.FromSI(rows.After[i]))
	}
	r.now.add(cells...)
}

// known is a cell with a head or a flow; empty where it is not known.
func (b *Book) known(v float64) any {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return nil
	}
	return b.number(v, "0.0000")
}

// flags names what was flagged.
func (r *readings) flags(f qa.Flags) any {
	if f == 0 {
		return nil
	}
	text, ok := r.told[f]
	if !ok {
		var names []string
		for _, c := range qa.Checks {
			if f&c.Flag != 0 {
				names = append(names, c.Name)
			}
		}
		if r.told == nil {
			r.told = map[qa.Flags]string{}
		}
		text = strings.Join(names, " ")
		r.told[f] = text
	}
	return text
}

// next begins the next sheet.
func (r *readings) next() {
	r.finish()
	name := firstReadings
	if n := len(r.names); n > 0 {
		name = fmt.Sprintf("Readings %d", n+1)
	}
	r.names = append(r.names, name)
	r.now = r.book.begin(name, []float64{20, 20, 14, 14, 14, 9, 30}, 1, 0)
	unit := r.report.FlowUnit.Symbol
	r.now.heads([]string{
		"time (" + r.report.Clock.Name + ")", "time (UTC)", "head, corrected (m)", "flow before (" + unit + ")",
		"flow after (" + unit + ")", "counts", "flags",
	}, []string{"x", "x", "x", "x", "x"})
}

// finish ends the sheet at hand.
func (r *readings) finish() {
	if r.now != nil {
		r.now.end()
		r.now = nil
	}
}
