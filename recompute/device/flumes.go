package device

import (
	"fmt"
	"math"
	"strings"
)

// newMontana reads throat. What: a Parshall flume without throat and exit, for free outfall. Equation: the Parshall
// flume's of that size (the same coefficients read in open code for 2 and 3 in). Limits: those of the Parshall flume.
// Drowned as soon as water stands above its floor below it: no limit and no correction exist.
func newMontana(d *dimensions) Rating {
	r, ok := newParshall(d).(*Formula)
	if !ok {
		return r
	}
	m := *r
	m.drowning = modularOnly(0, "free outfall only: no limit and no correction for submergence exist (read)")
	m.description.Kind, m.description.Name = "montana", "Montana flume, throat "+d.text("throat")
	m.description.Source = "rated as the Parshall flume of that throat; " + r.description.Source
	m.description.Advice = []string{"for free outfall only: a Montana flume has no correction for submergence"}
	return &m
}

// hSize is one H flume: log10 Q = A + B log10 h + C (log10 h)², m³/s and m.
type hSize struct {
	kind    string
	depth   float64 // ft
	a, b, c float64
	read    bool
}

// hFlumes are the USDA flumes (Bos 1989 after Gwinn and Parsons 1976). Base-10 logarithms. The row HL 4 ft was read in
// an open script; the others are from memory; they meet the capacities of Agriculture Handbook 224 within 1.2 % and
// each other by geometric similarity.
var hFlumes = []hSize{
	{"HS", 0.4, -0.4361, 2.5151, 0.1379, false}, {"HS", 0.6, -0.4430, 2.4908, 0.1657, false},
	{"HS", 0.8, -0.4410, 2.4571, 0.1762, false}, {"HS", 1.0, -0.4382, 2.4193, 0.1790, false},
	{"H", 0.5, 0.0372, 2.6629, 0.1954, false}, {"H", 0.75, 0.0351, 2.6434, 0.2243, false}, {"H", 1.0, 0.0206, 2.5902, 0.2281, false},
	{"H", 1.5, 0.0238, 2.5473, 0.2540, false}, {"H", 2.0, 0.0237, 2.4918, 0.2605, false}, {"H", 2.5, 0.0268, 2.4402, 0.2600, false},
	{"H", 3.0, 0.0329, 2.3977, 0.2588, false}, {"H", 4.5, 0.0588, 2.3032, 0.2547, false},
	{"HL", 3.5, 0.3081, 2.3935, 0.2911, false}, {"HL", 4.0, 0.3160, 2.3466, 0.2794, true},
}

// newHFlume reads type ("H", "HS" or "HL") and depth (nominal).
//
// What: USDA flume for field runoff. Equation: log10 Q = A + B log10 h + C (log10 h)². Limits: 0.02 ft and 0.05 D to D
// less 0.01 ft (from memory). Uncertainty: 3 % (from memory of Bos 1989). Sources: see hFlumes.
func newHFlume(d *dimensions) Rating {
	kind := d.choice("type", "H", "HS", "HL")
	var sizes []string
	for _, s := range hFlumes {
		if s.kind == kind {
			sizes = append(sizes, digits(s.depth, 4)+" ft")
		}
	}
	depth := d.size("depth", "one of "+strings.Join(sizes, ", "), [2]string{"ft", "mm"})
	for _, s := range hFlumes {
		if s.kind != kind || math.Abs(depth/0.3048/s.depth-1) > 0.005 {
			continue
		}
		return s.rating()
	}
	if !d.failed("depth") {
		d.refuse("depth", fmt.Sprintf("%q is not a size of the %s flume", d.text("depth"), kind),
			"one of "+strings.Join(sizes, ", "),
			"for another size use kind = \"table\" with the points of its calibration")
	}
	return &Formula{}
}

