package paper

import (
	"image"
	"image/color"
	"math"

	"codeberg.org/go-pdf/fpdf"
	stdfont "golang.org/x/image/font"
	"gonum.org/v1/plot/font"
	"gonum.org/v1/plot/vg"
)

// canvas draws a picture into a rectangle of a page. It implements vg.Canvas, whose origin is at the bottom left and
// whose lengths are points; the page's is at the top left, in millimetres.
type canvas struct {
	pdf         *fpdf.Fpdf
	left, below float64 // of the picture on the page, mm
	scale       float64 // mm a point
	state
	stack []state
}

// state is what Push keeps.
type state struct {
	line    vg.Length
	dashes  []vg.Length
	offset  vg.Length
	colour  color.Color
	a, b    float64 // x' = a x + c y + e, y' = b x + d y + f
	c, d    float64
	e, f    float64
	rotated float64 // radians, of all rotations so far
}

func newCanvas(pdf *fpdf.Fpdf, left, below, scale float64) *canvas {
	return &canvas{pdf: pdf, left: left, below: below, scale: scale,
		state: state{line: 1, colour: color.Black, a: 1, d: 1}}
}

func (c *canvas) SetLineWidth(w vg.Length) { c.line = w }

func (c *canvas) SetLineDash(pattern []vg.Length, offset vg.Length) {
	c.dashes, c.offset = pattern, offset
}

func (c *canvas) SetColor(clr color.Color) {
	if clr == nil {
		clr = color.Black
	}
	c.colour = clr
}

func (c *canvas) Rotate(rad float64) {
	sin, cos := math.Sincos(rad)
	c.a, c.b, c.state.c, c.d = cos*c.a+sin*c.state.c, cos*c.b+sin*c.d, cos*c.state.c-sin*c.a, cos*c.d-sin*c.b
	c.rotated += rad
}

func (c *canvas) Translate(p vg.Point) {
	x, y := float64(p.X), float64(p.Y)
	c.e, c.f = c.e+c.a*x+c.state.c*y, c.f+c.b*x+c.d*y
}

func (c *canvas) Scale(x, y float64) {
	c.a, c.b, c.state.c, c.d = c.a*x, c.b*x, c.state.c*y, c.d*y
}

func (c *canvas) Push() { c.stack = append(c.stack, c.state) }

func (c *canvas) Pop() {
	c.state, c.stack = c.stack[len(c.stack)-1], c.stack[:len(c.stack)-1]
}

// at is where a point of the picture is on the page.
func (c *canvas) at(p vg.Point) (x, y float64) {
	px, py := float64(p.X), float64(p.Y)
	return c.left + c.scale*(c.a*px+c.state.c*py+c.e), c.below - c.scale*(c.b*px+c.d*py+c.f)
}

// path lays a path out on the page.
func (c *canvas) path(path vg.Path) {
	for _, comp := range path {
		switch comp.Type {
		case vg.MoveComp:
			c.pdf.MoveTo(c.at(comp.Pos))
		case vg.LineComp:
			c.pdf.LineTo(c.at(comp.Pos))
		case vg.ArcComp:
			c.arc(&comp)
		case vg.CurveComp:
			c.curve(&comp)
		case vg.CloseComp:
			c.pdf.ClosePath()
		}
	}
}

// arcSteps is of how many lines a full circle is made; more cannot be seen at the sizes of marks.
const arcSteps = 48

func (c *canvas) arc(comp *vg.PathComp) {
	n := int(math.Ceil(math.Abs(comp.Angle)/(2*math.Pi)*arcSteps)) + 1
	for i := range n + 1 {
		sin, cos := math.Sincos(comp.Start + comp.Angle*float64(i)/float64(n))
		p := vg.Point{X: comp.Pos.X + comp.Radius*vg.Length(cos), Y: comp.Pos.Y + comp.Radius*vg.Length(sin)}
		c.pdf.LineTo(c.at(p))
	}
}

func (c *canvas) curve(comp *vg.PathComp) {
	x, y := c.at(comp.Pos)
	x0, y0 := c.at(comp.Control[0])
	if len(comp.Control) == 1 {
		c.pdf.CurveTo(x0, y0, x, y)
		return
	}
	x1, y1 := c.at(comp.Control[1])
	c.pdf.CurveBezierCubicTo(x0, y0, x1, y1, x, y)
}

// moved begins a path that begins with an arc where the arc does.
func moved(path vg.Path) vg.Path {
	if len(path) == 0 || path[0].Type != vg.ArcComp {
		return path
	}
	sin, cos := math.Sincos(path[0].Start)
	r := path[0].Radius
	var out vg.Path
	out.Move(vg.Point{X: path[0].Pos.X + r*vg.Length(cos), Y: path[0].Pos.Y + r*vg.Length(sin)})
	return append(out, path...)
}

func (c *canvas) Stroke(path vg.Path) {
	if c.line <= 0 || len(path) == 0 {
		return
	}
	r, g, b := rgb(c.colour)
	c.pdf.SetDrawColor(r, g, b)
	c.pdf.SetLineWidth(float64(c.line) * c.scale)
	dashes := make([]float64, len(c.dashes))
	for i, d := range c.dashes {
		dashes[i] = float64(d) * c.scale
	}
	c.pdf.SetDashPattern(dashes, float64(c.offset)*c.scale)
	c.path(moved(path))
	c.pdf.DrawPath("D")
}

func (c *canvas) Fill(path vg.Path) {
	if len(path) == 0 {
		return
	}
	r, g, b := rgb(c.colour)
	c.pdf.SetFillColor(r, g, b)
	c.path(moved(path))
	c.pdf.DrawPath("F")
}

func (c *canvas) FillString(f font.Face, p vg.Point, text string) {
	size := float64(f.Font.Size) * c.scale * math.Hypot(c.a, c.b) / mmPerPoint
	if size <= 0 || text == "" {
		return
	}
	family, style := "sans", ""
	if f.Font.Variant == "Serif" {
		family = "serif"
	}
	if f.Font.Weight >= stdfont.WeightSemiBold {
		style = "B"
	}
	r, g, b := rgb(c.colour)
	c.pdf.SetFont(family, style, size)
	c.pdf.SetTextColor(r, g, b)
	x, y := c.at(p)
	if c.rotated == 0 {
		c.pdf.Text(x, y, printable(text))
		return
	}
	c.pdf.TransformBegin()
	c.pdf.TransformRotate(c.rotated*180/math.Pi, x, y)
	c.pdf.Text(x, y, printable(text))
	c.pdf.TransformEnd()
}

// DrawImage draws nothing: pictures are made of lines, areas and texts.
func (c *canvas) DrawImage(vg.Rectangle, image.Image) {}

// rgb is a colour on white paper.
func rgb(clr color.Color) (r, g, b int) {
	n := color.NRGBAModel.Convert(clr).(color.NRGBA)
	mix := func(v uint8) int { return (int(v)*int(n.A) + 255*(255-int(n.A))) / 255 }
	return mix(n.R), mix(n.G), mix(n.B)
}
