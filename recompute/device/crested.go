package device

import (
	"fmt"
	"math"

	"retotal/ingest/quantity"
)

// crest is what the weirs with a crest of some length or slope share: width b, crest height p, approach channel, an
// optional coefficient of the user.
type crest struct {
	width, height float64
	approach      channel
	coefficient   float64 // 0: the standard's
	description   Description
}

func readCrest(d *dimensions, kind, name string) *crest {
	c := &crest{
		width:  d.quantity("width", quantity.LengthDimension),
		height: d.quantity("crest_height", quantity.LengthDimension),
	}
	d.between("width", c.width, 0.05, 200, "a crest width above 0")
	d.between("crest_height", c.height, 0.01, 50, "a crest height above 0")
	c.description = Description{Kind: kind, Name: fmt.Sprintf("%s, b = %s m", name, digits(c.width, 4)),
		Dimensions: []Constant{{"width", digits(c.width, 4) + " m"}}}
	c.approach = readChannel(d, channel{}, c.height, "crest_height", &c.description)
	if c.coefficient = d.optional("coefficient", quantity.None, 0); d.has("coefficient") {
		d.between("coefficient", c.coefficient, 0.3, 2, "a coefficient of about 0.8 to 1.2")
		c.description.Advice = append(c.description.Advice,
			fmt.Sprintf("the coefficient %s is the user's", digits(c.coefficient, 4)))
	}
	return c
}

// rating makes the device: Q = (2/3)^1.5 √g C b H^1.5 with C at total head H and gauged head h.
func (c *crest) rating(
	d *dimensions, limits Limits, coefficient func(h, energy float64) float64, drowned *drowning,
) Rating {
	if c.coefficient > 0 {
		coefficient = func(_, _ float64) float64 { return c.coefficient }
	}
	flow := func(h float64) float64 {
		over := func(energy float64) float64 {
			return criticalUnit * coefficient(h, energy) * c.width * power(energy, 1.5)
		}
		return over(c.approach.energy(h, over))
	}
	limits.End = math.Inf(1)
	limits.High = math.Max(limits.High, limits.Low)
	c.approach.limit(d, "channel_width", &limits, flow, trapezoidSection(c.width, 0), 0, "")
	top := c.approach.smooth(limits.Low/3, math.Min(1.5*limits.High, limits.End), flow)
	f := &Formula{flow: flow, limits: limits, description: c.description, drownable: drownable{drowned}}
	return d.tabulate(f, limits.Low/3, top)
}

// newBroadCrested reads width, crest_length, crest_height and the optional approach (see readChannel) and coefficient.
//
// What: rectangular broad-crested weir with a square upstream edge. Equation: Q = (2/3)^1.5 √g C(H/L) b H^1.5, H with
// the velocity of approach. Drowned: see broadDrowned. Limits: 0.08 ≤ H/L < 1.5, h/(h+p) ≤ 0.35 (read). Uncertainty: 5
// %, from the scatter of 2.3 % (one standard deviation) between two read tables. Sources: C digitised from Bos (1989)
// in a public package, read; the table of ISO 3846 was not.
func newBroadCrested(d *dimensions) Rating {
	length := d.quantity("crest_length", quantity.LengthDimension)
	d.between("crest_length", length, 0.02, 100, "a crest length above 0")
	c := readCrest(d, "broad-crested", "broad-crested weir, square edge")
	c.description.Dimensions = append(c.description.Dimensions, Constant{"crest_length", digits(length, 4) + " m"})
	c.description.Equation = "Q = (2/3)^1.5 sqrt(g) C(H/L) b H^1.5"
	c.description.Source = "C(H/L) digitised from Bos 1989, read; the C table of ISO 3846 was not read: confirm " +
		"against the standard"
	c.description.Uncertainty = 0.05
	c.description.UncertainBy = "scatter of 2.3 % between the tables of Bos and of Brater and King, both read"
	limits := Limits{Low: math.Max(0.06, 0.08*length), LowSource: "H/L >= 0.08 (read); h >= 0.06 m (from memory)",
		High: math.Min(1.5*length, 0.35/0.65*c.height), HighSource: "H/L < 1.5 and h/(h+p) <= 0.35 (read)"}
	return c.rating(d, limits, func(_, energy float64) float64 { return bosC(energy / length) }, broadDrowned())
}

