package device

import (
	"fmt"
	"maps"
	"math"
	"slices"
	"strings"

	"retotal/ingest/quantity"
)

// Issue is something wrong with one key of a device, in the words of package problem but without a place,
// which only the reader of the site file knows. Unknown is set for a key that the device does not have;
// Known then lists the keys it has.
type Issue struct {
	Key, Found, Expected, Remedy string
	Unknown                      bool
	Known                        []string
}

// Kinds lists the device kinds, sorted.
func Kinds() []string {
	return slices.Sorted(maps.Keys(kinds))
}

// kinds is the one table of devices: a name in the site file, and how its keys become a rating.
var kinds map[string]kind

// kind is one line of the table.
type kind struct {
	build    func(*dimensions) Rating
	sentence string // what it is
	keys     []string
	example  map[string]any // a device of the kind, as a site file has it
}

func init() { // a compound is made of other kinds, so the table cannot name its builder while it is set up
	approach := []string{"crest_height", "channel_width"}
	with := func(more []string, keys ...string) []string { return append(keys, more...) }
	crested := with(approachKeys, "crest_height", "coefficient")
	throat := with(approachKeys, "throat_length", "hump", "coefficient", "exit_expansion")
	shape := []string{"section", "width", "side_slope", "diameter"}
	kinds = map[string]kind{
		"v-notch": {
			newVNotch, "V-notch thin-plate weir: Kindsvater-Shen, Cone, 90 deg partially contracted",
			with(approach, "angle", "equation", "contraction", "notch_height"),
			map[string]any{"angle": "90 deg"},
		},
		"rectangular": {
			newRectangular, "rectangular thin-plate weir: Kindsvater-Carter, Rehbock, Francis",
			with(approach, "width", "equation", "contractions"),
			map[string]any{"width": "0.5 m", "channel_width": "1.2 m", "crest_height": "40 cm"},
		},
		"cipolletti": {
			newCipolletti, "Cipolletti weir, sides 1:4", with(approach, "width"), map[string]any{"width": "2 ft"},
		},
		"compound": {
			newCompound, "V-notch under a rectangular section",
			with(approach, "angle", "notch_coefficient", "notch_height", "shoulder_width", "crest_coefficient"),
			map[string]any{"angle": "90 deg", "notch_height": "0.3 m", "shoulder_width": "1.2 m"},
		},
		"side-by-side": {newSideBySide, "two or more devices side by side at their own crest levels", []string{"parts"},
			map[string]any{"parts": []any{map[string]any{"kind": "v-notch", "angle": "90 deg"},
				map[string]any{
					"kind":        "power",
					"crest":       "0.3 m",
					"coefficient": 2.2,
					"exponent":    1.5,
					"head_unit":   "m",
					"flow_unit":   "m3/s",
				}}}},
		"parshall": {
			newParshall, "Parshall flume, standard US and metric throats", []string{"throat", "set"},
			map[string]any{"throat": "9 in"},
		},
		"montana": {
			newMontana, "Montana flume: Parshall without throat, free outfall", []string{"throat", "set"},
			map[string]any{"throat": "6 in"},
		},
		"h-flume": {
			newHFlume, "USDA H, HS and HL flumes", []string{"type", "depth"},
			map[string]any{"type": "H", "depth": "1.5 ft"},
		},
		"cutthroat": {
			newCutthroat, "cutthroat flume, free flow",
			[]string{"length", "throat", "coefficient", "exponent", "drowned_coefficient", "drowned_exponent"},
			map[string]any{"length": "36 in", "throat": "8 in"},
		},
		"throated": {
			newThroated, "long-throated flume: rectangular, trapezoidal or U throat", with(throat, shape...),
			map[string]any{
				"section": "rectangular", "width": "0.3 m", "throat_length": "0.6 m", "channel_width": "0.6 m",
			},
		},
		"trapezoidal": {
			newTrapezoidalFlume, "trapezoidal or V-shaped flume with a throat long enough for critical flow",
			with(throat, "width", "side_slope"),
			map[string]any{"width": "5 cm", "side_slope": 0.5, "throat_length": "0.4 m"},
		},
		"palmer-bowlus": {newPalmerBowlus, "Palmer-Bowlus flume: trapezoidal throat in a pipe", with(approachKeys,
			"diameter", "throat_width", "throat_ramp", "throat_slope", "throat_length", "coefficient"),
			map[string]any{"diameter": "12 in"}},
		"broad-crested": {
			newBroadCrested, "rectangular broad-crested weir, square edge", with(crested, "width", "crest_length"),
			map[string]any{"width": "1 m", "crest_length": "0.6 m", "crest_height": "0.5 m", "channel_width": "1 m"},
		},
		"round-nosed": {
			newRoundNosed, "round-nosed horizontal-crested weir", with(crested, "width", "crest_length", "nose_radius"),
			map[string]any{
				"width":         "1 m",
				"crest_length":  "0.9 m",
				"nose_radius":   "0.1 m",
				"crest_height":  "0.4 m",
				"channel_width": "1 m",
			},
		},
		"triangular-profile": {
			newTriangularProfile, "triangular-profile weir 1:2/1:5", with(crested, "width", "equation"),
			map[string]any{"width": "1 m", "crest_height": "0.3 m", "channel_width": "1 m"},
		},
		"flat-v": {newFlatV, "flat-V weir with triangular profile", with(crested, "cross_slope", "v_height"),
			map[string]any{"cross_slope": 20.0, "v_height": "0.2 m", "crest_height": "0.3 m", "channel_width": "8 m"}},
		"manning": {
			newManning, "uniform flow in a circular, rectangular, trapezoidal or U channel",
			with(shape, "roughness", "slope"),
			map[string]any{"section": "circular", "diameter": "0.6 m", "roughness": 0.013, "slope": 0.002},
		},
		"power": {
			newPower, "power law Q = C (h - e)^n",
			[]string{"coefficient", "exponent", "offset", "head_unit", "flow_unit", "modular_limit"},
			map[string]any{
				"coefficient": 1.9, "exponent": 1.8, "offset": "5 mm", "head_unit": "m", "flow_unit": "m3/s",
			},
		},
		"segments": {
			newSegments, "power-law segments that meet at their joins",
			[]string{"segments", "head_unit", "flow_unit", "modular_limit"}, exampleSegments,
		},
		"maximum": {
			newMaximum, "Q = Qmax (h/hmax)^n", []string{"maximum_head", "maximum_flow", "exponent", "modular_limit"},
			map[string]any{"maximum_head": "0.3 m", "maximum_flow": "80 L/s", "exponent": 2.5},
		},
		"table": {
			newTable, "rating table, linear or by power-law arcs",
			[]string{"points", "interpolation", "offset", "modular_limit"},
			map[string]any{
				"points": []any{[]any{"0.05 m", "1 L/s"}, []any{"0.2 m", "18 L/s"}, []any{"0.6 m", "220 L/s"}},
			},
		},
	}
}

