package device

import (
	"fmt"
	"math"

	"retotal/ingest/quantity"
)

// VNotch is a triangular thin-plate weir, discharge by Kindsvater and Shen. Other equations for it are in newVNotch.
//
// Equation: Q = (8/15) Ce √(2g) tan(α/2) he^2.5, he = h + kh (ISO 1438:2017 clause 10.5; USBR Water Measurement Manual
// eq. 7-3).
//
// Quantities: α notch angle; h head above the vertex, measured upstream; p height of the vertex above the approach bed;
// B approach channel width; all in metres and radians.
//
// Limits: 20° ≤ α ≤ 100° (title of clause 10.5); h ≥ 0.06 m (0.2 ft in the USBR manual). Where the site claims full
// contraction: h ≤ 0.38 m, h/p ≤
// 0.4, h/B ≤ 0.2, p ≥ 0.45 m, B ≥ 0.90 m (open handbook copies; the 0.38 m from memory). Without the claim: h ≤ 0.60 m;
// at 90° h/p ≤ 1.2 and h/B ≤ 0.4, the range of partially contracted notches (from memory of Bos 1989); at other angles
// h/p ≤ 0.35 (from memory of ISO 1438), since nothing tells Ce of those beyond. It ends at the top of the notch where
// notch_height gives it.
//
// Uncertainty of Ce: 1 % at 90°, 2 % at other angles (95 %, from memory of ISO 1438).
//
// Sources: form read in the USBR manual chapter 7; Ce and kh are the polynomial fits to the published curves that
// circulate in public code, not the text of a standard; within +0.4 % (Ce) and 0.12 mm (kh) of the table in Blevins,
// Applied Fluid Dynamics Handbook (1984).
type VNotch struct {
	angle, crestHeight, channelWidth float64 // crestHeight and channelWidth are 0 when not given
	ce, kh, factor                   float64
	claimed                          bool    // full contraction, by the site
	top                              float64 // of the notch above its vertex; +Inf when not given
	drownable
}

// newVNotch reads angle, and the optional crest_height, channel_width, notch_height, equation ("kindsvater-shen", or
// "cone", which alone goes on to 120°) and contraction ("full", or "partial" for 90°, by the chart of Ce over h/p and
// p/B).
func newVNotch(d *dimensions) Rating {
	top := d.optional("notch_height", quantity.LengthDimension, math.Inf(1))
	d.positiveIfGiven("notch_height")
	return newNotch(d, top)
}

// newNotch is newVNotch with the top of the notch known.
func newNotch(d *dimensions, top float64) Rating {
	equation := d.choice("equation", "kindsvater-shen", "cone")
	contraction := d.choice("contraction", "full", "partial")
	v := &VNotch{
		angle:        d.quantity("angle", quantity.AngleDimension),
		crestHeight:  d.optional("crest_height", quantity.LengthDimension, 0),
		channelWidth: d.optional("channel_width", quantity.LengthDimension, 0),
		claimed:      d.has("contraction") && contraction == "full", top: top,
	}
	degrees := v.angle * 180 / math.Pi
	wide := degrees > 100+1e-9
	if wide && !d.has("equation") {
		equation = "cone"
	}
	if wide && equation != "cone" {
		d.between("angle", degrees, 20, 100,
			"an angle from 20 deg to 100 deg (ISO 1438:2017 clause 10.5); equation \"cone\" goes on to 120 deg")
	}
	d.between("angle", degrees, 20, 120,
		"an angle from 20 deg to 100 deg (ISO 1438:2017 clause 10.5), to 120 deg by Cone's general equation")
	d.positiveIfGiven("crest_height", "channel_width")
	v.ce, v.kh = kindsvaterShen(math.Min(degrees, 100))
	v.factor = 8.0 / 15 * v.ce * math.Sqrt(2*Gravity) * math.Tan(v.angle/2)
	v.drowning = villemonte(2.5)
	partial := contraction == "partial"
	if ninety := math.Abs(degrees-90) < 0.5; !ninety && partial && !d.failed("angle") {
		d.refuse("angle", fmt.Sprintf("%q with this contraction", d.text("angle")),
			"90 deg: the chart is for that notch alone", "")
	}
	switch {
	case equation == "cone":
		return v.cone(degrees)
	case partial:
		return v.partial(d)
	}
	return v
}

