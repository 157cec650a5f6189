package mistakes

import (
	"maps"
	"math"
	"math/rand/v2"
)

// gravity is the standard acceleration of free fall in m/s² (3rd CGPM 1901); foot is one in m.
const (
	gravity = 9.80665
	foot    = 0.3048
)

// curve is the flow in m³/s at a head in m above zero flow.
type curve func(head float64) float64

// primary is a primary device of a site. Its dimensions go by their names in the catalogue of mistakes.
type primary struct {
	kind     string
	settings map[string]any               // as a site file has it
	sizes    map[string]float64           // dimensions that somebody may have entered wrong, SI
	others   map[string][]float64         // what may stand in the meter instead
	ranges   map[string][2]float64        // where a dimension can be anything, from and to; the others come in sizes
	second   bool                         // another equation has been published for it
	low, top float64                      // m, between which its water stands
	rate     func(dimensions, bool) curve // by the equation of the settings, or by the second
}

// dimensions are sizes of a device by name.
type dimensions map[string]float64

// meter is what a meter makes of a level.
type meter struct {
	rate          func(dimensions) curve
	sizes         dimensions
	stranger      curve   // rating of another device than that of the site; nil for none
	datum         float64 // m, logged head less the head that is used
	scale, shift  float64 // head that is used over head; m, head that is used at none
	factor        float64 // on the flow
	linear        float64 // m²/s, flow over head where the level is shown as a flow; 0 for none
	cutOff, limit float64 // m³/s
	rating        curve   // of all that
}

// with returns the meter with one more setting changed.
func (m meter) with(name string, value float64) meter {
	switch name {
	case "datum":
		m.datum = value
	case "head factor":
		m.scale *= value
	case "span offset":
		m.scale, m.shift = liveZero(value), value
	case "flow factor":
		m.factor *= value
	case "linear":
		m.linear = value
	case "cap":
		m.limit = value
	case "cut-off":
		m.cutOff = value
	default:
		m.sizes = maps.Clone(m.sizes)
		m.sizes[name] = value
	}
	return m.ready()
}

// ready makes the rating of what is set.
func (m meter) ready() meter {
	if m.rating = m.stranger; m.rating == nil {
		m.rating = m.rate(m.sizes)
	}
	return m
}

// liveZero is the slope of a loop whose zero is read wrong, by the head it shows at none: above none 4-20 mA are read
// as 0-20 mA, h' = 0.2 span + 0.8 h; below none the reverse, h' = 1.25 h - 0.25 span (IEC 60381-1: both ranges).
func liveZero(shift float64) float64 {
	if shift > 0 {
		return 0.8
	}
	return 1.25
}

// show is the flow that the meter shows at a head.
func (m *meter) show(head float64) float64 {
	used := (head-m.datum)*m.scale + m.shift
	flow := 0.0
	switch {
	case used <= 0:
		return 0
	case m.linear > 0:
		flow = m.linear * used
	default:
		flow = m.rating(used) * m.factor
	}
	if flow < m.cutOff {
		return 0
	}
	return math.Min(flow, m.limit)
}

// one draws one of a list.
func one[T any](random *rand.Rand, list ...T) T { return list[random.IntN(len(list))] }

// between draws between two bounds; magnitude so that each factor is as likely as another.
func between(random *rand.Rand, low, high float64) float64 { return low + (high-low)*random.Float64() }

func magnitude(random *rand.Rand, low, high float64) float64 {
	return low * math.Pow(high/low, random.Float64())
}

// stranger draws the rating of another device than one of a kind.
func stranger(random *rand.Rand, kind string) curve {
	if kind != "v-notch" && random.IntN(2) == 0 {
		return notch(one(random, 60.0, 90)*math.Pi/180, false)
	}
	if kind == "parshall" {
		return notch(math.Pi/2, false)
	}
	return parshall(one(random, parshalls[:6]...).throat, false)
}
