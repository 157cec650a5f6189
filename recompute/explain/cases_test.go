package explain

import (
	"math"
	"math/rand/v2"

	"retotal/recompute/device"
)

// noise is what a log does to what a meter had.
type noise string

// The noises that cases are made with.
const (
	clean    noise = "clean"
	equated  noise = "another equation"
	delayed  noise = "delay"
	rough    noise = "coarse"
	averaged noise = "hourly means"
)

var noises = []noise{clean, equated, delayed, rough, averaged}

// site is a device in which heads go up to a height.
type site struct {
	kind string
	keys map[string]any
	high float64
}

var sites = []site{
	{"v-notch", map[string]any{"angle": "90 deg"}, 0.28},
	{"v-notch", map[string]any{"angle": "60 deg"}, 0.30},
	{"parshall", map[string]any{"throat": "9 in"}, 0.50},
	{"parshall", map[string]any{"throat": "1 ft"}, 0.55},
	{"rectangular", map[string]any{"width": "0.6 m", "channel_width": "1.2 m", "crest_height": "0.4 m"}, 0.30},
	{"h-flume", map[string]any{"type": "H", "depth": "1.5 ft"}, 0.40},
	{"manning", map[string]any{"section": "circular", "diameter": "0.6 m", "roughness": 0.013, "slope": 0.002}, 0.40},
	{"maximum", map[string]any{"maximum_head": "0.4 m", "maximum_flow": "90 L/s", "exponent": 1.55}, 0.38},
	{"table", map[string]any{"points": []any{[]any{"0 m", "0 L/s"}, []any{"0.05 m", "3 L/s"}, []any{"0.1 m", "11 L/s"},
		[]any{"0.2 m", "40 L/s"}, []any{"0.4 m", "150 L/s"}}}, 0.38},
	{"power", map[string]any{"coefficient": 1.9, "exponent": 1.8, "head_unit": "m", "flow_unit": "m3/s"}, 0.35},
}

// course is the heads of some days at an interval: a base flow that drifts and swings by the day, and storms.
func course(r *rand.Rand, days float64, interval int64, high float64) (at []int64, heads []float64) {
	n := int(days * 86400e9 / float64(interval))
	base, storm := 0.2+0.1*r.Float64(), 0.0
	phase := 2 * math.Pi * r.Float64()
	drift := 0.0
	rise := 0.0
	perDay := float64(interval) / 86400e9
	for i := range n {
		if r.Float64() < 0.4*perDay {
			rise = (0.25 + 0.6*r.Float64()) / (0.03 + 0.08*r.Float64())
		}
		storm += rise * perDay
		if storm > 0.75 || r.Float64() < perDay/0.06 {
			rise = 0
		}
		storm *= math.Exp(-perDay / 0.25)
		drift += 0.02 * math.Sqrt(perDay) * r.NormFloat64()
		drift *= math.Exp(-perDay / 20)
		swing := 0.03 * math.Sin(2*math.Pi*float64(i)*perDay+phase)
		at = append(at, 1_600_000_000e9+int64(i)*interval)
		heads = append(heads, high*math.Max(base+drift+swing+storm, 0.01))
	}
	return at, heads
}

// meter is what a case's meter makes of a true head, when.
type meter func(i int, head float64) float64

// log makes a record of a site: levels as they are, flows of a meter.
func log(r *rand.Rand, s site, kind noise, meter meter) *Record {
	interval := []int64{2, 5, 10, 15}[r.IntN(4)] * 60e9
	fine := interval
	if kind == averaged {
		fine, interval = 300e9, 3600e9
	}
	days := 20 + 40*r.Float64()
	at, heads := course(r, days, fine, s.high)
	rec := &Record{Interval: interval, LevelStep: 0.001, Kind: s.kind, Dimensions: s.keys, MaximumHead: math.Inf(1),
		MaximumFlow: math.Inf(1), FlowFactor: 1, Means: kind == averaged}
	flows := make([]float64, len(heads))
	most := 0.0
	for i, h := range heads {
		flows[i] = meter(int(1000*i/len(heads)), h)
		most = math.Max(most, flows[i])
	}
	rec.FlowStep = math.Pow(10, math.Floor(math.Log10(most/2000)))
	if kind == rough {
		rec.LevelStep = 0.01
	}
	lag := 0
	if kind == delayed {
		lag = 1 + r.IntN(3)
	}
	each := int(interval / fine)
	for i := 0; i+each <= len(heads); i += each {
		if r.Float64() < 0.01 {
			continue
		}
		h, q := 0.0, 0.0
		for k := i; k < i+each; k++ {
			h, q = h+heads[k]/float64(each), q+flows[max(k-lag, 0)]/float64(each)
		}
		if kind == rough {
			q *= 1 + 0.03*r.NormFloat64()
		}
		h = math.Round(h/rec.LevelStep) * rec.LevelStep
		q = math.Round(q/rec.FlowStep) * rec.FlowStep
		rec.Pairs = append(rec.Pairs, Pair{at[i], h, math.Max(q, 0)})
	}
	return rec
}

