// Package paper makes report.pdf: the page's letter and sections on paper, with fonts in it.
package paper

import (
	"bytes"
	"errors"
	"image/color"
	"strconv"
	"strings"
	"time"

	"codeberg.org/go-fonts/liberation/liberationmonoregular"
	"codeberg.org/go-fonts/liberation/liberationsansbold"
	"codeberg.org/go-fonts/liberation/liberationsansregular"
	"codeberg.org/go-fonts/liberation/liberationserifbold"
	"codeberg.org/go-fonts/liberation/liberationserifregular"
	"codeberg.org/go-pdf/fpdf"
	"golang.org/x/image/font/sfnt"
	"gonum.org/v1/plot/vg"

	"retotal/report"
)

// Picture is a picture as paper needs it: it draws itself on a canvas of its size.
type Picture interface {
	Size() (width, height vg.Length)
	Draw(c vg.Canvas)
	Text() string // what it shows
}

// Margins of a page and a point, in mm.
const (
	margin     = 15.0
	top        = 11.0
	foot       = 14.0 // below this far from the lower edge stands the foot line
	mmPerPoint = 25.4 / 72
)

// The colours of the report.
var (
	ink    = color.NRGBA{0x17, 0x20, 0x2a, 0xff}
	second = color.NRGBA{0x4b, 0x57, 0x63, 0xff}
	after  = color.NRGBA{0x1d, 0x4f, 0x7c, 0xff}
	hair   = color.NRGBA{0xc6, 0xcd, 0xd4, 0xff}
	wash   = color.NRGBA{0xf4, 0xf6, 0xf8, 0xff}
	faint  = color.NRGBA{0xda, 0xdb, 0xdc, 0xff} // of DRAFT, behind all text
)

// paper is a document on its way.
type paper struct {
	pdf       *fpdf.Fpdf
	letter    *report.Letter
	landscape bool
	pages     int                 // of the document, as the pass before counted them
	parts     map[report.Part]int // page on which a part begins; of the pass before
	met       map[report.Part]int // and of this one
	links     map[report.Part]int
	pictures  map[string]Picture
}

// PDF makes the document. It is laid out twice: the second time it knows its pages. The same run gives the same bytes.
func PDF(run *report.Run, pictures map[string]Picture) ([]byte, error) {
	letter, sections := report.NewLetter(run), report.Sections(run)
	first := newPaper(letter, pictures)
	first.document(run, sections)
	last := newPaper(letter, pictures)
	last.pages, last.parts = first.pdf.PageCount(), first.met
	last.document(run, sections)
	var b bytes.Buffer
	err := last.pdf.Output(&b)
	return b.Bytes(), errors.Join(err, last.pdf.Error())
}

func newPaper(letter *report.Letter, pictures map[string]Picture) *paper {
	p := &paper{
		pdf: fpdf.New("P", "mm", "A4", ""), letter: letter, pictures: pictures,
		met: map[report.Part]int{}, links: map[report.Part]int{},
	}
	pdf := p.pdf
	pdf.SetCreationDate(time.Unix(0, 0).UTC())
	pdf.SetModificationDate(time.Unix(0, 0).UTC())
	pdf.SetCatalogSort(true)
	pdf.SetTitle(printable(letter.Title)+": corrected totals", true)
	pdf.SetLang("en")
	pdf.SetProducer("retotal", true)
	pdf.SetMargins(margin, top, margin)
	pdf.SetAutoPageBreak(false, foot)
	for _, f := range []struct {
		family, style string
		ttf           []byte
	}{
		{"sans", "", liberationsansregular.TTF}, {"sans", "B", liberationsansbold.TTF},
		{"serif", "", liberationserifregular.TTF}, {"serif", "B", liberationserifbold.TTF},
		{"mono", "", liberationmonoregular.TTF},
	} {
		pdf.AddUTF8FontFromBytes(f.family, f.style, f.ttf)
	}
	p.links[report.PartSign] = pdf.AddLink()
	return p
}

// document lays everything out.
func (p *paper) document(run *report.Run, sections []report.Section) {
	for i := range sections {
		p.links[sections[i].Part] = p.pdf.AddLink()
	}
	p.page(false)
	p.pageOne()
	for i := range sections {
		p.section(run, &sections[i])
	}
}

