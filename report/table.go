package report

import (
	"fmt"
	"io"
	"strings"
	"unicode/utf8"
)

// table is text in columns: the first is set left, the others right, unless left says otherwise.
type table struct {
	rows [][]string
	left map[int]bool
}

func (t *table) add(cells ...string) { t.rows = append(t.rows, cells) }

// write prints the table with two blanks before each line and between columns.
func (t *table) write(w io.Writer) {
	var widths []int
	for _, row := range t.rows {
		for i, cell := range row {
			if i == len(widths) {
				widths = append(widths, 0)
			}
			widths[i] = max(widths[i], utf8.RuneCountInString(cell))
		}
	}
	for _, row := range t.rows {
		var line strings.Builder
		for i, cell := range row {
			pad := strings.Repeat(" ", widths[i]-utf8.RuneCountInString(cell))
			if i == 0 || t.left[i] {
				line.WriteString("  " + cell + pad)
			} else {
				line.WriteString("  " + pad + cell)
			}
		}
		fmt.Fprintln(w, strings.TrimRight(line.String(), " "))
	}
}