// bosCrest is C over H/L of the square-edged broad-crested weir, digitised from Bos (1989) in CRAN package weirs 0.25.
var bosCrest = [][2]float64{
	{0.0694952, 0.848064}, {0.130557, 0.848511}, {0.364144, 0.848569}, {0.402295, 0.849661}, {0.515086, 0.861841},
	{0.556202, 0.868761}, {0.575991, 0.872562}, {0.618613, 0.880854}, {0.665794, 0.890524}, {0.719065, 0.901231}, {0.831684, 0.924712},
	{0.887993, 0.936452}, {1.01584, 0.962356}, {1.13609, 0.985849}, {1.17567, 0.993451}, {1.30509, 1.01662}, {1.44214, 1.04014},
	{1.48934, 1.0481}, {1.53351, 1.05537},
}

// bosC interpolates C between the points by cubics with the slopes of the chords around each point; outside the points
// the nearest one holds.
func bosC(ratio float64) float64 {
	t := bosCrest
	last := len(t) - 1
	switch {
	case ratio <= t[0][0]:
		return t[0][1]
	case ratio >= t[last][0]:
		return t[last][1]
	}
	i := 1
	for ratio > t[i][0] {
		i++
	}
	slope := func(k int) float64 {
		if k == 0 || k == last {
			return 0
		}
		return (t[k+1][1] - t[k-1][1]) / (t[k+1][0] - t[k-1][0])
	}
	step := t[i][0] - t[i-1][0]
	x := (ratio - t[i-1][0]) / step
	c0, c1, s0, s1 := t[i-1][1], t[i][1], slope(i-1)*step, slope(i)*step
	return c0 + float64(x*(s0+float64(x*(float64(3*(c1-c0))-2*s0-s1+float64(x*(2*(c0-c1)+s0+s1))))))
}

// newRoundNosed reads width, crest_length, crest_height, nose_radius and the optional approach (see readChannel) and
// coefficient.
//
// What: horizontal broad-crested weir with a round nose. Equation: Q = (2/3)^1.5 √g Cd b H^1.5, Cd = [1 − 2x(L−r)/b][1
// − x(L−r)/h]^1.5, x = 0.003 for a smooth crest. Limits (from memory): h ≥ 0.06 m and 0.05 L, h/p ≤ 1.5, 0.05 ≤ H/L ≤
// 0.57. Drowned: as the broad-crested weir. Uncertainty: 2 (21 − 20 Cd) % (from memory). Sources: recalled from ISO
// 4374, not read.
func newRoundNosed(d *dimensions) Rating {
	length := d.quantity("crest_length", quantity.LengthDimension)
	radius := d.quantity("nose_radius", quantity.LengthDimension)
	d.between("crest_length", length, 0.05, 100, "a crest length above 0")
	d.between("nose_radius", radius, 0, length, "a radius of up to the crest length")
	c := readCrest(d, "round-nosed", "round-nosed broad-crested weir")
	c.description.Dimensions = append(c.description.Dimensions, Constant{"crest_length", digits(length, 4) + " m"},
		Constant{"nose_radius", digits(radius, 4) + " m"})
	c.description.Equation = "Q = (2/3)^1.5 sqrt(g) Cd b H^1.5, Cd = [1 - 0.006 (L-r)/b][1 - 0.003 (L-r)/h]^1.5"
	c.description.Source = "coefficients recalled from ISO 4374, not read: confirm against the standard"
	c.description.Uncertainty = 0.04
	c.description.UncertainBy = "from memory of ISO 4374: 2 (21 - 20 Cd) %, usually 3 to 5 %"
	limits := Limits{Low: math.Max(0.06, 0.05*length), LowSource: "h >= 0.06 m and 0.05 L (recalled from ISO 4374)",
		High: math.Min(0.57*length, 1.5*c.height), HighSource: "H/L <= 0.57 and h/p <= 1.5 (recalled from ISO 4374)"}
	flat := length - radius
	if 0.006*flat >= c.width && len(d.issues) == 0 {
		d.refuse("crest_length", "the boundary layer of a crest this long fills its width",
			"a crest of up to about 150 widths", "")
	}
	return c.rating(d, limits, func(h, _ float64) float64 {
		return (1 - float64(0.006*flat)/c.width) * power(math.Max(1-float64(0.003*flat)/h, 0), 1.5)
	}, broadDrowned())
}

