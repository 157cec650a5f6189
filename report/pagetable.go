package report

import (
	"fmt"
	"strings"
)

// PageTable is a table as the page's template shows it.
type PageTable struct {
	Head []PageCell
	Rows [][]PageCell
}

// PageCell is one cell: a text with its class, or a bar so many per cent long.
type PageCell struct {
	Class, Text, Bar string
	Strong           bool
}

// Page lays the table out for the page.
func (t *Table) Page() *PageTable {
	columns, out := t.in(InPage), &PageTable{}
	for _, k := range columns {
		c := &t.Columns[k]
		out.Head = append(out.Head, PageCell{Class: c.class(""), Text: strings.Replace(t.heading(c), "+/-", "±", 1)})
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
	return out
}

func (t *Table) pageCell(c *Column, cell any) PageCell {
	if share, ok := cell.(float64); ok && c.Style == Bar {
		return PageCell{Class: "t bar", Bar: fmt.Sprintf("%.1f", 100*share)}
	}
	words := t.units.words(c, cell)
	return PageCell{Class: c.class(words), Text: words, Strong: c.Style == Strong}
}

// class names the style of a column, or of a cell in it.
func (c *Column) class(words string) string {
	var list []string
	if !c.right() || c.Style == Bar {
		list = append(list, "t")
	}
	switch {
	case c.Style == Small && words != "":
		list = append(list, "s")
	case c.Style == Verdict && words == "differs":
		list = append(list, "differs")
	}
	return strings.Join(list, " ")
}
