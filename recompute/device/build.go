package device

import (
	"fmt"
	"maps"
	"slices"
)

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
