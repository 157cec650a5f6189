package device

import (
	"fmt"
	"math"

	"retotal/ingest/quantity"
)

// Rectangular is a rectangular thin-plate weir, suppressed (b = B) or contracted, by Kindsvater and Carter.
//
// Equation: Q = (2/3) Ce √(2g) be he^1.5, be = b + kb, he = h + kh, Ce = a + a1 h/p (ISO 1438:2017 clause
// 9.6; USBR Water Measurement Manual eq. 7-1 and 7-2). No velocity head is added to h.
//
// Quantities: b crest width; B approach channel width; p crest height above the approach bed; h head
// above the crest; metres.
//
// Limits: h ≥ 0.03 m, b ≥ 0.15 m, p ≥ 0.10 m, h/p < 2 (Blevins 1984); ISO 1438 allows h/p ≤ 2.5 and asks
// (B−b)/2 = 0 or ≥ 0.10 m (from memory).
//
// Uncertainty of Ce: 1.5 % for h/p < 1, 2 % to 1.5, 3 % to 2.5 (95 %, from memory of ISO 1438).
//
// Sources: see kindsvaterCarter.
type Rectangular struct {
	width, channelWidth, crestHeight float64
	a, a1, kb                        float64
	drownable
}

// crestKH is kh of Kindsvater and Carter: 0.003 ft in the USBR manual (read), 0.001 m in ISO 1438.
const crestKH = 0.001

// kindsvaterCarter holds a and a1 of Ce = a + a1 h/p, and kb in mm, by b/B. Lines 0.9 and 1.0 and the kb
// of 1.0 were read in open copies (NALL table 8.1, Blevins 1984); the others are from memory of ISO 1438 and
// agree with EPA SWMM Reference Manual Vol. II table 6-2 (read) within 0.7 %.
var kindsvaterCarter = []struct{ ratio, a, a1, kb float64 }{
	{0, 0.587, -0.0023, 2.4},
	{0.2, 0.589, -0.0018, 2.4},
	{0.4, 0.591, 0.0058, 2.7},
	{0.6, 0.593, 0.018, 3.6},
	{0.7, 0.595, 0.030, 3.9}, // kb between its neighbours
	{0.8, 0.597, 0.045, 4.2},
	{0.9, 0.599, 0.064, 3.4}, // kb read off the published curve, from memory
	{1.0, 0.602, 0.075, -0.9},
}

// newRectangular reads width, channel_width, crest_height and the optional equation: "kindsvater-carter", "rehbock"
// (suppressed weirs) or "francis" (with the optional contractions: 0, 1 or 2).
func newRectangular(d *dimensions) Rating {
	equation := d.choice("equation", "kindsvater-carter", "rehbock", "francis")
	r := &Rectangular{
		width:        d.quantity("width", quantity.LengthDimension),
		channelWidth: d.quantity("channel_width", quantity.LengthDimension),
		crestHeight:  d.quantity("crest_height", quantity.LengthDimension),
	}
	d.between("width", r.width, 0.15, 100, "a crest width from 0.15 m (ISO 1438:2017 clause 9.6)")
	d.between("crest_height", r.crestHeight, 0.10, 100, "a crest height from 0.10 m (ISO 1438:2017 clause 9.6)")
	d.between("channel_width", r.channelWidth, r.width, 1000, "a channel at least as wide as the crest")
	if r.channelWidth > 0 {
		r.a, r.a1, r.kb = contraction(r.width / r.channelWidth)
	}
	r.drowning = thinPlate(r.width, r.channelWidth)
	switch equation {
	case "rehbock":
		return r.rehbock(d)
	case "francis":
		return r.francis(d)
	}
	return r
}

// rehbock is the suppressed weir: Q = (2/3) Cd √(2g) b (h + 0.0012)^1.5, Cd = 0.602 + 0.083 h/p (ISO 1438:2017 clause
// 9.7.1; coefficients read in Blevins 1984, the offset from memory). Limits: 0.03 ≤ h ≤ 0.75 m, h/p < 1, b and p > 0.3
// m (read).
func (r *Rectangular) rehbock(d *dimensions) Rating {
	if r.width < r.channelWidth*0.999 {
		d.refuse("equation", "\"rehbock\" is for a suppressed weir", "width equal to channel_width",
			"use kindsvater-carter for a contracted one")
	}
	k := 2.0 / 3 * math.Sqrt(2*Gravity) * r.width
	p := r.crestHeight
	description := r.Describe()
	description.Equation = "Q = (2/3) (0.602 + 0.083 h/p) sqrt(2g) b (h + 1.2 mm)^1.5"
	description.Source = "Rehbock, ISO 1438:2017 9.7.1; coefficients read in Blevins 1984, offset 1.2 mm from memory"
	f := &Formula{description: description,
		flow: func(h float64) float64 { return k * (0.602 + float64(0.083*h/p)) * power(h+0.0012, 1.5) },
		limits: Limits{
			Low:        0.03,
			LowSource:  "h >= 0.03 m (read: Blevins 1984)",
			High:       math.Max(math.Min(0.75, p), 0.03),
			HighSource: "h <= 0.75 m, h/p < 1 (read: Blevins 1984)",
			End:        math.Inf(1),
		}}
	f.drowning = r.drowning
	return f
}