func (s hSize) rating() Rating {
	const least = 1e-3 // m; below it a power law goes on, since the parabola turns up near no flow
	log := func(h float64) float64 {
		l := math.Log10(h)
		return s.a + float64(l*(s.b+float64(s.c*l)))
	}
	exponent := func(h float64) float64 { return s.b + float64(2*s.c*math.Log10(h)) }
	flow := func(h float64) float64 {
		if h < least {
			return math.Pow(10, log(least)) * math.Pow(h/least, exponent(least))
		}
		return math.Exp(math.Ln10 * log(h))
	}
	standing := "coefficients from memory of Bos 1989, not read; they meet the handbook's capacities within 1.2 %"
	if s.read {
		standing = "coefficients of Bos 1989, read"
	}
	depth := s.depth * 0.3048
	return &Formula{flow: flow, slope: func(h float64) float64 { return flow(h) * exponent(math.Max(h, least)) / h },
		limits: Limits{
			Low:        math.Max(0.02*0.3048, 0.05*depth),
			LowSource:  "0.05 D (from memory)",
			High:       depth - 0.01*0.3048,
			HighSource: "D less 0.01 ft (from memory)",
			End:        depth,
			EndSource:  "top of the flume",
		},
		drownable: drownable{modularOnly(0.25, "25 % changes the flow by less than about 1 % (from memory)")},
		description: Description{
			Kind:        "h-flume",
			Name:        fmt.Sprintf("%s flume, D = %s ft", s.kind, digits(s.depth, 4)),
			Equation:    fmt.Sprintf("log10 Q = %.4f + %.4f log10 h + %.4f (log10 h)^2", s.a, s.b, s.c),
			Source:      standing,
			Uncertainty: 0.03,
			UncertainBy: "from memory of Bos 1989",
			Dimensions:  []Constant{{"type", s.kind}, {"depth", digits(s.depth, 4) + " ft"}},
			Advice:      []string{"submergence above 25 to 30 % is not covered (from memory)"},
		}}
}

// cutthroatSize is one flume: Q = C hu^n in ft and ft³/s.
type cutthroatSize struct{ length, throat, c float64 } // in

// cutthroatSizes are read in an encyclopaedia article (two copies); its last row prints 12 in for 72 in, which C shows.
var cutthroatSizes = []cutthroatSize{
	{18, 1, 0.494}, {18, 2, 0.974}, {18, 4, 1.975}, {18, 8, 4.03}, {36, 2, 0.719}, {36, 4, 1.459}, {36, 8, 2.97}, {36, 16, 6.04},
	{54, 3, 0.96}, {54, 6, 1.96}, {54, 12, 3.98}, {54, 24, 8.01}, {108, 12, 3.5}, {108, 24, 7.11}, {108, 48, 14.49}, {108, 72, 22.0},
}

