package device

import (
	"fmt"
	"math"
	"strings"
)

// parshallSize is one standard throat: Q = C ha^n, free flow, with its range of heads in metres.
type parshallSize struct {
	label             string
	throat            float64 // m
	coefficient       float64 // in the units of the set
	exponent          float64
	headLow, headHigh float64 // m
	modularLimit      float64 // hb/ha
	standing          string  // how the coefficient is known
}

// The standings of the Parshall coefficients.
const (
	confirmed = "C and n from memory, confirmed by metric tables that were read in open teaching code " +
		"(within 0.33 %)"
	consistent     = "C and n from memory; they follow Q = (3.6875 W + 2.5) ha^1.6 to the last digit"
	generalFormula = "not among the sizes of the table: Q = 4 W ha^(1.522 W^0.026), which holds from 1 to 8 ft, " +
		"evaluated; range of its neighbours"
	isoRead     = "read: quoted from ISO 9826:1992 table 3 in an open flow solver's tutorial"
	isoRecalled = "recalled from ISO 9826:1992, not read; within 0.3 % of the US formula at the same throat"
)

// parshallUS is the US set, C in ft and ft³/s (Parshall 1950, USDA SCS Circular 843; Q = 4 W ha^(1.522 W^0.026)
// from 1 to 8 ft). Ranges of head recalled from Bos (1989) and ISO 9826. Modular limits 0.50, 0.60, 0.70, 0.80 by
// size group: read in open code. The rounded two-decimal set of some handbooks is not this one: at 1 ft it reads
// 7.4 % lower at ha = 0.1 ft.
var parshallUS = []parshallSize{
	{"1 in", 1 * 0.0254, 0.338, 1.55, 0.015, 0.21, 0.5, confirmed},
	{"2 in", 2 * 0.0254, 0.676, 1.55, 0.015, 0.24, 0.5, confirmed},
	{"3 in", 3 * 0.0254, 0.992, 1.547, 0.03, 0.33, 0.5, confirmed},
	{"6 in", 6 * 0.0254, 2.06, 1.58, 0.03, 0.45, 0.6, confirmed},
	{"9 in", 9 * 0.0254, 3.07, 1.53, 0.03, 0.61, 0.6, confirmed},
	{"1 ft", 1 * 0.3048, 4.00, 1.522, 0.03, 0.76, 0.7, confirmed},
	{"1.5 ft", 1.5 * 0.3048, 6.00, 1.538, 0.03, 0.76, 0.7, confirmed},
	{"2 ft", 2 * 0.3048, 8.00, 1.550, 0.046, 0.76, 0.7, confirmed},
	{"2.5 ft", 2.5 * 0.3048, 10.00, 1.522 * math.Pow(2.5, 0.026), 0.046, 0.76, 0.7, generalFormula},
	{"3 ft", 3 * 0.3048, 12.00, 1.566, 0.046, 0.76, 0.7, confirmed},
	{"4 ft", 4 * 0.3048, 16.00, 1.578, 0.06, 0.76, 0.7, confirmed},
	{"5 ft", 5 * 0.3048, 20.00, 1.587, 0.06, 0.76, 0.7, confirmed},
	{"6 ft", 6 * 0.3048, 24.00, 1.595, 0.076, 0.76, 0.7, confirmed},
	{"7 ft", 7 * 0.3048, 28.00, 1.601, 0.076, 0.76, 0.7, confirmed},
	{"8 ft", 8 * 0.3048, 32.00, 1.607, 0.076, 0.76, 0.7, confirmed},
	{"10 ft", 10 * 0.3048, 39.38, 1.6, 0.09, 1.07, 0.8, confirmed},
	{"12 ft", 12 * 0.3048, 46.75, 1.6, 0.09, 1.37, 0.8, consistent},
	{"15 ft", 15 * 0.3048, 57.81, 1.6, 0.09, 1.67, 0.8, consistent},
	{"20 ft", 20 * 0.3048, 76.25, 1.6, 0.09, 1.83, 0.8, confirmed},
	{"25 ft", 25 * 0.3048, 94.69, 1.6, 0.09, 1.83, 0.8, consistent},
	{"30 ft", 30 * 0.3048, 113.13, 1.6, 0.09, 1.83, 0.8, consistent},
	{"40 ft", 40 * 0.3048, 150.00, 1.6, 0.09, 1.83, 0.8, consistent},
	{"50 ft", 50 * 0.3048, 186.88, 1.6, 0.09, 1.83, 0.8, consistent},
}

