package paper

import (
	"strings"

	"retotal/report"
)

// table is a table on its way to paper.
type table struct {
	*paper
	*report.PageTable
	widths []float64
	size   float64 // of its text, points
}

// pads of a cell and the height of its lines, as parts of the size of its text.
const (
	padX     = 1.4 // mm
	padY     = 0.8 // mm
	lineHigh = 1.28
)

// table prints a table: heads are repeated on each page, rows are not split.
func (p *paper) table(t *report.PageTable) {
	x := &table{paper: p, PageTable: t}
	for _, x.size = range []float64{8.4, 7.8, 7.2, 6.6} {
		var fits bool
		if x.widths, fits = x.columns(); fits {
			break
		}
	}
	first := 24.0
	if len(t.Rows) > 0 { // the head does not stand alone
		first = max(first, min(x.height(t.Head)+x.height(t.Rows[0])+6, p.bottom()-top))
	}
	p.room(first)
	if t.Caption != "" {
		p.font("sans", "", 8)
		p.ink(second)
		p.paragraphAt(printable(t.Caption), 8)
	}
	x.head()
	for _, row := range t.Rows {
		if h := x.height(row); p.pdf.GetY()+h > p.bottom() {
			p.page(p.landscape)
			x.head()
		}
		x.row(row, false)
	}
	p.pdf.Ln(2.5)
}

// columns shares the width of the page among the columns: figures take what they need, words share the rest. It reports
// whether there is room for all figures and words.
func (t *table) columns() (widths []float64, fits bool) {
	n := len(t.Head)
	least, natural := make([]float64, n), make([]float64, n)
	all := append([][]report.PageCell{t.Head}, t.Rows...)
	for k, row := range all {
		for i, c := range row[:min(n, len(row))] {
			t.cellFont(c)
			text := printable(c.Text)
			if c.Bar != "" {
				least[i], natural[i] = max(least[i], 20), max(natural[i], 26)
			}
			whole := t.pdf.GetStringWidth(text) + 2*padX
			word := whole
			if k == 0 || !c.Right {
				word = t.longestWord(text) + 2*padX
			}
			word = min(word, 46)
			if k == 0 {
				whole = min(whole, 26)
			}
			least[i], natural[i] = max(least[i], word), max(natural[i], whole, word)
		}
	}
	return shared(least, natural, t.width())
}

// shared gives columns widths that add up to the whole: no less than they need where that is possible, more the more
// they would take.
func shared(least, natural []float64, whole float64) (out []float64, fits bool) {
	sum, wish := 0.0, 0.0
	for i := range least {
		sum, wish = sum+least[i], wish+natural[i]
	}
	out = make([]float64, len(least))
	for i := range out {
		switch {
		case wish <= whole:
			out[i] = natural[i] * whole / wish
		case sum >= whole:
			out[i] = least[i] * whole / sum
		default:
			out[i] = least[i] + (natural[i]-least[i])*(whole-sum)/(wish-sum)
		}
	}
	return out, sum <= whole
}

func (t *table) longestWord(text string) (width float64) {
	for _, word := range strings.Fields(text) {
		width = max(width, t.pdf.GetStringWidth(word))
	}
	return width
}

// cellFont sets the font of a cell.
func (t *table) cellFont(c report.PageCell) {
	family, style, size := "sans", "", t.size
	if c.Mono {
		family, size = "mono", t.size-0.6
	}
	if c.Strong {
		style = "B"
	}
	if c.Small {
		size--
	}
	t.font(family, style, size)
}

func (t *table) line() float64 { return t.size * lineHigh * mmPerPoint }

func (t *table) height(row []report.PageCell) float64 {
	lines := 1
	for i, c := range row {
		t.cellFont(c)
		lines = max(lines, len(t.wrapped(printable(c.Text), t.widths[i]-2*padX)))
	}
	return float64(lines)*t.line() + 2*padY
}

func (t *table) head() {
	t.row(t.Head, true)
}

// row prints a row with a line below it.
func (t *table) row(row []report.PageCell, head bool) {
	p, h := t.pdf, t.height(row)
	x, y := margin, p.GetY()
	for i, c := range row[:min(len(row), len(t.widths))] {
		t.cellFont(c)
		t.ink(ink)
		if head || c.Small {
			t.ink(second)
		}
		t.cell(c, x, y, t.widths[i])
		x += t.widths[i]
	}
	t.rule(y+h, margin, margin+t.width(), map[bool]float64{true: 0.4, false: 0.2}[head], head)
	p.SetXY(margin, y+h)
}

func (t *table) cell(c report.PageCell, x, y, width float64) {
	if c.Bar != "" {
		r, g, b := rgb(after)
		t.pdf.SetFillColor(r, g, b)
		t.pdf.Rect(x+padX, y+padY+0.6, number(c.Bar)/100*(width-2*padX), t.line()-1.2, "F")
		return
	}
	for i, line := range t.wrapped(printable(c.Text), width-2*padX) {
		left := x + padX
		if c.Right {
			left = x + width - padX - t.pdf.GetStringWidth(line)
		}
		t.pdf.Text(left, y+padY+(float64(i)+0.78)*t.line(), line)
	}
}

// wrapped breaks a text into lines of a width: at blanks, and within words that are longer than a line.
func (p *paper) wrapped(text string, width float64) (lines []string) {
	width = max(width+0.01, 4) // of a width that was made for the text
	line := ""
	for _, word := range strings.Split(text, " ") {
		joined := word
		if line != "" {
			joined = line + " " + word
		}
		if p.pdf.GetStringWidth(joined) <= width {
			line = joined
			continue
		}
		if line != "" {
			lines = append(lines, line)
		}
		for line = word; p.pdf.GetStringWidth(line) > width; {
			head, rest := p.broken(line, width)
			lines, line = append(lines, head), rest
		}
	}
	return append(lines, line)
}

// broken cuts as much of a long word off as a line takes, at least one letter.
func (p *paper) broken(word string, width float64) (head, rest string) {
	end := 0
	for i := range word {
		if i > 0 && p.pdf.GetStringWidth(word[:i]) > width {
			break
		}
		end = i
	}
	if end == 0 {
		end = len(string([]rune(word)[:1]))
	}
	return word[:end], word[end:]
}