// truth is what is behind a case.
type truth struct {
	names      []string // any of which is right
	value      float64  // of the first; NaN where none is held to
	since      bool
	from       float64 // part of the record after which it began
	pair       [2]string
	top, least float64 // ends on record; 0 for none
}

// fault makes a case of a site: the true flow of a head under the fault; nil where the site has none.
type fault struct {
	name string
	make func(r *rand.Rand, s site, flow func(float64) float64, rate rate) (meter, truth)
}

// rate is the flow of a site whose keys may be others.
type rate func(keys map[string]any) func(head float64) float64

// rated is the flow of a site's device; for the noise of that name by another published equation of it, or, where it
// has none, by a coefficient 1.1 % greater.
func rated(s site, kind noise, pick int) rate {
	return func(keys map[string]any) func(float64) float64 {
		factor := 1.0
		if kind == equated {
			other := map[string][2]string{"v-notch": {"equation", "cone"}, "parshall": {"set", "rounded"},
				"rectangular": {"equation", "francis"}}[s.kind]
			if pick%2 == 0 && other[0] != "" {
				keys = with(keys, other[0], other[1])
			} else {
				factor = 1.011
			}
		}
		rating, issues := device.Build(s.kind, keys)
		if len(issues) > 0 {
			panic(issues[0].Found)
		}
		return func(h float64) float64 { return factor * rating.Flow(h) }
	}
}

// either is one of two ranges, drawn.
func either(r *rand.Rand, low, high float64) float64 {
	v := low + (high-low)*r.Float64()
	if r.IntN(2) == 0 {
		return v
	}
	return -v
}

// scaled are the settings that a factor on the flow may stand for.
var scaled = []string{"flow factor", "head factor", "roughness", "slope", "coefficient", "angle", "width"}