// newTriangularProfile reads width, crest_height and the optional equation ("total-head" or "gauged"), approach (see
// readChannel) and coefficient.
//
// What: triangular-profile weir, 1:2 upstream and 1:5 downstream. Equation by total head: Q = 0.633 √g b (H −
// 0.0003)^1.5; by gauged head: Q =
// 0.633 √g Cv b (h − 0.0003)^1.5, Cv = (H/h)^1.5. Drowned: see profileDrowned. Limits: h ≥ 0.06 m, h/p ≤ 3.5 (from
// memory), Froude number of the approach ≤ 0.5. Uncertainty of Cd: 10 Cv − 9 % (from memory). Sources: recalled from
// ISO 4360, not read; the modular limit read in an open repository.
func newTriangularProfile(d *dimensions) Rating {
	c := readCrest(d, "triangular-profile", "triangular-profile weir 1:2/1:5")
	gauged := d.choice("equation", "total-head", "gauged") == "gauged"
	c.description.Equation = "Q = 0.633 sqrt(g) b (H - 0.0003 m)^1.5"
	if gauged {
		c.description.Equation = "Q = 0.633 sqrt(g) Cv b (h - 0.0003 m)^1.5, Cv = (H/h)^1.5"
	}
	c.description.Source = "coefficients recalled from ISO 4360, not read: confirm against the standard"
	c.description.Uncertainty, c.description.UncertainBy = 0.02, "from memory of ISO 4360: 10 Cv - 9 %"
	limits := Limits{
		Low:        0.06,
		LowSource:  "h >= 0.06 m for a concrete crest (recalled from ISO 4360)",
		High:       3.5 * c.height,
		HighSource: "h/p <= 3.5 (recalled from ISO 4360)",
	}
	return c.rating(d, limits, func(h, energy float64) float64 {
		if gauged {
			energy = h
		}
		return 1.163 * power(math.Max(1-0.0003/energy, 0), 1.5)
	}, profileDrowned())
}

// profileDrowned is the drowned flow of the triangular profile: 1.035 (0.817 − (H2/H1)⁴)^0.0647 above 0.75 (read) to
// 0.93, then 8.686 − 8.403 H2/H1 to 0.985, with gauged heads in place of total heads.
func profileDrowned() *drowning {
	return &drowning{
		modular: 0.75,
		end:     0.985,
		source:  "modular limit read; factors recalled from ISO 4360, not read; heads in place of total heads",
		flow: func(h, hd, free float64) (float64, float64, bool) {
			s := hd / h
			if s <= 0.93 {
				return free * math.Min(1, 1.035*math.Pow(0.817-float64(s*s*s*s), 0.0647)), 0.05, true
			}
			return free * (8.686 - float64(8.403*s)), 0.05, true
		},
	}
}

