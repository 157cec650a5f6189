// Package picture draws the pictures of a site: volumes, flow, residuals, rating and budget, on any canvas.
package picture

import (
	"bytes"
	"fmt"
	"html"
	"image"
	"image/color"
	"image/png"
	"math"
	"sync"

	"git.sr.ht/~sbinet/gg"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/vgimg"
)

// Picture is something to look at that draws itself.
type Picture struct {
	Name    string // of its files, without an ending
	Title   string // one sentence that says what is to be seen, for who cannot see it
	Caption string // what it shows, as a heading
	// Width and Height are in units of 1/96 inch.
	Width, Height float64
	draw          func(*sheet)
}

// Size is the size of the picture on a canvas.
func (p *Picture) Size() (width, height vg.Length) {
	return vg.Length(p.Width) * unit, vg.Length(p.Height) * unit
}

// Text says in words what it shows.
func (p *Picture) Text() string { return p.Title }

// Draw draws the picture on a canvas of its size, by lines, areas and text alone. It paints no paper.
func (p *Picture) Draw(c vg.Canvas) { p.draw(newSheet(c, p.Height)) }

// Margin is the paper around a picture in a file, in units.
const Margin = 8

// sheetSize is the size of the picture in a file.
func (p *Picture) sheetSize() (width, height vg.Length) {
	return vg.Length(p.Width+2*Margin) * unit, vg.Length(p.Height+2*Margin) * unit
}

// drawWithMargin draws the picture on a canvas with paper around it.
func (p *Picture) drawWithMargin(c vg.Canvas) {
	s := newSheet(c, p.Height)
	s.pad = Margin
	p.draw(s)
}

// SVG is the picture as a file, on white paper.
func (p *Picture) SVG() []byte { return p.file(p.elements()) }

// Inline is the picture as an element of a page, without paper. Its colours are variables of the page's style, named as
// the tints are, with the tint itself where the page says nothing: --after, --before-area.
func (p *Picture) Inline() []byte { return p.inline(p.elements()) }

// elements are those that the picture consists of, with variables for colours.
func (p *Picture) elements() []byte {
	v := newVector(p.Height)
	p.Draw(v)
	return v.out.Bytes()
}

func (p *Picture) inline(elements []byte) []byte {
	var b bytes.Buffer
	p.open(&b, 0)
	b.Write(elements)
	b.WriteString("</svg>\n")
	return b.Bytes()
}

// file makes a file of the elements, with colours in the place of variables.
func (p *Picture) file(elements []byte) []byte {
	var b bytes.Buffer
	b.WriteString("<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n")
	p.open(&b, Margin)
	fmt.Fprintf(&b, "<rect x=\"-%d\" y=\"-%[1]d\" width=\"100%%\" height=\"100%%\" fill=\"#FFFFFF\"/>\n", Margin)
	colours.WriteString(&b, string(elements)) // a buffer takes everything
	b.WriteString("</svg>\n")
	return b.Bytes()
}

// open begins the root element, with paper around the picture.
func (p *Picture) open(b *bytes.Buffer, margin float64) {
	fmt.Fprintf(b, `<svg xmlns="http://www.w3.org/2000/svg" width="%s" height="%s" viewBox="%[3]s %[3]s %[1]s %[2]s"`+
		` role="img" aria-label="%[4]s" font-family="%[5]s">`+"\n<title>%[4]s</title>\n",
		short(p.Width+2*margin), short(p.Height+2*margin), short(-margin), html.EscapeString(p.Title), fontFamily)
}

// dotsPerInch is the resolution of raster files: a unit is one and a half dots.
const dotsPerInch = 144

// PNG is the picture in dots, on white paper, in up to 256 colours.
func (p *Picture) PNG() ([]byte, error) {
	width, height := p.sheetSize()
	ground := newGround(width, height)
	defer grounds.Put(ground)
	p.drawWithMargin(vgimg.NewWith(vgimg.UseDPI(dotsPerInch), vgimg.UseImageWithContext(ground, contextOf(ground))))
	var b bytes.Buffer
	encoder := png.Encoder{CompressionLevel: png.BestSpeed, BufferPool: packers{}} // a little larger, in half the time
	err := encoder.Encode(&b, reduce(ground))
	return b.Bytes(), err
}

// packers keeps what files were packed with, a megabyte each.
type packers struct{}

var packed sync.Pool

// Get implements png.EncoderBufferPool.
func (packers) Get() *png.EncoderBuffer {
	b, _ := packed.Get().(*png.EncoderBuffer)
	return b
}

// Put implements png.EncoderBufferPool.
func (packers) Put(b *png.EncoderBuffer) { packed.Put(b) }

// grounds are the *image.RGBA on which pictures were drawn: memory that was never used before is slow to fill.
var grounds sync.Pool

// newGround is what a picture is drawn on; its pixels may be those of one drawn before.
func newGround(width, height vg.Length) *image.RGBA {
	dots := func(l vg.Length) int { return int(math.Round(l.Dots(dotsPerInch))) }
	size := image.Rect(0, 0, dots(width), dots(height))
	need := 4 * size.Dx() * size.Dy()
	if old, ok := grounds.Get().(*image.RGBA); ok && cap(old.Pix) >= need {
		return &image.RGBA{Pix: old.Pix[:need], Stride: 4 * size.Dx(), Rect: size}
	}
	return image.NewRGBA(size)
}

// contextOf draws on the ground itself; by itself the canvas would copy it first.
func contextOf(ground *image.RGBA) *gg.Context {
	context := gg.NewContextForRGBA(ground)
	context.SetLineCapButt()
	context.InvertY()
	return context
}

// reduce makes a picture of 256 colours at most: the tints as they are, and what smooth edges mix of them to 32 steps
// of red, green and blue. A byte a dot packs in a third of the time of four.
func reduce(from *image.RGBA) *image.Paletted {
	to := &image.Paletted{Pix: make([]uint8, len(from.Pix)/4), Stride: from.Rect.Dx(), Rect: from.Rect}
	var known [1 << 15]uint16 // 1 more than the number in the palette
	add := func(key int, c color.RGBA) {
		to.Palette = append(to.Palette, c)
		known[key] = uint16(len(to.Palette))
	}
	for _, t := range tints {
		if key := keyOf(t.R, t.G, t.B); known[key] == 0 {
			add(key, color.RGBA{t.R, t.G, t.B, 0xff})
		}
	}
	for i := range to.Pix {
		r, g, b := from.Pix[4*i], from.Pix[4*i+1], from.Pix[4*i+2]
		key := keyOf(r, g, b)
		if known[key] == 0 {
			if c := (color.RGBA{r, g, b, 0xff}); len(to.Palette) < 256 {
				add(key, c)
			} else {
				known[key] = uint16(to.Palette.Index(c)) + 1
			}
		}
		to.Pix[i] = uint8(known[key] - 1)
	}
	return to
}

func keyOf(r, g, b uint8) int { return int(r>>3)<<10 | int(g>>3)<<5 | int(b>>3) }
