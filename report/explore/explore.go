// Package explore makes the part of a site's page in which people look into the record: script, style and the data of
// the whole record in levels of least and greatest, so that nothing is fetched from anywhere.
package explore

import (
	"math"
	"math/bits"

	"retotal/ingest"
	"retotal/ingest/reading"
	"retotal/recompute"
	"retotal/recompute/total"
)

// MostCells is how many cells a run may divide the record into for the explorer (recompute.Options.Cells): a year of
// minutes then has cells of 5 minutes, 20 years have cells of two hours. They cost some 110 bytes each.
const MostCells = 110_000

// Gatherer takes in what the explorer needs of the rows of one pass over a log. It keeps a few numbers a cell, however
// long the log is.
type Gatherer struct {
	from, until int64 // nothing before or after the report's period is shown
	lag         int64 // ns, by which a reading belongs to the time before its stamp
	calendar    *total.Calendar
	cells       []cell
	flagged     [32][]mark // by flag
	at          int        // number of the cell at hand
	start, end  int64      // and its bounds
}

// cell is what is known of the readings of one cell.
type cell struct {
	rows, used int32
	state      uint8   // sum of the constants below
	head       extreme // m, corrected
	before     extreme // m³/s
	after      extreme // m³/s, of readings that count
}

// What else is known of the readings of a cell.
const (
	isBounded = 1 << iota // of some only bounds of the flow are known
	isOpen                // and nothing bounds it from above
)

// extreme is the least and the greatest of some figures.
type extreme struct{ low, high float32 }

// none is of no figures.
var none = extreme{float32(math.Inf(1)), float32(math.Inf(-1))}

func (e *extreme) add(v float64) {
	if x := float32(v); x < e.low || x > e.high {
		e.low, e.high = min(x, e.low), max(x, e.high)
	}
}

// mark is how many readings of a cell a check flagged.
type mark struct {
	cell int
	rows int32
}

// New begins the explorer's data of one pass. A pass that has to begin again takes a new one.
func New(l *ingest.Log) *Gatherer {
	g := &Gatherer{from: math.MinInt64, until: math.MaxInt64}
	if r := &l.Site.Report; r.From != nil {
		g.from = r.From.UTC
	}
	if r := &l.Site.Report; r.Until != nil {
		g.until = r.Until.UTC
	}
	if l.Site.Log.Means {
		g.lag = 1
	}
	return g
}

// Rows takes in a stretch of decided readings. Without cells in them there is nothing to gather.
func (g *Gatherer) Rows(rows *recompute.Rows) error {
	if rows.Cells == nil {
		return nil
	}
	g.calendar = rows.Cells
	for i, at := range rows.Time {
		if at -= g.lag; at < g.from || at >= g.until {
			continue
		}
		if at < g.start || at >= g.end || len(g.cells) == 0 {
			g.enter(at)
		}
		g.add(&g.cells[g.at], rows, i)
	}
	return nil
}

// enter goes to the cell of an instant.
func (g *Gatherer) enter(at int64) {
	g.at = g.calendar.Day(at)
	g.start, g.end = g.calendar.Bounds(g.at)
	g.grow(g.at + 1)
}

// grow makes room for so many cells.
func (g *Gatherer) grow(n int) {
	for len(g.cells) < n {
		g.cells = append(g.cells, cell{head: none, before: none, after: none})
	}
}

// startOf is where cell i begins, or the last one ends, s since 1970.
func (g *Gatherer) startOf(i int) float64 {
	if i == len(g.cells) {
		_, end := g.calendar.Bounds(i - 1)
		return float64(end / 1e9)
	}
	start, _ := g.calendar.Bounds(i)
	return float64(start / 1e9)
}

// add takes in row i.
func (g *Gatherer) add(c *cell, rows *recompute.Rows, i int) {
	c.rows++
	c.head.add(rows.Head[i])
	c.before.add(rows.Before[i])
	if rows.Used[i] {
		c.used++
		c.after.add(rows.After[i])
		if rows.Lower[i] != rows.Upper[i] {
			c.state |= isBounded
			if math.IsInf(rows.Upper[i], 1) {
				c.state |= isOpen
			}
		}
	}
	for rest := rows.Flags[i]; rest != 0; rest &= rest - 1 {
		k := bits.TrailingZeros32(uint32(rest))
		if list := g.flagged[k]; len(list) > 0 && list[len(list)-1].cell == g.at {
			list[len(list)-1].rows++
		} else {
			g.flagged[k] = append(list, mark{g.at, 1})
		}
	}
}

// hasCounter reports whether a run has a counter to show.
func hasCounter(r *recompute.Result) bool {
	return r.Facts.Has[reading.Counter] && !r.Total.Counted.Missing()
}
