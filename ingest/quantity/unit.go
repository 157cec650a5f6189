package quantity

import (
	"fmt"
	"math"
	"regexp"
	"sort"
	"strconv"
	"strings"
)

// Dimension is what a unit measures.
type Dimension int

// The dimensions that a site file or a log can name.
const (
	None Dimension = iota // a bare number
	LengthDimension
	FlowDimension
	VolumeDimension
	AngleDimension
	TemperatureDimension
	DurationDimension
	PressureDimension
	DensityDimension
	AccelerationDimension
)

var dimensionNames = [...]string{
	"a bare number", "a length", "a flow", "a volume", "an angle", "a temperature", "a duration", "a pressure",
	"a density", "an acceleration",
}
var dimensionExamples = [...]string{
	"2.5", "0.40 m", "12.5 L/s", "3000 m3", "90 deg", "20 degC", "15 min", "25 kPa", "998.2 kg/m3", "9.81 m/s2",
}

// String names the dimension with its article: "a length".
func (d Dimension) String() string { return dimensionNames[d] }

// Example returns a value of the dimension as it is written in a site file.
func (d Dimension) Example() string { return dimensionExamples[d] }

// Unit is a unit of one dimension: SI value = written value × Factor + Offset.
type Unit struct {
	Symbol    string
	Dimension Dimension
	Factor    float64
	Offset    float64 // not zero for degC and degF only
}

// ToSI converts a value written in the unit.
func (u Unit) ToSI(v float64) float64 {
	if u.Offset == 0 {
		return v * u.Factor
	}
	return float64(v*u.Factor) + u.Offset
}

// FromSI converts an SI value into the unit.
func (u Unit) FromSI(v float64) float64 { return (v - u.Offset) / u.Factor }

// Exact definitions: international foot 0.3048 m and inch 25.4 mm (1959); US gallon 231 in³, imperial
// gallon 4.54609 L, acre-foot 43560 ft³ (UCUM ucum-essence: [ft_i], [in_i], [gal_us], [gal_br], [acr_us]·[ft_i]
// differs by 4 ppm; the international acre of 43560 ft² is meant here).
const (
	foot           = 0.3048
	inch           = 0.0254
	cubicFoot      = foot * foot * foot
	usGallon       = 231 * inch * inch * inch
	imperialGallon = 4.54609e-3
	acreFoot       = 43560 * cubicFoot
)

var volumeFactors = map[string]float64{
	"m3": 1, "L": 1e-3, "kL": 1, "ML": 1e3, "ft3": cubicFoot, "US gal": usGallon, "imp gal": imperialGallon,
	"US Mgal": 1e6 * usGallon, "imp Mgal": 1e6 * imperialGallon, "acre-ft": acreFoot,
}

var timeFactors = map[string]float64{"s": 1, "min": 60, "h": 3600, "d": 86400}

// units is every accepted spelling in its canonical form (see canonical).
var units = buildUnits()

func buildUnits() map[string]Unit {
	m := map[string]Unit{}
	add := func(d Dimension, factor, offset float64, symbol string, spellings ...string) {
		u := Unit{symbol, d, factor, offset}
		m[canonical(symbol)] = u
		for _, s := range spellings {
			m[canonical(s)] = u
		}
	}
	add(LengthDimension, 1, 0, "m", "metre", "metres", "meter", "meters")
	add(LengthDimension, 1e-2, 0, "cm")
	add(LengthDimension, 1e-3, 0, "mm")
	add(LengthDimension, foot, 0, "ft", "[ft_i]", "foot", "feet")
	add(LengthDimension, inch, 0, "in", "[in_i]", "inch", "inches")
	add(AngleDimension, math.Pi/180, 0, "deg", "°")
	add(AngleDimension, 1, 0, "rad")
	add(TemperatureDimension, 1, 0, "K")
	add(TemperatureDimension, 1, 273.15, "degC", "°C", "C", "Cel")
	add(TemperatureDimension, 5.0/9, 273.15-32*5.0/9, "degF", "°F", "F", "[degF]")
	addPressures(add)
	for t, seconds := range timeFactors {
		add(DurationDimension, seconds, 0, t)
		for v, cubicMetres := range volumeFactors {
			add(FlowDimension, cubicMetres/seconds, 0, v+"/"+t)
		}
	}
	for v, cubicMetres := range volumeFactors {
		add(VolumeDimension, cubicMetres, 0, v)
	}
	for spelling, symbol := range tradeSpellings {
		m[spelling] = m[symbol]
	}
	return m
}

