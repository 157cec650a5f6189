// Package published holds what is published of devices beside their settings: other equations of each kind, the sizes
// that are made, and the ratios of units and spans.
package published

import (
	"fmt"
	"maps"
	"math"
	"strconv"

	"retotal/ingest/quantity"
	"retotal/recompute/device"
)

// Equation is one published equation of a kind of device: it makes a rating of a kind and its keys; nil where these
// allow none.
type Equation struct {
	Name  string
	Build func(kind string, keys map[string]any) device.Rating
}

// Built is a device as it is given; nil where it cannot be built.
func Built(kind string, keys map[string]any) device.Rating {
	if rating, issues := device.Build(kind, keys); len(issues) == 0 {
		return rating
	}
	return nil
}

// With is keys with one of them changed.
func With(keys map[string]any, key string, value any) map[string]any {
	out := maps.Clone(keys)
	if out == nil {
		out = map[string]any{}
	}
	out[key] = value
	return out
}

// Law is a power law in SI.
func Law(coefficient, exponent float64) device.Rating {
	return Built("power", map[string]any{"coefficient": coefficient, "exponent": exponent, "head_unit": "m",
		"flow_unit": "m3/s"})
}

// Equations is the published equations of a kind beside that on record.
func Equations(kind string) []Equation {
	set := func(key, value string) func(string, map[string]any) device.Rating {
		return func(kind string, keys map[string]any) device.Rating {
			if keys[key] == value {
				return nil
			}
			return Built(kind, With(keys, key, value))
		}
	}
	sized := func(key string, of func(size float64) device.Rating) func(string, map[string]any) device.Rating {
		return func(_ string, keys map[string]any) device.Rating {
			if size := SI(keys[key]); size > 0 {
				return of(size)
			}
			return nil
		}
	}
	notch := func(coefficient, exponent float64) func(string, map[string]any) device.Rating {
		return sized("angle", func(a float64) device.Rating { return Law(coefficient*math.Tan(a/2), exponent) })
	}
	crest := func(coefficient float64) func(string, map[string]any) device.Rating {
		return sized("width", func(b float64) device.Rating { return Law(coefficient*b, 1.5) })
	}
	switch kind {
	case "v-notch": // the plain laws are common practice: Cd of 0.585 and 0.611, and the exponents 2.48 and 2.47
		return []Equation{
			{Name: "kindsvater-shen", Build: set("equation", "kindsvater-shen")},
			{Name: "cone", Build: set("equation", "cone")}, {Name: "partial", Build: set("contraction", "partial")},
			{Name: "h^2.5, Cd 0.585", Build: notch(1.382, 2.5)}, {Name: "h^2.5, Cd 0.61", Build: notch(1.443, 2.5)},
			{Name: "h^2.48", Build: notch(1.342, 2.48)}, {Name: "h^2.47", Build: notch(1.32, 2.47)},
		}
	case "rectangular":
		return []Equation{
			{Name: "kindsvater-carter", Build: set("equation", "kindsvater-carter")},
			{Name: "rehbock", Build: set("equation", "rehbock")}, {Name: "francis", Build: set("equation", "francis")},
			{Name: "h^1.5, 1.80", Build: crest(1.80)}, {Name: "h^1.5, 1.86", Build: crest(1.86)},
		}
	case "triangular-profile":
		return []Equation{{Name: "gauged", Build: set("equation", "gauged")},
			{Name: "total head", Build: set("equation", "total-head")}}
	case "parshall", "montana":
		return []Equation{
			{Name: "rounded set", Build: set("set", "rounded")}, {Name: "set of 1950", Build: set("set", "parshall-1950")},
			{Name: "neighbour of the other set", Build: otherSet},
			{Name: "general formula", Build: sized("throat", generalParshall)},
		}
	case "h-flume", "cutthroat", "palmer-bowlus": // fits to a calibration, of which there are others
		return []Equation{{Name: "fit, steeper", Build: refitted(0.02)}, {Name: "fit, flatter", Build: refitted(-0.02)}}
	case "table":
		return []Equation{{Name: "log", Build: set("interpolation", "log")},
			{Name: "linear", Build: set("interpolation", "linear")}}
	}
	return nil
}

// refit is another fit to the calibration of a device: the flow times a power of the head over that of most flow.
type refit struct {
	device.Rating
	exponent, high float64
}

// refitted makes one; fits to one calibration differ by some per cent at low heads.
func refitted(exponent float64) func(string, map[string]any) device.Rating {
	return func(kind string, keys map[string]any) device.Rating {
		own := Built(kind, keys)
		if own == nil {
			return nil
		}
		if high := min(own.Limits().High, own.Limits().End); !math.IsInf(high, 1) {
			return refit{own, exponent, high}
		}
		return nil
	}
}