// newCutthroat reads length and throat of a standard size, or coefficient and exponent (ft, ft³/s) for another; and the
// optional drowned_coefficient and drowned_exponent of the submerged equation, which was found for no size.
//
// What: flat-floored flume without a parallel throat. Equation: free flow Q = C hu^n, n = 2.15, 1.84, 1.72, 1.56 for
// 18, 36, 54 and 108 in (read). Limits: hu/L ≤ 0.33 for free flow (read, Royal Irrigation Department). Uncertainty:
// none is published. Submergence: the limit is not sharp (read: Torres and Merkley 2007); drowned flow is flagged, not
// computed.
func newCutthroat(d *dimensions) Rating {
	length := d.size("length", "one of 18 in, 36 in, 54 in, 108 in", sizeUnits)
	throat := d.size("throat", cutthroatThroats(), sizeUnits)
	d.between("length", length, 0.2, 10, "a length above 0")
	d.between("throat", throat, 0.01, 10, "a throat above 0")
	exponents := map[float64]float64{18: 2.15, 36: 1.84, 54: 1.72, 108: 1.56}
	c, n, source := 0.0, 0.0, "C and n read in an encyclopaedia article (two copies); no standard covers the device"
	for _, s := range cutthroatSizes {
		if math.Abs(length/0.0254/s.length-1) < 0.005 && math.Abs(throat/0.0254/s.throat-1) < 0.005 {
			c, n = s.c, exponents[s.length]
		}
	}
	if d.has("coefficient") || d.has("exponent") {
		c, n, source = d.number("coefficient"), d.number("exponent"), "coefficient and exponent of the user (ft, ft3/s)"
		d.between("exponent", n, 1, 3, "an exponent of about 1.5 to 2.2")
	}
	if c <= 0 && len(d.issues) == 0 {
		d.refuse("throat",
			fmt.Sprintf("a cutthroat flume of %s by %s is not a standard size", d.text("length"), d.text("throat")),
			"lengths of 18, 36, 54 or 108 in with their throats", cutthroatHint(length/0.3048, throat/0.3048))
	}
	k := c * cubicFoot / math.Pow(0.3048, n)
	drowned := cutthroatDrowned(d, length, n)
	return &Power{coefficient: k, exponent: n,
		limits: Limits{High: 0.33 * length, HighSource: "hu/L <= 0.33 for free flow (read)", End: math.Inf(1)},
		description: Description{
			Kind:       "cutthroat",
			Name:       fmt.Sprintf("cutthroat flume %s by %s", d.text("length"), d.text("throat")),
			Equation:   fmt.Sprintf("Q = %s hu^%s (m3/s, m), free flow", digits(k, 5), digits(n, 4)),
			Source:     source,
			Dimensions: []Constant{{"length", d.text("length")}, {"throat", d.text("throat")}},
			Advice: []string{
				"free flow only; where drowning sets in depends on the flow (Torres and Merkley 2007)",
			},
		},
		drownable: drownable{drowned}}
}

// cutthroatThroats lists the standard throats of each length.
func cutthroatThroats() string {
	var b strings.Builder
	for i, s := range cutthroatSizes {
		switch {
		case i == 0:
			fmt.Fprintf(&b, "at a length of %s in one of", digits(s.length, 4))
		case s.length != cutthroatSizes[i-1].length:
			fmt.Fprintf(&b, "; of %s in one of", digits(s.length, 4))
		default:
			b.WriteString(",")
		}
		fmt.Fprintf(&b, " %s in", digits(s.throat, 4))
	}
	return b.String()
}

// cutthroatDrowned is the modular limit by length, which is not sharp, and with the user's Cs and ns Q = Cs (hu − hd)^n
// / (−log10 S)^ns up to S = 0.95, in ft and ft³/s (form read: Royal Irrigation Department).
func cutthroatDrowned(d *dimensions, length, n float64) *drowning {
	drowned := modularOnly(cutthroatModular(length), "recalled for the length, not sharp")
	if !d.has("drowned_coefficient") && !d.has("drowned_exponent") {
		return drowned
	}
	cs, ns := d.number("drowned_coefficient"), d.number("drowned_exponent")
	d.between("drowned_coefficient", cs, 0.001, 1000, "Cs for ft and ft3/s, above 0")
	d.between("drowned_exponent", ns, 0.5, 3, "ns, about 1.2 to 1.75")
	drowned.end = 0.95
	drowned.source = "limit recalled for the length, not sharp; Cs (hu - hd)^n / (-log10 S)^ns with the user's " +
		"Cs and ns (form read, Royal Irrigation Department), to S = 0.95 (read)"
	drowned.flow = func(h, hd, _ float64) (float64, float64, bool) {
		return cs * math.Pow((h-hd)/0.3048, n) / math.Pow(-math.Log10(hd/h), ns) * cubicFoot, 0.10, true
	}
	return drowned
}