// francis is Q = 1.8384 (b − 0.1 n h) h^1.5, n the number of end contractions (USBR Water Measurement Manual eq. 7-4,
// read: 3.33 in ft). Limit h ≤ b/3 (read: EPA SWMM Vol. II). No velocity head is added: a weir that needs one is
// outside the limits (read: the manual).
func (r *Rectangular) francis(d *dimensions) Rating {
	n := 2.0
	if r.width > r.channelWidth*0.999 {
		n = 0
	}
	n = d.optional("contractions", quantity.None, n)
	if n != 0 && n != 1 && n != 2 {
		d.refuse("contractions", fmt.Sprintf("= %v ends", n), "0, 1 or 2", "")
	}
	description := r.Describe()
	description.Equation = fmt.Sprintf("Q = 1.8384 (b - %.1f h) h^1.5", 0.1*n)
	description.Source = "Francis, USBR Water Measurement Manual eq. 7-4, read"
	description.Uncertainty = 0.03
	description.UncertainBy = "common practice; against Kindsvater-Carter it reads up to 3 % low"
	b := r.width
	f := &Formula{description: description,
		flow: func(h float64) float64 { return francis * math.Max(b-float64(0.1*n*h), 0) * power(h, 1.5) },
		limits: Limits{
			Low:        0.06,
			LowSource:  "h >= 0.2 ft (from memory)",
			High:       b / 3,
			HighSource: "h <= L/3 (read: EPA SWMM Vol. II)",
			End:        math.Inf(1),
		}}
	f.drowning = r.drowning
	return f
}

// thinPlate is the drowned flow of a rectangular weir: of its own factor beside the general one where it has the full
// width of the channel.
func thinPlate(width, channelWidth float64) *drowning {
	if width > channelWidth*0.999 {
		return fullWidth()
	}
	return villemonte(1.5)
}

// contraction interpolates a, a1 and kb (m) linearly in b/B.
func contraction(ratio float64) (a, a1, kb float64) {
	t := kindsvaterCarter
	i := 1
	for i < len(t)-1 && ratio > t[i].ratio {
		i++
	}
	w := (ratio - t[i-1].ratio) / (t[i].ratio - t[i-1].ratio)
	mix := func(x, y float64) float64 { return x + float64(w*(y-x)) }
	return mix(t[i-1].a, t[i].a), mix(t[i-1].a1, t[i].a1), mix(t[i-1].kb, t[i].kb) / 1000
}

// Flow implements Rating.
func (r *Rectangular) Flow(h float64) float64 {
	if h <= 0 {
		return 0
	}
	ce := r.a + float64(r.a1*h/r.crestHeight)
	return 2.0 / 3 * ce * math.Sqrt(2*Gravity) * (r.width + r.kb) * power(h+crestKH, 1.5)
}

// Flows implements Rating.
func (r *Rectangular) Flows(q, h []float64) { each(q, h, r.Flow) }

// Drowned implements Drownable.
func (r *Rectangular) Drowned(h, hd float64) (q, spread float64, ok bool) {
	return r.drowning.at(h, hd, r.Flow(h))
}

// Slope implements Rating.
func (r *Rectangular) Slope(h float64) float64 {
	if h <= 0 {
		return 0
	}
	k := 2.0 / 3 * math.Sqrt(2*Gravity) * (r.width + r.kb)
	he := h + crestKH
	ce := r.a + float64(r.a1*h/r.crestHeight)
	return k * (float64(1.5*ce*math.Sqrt(he)) + float64(r.a1/r.crestHeight*power(he, 1.5)))
}

// Limits implements Rating.
func (r *Rectangular) Limits() Limits {
	return Limits{
		Low:        0.03,
		LowSource:  "h >= 0.03 m (Blevins 1984)",
		High:       2 * r.crestHeight,
		HighSource: "h/p < 2 (Blevins 1984; ISO 1438 allows 2.5, from memory)",
		End:        math.Inf(1),
	}
}

// Describe implements Rating.
func (r *Rectangular) Describe() Description {
	form := "contracted"
	if r.width == r.channelWidth {
		form = "suppressed"
	}
	d := Description{
		Kind: "rectangular",
		Name: fmt.Sprintf("rectangular thin-plate weir, %s, b = %s m", form, digits(r.width, 4)),
		Equation: fmt.Sprintf("Q = (2/3) Ce sqrt(2g) (b + kb) (h + kh)^1.5 with Ce = %.4f %+.4f h/p, kb = %.1f "+
			"mm, kh = 1 mm",
			r.a, r.a1, r.kb*1000),
		Source: "Kindsvater-Carter: form of ISO 1438:2017 9.6 and USBR WMM eq. 7-1; coefficients partly from " +
			"memory of ISO 1438, within 0.7 % of EPA SWMM Vol. II table 6-2: confirm against the standard",
		Uncertainty: 0.015, UncertainBy: "from memory of ISO 1438: 1.5 % for h/p < 1, 2 % to 1.5, 3 % to 2.5",
		Dimensions: []Constant{
			{"width", digits(r.width, 4) + " m"},
			{"channel_width", digits(r.channelWidth, 4) + " m"},
			{"crest_height", digits(r.crestHeight, 4) + " m"},
		},
	}
	if side := (r.channelWidth - r.width) / 2; side > 0 && side < 0.10-1e-9 {
		d.Advice = append(d.Advice,
			fmt.Sprintf("the side contraction (B-b)/2 is %.3f m; ISO 1438 asks 0 or at least 0.10 m (from memory)",
				side))
	}
	return d
}
