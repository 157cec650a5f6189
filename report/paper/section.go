package paper

import (
	"fmt"
	"image/color"
	"strconv"
	"strings"

	"retotal/report"
)

// wide are the parts that stand on pages set across.
var wide = map[report.Part]bool{
	report.PartScreening: true, report.PartPictures: true, report.PartDays: true,
}

// section prints a part of the report.
func (p *paper) section(run *report.Run, s *report.Section) {
	if across := wide[s.Part]; across != p.landscape || p.pdf.PageNo() == 1 {
		p.page(across)
	}
	p.room(34)
	p.rule(p.pdf.GetY()+2, margin, margin+p.width(), 1, true)
	p.pdf.Ln(4)
	p.anchor(s.Part)
	p.pdf.Bookmark(printable(s.Title), 0, -1)
	p.heading(s.Title, 12)
	if s.Part == report.PartDays {
		p.calendar(report.NewCalendar(run))
		return
	}
	for i := range s.Blocks {
		p.block(&s.Blocks[i])
	}
	if s.Part == report.PartRead {
		for _, text := range report.Cautions {
			p.paragraph(text, "B")
		}
	}
}

// anchor is where links to a part lead.
func (p *paper) anchor(part report.Part) {
	p.met[part] = p.pdf.PageNo()
	p.pdf.SetLink(p.links[part], p.pdf.GetY(), -1)
}

func (p *paper) heading(text string, size float64) {
	p.font("sans", "B", size)
	p.ink(ink)
	p.paragraphAt(printable(text), size)
	p.pdf.Ln(0.8)
}

func (p *paper) block(b *report.Block) {
	switch {
	case b.Table != nil:
		p.table(b.Table)
	case b.Picture != "":
		p.picture(b.Picture)
		for page := 2; p.pictures[fmt.Sprintf("%s-%d", b.Picture, page)] != nil; page++ { // of months
			p.picture(fmt.Sprintf("%s-%d", b.Picture, page))
		}
	case b.Code != "":
		p.code(b.Code)
	case b.Strong:
		p.paragraph(b.Text, "B")
	default:
		p.paragraph(b.Text, "")
	}
}

// code prints text of a site file as it is written.
func (p *paper) code(text string) {
	p.font("mono", "", 8)
	p.ink(ink)
	for _, line := range strings.Split(strings.TrimRight(text, "\n"), "\n") {
		p.paragraphAt(printable(line), 8)
	}
	p.pdf.Ln(1.4)
}

// picture prints a picture with what it shows.
func (p *paper) picture(name string) {
	if p.drawing(name) {
		p.font("sans", "", 8)
		p.ink(second)
		p.paragraphAt(printable(p.pictures[name].Text()), 8)
		p.pdf.Ln(1.4)
	}
}

// drawing prints a picture over the width of the page, or less where it would be higher than a page; false where there
// is none.
func (p *paper) drawing(name string) bool {
	x, ok := p.pictures[name]
	if !ok {
		return false
	}
	w, h := x.Size()
	scale := min(p.width()/float64(w), (p.bottom()-top-20)/float64(h))
	high := float64(h) * scale
	p.room(high + 12) // with what it shows
	y := p.pdf.GetY()
	draw(p, x, margin, y+high, scale)
	p.pdf.SetXY(margin, y+high+1)
	return true
}

// draw draws a picture with its lower left corner at a place of the page.
func draw(p *paper, x Picture, left, below, scale float64) {
	x.Draw(newCanvas(p.pdf, left, below, scale))
	p.pdf.SetDashPattern(nil, 0)
}

// calendar prints the volume of every day, a month a row.
func (p *paper) calendar(c *report.Calendar) {
	t := &report.PageTable{Caption: c.Caption, Head: []report.PageCell{{}}}
	for i := range 31 {
		t.Head = append(t.Head, report.PageCell{Text: strconv.Itoa(i + 1), Right: true})
	}
	for _, m := range c.Rows {
		row := []report.PageCell{{Text: m.Month, Strong: true}}
		for _, text := range m.Days {
			row = append(row, report.PageCell{Text: text, Right: true})
		}
		t.Rows = append(t.Rows, row)
	}
	x := &table{paper: p, PageTable: t, size: 5.4}
	first := 13.0
	x.widths = []float64{first}
	for range 31 {
		x.widths = append(x.widths, (p.width()-first)/31)
	}
	p.font("sans", "", 8)
	p.ink(second)
	p.paragraphAt(printable(t.Caption), 8)
	x.head()
	for _, row := range t.Rows {
		if p.pdf.GetY()+x.height(row) > p.bottom() {
			p.page(p.landscape)
			x.head()
		}
		x.row(row, false)
	}
	p.pdf.Ln(2)
}

// phrases print running text of light and strong parts over the width of the page.
func (p *paper) phrases(list []report.Phrase, family string, size float64, c color.Color) {
	p.flow(list, family, size, c, margin, p.width(), 0)
}

// flow sets words of light and strong phrases in lines; the last phrase is a link where there is one.
func (p *paper) flow(
	list []report.Phrase, family string, size float64, c color.Color, left, width float64, link int,
) {
	line := size * 1.38 * mmPerPoint
	x, y := left, p.pdf.GetY()
	for _, phrase := range list {
		style, tone := "", c
		if phrase.Strong {
			style, tone = "B", ink
		}
		p.font(family, style, size)
		p.ink(tone)
		blank := p.pdf.GetStringWidth(" ")
		for i, word := range strings.Split(printable(phrase.Text), " ") {
			if i > 0 && x > left {
				x += blank
			}
			w := p.pdf.GetStringWidth(word)
			if x+w > left+width && x > left {
				x, y = left, y+line
			}
			p.pdf.Text(x, y+0.76*line, word)
			x += w
		}
	}
	if link > 0 {
		p.pdf.Link(left, p.pdf.GetY(), width, y+line-p.pdf.GetY(), link)
	}
	p.pdf.SetXY(margin, y+line)
}