// ucumVolumes are the volumes that UCUM spells in another way (UCUM ucum-essence; it has no atom for a million gallons,
// which is written as a product), and those of the trade. perTime are spellings of units of time behind a stroke.
var (
	ucumVolumes = map[string]string{
		"[gal_us]":         "US gal",
		"[gal_br]":         "imp gal",
		"[cft_i]":          "ft3",
		"[ft_i]3":          "ft3",
		"1000000.[gal_us]": "US Mgal",
		"1000000.[gal_br]": "imp Mgal",
		"10*6.[gal_us]":    "US Mgal",
		"10*6.[gal_br]":    "imp Mgal",
		"AF":               "acre-ft",
		"ac-ft":            "acre-ft",
		"acre-foot":        "acre-ft",
		"acre-feet":        "acre-ft",
	}
	perTime = map[string]string{"sec": "s", "second": "s", "minute": "min", "hr": "h", "hour": "h", "day": "d"}
	// tradeSpellings have one meaning each, wherever they are used.
	tradeSpellings = map[string]string{
		"cfs": "ft3/s", "lps": "L/s", "cumec": "m3/s", "cumecs": "m3/s", "MLD": "ML/d", "mld": "ML/d",
	}
)

// inverseTime ends the UCUM spelling of a flow without a stroke, as in m3.s-1.
var inverseTime = regexp.MustCompile(`^(.+?)[. ](s|min|h|d)(-1|⁻¹)$`)

var signs = strings.NewReplacer(
	"³", "3", "^", "", "²", "2", "₂", "2", "·", ".", "**", "", "µ", "u", "litre", "L", "liter", "L",
)

// canonical folds the spellings of one unit together: superscripts, Unicode signs, inner blanks, UCUM symbols. Case is
// kept, except of the litre.
func canonical(s string) string {
	s = signs.Replace(strings.Join(strings.Fields(s), " "))
	s = inverseTime.ReplaceAllString(s, "$1/$2")
	volume, per, isFlow := strings.Cut(s, "/")
	switch volume {
	case "l", "kl", "Ml":
		volume = volume[:len(volume)-1] + "L"
	}
	if symbol, ok := ucumVolumes[volume]; ok {
		volume = symbol
	}
	if symbol, ok := perTime[per]; ok {
		per = symbol
	}
	if !isFlow {
		return volume
	}
	return volume + "/" + per
}

// ambiguous units have two meanings in the trade; both are named in the refusal.
var ambiguous = map[string]string{
	"gal":  `"US gal" (3.785 L) or "imp gal" (4.546 L)`,
	"gpm":  `"US gal/min" or "imp gal/min"`,
	"gpd":  `"US gal/d" or "imp gal/d"`,
	"GPM":  `"US gal/min" or "imp gal/min"`,
	"mg":   `"US Mgal" or "imp Mgal"`,
	"MG":   `"US Mgal" or "imp Mgal"`,
	"MGD":  `"US Mgal/d" or "imp Mgal/d"`,
	"mgd":  `"US Mgal/d" or "imp Mgal/d"`,
	"Mgal": `"US Mgal" or "imp Mgal"`,
}

// LookUp returns the unit spelled s. It fails with a clause that says what is wrong and what to write.
func LookUp(s string) (Unit, error) {
	if u, ok := units[canonical(s)]; ok {
		return u, nil
	}
	base, per, _ := strings.Cut(strings.TrimSpace(s), "/")
	if meanings, ok := ambiguous[base]; ok {
		if per != "" {
			meanings += ", per " + per
		}
		return Unit{}, fmt.Errorf("%q has two meanings: write %s", s, meanings)
	}
	return Unit{}, fmt.Errorf("%q is not a known unit", s)
}

// MustLookUp is LookUp for units written in the program; it panics on a slip there.
func MustLookUp(s string) Unit {
	u, err := LookUp(s)
	if err != nil {
		panic(err)
	}
	return u
}