// exampleSegments is the example of the segments kind.
var exampleSegments = map[string]any{"head_unit": "m", "flow_unit": "m3/s", "segments": []any{
	map[string]any{"from": "0 m", "coefficient": 1.4, "exponent": 2.5},
	map[string]any{"from": "0.3 m", "coefficient": 6.257, "offset": "0.1 m", "exponent": 2.8},
}}

// Kind describes one kind for lists: what it is, its keys, and a device of it.
type Kind struct {
	Name, Sentence string
	Keys           []string
	Example        map[string]any
	Rating         Rating // of the example
}

// All describes every kind, sorted by name.
func All() (out []Kind) {
	for _, name := range Kinds() {
		k := kinds[name]
		r, _ := Build(name, k.example)
		out = append(out, Kind{name, k.sentence, k.keys, k.example, r})
	}
	return out
}

// Build makes the rating of a kind from the keys of its table, with values as a TOML reader gives them:
// strings with units ("90 deg"), bare numbers, arrays. With any issue the rating is not to be used.
func Build(name string, values map[string]any) (Rating, []Issue) {
	k, ok := kinds[name]
	if !ok {
		return nil,
			[]Issue{{Key: "kind", Found: fmt.Sprintf("%q is not a device kind", name), Unknown: true, Known: Kinds()}}
	}
	d := &dimensions{values: values}
	for _, key := range slices.Sorted(maps.Keys(values)) {
		if key != "kind" && !slices.Contains(k.keys, key) {
			d.issues = append(d.issues, Issue{
				Key: key, Found: fmt.Sprintf("a %s has no key %q", name, key), Unknown: true, Known: k.keys,
			})
		}
	}
	r := k.build(d)
	return r, d.issues
}

// dimensions reads the keys of one device and gathers what is wrong with them.
type dimensions struct {
	values map[string]any
	issues []Issue
}

func (d *dimensions) refuse(key, found, expected, remedy string) {
	d.issues = append(d.issues, Issue{Key: key, Found: found, Expected: expected, Remedy: remedy})
}

func (d *dimensions) has(key string) bool { _, ok := d.values[key]; return ok }

// failed reports whether an issue was already raised on a key.
func (d *dimensions) failed(key string) bool {
	for _, i := range d.issues {
		if i.Key == key {
			return true
		}
	}
	return false
}

func (d *dimensions) text(key string) string { return fmt.Sprint(d.values[key]) }

