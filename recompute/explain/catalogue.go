package explain

import (
	"fmt"
	"maps"
	"math"
	"slices"
	"strconv"

	"retotal/ingest/quantity"
	"retotal/recompute/device"
	"retotal/recompute/explain/sample"
)

// catalogue is what may be behind a record: the equations of its device, and the dials that its meter has.
type catalogue struct {
	record    *Record
	series    *sample.Series
	base      device.Rating
	factor    float64 // recorded
	equations []equation
	dials     []dial
	belowCut  bool // the log shows flows below the cut-off on record
}

// equation is one published equation of a device: it makes a rating of a kind and its keys.
type equation struct {
	name  string
	build func(kind string, keys map[string]any) device.Rating // nil where the keys allow none
	own   device.Rating                                        // of the recorded keys
}

// dial is one setting that can be turned.
type dial struct {
	name     string
	values   []float64 // to be tried; for a range, its grid
	labels   []string  // of the values of a choice
	sizes    []float64 // that a choice of devices stands for, whose values are places in a list
	choice   bool      // only the values themselves can be set
	scales   bool      // it changes flows by nearly one factor, so that a free one beside it tells nothing
	usual    []usual   // values that people set
	prior    float64   // in score, for what is rarely met
	set      func(m *model, e *equation, v float64) bool
	recorded float64 // the value that changes nothing; NaN for none
	own      bool    // it takes the place of the device, whose equations then do not matter
}

// usual is a value that people set.
type usual struct {
	value float64
	label string
}

// recorded is the name of the equation on record.
const recorded = "recorded"

// newCatalogue lists equations and dials of a record.
func newCatalogue(r *Record, s *sample.Series, base device.Rating) *catalogue {
	c := &catalogue{record: r, series: s, base: base, factor: r.FlowFactor}
	if !(c.factor > 0) {
		c.factor = 1
	}
	c.belowCut = r.CutOff > 0 && s.ManyBelow(r.CutOff)
	add := func(name string, build func(kind string, keys map[string]any) device.Rating) {
		own := build(r.Kind, r.Dimensions)
		if own == nil || name != recorded && own.Describe().Equation == base.Describe().Equation {
			return
		}
		c.equations = append(c.equations, equation{name, build, own})
	}
	add(recorded, built)
	for _, x := range variants(r.Kind) {
		add(x.name, x.build)
	}
	c.addMeterDials()
	c.addDeviceDials()
	c.addKinds()
	return c
}

// built is a device as it is given; nil where it cannot be built.
func built(kind string, keys map[string]any) device.Rating {
	if rating, issues := device.Build(kind, keys); len(issues) == 0 {
		return rating
	}
	return nil
}

// with is keys with one of them changed.
func with(keys map[string]any, key string, value any) map[string]any {
	out := maps.Clone(keys)
	if out == nil {
		out = map[string]any{}
	}
	out[key] = value
	return out
}

// law is a power law in SI.
func law(coefficient, exponent float64) device.Rating {
	return built("power", map[string]any{"coefficient": coefficient, "exponent": exponent, "head_unit": "m",
		"flow_unit": "m3/s"})
}

// variants is the published equations of a kind beside that on record.
func variants(kind string) []equation {
	set := func(key, value string) func(string, map[string]any) device.Rating {
		return func(kind string, keys map[string]any) device.Rating {
			if keys[key] == value {
				return nil
			}
			return built(kind, with(keys, key, value))
		}
	}
	sized := func(key string, of func(size float64) device.Rating) func(string, map[string]any) device.Rating {
		return func(_ string, keys map[string]any) device.Rating {
			if size := si(keys[key]); size > 0 {
				return of(size)
			}
			return nil
		}
	}
	notch := func(coefficient, exponent float64) func(string, map[string]any) device.Rating {
		return sized("angle", func(a float64) device.Rating { return law(coefficient*math.Tan(a/2), exponent) })
	}
	crest := func(coefficient float64) func(string, map[string]any) device.Rating {
		return sized("width", func(b float64) device.Rating { return law(coefficient*b, 1.5) })
	}
	switch kind {
	case "v-notch": // the plain laws are common practice: Cd of 0.585 and 0.611, and the exponents 2.48 and 2.47
		return []equation{
			{name: "kindsvater-shen", build: set("equation", "kindsvater-shen")},
			{name: "cone", build: set("equation", "cone")}, {name: "partial", build: set("contraction", "partial")},
			{name: "h^2.5, Cd 0.585", build: notch(1.382, 2.5)}, {name: "h^2.5, Cd 0.61", build: notch(1.443, 2.5)},
			{name: "h^2.48", build: notch(1.342, 2.48)}, {name: "h^2.47", build: notch(1.32, 2.47)},
		}
	case "rectangular":
		return []equation{
			{name: "kindsvater-carter", build: set("equation", "kindsvater-carter")},
			{name: "rehbock", build: set("equation", "rehbock")}, {name: "francis", build: set("equation", "francis")},
			{name: "h^1.5, 1.80", build: crest(1.80)}, {name: "h^1.5, 1.86", build: crest(1.86)},
		}
	case "triangular-profile":
		return []equation{{name: "gauged", build: set("equation", "gauged")},
			{name: "total head", build: set("equation", "total-head")}}
	case "parshall", "montana":
		return []equation{
			{name: "rounded set", build: set("set", "rounded")}, {name: "set of 1950", build: set("set", "parshall-1950")},
			{name: "neighbour of the other set", build: otherSet},
			{name: "general formula", build: sized("throat", generalParshall)},
		}
	case "table":
		return []equation{{name: "log", build: set("interpolation", "log")},
			{name: "linear", build: set("interpolation", "linear")}}
	}
	return nil
}