// Symbols lists the units of a dimension, sorted, for messages.
func Symbols(d Dimension) []string {
	seen := map[string]bool{}
	for _, u := range units {
		if u.Dimension == d {
			seen[u.Symbol] = true
		}
	}
	list := make([]string, 0, len(seen))
	for s := range seen {
		list = append(list, s)
	}
	sort.Strings(list)
	return list
}

// Value is a physical value as somebody wrote it and as it is computed with.
type Value struct {
	Text string
	SI   float64
	Unit Unit
}

// Parse reads "0.40 m": a decimal number, blanks, a unit of dimension d. A bare number is accepted for
// dimension None only. NaN, Inf, hexadecimal and digit separators are refused.
func Parse(text string, d Dimension) (Value, error) {
	t := strings.TrimSpace(text)
	if err := withComma(t); err != nil {
		return Value{}, err
	}
	end := numberEnd(t)
	number, unit := t[:end], strings.TrimSpace(t[end:])
	v, err := strconv.ParseFloat(number, 64)
	if err != nil || end == 0 || math.IsInf(v, 0) {
		return Value{}, fmt.Errorf("%q is not a number with a unit; write it as %q", text, d.Example())
	}
	if unit == "" {
		if d == None {
			return Value{Text: t, SI: v, Unit: Unit{Factor: 1}}, nil
		}
		return Value{}, fmt.Errorf("%q has no unit; write it as %s", text, Written(t, d))
	}
	u, err := LookUp(unit)
	if err != nil {
		return Value{}, unknownUnit(text, err, d)
	}
	if u.Dimension != d {
		return Value{}, fmt.Errorf("%q is %s, not %s; write something like %q", text, u.Dimension, d, d.Example())
	}
	si := u.ToSI(v)
	if math.IsInf(si, 0) {
		return Value{}, fmt.Errorf("%q is too large to be real", text)
	}
	return Value{Text: t, SI: si, Unit: u}, nil
}

// Between writes the value that lies a share of the way from one to another of the same unit: "89 deg" halfway from "90
// deg" to "88 deg".
func Between(from, to string, share float64) (string, error) {
	a, unitA, errA := split(from)
	b, unitB, errB := split(to)
	if errA != nil || errB != nil || unitA != unitB {
		return "", fmt.Errorf("%q and %q are not two values of one unit", from, to)
	}
	return strings.TrimSpace(strconv.FormatFloat(a+float64((b-a)*share), 'g', -1, 64) + " " + unitA), nil
}

// Moved writes a value with something added, both in one unit: "90.25 deg" from "90 deg" and a half of "0.5 deg".
func Moved(value, by string, times float64) (string, error) {
	v, unitV, errV := split(value)
	b, unitB, errB := split(by)
	if errV != nil || errB != nil || unitV != unitB {
		return "", fmt.Errorf("%q and %q are not two values of one unit", value, by)
	}
	return strings.TrimSpace(strconv.FormatFloat(v+float64(b*times), 'g', -1, 64) + " " + unitV), nil
}

// split cuts a written value into number and unit.
func split(text string) (v float64, unit string, err error) {
	text = strings.TrimSpace(text)
	end := numberEnd(text)
	v, err = strconv.ParseFloat(text[:end], 64)
	return v, strings.TrimSpace(text[end:]), err
}

// Unit1 is the unit that messages propose for a dimension.
func Unit1(d Dimension) string {
	_, unit, _ := strings.Cut(d.Example(), " ")
	return unit
}

// numberEnd returns the length of the decimal number at the start of t: sign, digits, point, exponent.
func numberEnd(t string) int {
	i, digits := 0, 0
	if i < len(t) && (t[i] == '+' || t[i] == '-') {
		i++
	}
	for ; i < len(t) && (t[i] >= '0' && t[i] <= '9' || t[i] == '.'); i++ {
		if t[i] != '.' {
			digits++
		}
	}
	if digits == 0 {
		return 0
	}
	if i < len(t) && (t[i] == 'e' || t[i] == 'E') {
		j := i + 1
		if j < len(t) && (t[j] == '+' || t[j] == '-') {
			j++
		}
		start := j
		for j < len(t) && t[j] >= '0' && t[j] <= '9' {
			j++
		}
		if j > start {
			i = j
		}
	}
	return i
}