// cone is the notch by Cone: at 90° Q = 2.49 h^2.48 in ft and ft³/s (USBR Water Measurement Manual eq. 7-6, read), for
// 0.2 to 1.25 ft (read). At other angles Cone's general equation of 1916, Q = (0.025 + 2.462 s) h^(2.5 −
// 0.0195/s^0.75), s = tan(α/2), from memory: at 90° it is within 0.2 % of the one read; at 120° it lies 0.9 % below 2.5
// s h^2.5 and 2.7 % below the fits of Kindsvater and Shen drawn on to there, so 3 % are taken.
func (v *VNotch) cone(degrees float64) Rating {
	description := v.Describe()
	c, n := 2.49, 2.48
	description.Source = "Cone, USBR Water Measurement Manual eq. 7-6, read"
	limits := Limits{
		Low:        0.2 * 0.3048,
		LowSource:  "h >= 0.2 ft (read)",
		High:       1.25 * 0.3048,
		HighSource: "h <= 1.25 ft (read)",
		End:        math.Inf(1),
	}
	if math.Abs(degrees-90) >= 0.5 {
		s := math.Tan(v.angle / 2)
		c, n = 0.025+float64(2.462*s), 2.5-0.0195/math.Pow(s, 0.75)
		description.Source = "Cone 1916, general equation, from memory, not read: confirm it"
		description.Uncertainty, description.UncertainBy = 0.03, "differences to the other equations at 120 deg"
		limits.LowSource, limits.HighSource = "h >= 0.2 ft (read for 90 deg)", "h <= 1.25 ft (read for 90 deg)"
	}
	k := c * cubicFoot / math.Pow(0.3048, n)
	description.Equation = fmt.Sprintf("Q = %.4f h^%s (%s h^%s in ft)", k, digits(n, 4), digits(c, 4), digits(n, 4))
	r := &Power{coefficient: k, exponent: n, description: description, limits: v.ended(limits)}
	r.drowning = villemonte(n)
	return r
}

// ended sets the top of the notch as the end of its rating.
func (v *VNotch) ended(l Limits) Limits {
	if l.End = v.top; l.End < math.Inf(1) {
		l.EndSource = "top of the notch"
	}
	if l.End < l.High {
		l.High, l.HighSource = l.End, l.EndSource
	}
	l.Low = math.Min(l.Low, l.End)
	return l
}

// partial is the 90° notch in a channel too narrow or too shallow for full contraction: Ce from the chart.
func (v *VNotch) partial(d *dimensions) Rating {
	if v.crestHeight <= 0 || v.channelWidth <= 0 {
		d.refuse("contraction", "\"partial\" needs crest_height and channel_width", "both dimensions of the approach",
			"")
		return v
	}
	ratio := v.crestHeight / v.channelWidth
	if ratio > 1 || ratio < 0.1 {
		d.refuse("crest_height", fmt.Sprintf("p/B is %s", digits(ratio, 3)),
			"p/B from 0.1 to 1.0, the range of the chart", "")
		return v
	}
	description := v.Describe()
	description.Equation = "Q = (8/15) Ce(h/p, p/B) sqrt(2g) (h + kh)^2.5, kh = 0.88 mm"
	description.Source = "chart of Ce digitised in public code from Kulin and Compton 1975, read; accuracy of the " +
		"reading about 0.2 %"
	description.Advice = nil
	full := 8.0 / 15 * math.Sqrt(2*Gravity)
	f := &Formula{description: description, flow: func(h float64) float64 {
		return full * partialCe(h/v.crestHeight, ratio) * power(h+v.kh, 2.5)
	}}
	end := partialEnd(ratio)
	f.limits = Limits{
		Low:        0.06,
		LowSource:  "h >= 0.06 m (USBR: 0.2 ft)",
		High:       math.Max(end*v.crestHeight, 0.06),
		HighSource: fmt.Sprintf("end of the chart, h/p = %s", digits(end, 3)),
		End:        math.Inf(1),
	}
	f.limits = v.ended(f.limits)
	f.drowning = villemonte(2.5)
	return f
}