var faults = []fault{
	{"same within ends", func(_ *rand.Rand, s site, flow func(float64) float64, _ rate) (meter, truth) {
		top, least := flow(0.7*s.high), flow(0.22*s.high)
		return func(_ int, h float64) float64 {
			if q := flow(h); q >= least {
				return math.Min(q, top)
			}
			return 0
		}, truth{names: []string{"same", "equation", "delay"}, value: math.NaN(), top: top, least: least}
	}},
	{"same", func(_ *rand.Rand, _ site, flow func(float64) float64, _ rate) (meter, truth) {
		return func(_ int, h float64) float64 { return flow(h) }, truth{names: []string{"same", "equation", "delay"},
			value: math.NaN()}
	}},
	{"datum", func(r *rand.Rand, s site, flow func(float64) float64, _ rate) (meter, truth) {
		d := either(r, 0.03, 0.12) * s.high
		return func(_ int, h float64) float64 { return flow(h - d) }, truth{names: []string{"datum"}, value: d}
	}},
	{"size", func(r *rand.Rand, s site, flow func(float64) float64, rate rate) (meter, truth) {
		pick := func(names []string, key string, values ...any) (meter, truth) {
			v := values[r.IntN(len(values))]
			other := rate(with(s.keys, key, v))
			return func(_ int, h float64) float64 { return other(h) }, truth{names: names, value: si(v)}
		}
		switch s.kind {
		case "v-notch":
			return pick([]string{"angle", "flow factor", "head factor"}, "angle", "45 deg", "53.13 deg", "30 deg")
		case "parshall":
			return pick([]string{"throat"}, "throat", "6 in", "2 ft", "1.5 ft", "3 ft")
		case "rectangular":
			return pick([]string{"width", "flow factor", "head factor"}, "width", "0.5 m", "0.7 m", "0.8 m")
		case "h-flume":
			return pick([]string{"size"}, "depth", "1 ft", "2 ft", "2.5 ft")
		case "manning":
			return pick([]string{"size"}, "diameter", "0.5 m", "0.7 m", "0.75 m")
		}
		if s.kind == "table" {
			return func(_ int, h float64) float64 { return flow(h) },
				truth{names: []string{"same", "equation", "delay"}, value: math.NaN()}
		}
		return pick([]string{"exponent"}, "exponent", 1.6, 1.7, 2.0)
	}},
	{"flow factor", func(r *rand.Rand, s site, flow func(float64) float64, _ rate) (meter, truth) {
		k := []float64{3.6, 1.20095, 1 / 1.20095, 10, 0.1, 1.25, 0.8}[r.IntN(7)]
		return func(_ int, h float64) float64 { return k * flow(h) }, truth{names: scaled, value: k}
	}},
	{"head factor", func(r *rand.Rand, s site, flow func(float64) float64, _ rate) (meter, truth) {
		k := []float64{1.2, 0.8, 1.25, 0.75, 4. / 3}[r.IntN(5)]
		return func(_ int, h float64) float64 { return flow(k * h) },
			truth{names: append([]string{"head factor"}, scaled...), value: k}
	}},
	{"cap", func(r *rand.Rand, s site, flow func(float64) float64, _ rate) (meter, truth) {
		top := flow(s.high * (0.45 + 0.2*r.Float64()))
		return func(_ int, h float64) float64 { return math.Min(flow(h), top) }, truth{names: []string{"cap"},
			value: top}
	}},
	{"cut-off", func(r *rand.Rand, s site, flow func(float64) float64, _ rate) (meter, truth) {
		least := flow(s.high * (0.22 + 0.08*r.Float64()))
		return func(_ int, h float64) float64 {
			if q := flow(h); q >= least {
				return q
			}
			return 0
		}, truth{names: []string{"cut-off"}, value: least}
	}},
	{"linear", func(r *rand.Rand, s site, flow func(float64) float64, _ rate) (meter, truth) {
		k := flow(s.high) / s.high
		return func(_ int, h float64) float64 { return k * h }, truth{names: []string{"linear"}, value: k}
	}},
	{"span offset", func(r *rand.Rand, s site, flow func(float64) float64, _ rate) (meter, truth) {
		span := s.high * (1.2 + 2*r.Float64())
		if r.IntN(2) == 0 {
			return func(_ int, h float64) float64 { return flow(0.8*h + 0.2*span) },
				truth{names: []string{"span offset"}, value: 0.2 * span}
		}
		span = s.high * 1.2
		return func(_ int, h float64) float64 { return flow(1.25*h - 0.25*span) },
			truth{names: []string{"span offset"}, value: -0.25 * span}
	}},
	{"kind", func(r *rand.Rand, s site, flow func(float64) float64, _ rate) (meter, truth) {
		kind, keys := "v-notch", map[string]any{"angle": "90 deg"}
		if s.kind == "v-notch" {
			kind, keys = "parshall", map[string]any{"throat": "6 in"}
		}
		other, _ := device.Build(kind, keys)
		return func(_ int, h float64) float64 { return other.Flow(h) },
			truth{names: []string{"kind"}, value: math.NaN()}
	}},
	{"datum since", func(r *rand.Rand, s site, flow func(float64) float64, _ rate) (meter, truth) {
		d, from := either(r, 0.04, 0.12)*s.high, 200+r.IntN(600)
		return func(i int, h float64) float64 {
				if i < from {
					return flow(h)
				}
				return flow(h - d)
			}, truth{names: []string{"datum"}, value: d, since: true,
				from: float64(from) / 1000}
	}},
	{"flow factor since", func(r *rand.Rand, _ site, flow func(float64) float64, _ rate) (meter, truth) {
		k, from := []float64{1.2, 0.8, 3.6, 0.9}[r.IntN(4)], 150+r.IntN(700)
		return func(i int, h float64) float64 {
			if i < from {
				return flow(h)
			}
			return k * flow(h)
		}, truth{names: scaled, value: k, since: true, from: float64(from) / 1000}
	}},
	{"datum and cap", func(r *rand.Rand, s site, flow func(float64) float64, _ rate) (meter, truth) {
		d, top := either(r, 0.03, 0.1)*s.high, flow(s.high*(0.5+0.1*r.Float64()))
		return func(_ int, h float64) float64 { return math.Min(flow(h-d), top) },
			truth{names: []string{"cap"}, value: math.NaN(), pair: [2]string{"datum", ""}}
	}},
	{"damping", func(r *rand.Rand, _ site, flow func(float64) float64, _ rate) (meter, truth) {
		last, part := math.NaN(), 0.1+0.2*r.Float64()
		return func(_ int, h float64) float64 {
			if math.IsNaN(last) {
				last = flow(h)
			}
			last += part * (flow(h) - last)
			return last
		}, truth{names: []string{"damping", "delay"}, value: math.NaN()}
	}},
	{"datum and flow factor", func(r *rand.Rand, s site, flow func(float64) float64, _ rate) (meter, truth) {
		d, k := either(r, 0.03, 0.1)*s.high, []float64{0.8, 1.25, 1.5, 3.6}[r.IntN(4)]
		return func(_ int, h float64) float64 { return k * flow(h-d) }, truth{names: scaled, value: math.NaN(),
			pair: [2]string{"datum", ""}}
	}},
}
