package report

import (
	"fmt"
	"io"
	"strings"
	"unicode/utf8"
)

// heading is what people read above a column.
func (t *Table) heading(c *Column) string {
	switch unit := t.units.symbol(c.Kind); {
	case c.Short != "":
		return strings.TrimSpace(c.Short)
	case unit != "" && !c.Bare:
		return c.Title + " " + unit
	}
	return c.Title
}

// words writes a cell for people.
func (u *units) words(c *Column, cell any) string {
	switch v := cell.(type) {
	case nil:
		return c.Missing
	case told:
		return v.words
	case measure:
		return strings.TrimSpace(u.words(&Column{Kind: v.kind, Decimals: 1}, v.value) + " " + u.symbol(v.kind))
	case int:
		return Grouped(float64(v), 0)
	case int64:
		return u.clock.Format(v)
	case float64:
		return u.number(c, v)
	}
	return fmt.Sprint(cell)
}

// number writes a number for people.
func (u *units) number(c *Column, v float64) string {
	switch c.Kind {
	case Volume:
		return Grouped(u.volume.FromSI(v), c.Decimals)
	case Change:
		return signed(u.volume.FromSI(v), c.Decimals)
	case Flow:
		return significant(u.flow.FromSI(v), 4, false)
	case Millimetres:
		return fmt.Sprintf("%.1f", v*1000)
	case Offset:
		return signed(v*1000, 1)
	case Share:
		return fmt.Sprintf("%.1f %%", 100*v)
	case Percent:
		return fmt.Sprintf("%.2f %%", v)
	case Growth:
		return fmt.Sprintf("%+.2f %%", v)
	}
	return fixed(v, 4)
}

// Text writes the table with two blanks before each line and between columns.
func (t *Table) Text(w io.Writer) {
	columns := t.in(InText)
	lines := [][]string{{}}
	for _, k := range columns {
		lines[0] = append(lines[0], t.heading(&t.Columns[k]))
	}
	hidden := 0
	for i, row := range t.Rows {
		switch {
		case t.Minor[i]:
			continue
		case t.Most > 0 && len(lines) > t.Most:
			hidden++
			continue
		}
		var line []string
		for _, k := range columns {
			line = append(line, t.units.words(&t.Columns[k], row[k]))
		}
		lines = append(lines, line)
	}
	t.align(w, columns, lines)
	if hidden > 0 {
		fmt.Fprintf(w, "  and %d more in report.html\n", hidden)
	}
}

// align prints lines in columns, the first of them set left.
func (t *Table) align(w io.Writer, columns []int, lines [][]string) {
	widths := make([]int, len(columns))
	for _, line := range lines {
		for i, cell := range line {
			widths[i] = max(widths[i], utf8.RuneCountInString(cell))
		}
	}
	for _, line := range lines {
		var b strings.Builder
		for i, cell := range line {
			pad := strings.Repeat(" ", widths[i]-utf8.RuneCountInString(cell))
			if i > 0 && t.Columns[columns[i]].right() {
				cell = pad + cell
			} else {
				cell += pad
			}
			b.WriteString("  " + cell)
		}
		fmt.Fprintln(w, strings.TrimRight(b.String(), " "))
	}
}
