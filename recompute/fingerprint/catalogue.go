package fingerprint

import (
	"maps"
	"math"
	"strconv"
	"strings"

	"retotal/ingest/quantity"
	"retotal/recompute/device"
	"retotal/recompute/explain/published"
)

// hypothesis is a device that may be behind a log.
type hypothesis struct {
	kind, size string // size as device.Build takes it; "" where it is free
	dimension  string // which the value is of
	value      float64
	equation   string // name of it; "" for the usual one
	rating     device.Rating
	// Of a free size: the rating of a value, and the value whose flow is about so many times that of another, or the
	// values among which it is sought.
	resized func(value float64) device.Rating
	grown   func(value, times float64) float64
	grid    []float64
	most    float64 // factor by which the flow may be off the equation, up or down
	prior   float64 // in score
}

// What a hypothesis costs in score beyond its parameters: what is met often wins among equals.
const (
	priorFree     = 0.012 // a size that is not one of those made
	priorUnusual  = 0.010 // one that is not near any usual size
	priorEquation = 0.004 // another than the usual equation
	priorFactor   = 0.004
	priorDatum    = 0.030 // few meters are given another level than a head
	priorRare     = 0.006 // devices that are rarely met
	priorPipe     = 0.030 // of two numbers, diameter and slope over roughness
	priorLaw      = 0.050 // a power law, which fits nearly everything
	priorLinear   = 0.020
	mostFactor    = 1.02
	anyFactor     = math.MaxFloat64
)

// nearUsual is how near a size is to a usual one that it may be.
const nearUsual = 0.03

// feet is a foot in metres.
const feet = 0.3048

// catalogue is all hypotheses.
func catalogue() (list []hypothesis) {
	list = append(list, notches()...)
	list = append(list, crests()...)
	sized := func(kind, dimension, size string, keys map[string]any, prior float64) {
		for _, e := range equations(kind, keys) {
			if e.Name == "neighbour of the other set" { // which is in the list itself
				continue
			}
			h := hypothesis{kind: kind, size: size, dimension: dimension, value: metres(keys[dimension]),
				rating: e.Rating, equation: e.Name, most: mostFactor, prior: prior}
			if e.Name != "" {
				h.prior += priorEquation
			}
			list = append(list, h)
		}
	}
	for _, t := range published.Throats {
		sized("parshall", "throat", t, map[string]any{"throat": t}, 0)
	}
	for _, kind := range [...]string{"H", "HS", "HL"} {
		for _, depth := range published.HDepths[kind] {
			sized("h-flume", "depth", kind+" "+depth, map[string]any{"type": kind, "depth": depth}, 0)
		}
	}
	for _, length := range [...]string{"18 in", "36 in", "54 in", "108 in"} {
		for _, throat := range [...]string{"1 in", "2 in", "3 in", "4 in", "6 in", "8 in", "12 in", "16 in", "24 in",
			"48 in", "72 in"} {
			sized("cutthroat", "throat", throat+" by "+length, map[string]any{"length": length, "throat": throat},
				priorRare)
		}
	}
	return append(list, pipes()...)
}

// metres is a length of the catalogue.
func metres(v any) float64 {
	text, _ := v.(string)
	x, _ := quantity.Parse(text, quantity.LengthDimension)
	return x.SI
}

// length writes a length for device.Build.
func length(v float64) string { return strconv.FormatFloat(v, 'f', -1, 64) + " m" }

// built is a device; nil where it cannot be built.
func built(kind string, keys map[string]any) device.Rating {
	if r, issues := device.Build(kind, keys); len(issues) == 0 {
		return r
	}
	return nil
}

// notches are V-notches of the angles that are made and of any, by each equation.
func notches() (list []hypothesis) {
	keys := func(angle float64) map[string]any {
		return map[string]any{"angle": strconv.FormatFloat(angle*180/math.Pi, 'f', -1, 64) + " deg"}
	}
	for i, e := range equations("v-notch", keys(math.Pi/2)) {
		resized := func(angle float64) device.Rating {
			if all := equations("v-notch", keys(angle)); i < len(all) && all[i].Name == e.Name {
				return all[i].Rating
			}
			return nil
		}
		h := hypothesis{kind: "v-notch", dimension: "angle", value: math.Pi / 2, equation: e.Name, most: mostFactor}
		if i > 0 {
			h.prior = priorEquation
		}
		for _, a := range published.Angles {
			one := h
			one.value, one.size = a*math.Pi/180, quantity.Digits(a, 4)+" deg"
			if one.rating = resized(one.value); one.rating != nil {
				list = append(list, one)
			}
		}
		h.rating, h.resized, h.most, h.prior = e.Rating, resized, 1, h.prior+priorFree
		h.grown = func(angle, times float64) float64 {
			return min(max(2*math.Atan(times*math.Tan(angle/2)), 10*math.Pi/180), 120*math.Pi/180)
		}
		list = append(list, h)
	}
	return list
}

