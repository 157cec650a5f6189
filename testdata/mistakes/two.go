package mistakes

import (
	"fmt"
	"math"
	"math/rand/v2"
)

// Set two: rectangular and Cipolletti weirs, H flumes, pipes by Manning, power laws and rating tables. Its water is a
// level made at once: the logarithm of the head wanders, pulses lift it, and it goes back by a share an hour.

func deviceTwo(random *rand.Rand) *primary {
	return one(random, rectangular, rectangular, cipolletti, flume, pipe, law, table)(random)
}

// metres are lengths between two bounds in steps.
func metres(low, high, step float64) (list []float64) {
	for i := math.Round(low / step); i*step < high+step/2; i++ {
		list = append(list, i*step)
	}
	return list
}

func rectangular(random *rand.Rand) *primary {
	channel, crest := one(random, 0.6, 0.8, 1, 1.2), one(random, 0.2, 0.25, 0.3, 0.4, 0.5)
	width := channel
	if random.IntN(3) > 0 {
		width = math.Round(channel*between(random, 0.4, 0.8)*20) / 20
	}
	return &primary{
		kind: "rectangular", settings: map[string]any{"width": fmt.Sprintf("%.2f m", width),
			"channel_width": fmt.Sprintf("%.1f m", channel), "crest_height": fmt.Sprintf("%.2f m", crest)},
		sizes: dimensions{"width": width}, others: map[string][]float64{"width": metres(0.2, channel, 0.05)},
		ranges: map[string][2]float64{"width": {0.15, channel}}, second: true,
		low: between(random, 0.035, 0.07), top: between(random, 0.15, 0.3),
		rate: func(d dimensions, second bool) curve { return crested(d["width"], channel, crest, second) },
	}
}

// contractions are b/B, α and β of Ce = α + β h/p, and kb in mm (Kindsvater and Carter, ISO 1438; from memory).
var contractions = [][4]float64{
	{0, 0.587, -0.0023, 2.4}, {0.2, 0.589, -0.0018, 2.4}, {0.4, 0.591, 0.0058, 2.7}, {0.6, 0.593, 0.018, 3.6},
	{0.7, 0.595, 0.030, 3.9}, {0.8, 0.597, 0.045, 4.2}, {0.9, 0.599, 0.064, 3.4}, {1, 0.602, 0.075, -0.9},
}

// crested is the rectangular weir of width b in a channel of width B by Kindsvater and Carter, Q = (2/3) Ce √(2g)
// (b + kb) (h + 1 mm)^1.5 (USBR Water Measurement Manual eq. 7-1); or by Francis, Q = 3.33 (b - 0.2 h) h^1.5 in feet
// (the same, eq. 7-4), and where it fills the channel by Rehbock, Ce = 0.602 + 0.083 h/p, kh = 1.2 mm (ISO 1438, from
// memory).
func crested(b, channel, p float64, second bool) curve {
	t, i := contractions, 1
	for i < len(t)-1 && b/channel > t[i][0] {
		i++
	}
	w := (b/channel - t[i-1][0]) / (t[i][0] - t[i-1][0])
	mix := func(k int) float64 { return (1-w)*t[i-1][k] + w*t[i][k] }
	alpha, beta, kb, kh := mix(1), mix(2), mix(3)/1000, 0.001
	switch {
	case second && b < 0.999*channel:
		return func(h float64) float64 { return 3.33 * math.Sqrt(foot) * (b - 0.2*h) * math.Pow(h, 1.5) }
	case second:
		alpha, beta, kb, kh = 0.602, 0.083, 0, 0.0012
	}
	k := 2.0 / 3 * math.Sqrt(2*gravity) * (b + kb)
	return func(h float64) float64 { return k * (alpha + beta*h/p) * math.Pow(h+kh, 1.5) }
}

