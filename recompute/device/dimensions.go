package device

import (
	"fmt"
	"maps"
	"math"
	"slices"
	"strconv"
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

var digits = quantity.Digits

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

func (d *dimensions) text(key string) string {
	if text, ok := d.values[key].(string); ok {
		return text
	}
	return written(d.values[key])
}

// quantity reads a required physical value in SI.
func (d *dimensions) quantity(key string, dim quantity.Dimension) float64 {
	if !d.has(key) {
		d.refuse(key, fmt.Sprintf("the device has no %s", key), "", fmt.Sprintf("add %s = %q", key, dim.Example()))
		return 0
	}
	return d.optional(key, dim, 0)
}

// sizeUnits are those in which widths are spoken of without naming them.
var sizeUnits = [2]string{"in", "mm"}

// size reads a required length that comes in standard sizes, which are listed for whoever leaves it or its unit out: a
// bare number of a size is one of the units given, never of metres.
func (d *dimensions) size(key, sizes string, units [2]string) float64 {
	text := d.text(key)
	switch _, isNumber := strconv.ParseFloat(strings.TrimSpace(text), 64); {
	case !d.has(key):
		d.refuse(key, fmt.Sprintf("the device has no %s", key), sizes,
			fmt.Sprintf("add %s with the size of yours", key))
		return 0
	case isNumber == nil:
		text = strings.TrimSpace(text)
		d.refuse(key, fmt.Sprintf("%s %q has no unit", key, text), sizes,
			fmt.Sprintf("write it as \"%s %s\" or \"%[1]s %[3]s\", whichever it is", text, units[0], units[1]))
		return 0
	}
	return d.quantity(key, quantity.LengthDimension)
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
			"write it as "+quantity.Written(fmt.Sprint(raw), dim))
		return fallback
	}
	v, err := quantity.Parse(text, dim)
	if err != nil {
		d.refuse(key, err.Error(), "", "")
	}
	return v.SI
}

// written is a value as a site file has it.
func written(v any) string {
	switch v := v.(type) {
	case string:
		return strconv.Quote(v)
	case map[string]any:
		var keys []string
		for _, key := range slices.Sorted(maps.Keys(v)) {
			keys = append(keys, key+" = "+written(v[key]))
		}
		return "{ " + strings.Join(keys, ", ") + " }"
	}
	return fmt.Sprint(v)
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
		d.refuse(key, fmt.Sprintf("%s = %s is not a bare number", key, written(v)), "",
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