// parshallISO is the metric set of ISO 9826:1992, C in m and m³/s. Its larger sizes equal the US ones.
var parshallISO = []parshallSize{
	{"0.25 m", 0.25, 0.561, 1.513, 0.03, 0.60, 0.7, isoRecalled},
	{"0.30 m", 0.30, 0.679, 1.521, 0.03, 0.75, 0.7, isoRecalled},
	{"0.45 m", 0.45, 1.038, 1.537, 0.03, 0.75, 0.7, isoRecalled},
	{"0.60 m", 0.60, 1.403, 1.548, 0.05, 0.75, 0.7, isoRecalled},
	{"0.75 m", 0.75, 1.772, 1.557, 0.06, 0.75, 0.7, isoRecalled},
	{"0.90 m", 0.90, 2.147, 1.565, 0.06, 0.75, 0.7, isoRecalled},
	{"1.00 m", 1.00, 2.397, 1.569, 0.06, 0.80, 0.7, isoRecalled},
	{"1.20 m", 1.20, 2.904, 1.577, 0.06, 0.80, 0.7, isoRecalled},
	{"1.50 m", 1.50, 3.668, 1.586, 0.06, 0.80, 0.7, isoRecalled},
	{"1.80 m", 1.80, 4.440, 1.593, 0.08, 0.80, 0.7, isoRecalled},
	{"2.10 m", 2.10, 5.222, 1.599, 0.08, 0.80, 0.7, isoRecalled},
	{"2.40 m", 2.40, 6.004, 1.605, 0.08, 0.80, 0.7, isoRead},
}

// parshallRounded are the sizes whose coefficients differ in the rounded two-decimal US set of some handbooks, C in ft
// and ft³/s (from memory, not confirmed): at 1 ft it reads from 7.4 % less (ha = 0.1 ft) to 1.3 % more (2.5 ft) than
// the set of Parshall 1950.
var parshallRounded = map[string][2]float64{
	"3 in": {0.992, 1.55}, "1 ft": {3.95, 1.55}, "1.5 ft": {6.00, 1.54}, "3 ft": {12.00, 1.57}, "4 ft": {16.00, 1.58},
	"5 ft": {20.00, 1.59}, "6 ft": {24.00, 1.59}, "7 ft": {28.00, 1.60}, "8 ft": {32.00, 1.61},
}