// partialChart is Ce of the 90° notch by h/p (rows, from 0.10 in steps of 0.05) and p/B (columns 0.1, 0.2, 0.3, 0.4,
// 0.6, 0.8, 1.0); 0 beyond the chart. From the polynomials of Kulin and Compton (1975) fig. 4-5 as digitised in public
// code.
var partialChart = [][7]float64{
	{0.5782, 0.5782, 0.5782, 0.5782, 0.5781, 0.5782, 0.5782}, {0.5785, 0.5785, 0.5785, 0.5785, 0.5785, 0.5785, 0.5785},
	{0.5787, 0.5787, 0.5787, 0.5787, 0.5787, 0.5787, 0.5786}, {0.5788, 0.5788, 0.5788, 0.5788, 0.5787, 0.5788, 0.5792},
	{0.5789, 0.5789, 0.5789, 0.5789, 0.5789, 0.5796, 0.5813}, {0.5789, 0.5789, 0.5790, 0.5789, 0.5794, 0.5816, 0.5848},
	{0.5789, 0.5790, 0.5789, 0.5789, 0.5804, 0.5845, 0.5904}, {0.5789, 0.5789, 0.5788, 0.5789, 0.5819, 0.5880, 0},
	{0.5788, 0.5788, 0.5788, 0.5792, 0.5839, 0.5925, 0}, {0.5787, 0.5786, 0.5789, 0.5800, 0.5864, 0, 0},
	{0.5785, 0.5785, 0.5793, 0.5812, 0.5893, 0, 0}, {0.5783, 0.5784, 0.5799, 0.5827, 0.5929, 0, 0},
	{0.5781, 0.5783, 0.5807, 0.5844, 0, 0, 0}, {0.5779, 0.5784, 0.5816, 0.5863, 0, 0, 0},
	{0.5777, 0.5786, 0.5826, 0.5885, 0, 0, 0}, {0.5775, 0.5789, 0.5837, 0.5909, 0, 0, 0},
	{0.5773, 0.5793, 0.5849, 0.5934, 0, 0, 0}, {0.5771, 0.5798, 0.5862, 0.5961, 0, 0, 0},
	{0.5769, 0.5804, 0.5877, 0.5989, 0, 0, 0}, {0.5768, 0.5809, 0.5891, 0, 0, 0, 0},
	{0.5767, 0.5815, 0.5907, 0, 0, 0, 0}, {0.5767, 0.5822, 0.5923, 0, 0, 0, 0},
}

var partialColumns = [7]float64{0.1, 0.2, 0.3, 0.4, 0.6, 0.8, 1.0}

// partialEnd returns h/p at the end of the chart for a p/B between two columns.
func partialEnd(ratio float64) float64 {
	ends := [7]float64{1.15, 1.15, 1.15, 1.0, 0.65, 0.5, 0.4}
	k, _ := partialColumn(ratio)
	return math.Min(ends[k], ends[k+1])
}

// partialColumn returns the column below a p/B and the weight of the one above.
func partialColumn(ratio float64) (k int, weight float64) {
	for k < 5 && ratio > partialColumns[k+1] {
		k++
	}
	return k, math.Min(math.Max((ratio-partialColumns[k])/(partialColumns[k+1]-partialColumns[k]), 0), 1)
}

// partialCe interpolates the chart linearly in h/p and p/B; outside it the nearest value holds, and the status of the
// head says so.
func partialCe(hp, ratio float64) float64 {
	k, weight := partialColumn(ratio)
	column := func(k int) float64 {
		last := 0
		for last < len(partialChart)-1 && partialChart[last+1][k] > 0 {
			last++
		}
		x := math.Min(math.Max(float64(hp*20)-2, 0), float64(last))
		i := min(int(x), max(last-1, 0))
		low, high := partialChart[i][k], partialChart[min(i+1, last)][k]
		return low + float64((high-low)*(x-float64(i)))
	}
	low := column(k)
	return low + float64(weight*(column(k+1)-low))
}

// kindsvaterShen returns Ce and kh (m) for a notch angle in degrees: fits to the curves of Kindsvater and
// Shen (Shen 1981, USGS WSP 1617-B) as read twice, identically, in public code.
func kindsvaterShen(a float64) (ce, kh float64) {
	ce = 0.607165052 - float64(0.000874466963*a) + float64(6.10393334e-6*a*a)
	feet := 0.0144902648 - float64(0.00033955535*a) + float64(3.29819003e-6*a*a) - float64(1.06215442e-8*a*a*a)
	return ce, feet * 0.3048
}

// Flow implements Rating.
func (v *VNotch) Flow(h float64) float64 {
	if h <= 0 {
		return 0
	}
	he := math.Min(h, v.top) + v.kh
	return v.factor * he * he * math.Sqrt(he)
}

