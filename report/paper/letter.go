package paper

import (
	"fmt"

	"retotal/report"
)

// pageOne prints the letter.
func (p *paper) pageOne() {
	p.strip()
	p.sentence()
	p.months()
	p.open()
	p.daily()
	p.rests()
	p.signatures()
}

// strip says what it is.
func (p *paper) strip() {
	l, pdf := p.letter, p.pdf
	p.rule(top+0.5, margin, margin+p.width(), 1, true)
	p.font("sans", "B", 10)
	status := p.pdf.GetStringWidth(l.Status) + 8
	pdf.SetDrawColor(rgb(ink))
	pdf.SetLineWidth(0.4)
	pdf.Rect(margin+p.width()-status, top+4, status, 7, "D")
	p.ink(ink)
	pdf.Text(margin+p.width()-status+4, top+8.8, l.Status)
	p.font("sans", "B", 13.5)
	y := top + 8.5
	for _, line := range p.wrapped(printable(l.Title), p.width()-status-6) {
		pdf.Text(margin, y, line)
		y += 5.6
	}
	p.font("sans", "", 9)
	p.ink(second)
	pdf.Text(margin, y, printable(l.Period))
	p.entries(y + 6)
}

// entries print the keys of the strip with their texts below them, side by side.
func (p *paper) entries(y float64) {
	pdf := p.pdf
	share := []float64{0.22, 0.22, 0.17, 0.19, 0.20}
	x, lowest := margin, y
	for i, e := range p.letter.Strip {
		width := share[i%len(share)] * p.width()
		p.font("sans", "", 8)
		p.ink(second)
		pdf.Text(x, y, e.Key)
		family := "sans"
		if e.Mono {
			family = "mono"
		}
		p.font(family, "", 8.5)
		p.ink(ink)
		for k, line := range p.wrapped(printable(e.Text), width-3) {
			pdf.Text(x, y+4.2+float64(k)*3.8, line)
			lowest = max(lowest, y+4.2+float64(k)*3.8)
		}
		x += width
	}
	p.rule(lowest+3, margin, margin+p.width(), 0.2, false)
	pdf.SetXY(margin, lowest+5)
}

// sentence prints what the meter did and the answer.
func (p *paper) sentence() {
	p.ink(ink)
	p.phrases(p.letter.Sentence, "serif", 13.1, ink)
	if p.letter.OnFile != "" {
		p.font("sans", "", 8.5)
		p.ink(second)
		p.paragraphAt(printable("On file: "+p.letter.OnFile+"."), 8.5)
	}
	p.pdf.Ln(0.6)
	p.phrases(p.letter.Answer, "sans", 9, second)
	p.pdf.Ln(1.5)
}

// months print the table of page one.
func (p *paper) months() {
	l := p.letter
	cell := func(text string) report.PageCell { return report.PageCell{Text: text, Right: true} }
	head := []report.PageCell{{Text: "Volume, " + l.Unit}}
	if l.Reported {
		head = append(head, cell("as reported"))
	}
	now := len(head) + 1
	head = append(head, cell(l.BeforeIs), report.PageCell{Text: "corrected, to report", Right: true, Strong: true},
		cell("95 % interval"), cell("change by correction"), cell("time covered"), report.PageCell{Text: "state"})
	t := &report.PageTable{Head: head}
	lines := l.Months
	if l.Total != nil {
		lines = append(lines[:len(lines):len(lines)], *l.Total)
	}
	for _, m := range lines {
		row := []report.PageCell{{Text: m.Name, Strong: true}}
		if l.Reported {
			row = append(row, cell(m.Reported))
		}
		t.Rows = append(t.Rows, append(row, cell(m.Before), report.PageCell{Text: m.After, Right: true, Strong: true},
			cell(m.Interval), cell(m.Change), cell(m.Covered),
			report.PageCell{Text: m.State.Mark() + " " + string(m.State)}))
	}
	p.washed(t, now)
	p.font("sans", "", 8)
	p.ink(second)
	p.paragraphAt(printable(l.Note), 8)
	p.pdf.Ln(2)
}

// washed prints a table with a light ground behind one column, in larger figures.
func (p *paper) washed(t *report.PageTable, column int) {
	x := &table{paper: p, PageTable: t, size: 9}
	x.widths, _ = x.columns()
	left := margin
	for _, w := range x.widths[:column] {
		left += w
	}
	for i, row := range append([][]report.PageCell{t.Head}, t.Rows...) {
		h := x.height(row)
		if p.pdf.GetY()+h > p.bottom() {
			p.page(false)
		}
		p.pdf.SetFillColor(rgb(wash))
		p.pdf.Rect(left, p.pdf.GetY(), x.widths[column], h, "F")
		x.row(row, i == 0)
	}
	p.pdf.Ln(1.5)
}

// mostPoints is how many open points page one prints.
const mostPoints = 7

