package report

import (
	"bytes"
	"encoding/csv"
	"fmt"
	"strconv"
)

// asCSV writes tables of one kind below each other, under one header: numbers without grouping, empty where there is
// none.
func asCSV(tables ...*Table) []byte {
	var b bytes.Buffer
	w := csv.NewWriter(&b)
	for i, t := range tables {
		columns := t.in(InCSV)
		var line []string
		for _, k := range columns {
			line = append(line, t.title(&t.Columns[k]))
		}
		if i == 0 {
			w.Write(line)
		}
		for _, row := range t.Rows {
			line = line[:0]
			for _, k := range columns {
				line = append(line, t.units.plain(&t.Columns[k], row[k]))
			}
			w.Write(line)
		}
	}
	w.Flush()
	return b.Bytes()
}

// title is a column's heading with its unit, or the clock of its times.
func (t *Table) title(c *Column) string {
	unit := t.units.symbol(c.Kind)
	switch c.Kind {
	case Instant:
		unit = t.units.clock.Name
	case Percent, Growth:
		unit = "%"
	}
	if unit == "" || c.Bare {
		return c.Title
	}
	return c.Title + " (" + unit + ")"
}

// plain writes a cell for a program: volumes to 0.001 of the report's unit, flows to six digits.
func (u *units) plain(c *Column, cell any) string {
	switch v := cell.(type) {
	case nil:
		return ""
	case told:
		return u.plain(c, v.value)
	case int64:
		return u.clock.Format(v)
	case float64:
		switch c.Kind {
		case Volume, Change:
			return fixed(u.volume.FromSI(v), 3)
		case Flow:
			return significant(u.flow.FromSI(v), 6, false)
		case Percent, Growth:
			return fixed(v, 3)
		}
		return fixed(v, 4)
	}
	return fmt.Sprint(cell)
}

// fixed writes a number with a fixed count of decimals and no minus zero.
func fixed(v float64, decimals int) string {
	text := strconv.FormatFloat(v, 'f', decimals, 64)
	if v > -0.5 && v < 0.5 {
		if zero := strconv.FormatFloat(0, 'f', decimals, 64); text == "-"+zero {
			return zero
		}
	}
	return text
}