// newParshall reads throat, the nominal width of a standard flume in any unit, and the optional set ("parshall-1950" or
// "rounded"). A throat within 0.5 % of a standard size is that size (0.61 m is the 2 ft flume; 0.60 m is the metric
// one).
//
// What: flume with a level converging floor, a throat falling 3:8 and a rising outlet. Equation: Q = C ha^n, free flow,
// ha at two thirds of the converging wall upstream of the throat; drowned flow by Parshall's deduction and by the Utah
// State equation, see parshallDrowned. Limits: range of heads per size; free flow while hb/ha is at most 0.5 to 0.8 by
// size. Uncertainty: 3 % (from memory of Bos 1989), 3 to 5 % in the field (Ferreira et al. 2021, second hand). Sources:
// see parshallUS and parshallISO.
func newParshall(d *dimensions) Rating {
	throat := d.size("throat", "one of "+parshallLabels(), sizeUnits)
	rounded := d.choice("set", "parshall-1950", "rounded") == "rounded"
	size, us := nearestParshall(throat)
	if size == nil {
		if !d.failed("throat") {
			d.refuse("throat", fmt.Sprintf("%q is not a standard throat", d.text("throat")),
				"one of "+parshallLabels(), parshallHint(throat/0.3048))
		}
		return &Formula{}
	}
	if rounded && !us {
		d.refuse("set", "the rounded set has US sizes only", "", "leave set out for a metric flume")
	}
	c, n, set, standing := size.coefficient, size.exponent, "metric set of ISO 9826", size.standing
	if us {
		set = "US set of Parshall 1950, unrounded exponents"
		if rounded {
			set = "rounded two-decimal US set"
			if r, ok := parshallRounded[size.label]; ok {
				c, n, standing = r[0], r[1], "from memory, not read and not confirmed"
			}
		}
		c *= cubicFoot / math.Pow(0.3048, n)
	}
	free := func(h float64) float64 { return c * power(h, n) }
	return &Formula{
		flow: free, slope: func(h float64) float64 { return n * free(h) / h },
		limits: Limits{Low: size.headLow, High: size.headHigh, End: math.Inf(1),
			LowSource: "recalled from Bos 1989 / ISO 9826", HighSource: "recalled from Bos 1989 / ISO 9826"},
		description: Description{Kind: "parshall", Name: "Parshall flume, throat " + size.label,
			Equation:    fmt.Sprintf("Q = %s ha^%s (m3/s, m), free flow", digits(c, 5), digits(n, 4)),
			Source:      set + "; " + standing,
			Uncertainty: 0.03, UncertainBy: "from memory of Bos 1989; field installations 3 to 5 %",
			Dimensions: []Constant{{"throat", size.label}},
			Advice: []string{fmt.Sprintf("a downstream head above %.0f %% of ha drowns this flume, which the "+
				"upstream level alone cannot show", size.modularLimit*100)}},
		drownable: drownable{parshallDrowned(throat/0.3048, size.modularLimit, !us)},
	}
}

// cubicFoot is 1 ft³ in m³.
const cubicFoot = 0.3048 * 0.3048 * 0.3048

// utahSize is the submerged equation of one throat: Q = C1 (ha − hb)^n1 / [−(log10 S + 0.0044)]^n2, ft and ft³/s.
type utahSize struct{ throat, c1, n1, n2 float64 }

// utahState is the table of Skogerboe, Hyatt, England and Johnson (1967): form read in an open manual, coefficients
// from memory; at the transition they return free flow within 2.4 %.
var utahState = []utahSize{
	{1.0 / 12, 0.299, 1.55, 1.0}, {2.0 / 12, 0.612, 1.55, 1.0}, {0.25, 0.915, 1.55, 1.0}, {0.5, 1.66, 1.58, 1.08}, {0.75, 2.51, 1.53, 1.06},
	{1, 3.11, 1.52, 1.08}, {1.5, 4.42, 1.54, 1.115}, {2, 5.94, 1.55, 1.14}, {3, 8.60, 1.56, 1.16}, {4, 11.10, 1.57, 1.185}, {5, 13.55, 1.58, 1.205},
	{6, 15.85, 1.59, 1.23}, {7, 18.15, 1.60, 1.25}, {8, 20.40, 1.60, 1.26}, {10, 24.79, 1.59, 1.275}, {12, 29.34, 1.59, 1.275}, {15, 36.17, 1.59, 1.275},
	{20, 47.56, 1.59, 1.275}, {25, 58.95, 1.59, 1.275}, {30, 70.34, 1.59, 1.275}, {40, 93.11, 1.59, 1.275}, {50, 115.89, 1.59, 1.275},
}

// parshallDeduction is what submergence takes from the free flow of a flume of 1 to 8 ft: QE = W^0.815
// {[ha/((1.8/S)^1.8 − 2.45)]^(4.57−3.14 S) + 0.093 S}, ft and ft³/s, 0.70 < S ≤ 0.90 (Parshall; read as code in an open
// script).
func parshallDeduction(feet, ha, s float64) float64 {
	return math.Pow(feet, 0.815) * (math.Pow(ha/(math.Pow(1.8/s, 1.8)-2.45), 4.57-float64(3.14*s)) + float64(0.093*s))
}

// parshallEnd is the submergence above which neither method is usable: Parshall's deduction is given to there, and the
// two differ by 11 to 29 % at 0.95.
const parshallEnd = 0.90

