package report

import (
	"fmt"
	"slices"
)

// PageTable is a table as page and paper show it: signs and units are set.
type PageTable struct {
	Caption string
	Head    []PageCell
	Rows    [][]PageCell
}

// PageCell is one cell: a text, or a bar so many per cent long.
type PageCell struct {
	Text, Bar                  string
	Right, Strong, Small, Mono bool
}

// Page lays the table out for page and paper.
func (t *Table) Page() *PageTable {
	columns, out := t.in(InPage), &PageTable{}
	for _, k := range columns {
		c := &t.Columns[k]
		out.Head = append(out.Head, PageCell{Text: Typeset(t.heading(c)), Right: c.right() && c.Style != Bar})
	}
	for i, row := range t.Rows {
		if t.Minor[i] {
			continue
		}
		var line []PageCell
		for _, k := range columns {
			line = append(line, t.pageCell(&t.Columns[k], row[k]))
		}
		out.Rows = append(out.Rows, line)
	}
	out.dropEmpty()
	return out
}

// dropEmpty leaves columns out in which no row has anything.
func (t *PageTable) dropEmpty() {
	for k := len(t.Head) - 1; k >= 0 && len(t.Rows) > 0; k-- {
		filled := func(row []PageCell) bool { return row[k].Text != "" || row[k].Bar != "" }
		if slices.ContainsFunc(t.Rows, filled) {
			continue
		}
		t.Head = slices.Delete(t.Head, k, k+1)
		for i := range t.Rows {
			t.Rows[i] = slices.Delete(t.Rows[i], k, k+1)
		}
	}
}

// byPeople are the titles of columns that somebody wrote: their signs stay as they are.
var byPeople = []string{"reason", "by", "note", "ruling", "remark"}

func (t *Table) pageCell(c *Column, cell any) PageCell {
	if share, ok := cell.(float64); ok && c.Style == Bar {
		return PageCell{Bar: fmt.Sprintf("%.1f", 100*share)}
	}
	words := t.units.words(c, cell)
	out := PageCell{
		Text: Typeset(words), Right: c.right(), Small: c.Style == Small && words != "",
		Strong: c.Style == Strong || c.Style == Verdict && words == "differs",
	}
	if slices.Contains(byPeople, c.Title) {
		out.Text = words
	}
	return out
}
