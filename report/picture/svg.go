package picture

import (
	"bytes"
	"fmt"
	"html"
	"image"
	"image/color"
	"math"
	"strconv"
	"strings"

	"golang.org/x/image/font"
	plotfont "gonum.org/v1/plot/font"
	"gonum.org/v1/plot/vg"
)

// fontFamily is what the text of a picture is written with: the sans serif of the system, no wider than what it was
// measured with.
const fontFamily = "'Segoe UI',Roboto,'Helvetica Neue',Arial,'Liberation Sans',sans-serif"

// vector is a canvas that writes the elements of an SVG file. A tint goes by its name, a variable of the style, with
// its colour on white paper for where there is none.
type vector struct {
	out    bytes.Buffer
	height float64 // units
	now    state
	stack  []state
}

// state is what a canvas remembers.
type state struct {
	a, b, c, d, e, f float64 // a place (x, y) is ax + cy + e, bx + dy + f points from the lower left
	tint             color.Color
	width            float64 // of lines, units
	dashes           []vg.Length
}

func newVector(height float64) *vector {
	v := &vector{height: height, now: state{a: 1, d: 1}}
	vg.Initialize(v)
	return v
}

// SetLineWidth implements vg.Canvas, as do the others.
func (v *vector) SetLineWidth(w vg.Length)               { v.now.width = float64(w / unit) }
func (v *vector) SetLineDash(d []vg.Length, _ vg.Length) { v.now.dashes = d }
func (v *vector) SetColor(c color.Color)                 { v.now.tint = c }
func (v *vector) Push()                                  { v.stack = append(v.stack, v.now) }

// Pop returns to what was pushed last.
func (v *vector) Pop() {
	last := len(v.stack) - 1
	v.now, v.stack = v.stack[last], v.stack[:last]
}

// Translate moves what is drawn next.
func (v *vector) Translate(p vg.Point) {
	n := &v.now
	n.e, n.f = n.a*float64(p.X)+n.c*float64(p.Y)+n.e, n.b*float64(p.X)+n.d*float64(p.Y)+n.f
}

// Scale stretches it.
func (v *vector) Scale(x, y float64) {
	n := &v.now
	n.a, n.b, n.c, n.d = n.a*x, n.b*x, n.c*y, n.d*y
}

// Rotate turns it.
func (v *vector) Rotate(angle float64) {
	sin, cos := math.Sincos(angle)
	n := &v.now
	n.a, n.b, n.c, n.d = n.a*cos+n.c*sin, n.b*cos+n.d*sin, n.c*cos-n.a*sin, n.d*cos-n.b*sin
}

// DrawImage draws nothing: pictures are made of lines and text.
func (v *vector) DrawImage(vg.Rectangle, image.Image) {}

// place is a point in units from the upper left, in tenths of which files are written.
func (v *vector) place(p vg.Point) (x, y int) {
	n, px, py := &v.now, float64(p.X), float64(p.Y)
	tenths := func(points float64) float64 { return points / float64(unit) * tenth }
	return int(math.Round(tenths(n.a*px + n.c*py + n.e))),
		int(math.Round(v.height*tenth - tenths(n.b*px+n.d*py+n.f)))
}

// tenth is how many steps of a file's numbers there are in a unit.
const tenth = 10

// number writes tenths, as short as it goes.
func number(b []byte, tenths int) []byte {
	if tenths < 0 {
		b, tenths = append(b, '-'), -tenths
	}
	if whole := tenths / tenth; whole > 0 || tenths == 0 {
		b = strconv.AppendInt(b, int64(whole), 10)
	}
	if rest := tenths % tenth; rest > 0 {
		b = append(b, '.', byte('0'+rest))
	}
	return b
}

// data writes a path, in steps from place to place.
func (v *vector) data(path vg.Path) []byte {
	b := make([]byte, 0, 16*len(path))
	x, y := 0, 0
	to := func(p vg.Point) {
		px, py := v.place(p)
		if b = number(b, px-x); py >= y {
			b = append(b, ' ')
		}
		b = number(b, py-y)
	}
	for i := range path {
		c := &path[i]
		switch c.Type {
		case vg.MoveComp:
			x, y = 0, 0
			b = append(b, 'M')
			to(c.Pos)
		case vg.LineComp:
			if px, py := v.place(c.Pos); px == x && py == y && len(b) > 0 {
				continue
			}
			b = append(b, 'l')
			to(c.Pos)
		case vg.CurveComp:
			b = append(b, " qc"[len(c.Control)])
			for _, p := range c.Control {
				to(p)
				b = append(b, ' ')
			}
			to(c.Pos)
		case vg.CloseComp:
			b = append(b, 'z')
			continue
		case vg.ArcComp:
			b, x, y = v.arc(b, c, i == 0)
			continue
		}
		x, y = v.place(c.Pos)
	}
	return b
}