// Flows implements Rating.
func (v *VNotch) Flows(q, h []float64) {
	factor, kh, top := v.factor, v.kh, v.top
	h = h[:len(q)]
	for i, x := range h {
		he := math.Min(x, top) + kh
		if x <= 0 {
			q[i] = 0
			continue
		}
		q[i] = factor * he * he * math.Sqrt(he)
	}
}

// Slope implements Rating.
func (v *VNotch) Slope(h float64) float64 {
	if h <= 0 || h > v.top {
		return 0
	}
	he := h + v.kh
	return 2.5 * v.factor * he * math.Sqrt(he)
}

// Drowned implements Drownable.
func (v *VNotch) Drowned(h, hd float64) (q, spread float64, ok bool) {
	return v.drowning.at(h, hd, v.Flow(h))
}

// Limits implements Rating.
func (v *VNotch) Limits() Limits {
	const bos = "the range of partially contracted notches (from memory of Bos 1989); full contraction is not claimed"
	l := Limits{
		Low:        0.06,
		LowSource:  "h >= 0.06 m (USBR Water Measurement Manual ch. 7: 0.2 ft)",
		High:       0.60,
		HighSource: "h <= 0.60 m, " + bos,
	}
	lower := func(top float64, source string) {
		if top > 0 && top < l.High {
			l.High, l.HighSource = math.Max(top, l.Low), source
		}
	}
	switch ninety := math.Abs(v.angle*180/math.Pi-90) < 0.5; {
	case v.claimed:
		lower(0.38, "h <= 0.38 m, full contraction (from memory of Bos 1989)")
		lower(0.4*v.crestHeight, "h/p <= 0.4, full contraction (Blevins 1984)")
		lower(0.2*v.channelWidth, "h/B <= 0.2, full contraction (open handbook copies)")
	case ninety:
		lower(1.2*v.crestHeight, "h/p <= 1.2, "+bos)
		lower(0.4*v.channelWidth, "h/B <= 0.4, "+bos)
	default:
		lower(0.35*v.crestHeight, "h/p <= 0.35 (from memory of ISO 1438, any angle)")
	}
	return v.ended(l)
}

// Describe implements Rating.
func (v *VNotch) Describe() Description {
	degrees := v.angle * 180 / math.Pi
	d := Description{
		Kind: "v-notch",
		Name: fmt.Sprintf("V-notch thin-plate weir, %s deg", digits(degrees, 4)),
		Equation: fmt.Sprintf("Q = (8/15) Ce sqrt(2g) tan(a/2) (h + kh)^2.5 with Ce = %.4f, kh = %.2f mm, a = %s "+
			"deg (Q = %.5f he^2.5)",
			v.ce, v.kh*1000, digits(degrees, 4), v.factor),
		Source: "Kindsvater-Shen: form of ISO 1438:2017 10.5 and USBR WMM eq. 7-3; Ce and kh from fits " +
			"circulated in public code, not read in the standard: confirm against it",
		Uncertainty: 0.02, UncertainBy: "from memory of ISO 1438: about 1 % at 90 deg, 1 to 2 % at other angles",
		Dimensions: []Constant{{"angle", digits(degrees, 4) + " deg"}},
	}
	if math.Abs(degrees-90) < 1e-9 {
		d.Uncertainty = 0.01
	}
	approach(&d, v.crestHeight, 0.45, v.channelWidth, 0.90)
	if !v.claimed {
		d.Advice = append(d.Advice,
			`contraction = "full" is not claimed, so its limits (h <= 0.38 m, h/p <= 0.4, h/B <= 0.2) are not held; `+
				`less contraction gives up to 4 % more flow at 90 deg (chart of "partial")`)
	}
	return d
}

// approach adds crest height and channel width to a description, with advice where they are missing or
// smaller than full contraction asks.
func approach(d *Description, crestHeight, leastHeight, width, leastWidth float64) {
	for _, x := range []struct {
		name         string
		value, least float64
	}{{"crest_height", crestHeight, leastHeight}, {"channel_width", width, leastWidth}} {
		switch {
		case x.value == 0:
			d.Advice = append(d.Advice, x.name+" is not given, so full contraction could not be checked")
			continue
		case x.value < x.least:
			d.Advice = append(d.Advice,
				fmt.Sprintf("%s %s m is less than the %.2f m that full contraction asks", x.name, digits(x.value, 3),
					x.least))
		}
		d.Dimensions = append(d.Dimensions, Constant{x.name, digits(x.value, 4) + " m"})
	}
}