// crests are weirs with a straight crest of any width. How wide the channel is and how high the crest stands, a log
// does not tell; what they change is tried in a few steps.
func crests() (list []hypothesis) {
	add := func(kind, equation string, prior float64, resized func(width float64) device.Rating) {
		r := resized(0.5)
		if r == nil {
			return
		}
		list = append(list, hypothesis{kind: kind, dimension: "width", value: 0.5, equation: equation, rating: r,
			resized: resized, most: 1, prior: priorFree + prior,
			grown: func(width, times float64) float64 { return min(max(width*times, 0.02), 100) }})
	}
	for _, wall := range [...]float64{1, 1.25, 2} {
		for _, high := range [...]float64{0.2, 0.5} {
			name := "kindsvater-carter, crest over channel width " + quantity.Digits(1/wall, 2) + ", crest height " +
				quantity.Digits(high, 2) + " m"
			add("rectangular", name, 0, func(b float64) device.Rating {
				return built("rectangular", map[string]any{"width": length(b), "channel_width": length(wall * b),
					"crest_height": length(high)})
			})
		}
	}
	add("rectangular", "francis", priorEquation, func(b float64) device.Rating {
		return built("rectangular", map[string]any{"width": length(b), "channel_width": length(2 * b),
			"crest_height": "0.5 m", "equation": "francis"})
	})
	for _, c := range [...]float64{1.80, 1.86} {
		add("rectangular", "h^1.5, "+quantity.Digits(c, 3), priorEquation,
			func(b float64) device.Rating { return published.Law(c*b, 1.5) })
	}
	add("cipolletti", "", 0, func(b float64) device.Rating {
		return built("cipolletti", map[string]any{"width": length(b)})
	})
	return list
}

// diameters are those of pipes, m.
var diameters = []float64{0.1, 0.15, 0.2, 0.25, 0.3, 0.375, 0.45, 0.525, 0.6, 0.75, 0.9, 1.05, 1.2, 1.5, 1.8, 2.4}

// tabled is a device that is sized by a diameter as a table of power-law arcs, which takes a hundredth of the time:
// between points so close they differ by less than readings do.
func tabled(kind string, diameter float64, more map[string]any) device.Rating {
	keys := map[string]any{"diameter": length(diameter)}
	maps.Copy(keys, more)
	pipe := built(kind, keys)
	if pipe == nil {
		return nil
	}
	var points []any
	last := 0.0
	for part := 0.02; part < 1; part *= 1.06 {
		h := part * diameter
		q := pipe.Flow(h)
		if q <= last { // a pipe that is nearly full
			break
		}
		points, last = append(points, []any{length(h), strconv.FormatFloat(q, 'f', -1, 64) + " m3/s"}), q
	}
	return built("table", map[string]any{"points": points, "interpolation": "log"})
}

// known keeps what a function makes of a value.
func known(of func(float64) device.Rating) func(float64) device.Rating {
	made := map[float64]device.Rating{}
	return func(v float64) device.Rating {
		if made[v] == nil {
			made[v] = of(v)
		}
		return made[v]
	}
}

// pipes are Palmer-Bowlus flumes and pipes themselves, the straight line and the power law: what is sought on a grid.
func pipes() (list []hypothesis) {
	palmer := known(func(d float64) device.Rating { return tabled("palmer-bowlus", d, nil) })
	round := known(func(d float64) device.Rating { // its factor is the root of the slope over the roughness
		return tabled("manning", d, map[string]any{"section": "circular", "roughness": 0.01, "slope": 0.0001})
	})
	var exponents []float64
	for n := 0.8; n < 4; n += 0.15 {
		exponents = append(exponents, n)
	}
	return append(list,
		hypothesis{kind: "palmer-bowlus", equation: "critical flow in the usual throat", dimension: "diameter",
			resized: palmer, grid: diameters, most: mostFactor, prior: priorFree + priorRare},
		hypothesis{kind: "manning", equation: "manning", dimension: "diameter", resized: round, grid: diameters,
			most: anyFactor, prior: priorPipe},
		hypothesis{kind: "linear", dimension: "flow over head", value: 1, rating: published.Law(1, 1), most: anyFactor,
			prior: priorLinear},
		hypothesis{kind: "power", dimension: "exponent", grid: exponents, most: anyFactor, prior: priorLaw,
			resized: func(n float64) device.Rating { return published.Law(1, n) }},
	)
}

// refit begins the names of equations that differ from the usual one by less than the size next to it does.
const refit = "fit, "

// equation is one published equation of a device; its name is "" for the usual one.
type equation struct {
	Name   string
	Rating device.Rating
}

// equations are the published equations of a device with these keys, the usual one first; none where it cannot be
// built.
func equations(kind string, keys map[string]any) (list []equation) {
	usual := published.Built(kind, keys)
	if usual == nil {
		return nil
	}
	list = []equation{{"", usual}}
	for _, e := range published.Equations(kind) {
		r := e.Build(kind, keys)
		if r != nil && r.Describe().Equation != usual.Describe().Equation && !strings.HasPrefix(e.Name, refit) {
			list = append(list, equation{e.Name, r})
		}
	}
	return list
}
