package picture

import "image/color"

// Tint is a colour with a name, by which a page can put another in its place.
type Tint struct {
	Name    string // of the variable in a page's style, without its dashes
	R, G, B uint8  // on white paper
}

// RGBA implements color.Color.
func (t Tint) RGBA() (r, g, b, a uint32) { return color.RGBA{t.R, t.G, t.B, 0xff}.RGBA() }

// The tints, as they are on white paper. After is dark and solid, before light and open, so that they differ in grey
// and to colour-blind eyes; what was not measured is hatched or dashed, never solid.
var (
	Paper      = Tint{"paper", 0xff, 0xff, 0xff}
	Ink        = Tint{"ink", 0x17, 0x20, 0x2a}
	Second     = Tint{"second", 0x4b, 0x57, 0x63}      // words that may be overlooked
	After      = Tint{"after", 0x1d, 0x4f, 0x7c}       // corrected and screened
	Before     = Tint{"before", 0xb0, 0x5a, 0x14}      // as the meter had it: lines and ticks
	BeforeArea = Tint{"before-area", 0xeb, 0xd3, 0xbc} // the same as an area; its edge is a line of before
	Range      = Tint{"range", 0xc9, 0xd9, 0xe8}       // least to greatest
	Middle     = Tint{"middle", 0x7f, 0xa5, 0xcb}      // the middle half
	Span       = Tint{"span", 0xf4, 0xef, 0xe3}        // what a correction covers; never without a bracket
	Hatch      = Tint{"hatch", 0x5b, 0x66, 0x70}
	Grid       = Tint{"grid", 0xda, 0xdf, 0xe4}
)

// tints are all of them, the most frequent first.
var tints = []Tint{Paper, Ink, Second, After, Before, BeforeArea, Range, Middle, Span, Hatch, Grid}