// parshallDrowned computes drowned flow by both published methods where both hold, and takes their mean with half their
// spread, and 5 %, as uncertainty; where one holds alone, 10 %. At S = 0.70 the deduction is already 2 to 6 % of the
// flow: the total steps there. The metric sizes take the deduction from 0.25 m (from memory of ISO 9826), the US ones
// from 1 to 8 ft.
func parshallDrowned(feet, modular float64, metric bool) *drowning {
	deducted := feet > 0.99 && feet < 8.1 || metric
	if !deducted && utahOf(feet) == nil {
		return modularOnly(modular, "limit by size read in open code")
	}
	return &drowning{
		modular: modular,
		end:     parshallEnd,
		source: "limit by size read in open code; " + parshallMethods(deducted, metric, utahOf(feet) != nil) +
			", to hb/ha = 0.90",
		flow: func(h, hd, free float64) (float64, float64, bool) {
			ha := h / 0.3048
			var flows []float64
			if deducted && hd/h > 0.70 {
				flows = append(flows, free-float64(parshallDeduction(feet, ha, hd/h)*cubicFoot))
			}
			if u := utahOf(feet); u != nil {
				flows = append(flows, u.flow(ha, hd/0.3048))
			}
			switch len(flows) {
			case 0: // between a modular limit below 0.70 and the start of the deduction
				return free, 0.10, true
			case 1:
				return flows[0], 0.10, true
			}
			mean := (flows[0] + flows[1]) / 2
			return mean, math.Max(0.05, math.Abs(flows[0]-flows[1])/2/mean), true
		},
	}
}

// parshallMethods names the methods that hold for a size.
func parshallMethods(deducted, metric, utah bool) string {
	deduction := "Parshall's deduction (read for 1 to 8 ft)"
	if metric {
		deduction = "Parshall's deduction (read for 1 to 8 ft; for the metric sizes from memory of ISO 9826)"
	}
	const equation = "the Utah State equation (form read, coefficients from memory)"
	switch {
	case deducted && utah:
		return "mean of " + deduction + " and " + equation
	case deducted:
		return deduction
	}
	return equation
}

// utahOf returns the submerged equation of a throat within 1 % of one of the table; nil for others.
func utahOf(feet float64) *utahSize {
	for i := range utahState {
		if math.Abs(feet/utahState[i].throat-1) < 0.01 {
			return &utahState[i]
		}
	}
	return nil
}

// flow returns the submerged flow in m³/s for heads in feet.
func (u *utahSize) flow(ha, hb float64) float64 {
	return u.c1 * math.Pow(ha-hb, u.n1) / math.Pow(-(float64(math.Log10(hb/ha))+0.0044), u.n2) * cubicFoot
}

// parshallHint gives the power law of a throat that is not a standard size, by the general formulas (see parshallUS),
// from 1 to 50 ft.
func parshallHint(feet float64) string {
	c, n := 4*feet, 1.522*math.Pow(feet, 0.026)
	switch {
	case feet >= 10 && feet <= 50:
		c, n = float64(3.6875*feet)+2.5, 1.6
	case feet < 1 || feet > 8:
		return `for another size use kind = "power" with the coefficients of its calibration`
	}
	return fmt.Sprintf(`for a flume of these proportions the general formula gives kind = "power", coefficient = `+
		`%s, exponent = %s, `+
		`head_unit = "ft", flow_unit = "ft3/s"`, digits(c, 4), digits(n, 4))
}

// nearestParshall returns the standard size within 0.5 % of a throat in metres, and whether it is of the US set.
func nearestParshall(throat float64) (size *parshallSize, us bool) {
	for i := range parshallUS {
		if math.Abs(throat/parshallUS[i].throat-1) < 0.005 {
			return &parshallUS[i], true
		}
	}
	for i := range parshallISO {
		if math.Abs(throat/parshallISO[i].throat-1) < 0.005 {
			return &parshallISO[i], false
		}
	}
	return nil, false
}

func parshallLabels() string {
	var names []string
	for _, s := range append(append([]parshallSize{}, parshallUS...), parshallISO...) {
		names = append(names, s.label)
	}
	return strings.Join(names, ", ")
}