// quantity reads a required physical value in SI.
func (d *dimensions) quantity(key string, dim quantity.Dimension) float64 {
	if !d.has(key) {
		d.refuse(key, fmt.Sprintf("the device has no %s", key), "", fmt.Sprintf("add %s = %q", key, dim.Example()))
		return 0
	}
	return d.optional(key, dim, 0)
}

// optional reads a physical value in SI, or returns the fallback where the key is absent.
func (d *dimensions) optional(key string, dim quantity.Dimension, fallback float64) float64 {
	raw, ok := d.values[key]
	if !ok {
		return fallback
	}
	if dim == quantity.None {
		return d.number(key)
	}
	text, ok := raw.(string)
	if !ok {
		d.refuse(key, fmt.Sprintf("%s = %v has no unit", key, raw), "",
			fmt.Sprintf("write it as \"%v %s\"", raw, quantity.Unit1(dim)))
		return fallback
	}
	v, err := quantity.Parse(text, dim)
	if err != nil {
		d.refuse(key, err.Error(), "", "")
	}
	return v.SI
}

// number reads a required bare number.
func (d *dimensions) number(key string) float64 {
	switch v := d.values[key].(type) {
	case nil:
		d.refuse(key, fmt.Sprintf("the device has no %s", key), "", fmt.Sprintf("add %s = 2.5 (a bare number)", key))
	case float64:
		if !math.IsNaN(v) && !math.IsInf(v, 0) {
			return v
		}
		d.refuse(key, fmt.Sprintf("%s = %v is not a finite number", key, v), "", "")
	case int64:
		return float64(v)
	default:
		d.refuse(key, fmt.Sprintf("%s = %#v is not a bare number", key, v), "",
			fmt.Sprintf("write it as %s = 2.5", key))
	}
	return 0
}

// unit reads a required unit symbol.
func (d *dimensions) unit(key string, dim quantity.Dimension) quantity.Unit {
	text, _ := d.values[key].(string)
	u, err := quantity.LookUp(text)
	if err != nil || u.Dimension != dim {
		d.refuse(key, fmt.Sprintf("%s %q is not a unit of %s", key, text, dim),
			"one of "+strings.Join(quantity.Symbols(dim), ", "), "")
		return quantity.Unit{Factor: 1}
	}
	return u
}

// choice reads one of a few words; the first is the default.
func (d *dimensions) choice(key string, words ...string) string {
	if !d.has(key) {
		return words[0]
	}
	text, _ := d.values[key].(string)
	if !slices.Contains(words, text) {
		d.refuse(key, fmt.Sprintf("%s %q is not known", key, d.text(key)), "one of "+strings.Join(words, ", "), "")
	}
	return text
}

// points reads pairs of head and flow, at least two.
func (d *dimensions) points(key string) (heads, flows []float64) {
	rows, _ := d.values[key].([]any)
	if len(rows) < 2 {
		d.refuse(key, "the table has no points, or only one", "",
			`write points = [["0.05 m", "0.8 L/s"], ["0.10 m", "4.4 L/s"]]`)
		return nil, nil
	}
	for i, row := range rows {
		pair, _ := row.([]any)
		if len(pair) != 2 {
			d.refuse(key, fmt.Sprintf("point %d is not a pair", i+1), `["head", "flow"]`, "")
			return nil, nil
		}
		h, errHead := quantity.Parse(fmt.Sprint(pair[0]), quantity.LengthDimension)
		q, errFlow := quantity.Parse(fmt.Sprint(pair[1]), quantity.FlowDimension)
		for _, err := range []error{errHead, errFlow} {
			if err != nil {
				d.refuse(key, fmt.Sprintf("point %d: %v", i+1, err), "", "")
				return nil, nil
			}
		}
		heads, flows = append(heads, h.SI), append(flows, q.SI)
	}
	return heads, flows
}

// between raises an issue for a value outside low to high, unless the key has one already.
func (d *dimensions) between(key string, v, low, high float64, expected string) {
	if d.failed(key) || !d.has(key) || v >= low-1e-9*math.Abs(low) && v <= high+1e-9*math.Abs(high) {
		return
	}
	d.refuse(key, fmt.Sprintf("%s %q is outside its range", key, d.text(key)), expected, "")
}

// positiveIfGiven raises an issue for optional lengths that are not above 0.
func (d *dimensions) positiveIfGiven(keys ...string) {
	for _, key := range keys {
		if d.has(key) && !d.failed(key) {
			if v, err := quantity.Parse(d.text(key), quantity.LengthDimension); err == nil && v.SI <= 0 {
				d.refuse(key, fmt.Sprintf("%s %q is not above 0", key, d.text(key)), "",
					"leave the key out if it is not known")
			}
		}
	}
}