func (r refit) Flow(head float64) float64 {
	if head <= 0 {
		return 0
	}
	return r.Rating.Flow(head) * math.Pow(head/r.high, r.exponent)
}

func (r refit) Flows(flows, heads []float64) {
	for i, h := range heads {
		flows[i] = r.Flow(h)
	}
}

func (r refit) Describe() device.Description {
	d := r.Rating.Describe()
	d.Equation += ", another fit"
	return d
}

// generalParshall is Q = 4 W ha^(1.522 W^0.026) in feet, for Throats of 1 to 8 ft (Parshall 1950).
func generalParshall(throat float64) device.Rating {
	w := throat / 0.3048
	if w < 0.99 || w > 8.1 {
		return nil
	}
	return Built("power", map[string]any{"coefficient": 4 * w, "exponent": 1.522 * math.Pow(w, 0.026),
		"head_unit": "ft", "flow_unit": "ft3/s"})
}

// otherSet is the flume of the other set whose throat is within 3 % of a throat: 0.30 m for 1 ft.
func otherSet(kind string, keys map[string]any) device.Rating {
	throat := SI(keys["throat"])
	for _, label := range Throats {
		size := SI(label)
		if off := math.Abs(size/throat - 1); off > 0.005 && off < 0.03 {
			return Built(kind, map[string]any{"throat": label})
		}
	}
	return nil
}

// SI is a value of a site file in SI, whatever its dimension; 0 for none.
func SI(value any) float64 {
	switch v := value.(type) {
	case float64:
		return v
	case int64:
		return float64(v)
	case string:
		for _, d := range [...]quantity.Dimension{quantity.LengthDimension, quantity.AngleDimension,
			quantity.FlowDimension} {
			if x, err := quantity.Parse(v, d); err == nil {
				return x.SI
			}
		}
	}
	return 0
}

// Metres writes a length for device.Build.
func Metres(v float64) string { return strconv.FormatFloat(v, 'f', -1, 64) + " m" }

// Throats are the standard Throats of Parshall flumes; device.Build knows them by these labels.
var Throats = []string{"1 in", "2 in", "3 in", "6 in", "9 in", "1 ft", "1.5 ft", "2 ft", "2.5 ft", "3 ft", "4 ft",
	"5 ft", "6 ft", "7 ft", "8 ft", "10 ft", "12 ft", "15 ft", "20 ft", "25 ft", "30 ft", "40 ft", "50 ft", "0.25 m",
	"0.30 m", "0.45 m", "0.60 m", "0.75 m", "0.90 m", "1.00 m", "1.20 m", "1.50 m", "1.80 m", "2.10 m", "2.40 m"}

// HDepths are the depths of H flumes by type, in feet.
var HDepths = map[string][]string{"H": {"0.5 ft", "0.75 ft", "1 ft", "1.5 ft", "2 ft", "2.5 ft", "3 ft", "4.5 ft"},
	"HS": {"0.4 ft", "0.6 ft", "0.8 ft", "1 ft"}, "HL": {"3.5 ft", "4 ft"}}

// Angles are those in which notches are made: plain ones, and a half and a quarter of the flow of 90 deg.
var Angles = []float64{22.5, 28.07, 30, 45, 53.13, 60, 90, 120}

// Usual is a value that people set.
type Usual struct {
	Value float64 // SI
	Label string
}

// FlowRatios are the ratios of flow units that are in use, of decimal places, and of spans.
func FlowRatios() []Usual {
	list := ratios("L/s", "m3/h", "m3/s", "L/min", "ML/d", "m3/d", "ft3/s", "US gal/min", "imp gal/min", "US Mgal/d",
		"imp Mgal/d")
	for _, k := range [...]float64{0.001, 0.01, 0.1, 10, 100, 1000} {
		list = append(list, Usual{k, "times " + quantity.Digits(k, 4)})
	}
	return append(list, SpanRatios()...)
}

// HeadRatios are those of units of length, and of spans.
func HeadRatios() []Usual { return append(ratios("m", "cm", "ft", "in", "mm"), SpanRatios()...) }

// ratios are those of every unit to every other.
func ratios(units ...string) (list []Usual) {
	for _, a := range units {
		for _, b := range units {
			if ratio := quantity.MustLookUp(a).Factor / quantity.MustLookUp(b).Factor; a != b {
				list = append(list, Usual{ratio, a + " for " + b})
			}
		}
	}
	return list
}

// SpanRatios are those of small numbers, as of two spans.
func SpanRatios() (list []Usual) {
	for a := 1; a <= 6; a++ {
		for b := 1; b <= 6; b++ {
			if a != b && greatestDivisor(a, b) == 1 {
				list = append(list, Usual{float64(a) / float64(b), fmt.Sprintf("%d:%d", a, b)})
			}
		}
	}
	return list
}

func greatestDivisor(a, b int) int {
	for b != 0 {
		a, b = b, a%b
	}
	return a
}
