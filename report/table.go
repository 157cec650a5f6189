package report

import (
	"math"

	"retotal/ingest/quantity"
	"retotal/ingest/site"
	"retotal/recompute/total"
)

// Table is the figures of one subject. It is built once, from values, and written as text (text.go), page
// (pagetable.go), CSV (csv.go) and record (object.go) by one writer each.
type Table struct {
	Columns []Column
	Rows    [][]any      // values in SI units by the kind of their column; nil where there is none
	Minor   map[int]bool // rows that only machines read
	Most    int          // rows that the text shows; 0 for all
	units   *units
	past    []past // the rows of a record that was read
}

// Column says what its cells are, what they are called and where they stand. One without a key is not in the record,
// one without a title nowhere else.
type Column struct {
	Key      string // in the record
	Title    string // without a unit
	Short    string // for people, with its unit, where the title is not it
	Kind     Kind
	In       Writers // 0 for all
	Decimals int     // for people
	Missing  string  // what people read where there is no value
	Bare     bool    // the title stands without a unit
	Optional bool    // the record lacks the key where there is no value, an empty text or a no
	Style    Style
}

// Kind is what the values of a column are, and by that in which unit and to how many digits they are written.
type Kind uint8

// The kinds. Words are text; so is a figure that is Written, as somebody wrote it or as it was rounded. A Figure is of
// a kind of its own.
const (
	Words   Kind = iota
	Yes          // bool
	Instant      // int64, ns
	List         // []string
	Volumes      // []any, m³
	Spread       // *headsRecord

	Count       // int; this and what follows is set right
	Figure      // measure
	Written     // string
	Volume      // m³, in the report's unit of volume
	Change      // m³, with its sign
	Flow        // m³/s, in the report's unit of flow
	Head        // m
	Millimetres // m, written in mm
	Offset      // m, written in mm with its sign
	Share       // part of a whole, in per cent for people
	Percent     // per cent
	Growth      // per cent, with its sign
)

// Writers is a set of writers.
type Writers uint8

// The writers; people read text and page, machines the others.
const (
	InText Writers = 1 << iota
	InPage
	InCSV
	InRecord
	people   = InText | InPage
	machines = InCSV | InRecord
)

// Style is how the page shows a column.
type Style uint8

// The styles.
const (
	Plain   Style = iota
	Strong        // what a reader looks for
	Small         // what stands beside it
	Verdict       // strong where it says "differs"
	Bar           // a share, as a bar
)

// units are those of a site's report.
type units struct {
	volume, flow quantity.Unit
	clock        site.Clock
}

func (r *Run) units() *units {
	report := &r.Site().Report
	return &units{report.VolumeUnit, report.FlowUnit, report.Clock}
}

// symbol is the unit of a kind's numbers, "" where there is none or where each cell names it.
func (u *units) symbol(k Kind) string {
	switch k {
	case Volume, Change:
		return u.volume.Symbol
	case Flow:
		return u.flow.Symbol
	case Head:
		return "m"
	case Millimetres, Offset:
		return "mm"
	}
	return ""
}

// figure is a column and where its cells come from. A new figure of a subject is one line in the subject's list of
// them.
type figure[T any] struct {
	Column
	of func(*T) any
}

// tabulate builds the table of a list in the units of a run's report.
func tabulate[T any](r *Run, list []T, figures []figure[T]) *Table {
	return laidOut(r.units(), list, figures)
}

func laidOut[T any](u *units, list []T, figures []figure[T]) *Table {
	t := &Table{Minor: map[int]bool{}, units: u}
	for _, f := range figures {
		t.Columns = append(t.Columns, f.Column)
	}
	for i := range list {
		row := make([]any, len(figures))
		for k, f := range figures {
			row[k] = f.of(&list[i])
		}
		t.Rows = append(t.Rows, row)
	}
	return t
}

// words and count are figures of texts and of whole numbers.
func words[T any](key, title string, of func(*T) string) figure[T] {
	return figure[T]{Column{Key: key, Title: title}, func(x *T) any { return of(x) }}
}

func count[T any](key, title string, of func(*T) int) figure[T] {
	return figure[T]{Column{Key: key, Title: title, Kind: Count}, func(x *T) any { return of(x) }}
}

// yesNo is a figure that is true or false.
func yesNo[T any](key string, of func(*T) bool) figure[T] {
	return figure[T]{Column{Key: key, Kind: Yes}, func(x *T) any { return of(x) }}
}

// in, styled and optional say more of a figure.
func (f figure[T]) in(w Writers) figure[T] {
	f.In = w
	return f
}

func (f figure[T]) styled(s Style) figure[T] {
	f.Style = s
	return f
}

func (f figure[T]) optional() figure[T] {
	f.Optional = true
	return f
}

// told is a value that people read in words of its own: the least of what is bounded, a number that a rule withholds.
type told struct {
	value any
	words string
}

// measure is a value whose kind is its own and not its column's.
type measure struct {
	kind  Kind
	value float64
}

// known is a value, or nil where there is none.
func known(v float64, ok bool) any {
	if !ok || math.IsInf(v, 0) {
		return nil
	}
	return v
}

// list is a list of texts, or nil where it is empty.
func list(texts []string) any {
	if len(texts) == 0 {
		return nil
	}
	return texts
}

// some is a volume in m³, or nil where it is missing.
func some(v total.Volume) any { return known(v.M3(), !v.Missing()) }

// in lists the columns that a writer writes.
func (t *Table) in(w Writers) (list []int) {
	for i := range t.Columns {
		c := &t.Columns[i]
		if named := c.Title != "" || w == InRecord; named &&
			(c.Key != "" || w != InRecord) && (c.In == 0 || c.In&w != 0) {
			list = append(list, i)
		}
	}
	return list
}

// shown counts the rows that people read.
func (t *Table) shown() (n int) {
	for i := range t.Rows {
		if !t.Minor[i] {
			n++
		}
	}
	return n
}

// right tells which columns people read set right.
func (c *Column) right() bool { return c.Kind >= Count }
