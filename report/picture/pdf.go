package picture

import (
	"bytes"
	"image"
	"image/color"
	"time"

	"codeberg.org/go-fonts/liberation/liberationsansbold"
	"codeberg.org/go-fonts/liberation/liberationsansregular"
	"codeberg.org/go-pdf/fpdf"
	"golang.org/x/image/font"
	plotfont "gonum.org/v1/plot/font"
	"gonum.org/v1/plot/vg"
)

// PDF is the picture as a page of its size, with its fonts.
func (p *Picture) PDF() ([]byte, error) {
	width, height := p.sheetSize()
	doc := fpdf.NewCustom(&fpdf.InitType{
		UnitStr: "pt", Size: fpdf.SizeType{Wd: width.Points(), Ht: height.Points()},
	})
	doc.SetCatalogSort(true) // the same picture makes the same bytes
	epoch := time.Unix(0, 0).UTC()
	doc.SetCreationDate(epoch)
	doc.SetModificationDate(epoch)
	doc.SetProducer("retotal", true)
	doc.SetTitle(p.Title, true)
	doc.SetAutoPageBreak(false, 0)
	doc.AddUTF8FontFromBytes(pageFont, "", liberationsansregular.TTF)
	doc.AddUTF8FontFromBytes(pageFont, "B", liberationsansbold.TTF)
	doc.AddPage()
	c := &page{doc: doc, height: height}
	vg.Initialize(c)
	p.drawWithMargin(c)
	var b bytes.Buffer
	err := doc.Output(&b)
	return b.Bytes(), err
}

const pageFont = "Liberation Sans"

// page is a canvas that draws on a page of a document: with the characters of every language that the font has.
type page struct {
	doc    *fpdf.Fpdf
	height vg.Length
}

// SetLineWidth implements vg.Canvas, as do the others.
func (c *page) SetLineWidth(w vg.Length) { c.doc.SetLineWidth(w.Points()) }

// SetLineDash sets the dashes of lines.
func (c *page) SetLineDash(dashes []vg.Length, offset vg.Length) {
	list := make([]float64, len(dashes))
	for i, d := range dashes {
		list[i] = d.Points()
	}
	c.doc.SetDashPattern(list, offset.Points())
}

// SetColor sets the colour of all that is drawn next.
func (c *page) SetColor(t color.Color) {
	r, g, b, _ := t.RGBA()
	c.doc.SetDrawColor(int(r>>8), int(g>>8), int(b>>8))
	c.doc.SetFillColor(int(r>>8), int(g>>8), int(b>>8))
	c.doc.SetTextColor(int(r>>8), int(g>>8), int(b>>8))
}

// Rotate, Translate and Scale change nothing: pictures are drawn where they are, see sheet.
func (c *page) Rotate(float64)         {}
func (c *page) Translate(vg.Point)     {}
func (c *page) Scale(float64, float64) {}

// Push and Pop keep nothing: pictures set what they need.
func (c *page) Push() {}
func (c *page) Pop()  {}

// DrawImage draws nothing: pictures are made of lines and text.
func (c *page) DrawImage(vg.Rectangle, image.Image) {}

// Stroke draws lines.
func (c *page) Stroke(path vg.Path) { c.draw(path, "D") }

// Fill fills areas.
func (c *page) Fill(path vg.Path) { c.draw(path, "F") }

func (c *page) draw(path vg.Path, how string) {
	at := func(p vg.Point) (x, y float64) { return p.X.Points(), (c.height - p.Y).Points() }
	for i := range path {
		q := &path[i]
		x, y := at(q.Pos)
		switch q.Type {
		case vg.MoveComp:
			c.doc.MoveTo(x, y)
		case vg.LineComp:
			c.doc.LineTo(x, y)
		case vg.CurveComp:
			x0, y0 := at(q.Control[0])
			x1, y1 := at(q.Control[len(q.Control)-1])
			c.doc.CurveBezierCubicTo(x0, y0, x1, y1, x, y)
		case vg.CloseComp:
			c.doc.ClosePath()
		}
	}
	c.doc.DrawPath(how)
}

// FillString writes text.
func (c *page) FillString(f plotfont.Face, at vg.Point, text string) {
	style := ""
	if f.Font.Weight == font.WeightBold {
		style = "B"
	}
	c.doc.SetFont(pageFont, style, f.Font.Size.Points())
	c.doc.Text(at.X.Points(), (c.height - at.Y).Points(), text)
}
