package csvlog

import (
	"bytes"
	"slices"
	"strings"

	"retotal/ingest/problem"
	"retotal/ingest/quantity"
	"retotal/ingest/reading"
)

// Guess is what a log seems to hold, for a first site file.
type Guess struct {
	Header  []string
	Time    string                   // header of the time column, without unit
	Columns map[string]GuessedColumn // by quantity
	Zoned   bool                     // stamps carry an offset from UTC
	First   string                   // the first stamp, as written
}

// GuessedColumn is a column that seems to hold a quantity.
type GuessedColumn struct{ Name, Unit string } // Unit is "" when the header names none

// words by which columns of a quantity are usually named.
var words = []struct {
	quantity reading.Quantity
	words    []string
}{
	{reading.Temperature, []string{"temp"}},
	{reading.Counter, []string{"total", "counter", "volume", "sum"}},
	{reading.Distance, []string{"distance", "dist", "range", "air gap"}},
	{reading.Downstream, []string{"downstream", "tailwater"}},
	{reading.Head, []string{"head"}},
	{reading.Level, []string{"level", "stage", "height", "depth"}},
	{reading.Flow, []string{"flow", "discharge"}},
}

// GuessColumns looks for a header line above a line that begins to look like readings, and for columns whose names or units say what
// they hold.
func GuessColumns(file string) (*Guess, *problem.Problem) {
	src, err := openSource(file, nil, false)
	if err != nil {
		return nil, readProblem(file, 0, err)
	}
	defer src.Close()
	sample := make([]byte, 1<<16)
	n, _ := readFull(src, sample)
	text := bytes.TrimPrefix(sample[:n], bom)
	if bad := refuseBinary(problem.Place{File: file}, text); bad != nil {
		return nil, bad
	}
	lines := bytes.Split(text, []byte{terminator(text)})
	for i := range lines {
		for _, delimiter := range []byte(";\t|,") {
			l := Layout{delimiter: delimiter}
			if header, row := l.headerAbove(lines, i); header != nil {
				return guess(header, row), nil
			}
		}
	}
	return nil, problem.At(problem.Place{File: file}, "no line with a time stamp stands below a line of column names", "a CSV log with a header", "write the site file by hand; retotal demo DIR writes an example")
}

// headerAbove returns the fields of line i when it is a header: as many fields as the first line of readings below it, which has a time, and no
// time of its own.
func (l *Layout) headerAbove(lines [][]byte, i int) (header, row [][]byte) {
	isStamp := func(f []byte) bool { _, err := parseStamp(f); return err == nil }
	header, ok := l.split(lines[i])
	if !ok || len(header) < 2 || slices.ContainsFunc(header, isStamp) {
		return nil, nil
	}
	for k := i + 1; k < len(lines) && k <= i+4; k++ {
		row, ok := l.split(lines[k])
		if ok && len(row) == len(header) && slices.ContainsFunc(row, isStamp) {
			return header, row
		}
	}
	return nil, nil
}

// guess names the columns of a header.
func guess(header, row [][]byte) *Guess {
	g := &Guess{Columns: map[string]GuessedColumn{}}
	for i, f := range header {
		name := latin(f)
		g.Header = append(g.Header, name)
		if st, err := parseStamp(row[i]); err == nil && g.Time == "" {
			g.Time, g.Zoned, g.First = name, st.hasOffset, string(row[i])
			continue
		}
		bare, unit := splitUnit(name)
		if q, ok := quantityNamed(bare, unit); ok {
			if _, taken := g.Columns[q.String()]; !taken {
				g.Columns[q.String()] = GuessedColumn{bare, unit}
			}
		}
	}
	return g
}

// quantityNamed tells by name what a column holds; a unit of another kind contradicts it.
func quantityNamed(name, unit string) (reading.Quantity, bool) {
	for _, w := range words {
		if !slices.ContainsFunc(w.words, func(s string) bool { return strings.Contains(strings.ToLower(name), s) }) {
			continue
		}
		u, err := quantity.LookUp(unit)
		if unit == "" || err != nil || u.Dimension == dimensionOf(w.quantity) {
			return w.quantity, true
		}
	}
	return 0, false
}