// arc writes an arc as a line of short parts and returns its end.
func (v *vector) arc(b []byte, c *vg.PathComp, first bool) (data []byte, x, y int) {
	const parts = 32
	for i := range parts + 1 {
		sin, cos := math.Sincos(c.Start + c.Angle*float64(i)/parts)
		x, y = v.place(vg.Point{X: c.Pos.X + c.Radius*vg.Length(cos), Y: c.Pos.Y + c.Radius*vg.Length(sin)})
		if b = append(b, 'L'); first && i == 0 {
			b[len(b)-1] = 'M'
		}
		b = number(append(number(b, x), ' '), y)
	}
	return b, x, y
}

// colour writes an attribute: by the name of the tint, or plain.
func (v *vector) colour(attribute string) string {
	if t, named := v.now.tint.(Tint); named {
		return t.variable(attribute)
	}
	r, g, b, _ := v.now.tint.RGBA()
	return Tint{R: uint8(r >> 8), G: uint8(g >> 8), B: uint8(b >> 8)}.plain(attribute)
}

// variable and plain are an attribute of this colour, by the name of the tint and as it is on white paper.
func (t Tint) variable(attribute string) string {
	return fmt.Sprintf(` style="%s:var(--%s,#%02X%02X%02X)"`, attribute, t.Name, t.R, t.G, t.B)
}

func (t Tint) plain(attribute string) string {
	return fmt.Sprintf(` %s="#%02X%02X%02X"`, attribute, t.R, t.G, t.B)
}

// colours puts plain colours in the place of variables.
var colours = func() *strings.Replacer {
	var list []string
	for _, t := range tints {
		for _, attribute := range []string{"fill", "stroke"} {
			list = append(list, t.variable(attribute), t.plain(attribute))
		}
	}
	return strings.NewReplacer(list...)
}()

// Fill implements vg.Canvas.
func (v *vector) Fill(path vg.Path) {
	fmt.Fprintf(&v.out, "<path%s d=\"%s\"/>\n", v.colour("fill"), v.data(path))
}

// Stroke implements vg.Canvas.
func (v *vector) Stroke(path vg.Path) {
	if v.now.width <= 0 {
		return
	}
	fmt.Fprintf(&v.out, `<path fill="none"%s stroke-width="%s"`, v.colour("stroke"), short(v.now.width))
	for i, d := range v.now.dashes {
		if i == 0 {
			v.out.WriteString(` stroke-dasharray="`)
		} else {
			v.out.WriteByte(' ')
		}
		v.out.WriteString(short(float64(d / unit)))
	}
	if len(v.now.dashes) > 0 {
		v.out.WriteByte('"')
	}
	fmt.Fprintf(&v.out, " d=\"%s\"/>\n", v.data(path))
}

// short writes a width.
func short(v float64) string { return strconv.FormatFloat(math.Round(v*100)/100, 'f', -1, 64) }

// FillString implements vg.Canvas.
func (v *vector) FillString(f plotfont.Face, at vg.Point, text string) {
	v.FillAnchored(f, at, "start", text)
}

// FillAnchored implements anchorer.
func (v *vector) FillAnchored(f plotfont.Face, at vg.Point, anchor, text string) {
	x, y := v.place(at)
	fmt.Fprintf(&v.out, `<text x="%s" y="%s" font-size="%s"%s`, number(nil, x), number(nil, y),
		short(float64(f.Font.Size/unit)), v.colour("fill"))
	if anchor != "start" {
		fmt.Fprintf(&v.out, ` text-anchor="%s"`, anchor)
	}
	if f.Font.Weight == font.WeightBold {
		v.out.WriteString(` font-weight="bold"`)
	}
	fmt.Fprintf(&v.out, ">%s</text>\n", html.EscapeString(text))
}
