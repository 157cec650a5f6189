package explain

import (
	"math"
	"slices"
	"strconv"

	"retotal/ingest/quantity"
	"retotal/recompute/device"
	"retotal/recompute/explain/published"
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
	values   []float64         // to be tried; for a range, its grid
	labels   []string          // of the values of a choice
	sizes    []float64         // that a choice of devices stands for, whose values are places in a list
	choice   bool              // only the values themselves can be set
	scales   bool              // it changes flows by nearly one factor, so that a free one beside it tells nothing
	usual    []published.Usual // values that people set
	prior    float64           // in score, for what is rarely met
	set      func(m *model, e *equation, v float64) bool
	recorded float64 // the value that changes nothing; NaN for none
	own      bool    // it takes the place of the device, whose equations then do not matter
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
	add(recorded, published.Built)
	for _, x := range published.Equations(r.Kind) {
		add(x.Name, x.Build)
	}
	c.addMeterDials()
	c.addDeviceDials()
	c.addKinds()
	return c
}

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
		dial{name: "flow factor", scales: true, recorded: 1, usual: published.FlowRatios(),
			set: func(m *model, _ *equation, v float64) bool { m.factor *= v; return v > 0 }},
		dial{name: "head factor", values: geometric(0.2, 5, 61), scales: true, recorded: 1,
			usual: published.HeadRatios(),
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
		// The same of the output of the flow: 80 % of it and 20 % of the span, and back.
		dial{name: "flow offset", values: spans(c.series.Most, 0.2, -0.25), prior: 0.01,
			set: func(m *model, _ *equation, v float64) bool {
				k := 0.8
				if v < 0 {
					k = 1.25
				}
				m.factor, m.plus = m.factor*k, v
				return true
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
				last, lastValue, lastOf = e.build(c.record.Kind, published.With(keys, key, write(v))), v, e
			}
			m.rating = last
			return last != nil
		}
	}
	number := func(v float64) any { return v }
	length := func(v float64) any { return published.Metres(v) }
	continuous := func(name, key string, low, high float64, scales bool, write func(v float64) any) {
		if now := published.SI(keys[key]); now > 0 {
			c.dials = append(c.dials, dial{name: name, values: geometric(low*now, high*now, 41), scales: scales,
				recorded: now, set: set(key, write)})
		}
	}
	// A factor alone: nothing has to be built again.
	factor := func(name, key string, power float64) {
		if now := published.SI(keys[key]); now > 0 {
			c.dials = append(c.dials, dial{name: name, values: geometric(now/6, now*6, 41), scales: true, recorded: now,
				prior: 0.004, set: func(m *model, _ *equation, v float64) bool {
					m.factor *= math.Pow(v/now, power)
					return v > 0
				}})
		}
	}
	switch c.record.Kind {
	case "v-notch", "compound":
		now := published.SI(keys["angle"])
		d := dial{name: "angle", recorded: now, scales: true, set: set("angle", func(v float64) any {
			return strconv.FormatFloat(v*180/math.Pi, 'f', -1, 64) + " deg"
		})}
		for a := 20.0; a <= 120; a += 2.5 {
			d.values = append(d.values, a*math.Pi/180)
		}
		for _, a := range published.Angles {
			d.usual = append(d.usual, published.Usual{Value: a * math.Pi / 180, Label: quantity.Digits(a, 4) + " deg"})
		}
		c.dials = append(c.dials, d)
	case "parshall", "montana":
		c.choice("throat", "throat", published.Throats)
	case "h-flume":
		kind, _ := keys["type"].(string)
		if kind == "" {
			kind = "H"
		}
		c.choice("size", "depth", published.HDepths[kind])
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
	now := published.SI(c.record.Dimensions[key])
	d := dial{name: name, choice: true, scales: true, recorded: now}
	for _, label := range labels {
		if v := published.SI(label); math.Abs(v/now-1) > 0.03 { // nearer ones are other equations of the same flume
			d.values, d.labels = append(d.values, v), append(d.labels, label)
		}
	}
	d.set = func(m *model, e *equation, v float64) bool {
		for i, x := range d.values {
			if x == v {
				m.rating = e.build(c.record.Kind, published.With(c.record.Dimensions, key, d.labels[i]))
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
		if r := published.Built(kind, keys); r != nil {
			d.values = append(d.values, float64(len(ratings)))
			d.labels, d.sizes = append(d.labels, label), append(d.sizes, published.SI(size))
			ratings = append(ratings, r)
		}
	}
	for _, a := range published.Angles {
		text := quantity.Digits(a, 4) + " deg"
		add("v-notch", map[string]any{"angle": text}, "v-notch "+text, text)
	}
	for _, t := range published.Throats {
		add("parshall", map[string]any{"throat": t}, "parshall "+t, t)
	}
	for _, kind := range [...]string{"H", "HS", "HL"} {
		for _, depth := range published.HDepths[kind] {
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
		weir := published.Law(1, 1.5)
		c.dials = append(c.dials, dial{name: "kind", scales: true, own: true, recorded: math.NaN(), prior: 0.02,
			labels: []string{"weir with a straight crest"}, set: func(m *model, _ *equation, v float64) bool {
				m.rating, m.factor = weir, v
				return v > 0
			}})
	}
}