// cutthroatHint gives the power law of a throat that is not a standard size: C = K W^1.025 in ft, K by length (read in
// an encyclopaedia article; within
// 0.3 % of the tabulated C but for two sizes).
func cutthroatHint(length, throat float64) string {
	for _, s := range [][3]float64{{1.5, 6.100, 2.15}, {3, 4.500, 1.84}, {4.5, 3.980, 1.72}, {9, 3.500, 1.56}} {
		if math.Abs(length/s[0]-1) < 0.005 && throat > 0 {
			return fmt.Sprintf("or give coefficient = %s and exponent = %s for ft and ft3/s (K W^1.025 of "+
				"this length)",
				digits(s[1]*math.Pow(throat, 1.025), 4), digits(s[2], 4))
		}
	}
	return "or give coefficient and exponent for ft and ft3/s"
}

// cutthroatModular is where drowning sets in by length, from memory: 60, 65, 70 and 80 % for 18, 36, 54 and 108 in.
func cutthroatModular(length float64) float64 {
	switch inches := length / 0.0254; {
	case inches < 27:
		return 0.60
	case inches < 45:
		return 0.65
	case inches < 81:
		return 0.70
	}
	return 0.80
}

// newManning reads section ("circular", "rectangular", "trapezoidal" or "U"), its dimensions, roughness (Manning's n)
// and slope.
//
// What: uniform flow in a channel or a pipe that is not full. Equation: Q = (1/n) A R^(2/3) S^(1/2) (read: EPA SWMM
// Vol. II). Limits: in a pipe the flow is two-valued above y/D = 0.82 and greatest at 0.938 (1.076 of full); above 0.82
// the status says so, and at the crown the rating ends. Uncertainty: 15 % unless calibrated: that of n (from memory, 10
// to 20 %).
func newManning(d *dimensions) Rating {
	s := readSection(d, "circular", "rectangular", "trapezoidal", "U")
	n, slope := d.number("roughness"), d.number("slope")
	d.between("roughness", n, 0.005, 0.3, "Manning's n, about 0.009 to 0.05")
	d.between("slope", slope, 1e-7, 0.5, "a slope such as 0.002 (2 m in 1 km)")
	root := math.Sqrt(math.Max(slope, 0)) / math.Max(n, 1e-9)
	limits := Limits{High: math.Inf(1), End: math.Inf(1)}
	if !math.IsInf(s.depth, 1) {
		limits = Limits{
			High:       0.82 * s.depth,
			HighSource: "y/D <= 0.82: above it the pipe may run full, and two depths have one flow",
			End:        s.depth,
			EndSource:  "crown of the pipe",
		}
	}
	flow := func(h float64) float64 {
		y := math.Min(h, s.depth)
		a := s.area(y)
		return root * a * math.Pow(a/s.perimeter(y), 2.0/3)
	}
	description := Description{
		Kind:        "manning",
		Name:        s.name + " channel, uniform flow",
		Equation:    fmt.Sprintf("Q = (1/n) A R^(2/3) S^(1/2), n = %s, S = %s", digits(n, 4), digits(slope, 4)),
		Source:      "Manning's equation, read: EPA SWMM Vol. II",
		Uncertainty: 0.15,
		UncertainBy: "from memory: 10 to 20 % unless calibrated, that of the roughness",
		Dimensions: append([]Constant{{"roughness", digits(n, 4)}, {"slope", digits(slope, 4)}},
			s.dims...),
		Advice: []string{"holds for uniform flow without backwater and without silt; calibrate it by gauging"},
	}
	top := 3 * math.Max(s.size, 0.2)
	if !math.IsInf(s.depth, 1) {
		top = 0.93 * s.depth
	}
	still := modularOnly(1,
		"uniform flow has no modular limit; water below that stands as high as above shows backwater")
	f := &Formula{
		flow:        flow,
		limits:      limits,
		peak:        peakOf(flow, limits.End),
		description: description,
		drownable:   drownable{still},
	}
	return d.tabulate(f, 0.02*top, top)
}