// newFlatV reads crest_height, cross_slope (20 for 1:20), v_height and the optional approach (see readChannel) and
// coefficient.
//
// What: flat-V weir with a triangular profile 1:2/1:5. Equation: Q = 0.8 CDe √g m Z (H − kh)^2.5, Z = 1 in the V and 1
// − (1 − h'/he)^2.5 above it (h' the height of the V). CDe/kh: 1:40 0.625/0.4 mm, 1:20 0.620/0.5 mm, 1:10 0.615/0.8 mm.
// Limits: h ≥ 0.03 m and h/p ≤ 2.5 (from memory). Drowned above 0.70 (from memory), without an equation. Uncertainty:
// 10 Cv − 8 % (from memory), and 2 to 3 % more while CDe is not read. Sources: recalled from ISO 4377, not read; form
// checked by integrating the law of the triangular profile across the V.
func newFlatV(d *dimensions) Rating {
	m := d.number("cross_slope")
	height := d.quantity("crest_height", quantity.LengthDimension)
	v := d.quantity("v_height", quantity.LengthDimension)
	d.between("cross_slope", m, 10, 40, "10, 20 or 40, or between: horizontal to vertical")
	d.between("crest_height", height, 0.01, 50, "a crest height above 0")
	d.between("v_height", v, 0.01, 10, "a height above 0")
	cde, kh := flatVCoefficients(m)
	description := Description{
		Kind: "flat-v",
		Name: fmt.Sprintf("flat-V weir 1:%s", digits(m, 4)),
		Equation: fmt.Sprintf("Q = 0.8 CDe sqrt(g) m Z (H - kh)^2.5, CDe = %s, kh = %s mm", digits(cde, 4),
			digits(kh*1000, 2)),
		Source:      "coefficients recalled from ISO 4377, not read: confirm against the standard",
		Uncertainty: 0.04,
		UncertainBy: "from memory of ISO 4377: 10 Cv - 8 %; CDe is not read",
		Dimensions:  []Constant{{"cross_slope", fmt.Sprintf("1:%s", digits(m, 4))}, {"v_height", digits(v, 4) + " m"}},
	}
	if c := d.optional("coefficient", quantity.None, cde); d.has("coefficient") {
		d.between("coefficient", c, 0.5, 0.8, "CDe, about 0.62")
		cde = c
	}
	approach := readChannel(d, channel{}, height, "crest_height", &description)
	if wide := 2 * m * v; approach.known && approach.section.width(height+v) < wide*(1-1e-9) && len(d.issues) == 0 {
		d.refuse("channel_width",
			fmt.Sprintf("the V of 1:%s, %s m high, is %s m wide, wider than the channel", digits(m, 4), digits(v, 4),
				digits(wide, 4)),
			"a channel at least as wide as the V", "give the height at which the V meets the walls")
	}
	flow := func(h float64) float64 {
		over := func(energy float64) float64 {
			he := math.Max(energy-kh, 0)
			z := 1.0
			if he > v {
				z = 1 - power(1-v/he, 2.5)
			}
			return 0.8 * cde * math.Sqrt(Gravity) * m * z * power(he, 2.5)
		}
		return over(approach.energy(h, over))
	}
	limits := Limits{
		Low:        0.03,
		LowSource:  "h >= 0.03 m (from memory of ISO 4377)",
		High:       math.Max(2.5*height, 0.03),
		HighSource: "h/p <= 2.5 (from memory of ISO 4377)",
		End:        math.Inf(1),
	}
	approach.limit(d, "channel_width", &limits, flow, flatVSection(m, v), 0, "")
	drowned := modularOnly(0.70, "H2/H1 of 0.70 to 0.75 (from memory of ISO 4377)")
	f := &Formula{flow: flow, limits: limits, description: description, drownable: drownable{drowned}}
	return d.tabulate(f, limits.Low/3, approach.smooth(limits.Low/3, math.Min(1.5*limits.High, limits.End), flow))
}

// flatVSection is the opening above the crest: a V of height v and slope m under upright walls.
func flatVSection(m, v float64) section {
	return section{depth: math.Inf(1),
		width: func(y float64) float64 { return 2 * m * math.Min(y, v) },
		area: func(y float64) float64 {
			return float64(m*math.Min(y, v)*math.Min(y, v)) + float64(2*m*v*math.Max(y-v, 0))
		}}
}

// flatVCoefficients interpolates CDe and kh (m) in the cross slope.
func flatVCoefficients(m float64) (cde, kh float64) {
	if m <= 20 {
		w := (m - 10) / 10
		return 0.615 + float64(0.005*w), 0.0008 - float64(0.0003*w)
	}
	w := (m - 20) / 20
	return 0.620 + float64(0.005*w), 0.0005 - float64(0.0001*w)
}