// cipolletti is Q = 3.367 b h^1.5 in feet (USBR Water Measurement Manual eq. 7-7).
func cipolletti(random *rand.Rand) *primary {
	width := one(random, metres(0.3, 1, 0.1)...)
	return &primary{
		kind: "cipolletti", settings: map[string]any{"width": fmt.Sprintf("%.1f m", width)},
		sizes: dimensions{"width": width}, others: map[string][]float64{"width": metres(0.3, 1.5, 0.1)},
		ranges: map[string][2]float64{"width": {0.15, 5}},
		low:    between(random, 0.04, 0.08), top: between(random, 0.15, 0.3),
		rate: func(d dimensions, _ bool) curve {
			k := 3.367 * math.Sqrt(foot) * d["width"]
			return func(h float64) float64 { return k * math.Pow(h, 1.5) }
		},
	}
}

// flumes are H flumes: depth in ft and A, B, C of log10 Q = A + B log10 h + C (log10 h)² in m (Bos 1989, from memory).
var flumes = [][4]float64{
	{0.75, 0.0351, 2.6434, 0.2243}, {1, 0.0206, 2.5902, 0.2281}, {1.5, 0.0238, 2.5473, 0.2540},
	{2, 0.0237, 2.4918, 0.2605}, {2.5, 0.0268, 2.4402, 0.2600}, {3, 0.0329, 2.3977, 0.2588},
}

func flume(random *rand.Rand) *primary {
	i := 1 + random.IntN(4)
	depth := flumes[i][0] * foot
	var others []float64
	for _, f := range flumes {
		others = append(others, f[0]*foot)
	}
	return &primary{
		kind: "h-flume", settings: map[string]any{"type": "H", "depth": fmt.Sprintf("%.2f ft", flumes[i][0])},
		sizes: dimensions{"size": depth}, others: map[string][]float64{"size": others}, second: true,
		low: depth * between(random, 0.15, 0.25), top: depth * between(random, 0.6, 0.85),
		rate: func(d dimensions, second bool) curve { return usda(d["size"], second) },
	}
}

// usda is the H flume of a depth in m. The second equation stands in for another fit to the same calibration: it
// differs by up to 3 % at low heads.
func usda(depth float64, second bool) curve {
	f := flumes[0]
	for _, x := range flumes {
		if math.Abs(x[0]*foot-depth) < math.Abs(f[0]*foot-depth) {
			f = x
		}
	}
	return func(h float64) float64 {
		l := math.Log10(math.Max(math.Min(h, depth), 0.001))
		q := math.Pow(10, f[1]+l*(f[2]+l*f[3]))
		if second {
			q *= 1.005 * math.Pow(h/depth, 0.015)
		}
		return q
	}
}

// pipe is uniform flow in a circular pipe by Manning, Q = (1/n) A R^(2/3) √S.
func pipe(random *rand.Rand) *primary {
	diameters := []float64{0.25, 0.3, 0.375, 0.45, 0.5, 0.6, 0.75, 0.9}
	n, slope := one(random, 0.010, 0.011, 0.012, 0.013, 0.015), one(random, 0.002, 0.003, 0.005, 0.01)
	i := 1 + random.IntN(5)
	d := diameters[i]
	return &primary{
		kind: "manning", settings: map[string]any{"section": "circular", "diameter": fmt.Sprintf("%.3f m", d),
			"roughness": n, "slope": slope},
		sizes: dimensions{"size": d, "roughness": n, "slope": slope},
		others: map[string][]float64{"size": diameters[i-1:], "roughness": {0.009, 0.010, 0.012, 0.013, 0.015, 0.018},
			"slope": {slope / 10, slope / 2, slope * 0.8, slope * 1.25, slope * 2, slope * 10}},
		ranges: map[string][2]float64{"size": {0.2, 2}, "roughness": {0.005, 0.3}, "slope": {1e-7, 0.5}},
		low:    d * between(random, 0.1, 0.2), top: d * between(random, 0.4, 0.7),
		rate: func(d dimensions, _ bool) curve { return circular(d["size"], d["roughness"], d["slope"]) },
	}
}