// page begins a page, with its foot line and, until the report is signed, DRAFT behind all that follows.
func (p *paper) page(landscape bool) {
	p.landscape = landscape
	format := "P"
	if landscape {
		format = "L"
	}
	p.pdf.AddPageFormat(format, fpdf.SizeType{Wd: 210, Ht: 297})
	width, height := p.pdf.GetPageSize()
	if !p.letter.Signed {
		p.draft(width, height)
	}
	p.rule(height-foot+2, margin, width-margin, 0.2, true)
	p.font("sans", "", 7.5)
	p.ink(second)
	y := height - foot + 6
	number := "page " + strconv.Itoa(p.pdf.PageNo()) + " of " + strconv.Itoa(p.pages)
	hashes := printable(p.letter.Foot[1])
	right, middle := p.pdf.GetStringWidth(number), p.pdf.GetStringWidth(hashes)
	left := p.wrapped(printable(p.letter.Foot[0]), width-2*margin-right-middle-12)[0]
	p.pdf.Text(margin, y, left)
	p.pdf.Text(width-margin-right-middle-8, y, hashes)
	p.pdf.Text(width-margin-right, y, number)
	p.pdf.SetXY(margin, top)
}

// draft writes DRAFT in outline across a page.
func (p *paper) draft(width, height float64) {
	pdf := p.pdf
	p.font("sans", "B", 150)
	r, g, b := rgb(faint)
	pdf.SetDrawColor(r, g, b)
	pdf.SetLineWidth(0.25)
	pdf.SetTextRenderingMode(1)
	pdf.TransformBegin()
	pdf.TransformRotate(46, width/2, height/2)
	text := "DRAFT"
	pdf.Text(width/2-pdf.GetStringWidth(text)/2, height/2+18, text)
	pdf.TransformEnd()
	pdf.SetTextRenderingMode(0)
}

func (p *paper) font(family, style string, points float64) { p.pdf.SetFont(family, style, points) }

func (p *paper) ink(c color.Color) { p.pdf.SetTextColor(rgb(c)) }

// rule draws a line across; a dark one in ink.
func (p *paper) rule(y, from, to, thick float64, dark bool) {
	c := color.Color(hair)
	if dark {
		c = ink
	}
	p.pdf.SetDrawColor(rgb(c))
	p.pdf.SetLineWidth(thick)
	p.pdf.SetDashPattern(nil, 0)
	p.pdf.Line(from, y, to, y)
}

func (p *paper) width() float64 {
	width, _ := p.pdf.GetPageSize()
	return width - 2*margin
}

func (p *paper) bottom() float64 {
	_, height := p.pdf.GetPageSize()
	return height - foot
}

// room begins a new page where less than so much is left of this one.
func (p *paper) room(mm float64) {
	if p.pdf.GetY()+mm > p.bottom() {
		p.page(p.landscape)
	}
}

// paragraphAt prints a text in the font that is set, over the width of the page.
func (p *paper) paragraphAt(text string, points float64) {
	line := points * 1.4 * mmPerPoint
	for _, words := range p.wrapped(text, p.width()) {
		p.room(line)
		p.pdf.Text(margin, p.pdf.GetY()+0.78*line, words)
		p.pdf.SetXY(margin, p.pdf.GetY()+line)
	}
}

// paragraph prints a text as it stands in running text.
func (p *paper) paragraph(text, style string) {
	p.font("sans", style, 9)
	p.ink(ink)
	p.paragraphAt(printable(text), 9)
	p.pdf.Ln(1.4)
}

// glyphs tells which letters the fonts have.
var glyphs = func() *sfnt.Font {
	f, err := sfnt.Parse(liberationsansregular.TTF)
	if err != nil {
		panic(err) // a font that the program brings along
	}
	return f
}()

// printable puts an open square in the place of letters that the fonts lack, and a blank in that of control characters.
func printable(text string) string {
	var buffer sfnt.Buffer
	return strings.Map(func(r rune) rune {
		if r < 0x7f && r >= ' ' || r == '\u00a0' {
			return r
		}
		if r < ' ' || r == 0x7f {
			return ' '
		}
		if i, err := glyphs.GlyphIndex(&buffer, r); r > 0xffff || err != nil || i == 0 {
			return '□'
		}
		return r
	}, text)
}

// number reads a figure that we wrote.
func number(text string) float64 {
	v, _ := strconv.ParseFloat(text, 64)
	return v
}
