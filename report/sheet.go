package report

import (
	"strings"
	"time"
)

// Sheet is a table for a workbook: cells are numbers in the units that the heads name, wall times of the report's zone,
// true or false, or text.
type Sheet struct {
	Heads   []string
	Formats []string // of the numbers of a column, as workbooks write them; "" for text
	Rows    [][]any  // string, float64, bool, time.Time or nil; a Valued where the column's format is not the cell's
}

// Valued is a number with a format of its own.
type Valued struct {
	Value  float64
	Format string
}

// Sheet lays the table out for a workbook: the columns of page and CSV.
func (t *Table) Sheet() *Sheet {
	s := &Sheet{}
	var columns []int
	for i := range t.Columns {
		c := &t.Columns[i]
		if c.Title != "" && (c.In == 0 || c.In&(InCSV|InPage) != 0) && c.Style != Bar {
			columns = append(columns, i)
			s.Heads = append(s.Heads, Typeset(t.title(c)))
			s.Formats = append(s.Formats, t.units.format(c.Kind, c.Decimals))
		}
	}
	for i, row := range t.Rows {
		if t.Minor[i] {
			continue
		}
		var line []any
		for _, k := range columns {
			line = append(line, t.units.cell(&t.Columns[k], row[k]))
		}
		s.Rows = append(s.Rows, line)
	}
	return s
}

// cell is a cell's value for a workbook.
func (u *units) cell(c *Column, cell any) any {
	switch v := cell.(type) {
	case nil:
		return nil
	case told:
		if c.Kind == Words || v.value == nil {
			return v.words
		}
		return u.cell(c, v.value)
	case measure:
		return Valued{u.scaled(v.kind, v.value), u.format(v.kind, 1) + u.quoted(v.kind)}
	case int:
		return float64(v)
	case int64:
		return time.Unix(0, v).In(u.clock.Location)
	case float64:
		return u.scaled(c.Kind, v)
	case bool, string:
		return v
	case []string:
		return strings.Join(v, "; ")
	}
	return u.words(c, cell)
}

// quoted is the unit of a kind as a number's format holds it.
func (u *units) quoted(k Kind) string {
	if symbol := u.symbol(k); symbol != "" {
		return ` "` + Typeset(symbol) + `"`
	}
	return ""
}

// scaled is a value of a kind in the unit in which workbooks hold it.
func (u *units) scaled(k Kind, v float64) float64 {
	switch k {
	case Volume, Change:
		return u.volume.FromSI(v)
	case Flow:
		return u.flow.FromSI(v)
	case Millimetres, Offset:
		return 1000 * v
	}
	return v // of a share, the part
}

// format is how numbers of a kind are shown.
func (u *units) format(k Kind, decimals int) string {
	switch k {
	case Instant:
		return "yyyy-mm-dd hh:mm:ss"
	case Count:
		return "#,##0"
	case Volume, Change:
		return "#,##0" + decimalPlaces(decimals)
	case Flow:
		return "#,##0.0000"
	case Head, Figure:
		return "0.0000"
	case Millimetres, Offset:
		return "0.0"
	case Share:
		return "0.0%"
	case Percent, Growth:
		return "0.00"
	}
	return ""
}

func decimalPlaces(n int) string {
	if n == 0 {
		return ""
	}
	return "." + strings.Repeat("0", n)
}

// BookTable is a table of a workbook: the sheet that it stands on and what it is.
type BookTable struct {
	Name, Caption string
	*Sheet
}

// BookTables makes the tables of a workbook, but for months and days, one after the other, those of a sheet together.
func BookTables(r *Run, each func(*BookTable)) {
	zone := r.Site().Report.Clock.Name
	for _, x := range []struct {
		name, caption string
		table         func() *Table
	}{
		{"Events", "Flagged spans; times in " + zone, r.events},
		{"Limits", "Figures beside their limits", r.limits},
		{"Visits", "Site visits: log less visit in mm of head; times in " + zone, r.visits},
		{"Screening", "What each check flagged", r.flags},
		{"Screening", "Rulings; times in the logger's zone", r.rulings},
		{"Settings", "Corrections; times in " + zone, r.corrections},
		{"Settings", "Uncertainty of the corrected total, 95 %", r.budget},
		{"Settings", "What if", r.whatIf},
		{"Certificate", "Do log, settings and counter agree?", r.findings},
		{"Certificate", "What stands behind what disagrees", r.causes},
	} {
		if t := x.table(); t != nil && len(t.Rows) > 0 {
			each(&BookTable{x.name, x.caption, t.Sheet()})
		}
		if x.name == "Settings" && x.caption == "What if" {
			t := r.settingTable(segments(r.Result.Recorded, r.Log), segments(r.Result.Corrected, r.Log))
			each(&BookTable{"Settings", t.Caption, textSheet(t)})
		}
	}
	t := hashTable(r)
	each(&BookTable{"Certificate", t.Caption, textSheet(t)})
}

// textSheet is a table of texts.
func textSheet(t *PageTable) *Sheet {
	s := &Sheet{Formats: make([]string, len(t.Head))}
	for _, c := range t.Head {
		s.Heads = append(s.Heads, c.Text)
	}
	for _, row := range t.Rows {
		var line []any
		for _, c := range row {
			line = append(line, c.Text)
		}
		s.Rows = append(s.Rows, line)
	}
	return s
}