func circular(d, n, slope float64) curve {
	root := math.Sqrt(slope) / n
	return func(h float64) float64 {
		wet := 2 * math.Acos(1-2*math.Min(h/d, 1))
		area := d * d / 8 * (wet - math.Sin(wet))
		return root * area * math.Pow(area/(wet*d/2), 2.0/3)
	}
}

// law is a power law with numbers of its own.
func law(random *rand.Rand) *primary {
	n := one(random, 1.5, 1.55, 1.8, 2, 2.5)
	c := math.Round(between(random, 0.4, 2.5)*1000) / 1000
	return &primary{
		kind: "power", settings: map[string]any{"coefficient": c, "exponent": n, "head_unit": "m", "flow_unit": "m3/s"},
		sizes:  dimensions{"coefficient": c},
		others: map[string][]float64{"coefficient": {c * 0.7, c * 0.85, c * 1.12, c * 1.3, c * 1.5}},
		ranges: map[string][2]float64{"coefficient": {0.01, 100}},
		low:    between(random, 0.06, 0.12), top: between(random, 0.25, 0.4),
		rate: func(d dimensions, _ bool) curve {
			return func(h float64) float64 { return d["coefficient"] * math.Pow(h, n) }
		},
	}
}

// table is a rating of straight lines between points, as by a gauging of a channel.
func table(random *rand.Rand) *primary {
	c, n, shift := between(random, 0.5, 2), between(random, 1.5, 2.3), between(random, 0, 0.02)
	var points []any
	var heads, flows []float64
	for h := 0.02; h < 0.805; h += 0.02 {
		litres := math.Round(c*math.Pow(h+shift, n)*1e5) / 100
		heads, flows = append(heads, h), append(flows, litres/1000)
		points = append(points, []any{fmt.Sprintf("%.2f m", h), fmt.Sprintf("%.2f L/s", litres)})
	}
	return &primary{
		kind: "table", settings: map[string]any{"points": points, "interpolation": "linear"}, sizes: dimensions{},
		low: between(random, 0.06, 0.12), top: between(random, 0.25, 0.45),
		rate: func(dimensions, bool) curve { return func(h float64) float64 { return lines(heads, flows, h) } },
	}
}

// lines goes from point to point, from zero to the first, and stays at the last.
func lines(heads, flows []float64, h float64) float64 {
	before, below := 0.0, 0.0
	for i, head := range heads {
		if h < head {
			return below + (flows[i]-below)*(h-before)/(head-before)
		}
		before, below = head, flows[i]
	}
	return below
}

// waterTwo makes heads, so many hours apart.
func waterTwo(random *rand.Rand, d *primary, n int, hours float64) []float64 {
	heads := make([]float64, n)
	keeps := math.Exp(-hours / between(random, 20, 80)) // of the slow part
	falls := math.Exp(-hours / between(random, 3, 15))  // of a pulse
	spread, often := between(random, 0.08, 0.3), hours/between(random, 12, 80)
	slow, pulse, due, wave := 0.0, 0.0, 0.0, 0.0
	room := math.Log(d.top / d.low)
	for i := range heads {
		slow = keeps*slow + math.Sqrt(1-keeps*keeps)*spread*random.NormFloat64()
		if random.Float64() < often {
			due += magnitude(random, 0.2, 1) * room
		}
		arrives := due * (1 - math.Exp(-hours)) // within an hour or so
		due, pulse = due-arrives, falls*pulse+arrives
		size := 0.0003 + 0.003*d.low*pulse
		wave = 0.5*wave + size*random.ExpFloat64()*one(random, -1.0, 1)
		h := d.low * math.Exp(slow+math.Min(pulse, room*1.1))
		heads[i] = math.Max(math.Min(h, d.top*1.1)+wave, 0)
	}
	return heads
}