// generalParshall is Q = 4 W ha^(1.522 W^0.026) in feet, for throats of 1 to 8 ft (Parshall 1950).
func generalParshall(throat float64) device.Rating {
	w := throat / 0.3048
	if w < 0.99 || w > 8.1 {
		return nil
	}
	return built("power", map[string]any{"coefficient": 4 * w, "exponent": 1.522 * math.Pow(w, 0.026),
		"head_unit": "ft", "flow_unit": "ft3/s"})
}

// otherSet is the flume of the other set whose throat is within 3 % of a throat: 0.30 m for 1 ft.
func otherSet(kind string, keys map[string]any) device.Rating {
	throat := si(keys["throat"])
	for _, label := range throats {
		size := si(label)
		if off := math.Abs(size/throat - 1); off > 0.005 && off < 0.03 {
			return built(kind, map[string]any{"throat": label})
		}
	}
	return nil
}

// si is a value of a site file in SI, whatever its dimension; 0 for none.
func si(value any) float64 {
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

// metres writes a length for device.Build.
func metres(v float64) string { return strconv.FormatFloat(v, 'f', -1, 64) + " m" }

// throats are the standard throats of Parshall flumes; device.Build knows them by these labels.
var throats = []string{"1 in", "2 in", "3 in", "6 in", "9 in", "1 ft", "1.5 ft", "2 ft", "2.5 ft", "3 ft", "4 ft",
	"5 ft", "6 ft", "7 ft", "8 ft", "10 ft", "12 ft", "15 ft", "20 ft", "25 ft", "30 ft", "40 ft", "50 ft", "0.25 m",
	"0.30 m", "0.45 m", "0.60 m", "0.75 m", "0.90 m", "1.00 m", "1.20 m", "1.50 m", "1.80 m", "2.10 m", "2.40 m"}

// hDepths are the depths of H flumes by type, in feet.
var hDepths = map[string][]string{"H": {"0.5 ft", "0.75 ft", "1 ft", "1.5 ft", "2 ft", "2.5 ft", "3 ft", "4.5 ft"},
	"HS": {"0.4 ft", "0.6 ft", "0.8 ft", "1 ft"}, "HL": {"3.5 ft", "4 ft"}}

// angles are those in which notches are made: plain ones, and a half and a quarter of the flow of 90 deg.
var angles = []float64{22.5, 28.07, 30, 45, 53.13, 60, 90, 120}

// geometric is a grid from low to high in equal ratios.
func geometric(low, high float64, places int) (grid []float64) {
	for i := range places {
		grid = append(grid, low*math.Pow(high/low, float64(i)/float64(places-1)))
	}
	return grid
}

// model is the recorded settings under an equation, before its ends are set.
func (c *catalogue) model(e *equation) model {
	return model{rating: e.own, name: e.name, scale: 1, factor: c.factor, cap: math.Inf(1)}
}

// end sets the ends of a model: those that the log shows, else those on record that it does not contradict.
func (c *catalogue) end(m *model) {
	s := c.series
	m.cap, m.cut, m.dry = s.Top, 0, s.Dry
	if math.IsInf(s.Top, 1) {
		if on := c.recordedCap(m); s.Most <= capSlack*on {
			m.cap = on
		}
	}
	if math.IsInf(s.Dry, -1) && !c.belowCut {
		m.cut = c.record.CutOff
	}
}

// capSlack is by how much noise may take a flow above the most that a meter shows.
const capSlack = 1.03

// recordedCap is the most that a model shows under the recorded ends.
func (c *catalogue) recordedCap(m *model) float64 {
	most := math.Inf(1)
	if c.record.MaximumFlow > 0 {
		most = c.record.MaximumFlow
	}
	if c.record.MaximumHead > 0 && !math.IsInf(c.record.MaximumHead, 1) && m.rating != nil {
		most = min(most, m.factor*m.rating.Flow(c.record.MaximumHead))
	}
	return most
}

// addMeterDials adds the settings that every meter has.
func (c *catalogue) addMeterDials() {
	high := c.series.HighHead()
	var shifts []float64
	for _, part := range geometric(0.004, 1.2, 22) {
		shifts = append(shifts, -part*high, part*high)
	}
	shifts = append(shifts, 0)
	slices.Sort(shifts)
	c.dials = append(c.dials,
		dial{name: "datum", values: shifts, set: func(m *model, _ *equation, v float64) bool {
			m.offset -= m.scale * v
			return true
		}},
		dial{name: "flow factor", scales: true, recorded: 1, usual: flowRatios(),
			set: func(m *model, _ *equation, v float64) bool { m.factor *= v; return v > 0 }},
		dial{name: "head factor", values: geometric(0.2, 5, 61), scales: true, recorded: 1, usual: headRatios(),
			prior: 0.003, set: func(m *model, _ *equation, v float64) bool {
				m.scale, m.offset = m.scale*v, m.offset*v
				return v > 0
			}},
		// 0-20 mA read as 4-20: a current of 4 to 20 becomes 20 % of the span and 80 % of the head, and back.
		dial{name: "span offset", values: spans(high, 0.2, -0.25), prior: 0.01,
			set: func(m *model, _ *equation, v float64) bool {
				m.scale, m.offset = 0.8, v
				if v < 0 {
					m.scale = 1.25
				}
				return math.Abs(v) > 0.17*high // a span is no less than the greatest head, nearly
			}},
		dial{name: "linear", scales: true, prior: 0.01, own: true, set: func(m *model, _ *equation, v float64) bool {
			m.rating, m.factor = nil, v
			return v > 0
		}})
}

// spans is the offsets of spans from the greatest head up to eight times it, upwards and downwards.
func spans(high, up, down float64) (grid []float64) {
	for _, span := range geometric(0.9, 8, 25) {
		grid = append(grid, down*span*high, up*span*high)
	}
	slices.Sort(grid)
	return grid
}

// addDeviceDials adds the dimensions of the device.
func (c *catalogue) addDeviceDials() {
	keys := c.record.Dimensions
	set := func(key string, write func(v float64) any) func(m *model, e *equation, v float64) bool {
		var last device.Rating // many models in a row have it; some take long to build
		var lastValue float64
		var lastOf *equation
		return func(m *model, e *equation, v float64) bool {
			if e != lastOf || v != lastValue {
				last, lastValue, lastOf = e.build(c.record.Kind, with(keys, key, write(v))), v, e
			}
			m.rating = last
			return last != nil
		}
	}
	number := func(v float64) any { return v }
	length := func(v float64) any { return metres(v) }
	continuous := func(name, key string, low, high float64, scales bool, write func(v float64) any) {
		if now := si(keys[key]); now > 0 {
			c.dials = append(c.dials, dial{name: name, values: geometric(low*now, high*now, 41), scales: scales,
				recorded: now, set: set(key, write)})
		}
	}
	// A factor alone: nothing has to be built again.
	factor := func(name, key string, power float64) {
		if now := si(keys[key]); now > 0 {
			c.dials = append(c.dials, dial{name: name, values: geometric(now/6, now*6, 41), scales: true, recorded: now,
				prior: 0.004, set: func(m *model, _ *equation, v float64) bool {
					m.factor *= math.Pow(v/now, power)
					return v > 0
				}})
		}
	}
	switch c.record.Kind {
	case "v-notch", "compound":
		d := dial{name: "angle", recorded: si(keys["angle"]), scales: true, set: set("angle", func(v float64) any {
			return strconv.FormatFloat(v*180/math.Pi, 'f', -1, 64) + " deg"
		})}
		for a := 20.0; a <= 120; a += 2.5 {
			d.values = append(d.values, a*math.Pi/180)
		}
		for _, a := range angles {
			d.usual = append(d.usual, usual{a * math.Pi / 180, quantity.Digits(a, 4) + " deg"})
		}
		c.dials = append(c.dials, d)
	case "parshall", "montana":
		c.choice("throat", "throat", throats)
	case "h-flume":
		kind, _ := keys["type"].(string)
		if kind == "" {
			kind = "H"
		}
		c.choice("size", "depth", hDepths[kind])
	case "cutthroat":
		c.choice("throat", "throat", []string{"1 in", "2 in", "3 in", "4 in", "6 in", "8 in", "12 in", "16 in", "24 in",
			"48 in", "72 in"})
	case "manning":
		factor("roughness", "roughness", -1)
		factor("slope", "slope", 0.5)
		continuous("size", "diameter", 0.4, 2.5, false, length)
		continuous("width", "width", 0.3, 3, false, length)
	case "power", "maximum":
		continuous("exponent", "exponent", 0.5, 2, false, number)
		c.dials[len(c.dials)-1].prior = 0.006
		factor("coefficient", "coefficient", 1)
	case "palmer-bowlus":
		continuous("size", "diameter", 0.5, 2, false, length)
	case "rectangular", "cipolletti", "broad-crested", "round-nosed", "triangular-profile":
		continuous("width", "width", 0.25, 4, true, length)
		continuous("crest height", "crest_height", 0.3, 3, false, length)
		continuous("coefficient", "coefficient", 0.7, 1.4, true, number)
	case "throated", "trapezoidal":
		continuous("width", "width", 0.4, 2.5, true, length)
		continuous("size", "diameter", 0.5, 2, false, length)
	}
}

// choice adds a dial of sizes that are made.
func (c *catalogue) choice(name, key string, labels []string) {
	now := si(c.record.Dimensions[key])
	d := dial{name: name, choice: true, scales: true, recorded: now}
	for _, label := range labels {
		if v := si(label); math.Abs(v/now-1) > 0.03 { // nearer ones are other equations of the same flume
			d.values, d.labels = append(d.values, v), append(d.labels, label)
		}
	}
	d.set = func(m *model, e *equation, v float64) bool {
		for i, x := range d.values {
			if x == v {
				m.rating = e.build(c.record.Kind, with(c.record.Dimensions, key, d.labels[i]))
				return m.rating != nil
			}
		}
		return false
	}
	c.dials = append(c.dials, d)
}

// addKinds adds the devices of other kinds that a meter may have been set to: those whose size is one of a few.
func (c *catalogue) addKinds() {
	d := dial{name: "kind", choice: true, own: true, recorded: math.NaN(), prior: 0.012}
	var ratings []device.Rating
	add := func(kind string, keys map[string]any, label, size string) {
		if kind == c.record.Kind {
			return
		}
		if r := built(kind, keys); r != nil {
			d.values = append(d.values, float64(len(ratings)))
			d.labels, d.sizes, ratings = append(d.labels, label), append(d.sizes, si(size)), append(ratings, r)
		}
	}
	for _, a := range angles {
		text := quantity.Digits(a, 4) + " deg"
		add("v-notch", map[string]any{"angle": text}, "v-notch "+text, text)
	}
	for _, t := range throats {
		add("parshall", map[string]any{"throat": t}, "parshall "+t, t)
	}
	for _, kind := range [...]string{"H", "HS", "HL"} {
		for _, depth := range hDepths[kind] {
			add("h-flume", map[string]any{"type": kind, "depth": depth}, kind+" flume "+depth, depth)
		}
	}
	d.set = func(m *model, _ *equation, v float64) bool {
		m.rating = ratings[int(v)]
		return true
	}
	c.dials = append(c.dials, d)
	// A weir with a straight crest has a width in any number of sizes: one law whose factor is free.
	if c.record.Kind != "rectangular" && c.record.Kind != "cipolletti" {
		weir := law(1, 1.5)
		c.dials = append(c.dials, dial{name: "kind", scales: true, own: true, recorded: math.NaN(), prior: 0.02,
			labels: []string{"weir with a straight crest"}, set: func(m *model, _ *equation, v float64) bool {
				m.rating, m.factor = weir, v
				return v > 0
			}})
	}
}

// flowRatios are the ratios of flow units that are in use, of decimal places, and of spans.
func flowRatios() []usual {
	list := ratios("L/s", "m3/h", "m3/s", "L/min", "ML/d", "m3/d", "ft3/s", "US gal/min", "imp gal/min", "US Mgal/d",
		"imp Mgal/d")
	for _, k := range [...]float64{0.001, 0.01, 0.1, 10, 100, 1000} {
		list = append(list, usual{k, "times " + quantity.Digits(k, 4)})
	}
	return append(list, spanRatios()...)
}

// headRatios are those of units of length, and of spans.
func headRatios() []usual { return append(ratios("m", "cm", "ft", "in", "mm"), spanRatios()...) }

// ratios are those of every unit to every other.
func ratios(units ...string) (list []usual) {
	for _, a := range units {
		for _, b := range units {
			if ratio := quantity.MustLookUp(a).Factor / quantity.MustLookUp(b).Factor; a != b {
				list = append(list, usual{ratio, a + " for " + b})
			}
		}
	}
	return list
}

// spanRatios are those of small numbers, as of two spans.
func spanRatios() (list []usual) {
	for a := 1; a <= 6; a++ {
		for b := 1; b <= 6; b++ {
			if a != b && greatestDivisor(a, b) == 1 {
				list = append(list, usual{float64(a) / float64(b), fmt.Sprintf("%d:%d", a, b)})
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
