package ingest

import (
	"cmp"
	"fmt"
	"maps"
	"math"
	"slices"
	"strconv"

	"retotal/ingest/problem"
	"retotal/ingest/quantity"
	"retotal/ingest/reading"
)

// usualCodes are numbers by which loggers and databases write that there is no value (common practice).
var usualCodes = []float64{-99, -999, -9999, -99999, -999999, 9999, 99999, 999999}

// codes finds numbers that look like values and stand for none: a usual code, perhaps converted from another unit, that
// is written more than once and lies far from all other values of its column. It looks at extremes only, which costs
// little.
type codes struct {
	log    *Log
	column [reading.Count]codeColumn
}

// codeColumn is what is known of one column.
type codeColumn struct {
	watched   bool
	known     []code  // candidates, by value
	low, high float64 // of the values that are none of them
	seen      map[float64]*sighting
}

// code is a candidate in SI.
type code struct {
	value float64
	text  string
}

type sighting struct {
	code  code
	count int
}

// newCodes watches the columns whose codes the site file does not settle. Counters are left out: they pass every
// number.
func newCodes(l *Log) codes {
	c := codes{log: l}
	for q := range c.column {
		column := &l.Site.Log.Columns[q]
		dimension := reading.Quantity(q).Dimension()
		if !l.Has[q] || column.MissingSet || dimension == quantity.VolumeDimension || column.Loop {
			continue
		}
		w := codeColumn{watched: true, low: math.Inf(1), high: math.Inf(-1), seen: map[float64]*sighting{}}
		for _, u := range unitsOfCodes(l, reading.Quantity(q)) {
			for _, written := range usualCodes {
				w.known = append(w.known, code{u.ToSI(written), plainly(written) + " " + u.Symbol})
			}
		}
		slices.SortStableFunc(w.known, func(a, b code) int { return cmp.Compare(a.value, b.value) })
		c.column[q] = w
	}
	return c
}

// unitsOfCodes are the units that codes of a quantity may be written in: all of its dimension; of pressures, which have
// too many for their figures not to meet, that of the column.
func unitsOfCodes(l *Log, q reading.Quantity) (list []quantity.Unit) {
	if q == reading.AirPressure || l.pressed(q) {
		return append(list, l.Files[0].Unit(q))
	}
	for _, symbol := range quantity.Symbols(q.Dimension()) {
		list = append(list, quantity.MustLookUp(symbol))
	}
	return list
}

// watch takes in a batch.
func (c *codes) watch(b *reading.Batch) {
	for q := range c.column {
		w := &c.column[q]
		if !w.watched || len(b.Value[q]) == 0 {
			continue
		}
		low, high := extremes(b.Value[q])
		half := c.log.Resolution[q] / 2
		if w.isCode(low, half) == nil && w.isCode(high, half) == nil {
			w.low, w.high = min(w.low, low), max(w.high, high)
			continue
		}
		for _, v := range b.Value[q] {
			if known := w.isCode(v, half); known == nil {
				w.low, w.high = min(w.low, v), max(w.high, v)
			} else if s := w.seen[v]; s != nil {
				s.count++
			} else {
				w.seen[v] = &sighting{*known, 1}
			}
		}
	}
}

// extremes returns the lowest and the highest of some values.
func extremes(values []float64) (low, high float64) {
	low, high = values[0], values[0]
	for _, v := range values {
		if v < low {
			low = v
		} else if v > high {
			high = v
		}
	}
	return low, high
}

// tellingDigits is how small the log's rounding must be beside a value, so that it can tell a converted code from any
// other number: whole litres a second up to 999 hold one for every few values. Common practice.
const tellingDigits = 1e-3

// isCode returns the candidate that a value is, within the log's rounding where that can tell; nil for none.
func (w *codeColumn) isCode(v, half float64) *code {
	tolerance := math.Abs(v) * 1e-7
	if half <= tellingDigits*math.Abs(v) {
		tolerance += half
	}
	i, _ := slices.BinarySearchFunc(w.known, v-tolerance, func(k code, v float64) int {
		return cmp.Compare(k.value, v)
	})
	if i < len(w.known) && w.known[i].value <= v+tolerance {
		return &w.known[i]
	}
	return nil
}

// found is a problem when a column holds a code: only the user knows whether it is one.
func (c *codes) found() error {
	for q := range c.column {
		w := &c.column[q]
		most := math.Max(math.Abs(w.low), math.Abs(w.high))
		if math.IsInf(most, 0) {
			continue
		}
		for _, v := range slices.Sorted(maps.Keys(w.seen)) {
			s := w.seen[v]
			if s.count < 2 || math.Abs(v) < 2*most {
				continue
			}
			column := c.log.Site.Log.Columns[q]
			u := c.log.Files[0].Unit(reading.Quantity(q))
			shown := plainly(round(u.FromSI(v)))
			found := fmt.Sprintf(
				"%s holds %s %s, which may be the code %s for no value, %d times, far from all its other values",
				column.Title(), shown, u.Symbol, s.code.text, s.count,
			)
			remedy := fmt.Sprintf(
				"write log.columns.%s = { %s, unit = %q, missing = [\"%s\"] }, "+
					"or missing = [] if it is a reading",
				reading.Quantity(q), column.Key(), u.Symbol, shown,
			)
			return problem.At(column.Place, found, "a decision", remedy)
		}
	}
	return nil
}

// plainly writes a number as a logger does, without an exponent.
func plainly(v float64) string { return strconv.FormatFloat(v, 'f', -1, 64) }

// round takes the residue of a conversion off a number as it was written.
func round(v float64) float64 {
	return math.Round(v*1e6) / 1e6
}