// open prints what is open, in the only box of the page.
func (p *paper) open() {
	l, pdf := p.letter, p.pdf
	start, page := pdf.GetY(), pdf.PageNo()
	p.font("sans", "B", 10)
	p.ink(ink)
	pdf.Text(margin+4, start+6.5, "Before you send this")
	pdf.SetXY(margin, start+8.5)
	for i, point := range l.Points[:min(mostPoints, len(l.Points))] {
		p.point(fmt.Sprintf("%d.", i+1), &point)
	}
	if n := len(l.Points) - mostPoints; n > 0 {
		p.point("", &report.Point{Text: fmt.Sprintf("And %d more, which report.html lists.", n)})
	}
	if len(l.Points) == 0 {
		p.point("", &report.Point{Text: "Nothing is open."})
	}
	end := pdf.GetY() + 1.5
	if page == pdf.PageNo() {
		pdf.SetDrawColor(rgb(ink))
		pdf.SetLineWidth(0.4)
		pdf.Rect(margin, start, p.width(), end-start, "D")
	}
	pdf.SetXY(margin, end+3)
}

// point prints one open point with the page that says more.
func (p *paper) point(number string, x *report.Point) {
	const indent, size = 9.0, 8.6
	p.room(9)
	y := p.pdf.GetY()
	p.font("sans", "B", size)
	p.pdf.Text(margin+4, y+3.1, number)
	list := []report.Phrase{{Text: x.Clause, Strong: true}, {Text: " " + x.Text}}
	if x.Clause == "" {
		list = list[1:]
	}
	if at := p.parts[x.Part]; at > 0 {
		list = append(list, report.Phrase{Text: fmt.Sprintf(" page %d", at)})
	}
	p.flow(list, "sans", size, ink, margin+indent, p.width()-indent-4, p.links[x.Part])
	p.pdf.Ln(0.5)
}

// signatureHigh is how much of a page the signatures take, mm.
const signatureHigh = 24.0

// daily prints the volumes of days, so high that evidence and signatures still stand below it where that is possible.
func (p *paper) daily() {
	below := signatureHigh + 8
	for _, x := range p.letter.Rests {
		lines, words := p.restLines(&x)
		below += float64(max(len(lines), len(words))) * restLine
	}
	name := "totals"
	if x, ok := p.pictures[name]; ok {
		w, h := x.Size()
		if p.pdf.GetY()+float64(h)*p.width()/float64(w)+below > p.bottom() && p.pictures["totals-short"] != nil {
			name = "totals-short"
		}
		p.drawing(name)
	}
}

// restLine is the height of a line of evidence, mm.
const restLine = 3.9

// restLines are the lines of a piece of evidence: those of its text, and of its name.
func (p *paper) restLines(x *report.Rest) (lines, words []string) {
	p.font("sans", "", 8.6)
	lines = p.wrapped(printable(x.Text), p.width()-58)
	p.font("sans", "B", 8.6)
	return lines, p.wrapped(printable(x.Word), 48)
}

// rests print what the figures rest on.
func (p *paper) rests() {
	p.room(22)
	p.heading("What it rests on", 10)
	for _, x := range p.letter.Rests {
		lines, words := p.restLines(&x)
		line := restLine
		p.room(float64(max(len(lines), len(words))) * line)
		y := p.pdf.GetY()
		p.mark(x.Mark, margin+1, y+2.6)
		p.ink(ink)
		p.font("sans", "B", 8.6)
		for i, text := range words {
			p.pdf.Text(margin+6, y+2.9+float64(i)*line, text)
		}
		p.font("sans", "", 8.6)
		for i, text := range lines {
			p.pdf.Text(margin+56, y+2.9+float64(i)*line, text)
		}
		p.pdf.SetXY(margin, y+float64(max(len(lines), len(words)))*line)
	}
}

// mark draws a mark: the fonts have no tick and no cross.
func (p *paper) mark(mark string, x, y float64) {
	p.pdf.SetDrawColor(rgb(ink))
	p.pdf.SetLineWidth(0.45)
	switch mark {
	case "✓":
		p.pdf.Line(x, y-0.7, x+0.8, y+0.2)
		p.pdf.Line(x+0.8, y+0.2, x+2.3, y-2)
	case "✗":
		p.pdf.Line(x, y-1.9, x+2, y+0.1)
		p.pdf.Line(x, y+0.1, x+2, y-1.9)
	default:
		p.font("sans", "B", 8.6)
		p.pdf.Text(x+0.2, y+0.3, mark)
	}
}

// signatures print two rules to sign on.
func (p *paper) signatures() {
	p.room(signatureHigh)
	p.pdf.SetXY(margin, max(p.pdf.GetY()+11, min(p.bottom()-14, p.pdf.GetY()+18)))
	p.anchor(report.PartSign)
	y, half := p.pdf.GetY(), p.width()/2-4
	for i, x := range []struct{ who, name, sign string }{
		{"Prepared by: ", p.letter.Prepared, "signature"}, {"Checked by: ", p.letter.Checked, "name and signature"},
	} {
		left := margin + float64(i)*(half+8)
		p.rule(y, left, left+half, 0.4, true)
		p.font("sans", "B", 8.6)
		p.ink(ink)
		p.pdf.Text(left, y+4.2, p.wrapped(printable(x.who+x.name), half)[0])
		p.font("sans", "", 8)
		p.ink(second)
		p.pdf.Text(left, y+8.2, x.sign)
		p.pdf.Text(left+half*0.72, y+8.2, "date")
	}
	p.pdf.SetXY(margin, y+11)
}
