package ingest

import (
	"slices"
	"strings"

	"retotal/ingest/csvlog"
	"retotal/ingest/parquetlog"
	"retotal/ingest/problem"
	"retotal/ingest/quantity"
	"retotal/ingest/reading"
)

// Guess is what a log seems to hold, for a first site file.
type Guess struct {
	*reading.Heading
	Columns map[string]GuessedColumn // by quantity
}

// GuessedColumn is a column that seems to hold a quantity.
type GuessedColumn struct{ Name, Unit string } // Unit is "" when the header names none

// words by which columns of a quantity are usually named.
var words = []struct {
	quantity reading.Quantity
	words    []string
}{
	{reading.Temperature, []string{"temp", "air"}},
	{reading.IntervalVolume, []string{"interval", "increment"}},
	{reading.Counter, []string{"total", "counter", "volume", "sum"}},
	{reading.Distance, []string{"distance", "dist", "range", "air gap"}},
	{reading.Downstream, []string{"downstream", "tailwater"}},
	{reading.SecondLevel, []string{"second level", "level 2", "level2"}},
	{reading.Head, []string{"head"}},
	{reading.Level, []string{"level", "stage", "height", "depth"}},
	{reading.Flow, []string{"flow", "discharge"}},
}

// GuessColumns looks for columns whose names or units say what they hold.
func GuessColumns(file string) (*Guess, *problem.Problem) {
	if _, bad := plain(file); bad != nil {
		return nil, bad
	}
	look := csvlog.Heading
	if parquetlog.IsParquet(file) {
		look = parquetlog.Heading
	}
	h, bad := look(file)
	if bad != nil {
		return nil, bad
	}
	g := &Guess{Heading: h, Columns: map[string]GuessedColumn{}}
	for i, name := range h.Names {
		if i == h.Time || i == h.TimeOfDay {
			continue
		}
		bare, unit := reading.SplitUnit(name)
		if q, ok := quantityNamed(bare, unit); ok {
			if _, taken := g.Columns[q.String()]; !taken {
				g.Columns[q.String()] = GuessedColumn{bare, unit}
			}
		}
	}
	return g, nil
}

// quantityNamed tells by name what a column holds; a unit of another kind contradicts it.
func quantityNamed(name, unit string) (reading.Quantity, bool) {
	for _, w := range words {
		if !slices.ContainsFunc(w.words, func(s string) bool { return strings.Contains(strings.ToLower(name), s) }) {
			continue
		}
		u, err := quantity.LookUp(unit)
		if unit == "" || err != nil || u.Dimension == w.quantity.Dimension() {
			return w.quantity, true
		}
	}
	return 0, false
}
