package mistakes

import (
	"fmt"
	"math"
	"math/rand/v2"
)

// Set one: v-notches and Parshall flumes. Its water is a flow made of a base that drifts, the two peaks of a day, and
// storms that die away; the level follows from it.

func deviceOne(random *rand.Rand) *primary {
	if random.IntN(2) == 0 {
		return parshallDevice(random)
	}
	degrees := one(random, 90.0, 90, 60, 53.13, 45)
	var others []float64
	for _, a := range []float64{22.5, 28.07, 30, 45, 53.13, 60, 90} {
		others = append(others, a*math.Pi/180)
	}
	return &primary{
		kind: "v-notch", settings: map[string]any{"angle": fmt.Sprintf("%.2f deg", degrees)},
		sizes:  dimensions{"angle": degrees * math.Pi / 180},
		others: map[string][]float64{"angle": others}, ranges: map[string][2]float64{"angle": {0.35, 1.745}},
		second: true, low: between(random, 0.05, 0.11), top: between(random, 0.2, 0.38),
		rate: func(d dimensions, second bool) curve { return notch(d["angle"], second) },
	}
}

// notch is a V-notch of an angle in radians by Kindsvater and Shen, Q = (8/15) Ce √(2g) tan(α/2) (h + kh)^2.5 (USBR
// Water Measurement Manual eq. 7-3), Ce and kh by the polynomials that are in general use (from memory); or by Cone's
// general equation, Q = (0.025 + 2.462 s) h^(2.5 - 0.0195 s^-0.75) in feet, s = tan(α/2) (from memory), at 90 degrees
// Q = 2.49 h^2.48 (the same manual, eq. 7-6).
func notch(angle float64, cone bool) curve {
	a, s := angle*180/math.Pi, math.Tan(angle/2)
	if cone {
		c, n := 0.025+2.462*s, 2.5-0.0195*math.Pow(s, -0.75)
		if math.Abs(a-90) < 0.5 {
			c, n = 2.49, 2.48
		}
		return func(h float64) float64 { return c * math.Pow(h/foot, n) * foot * foot * foot }
	}
	ce := 0.607165052 + a*(-0.000874466963+a*6.10393334e-6)
	kh := foot * (0.0144902648 + a*(-0.00033955535+a*(3.29819003e-6-a*1.06215442e-8)))
	k := 8.0 / 15 * ce * math.Sqrt(2*gravity) * s
	return func(h float64) float64 { return k * math.Pow(h+kh, 2.5) }
}

// throat is one Parshall flume: Q = C ha^n in ft and ft³/s (Parshall 1950), and by the set of two decimals that some
// handbooks have (both from memory).
type throat struct {
	throat, c, n, roundedC, roundedN float64
}

var parshalls = []throat{
	{3 * 0.0254, 0.992, 1.547, 0.992, 1.55}, {6 * 0.0254, 2.06, 1.58, 2.06, 1.58}, {9 * 0.0254, 3.07, 1.53, 3.07, 1.53},
	{foot, 4, 1.522, 3.95, 1.55}, {1.5 * foot, 6, 1.538, 6, 1.54}, {2 * foot, 8, 1.55, 8, 1.55},
	{3 * foot, 12, 1.566, 12, 1.57}, {4 * foot, 16, 1.578, 16, 1.58},
}

func parshallDevice(random *rand.Rand) *primary {
	i := random.IntN(6)
	var others []float64
	for _, t := range parshalls[max(i-2, 0):min(i+3, len(parshalls))] {
		others = append(others, t.throat)
	}
	p := parshalls[i]
	return &primary{
		kind: "parshall", settings: map[string]any{"throat": fmt.Sprintf("%.1f in", p.throat/0.0254)},
		sizes: dimensions{"throat": p.throat}, others: map[string][]float64{"throat": others},
		second: p.c != p.roundedC || p.n != p.roundedN,
		low:    between(random, 0.05, 0.12), top: between(random, 0.25, 0.45),
		rate: func(d dimensions, second bool) curve { return parshall(d["throat"], second) },
	}
}

// parshall is the flume whose throat comes nearest to one in m.
func parshall(width float64, rounded bool) curve {
	p := parshalls[0]
	for _, t := range parshalls {
		if math.Abs(t.throat-width) < math.Abs(p.throat-width) {
			p = t
		}
	}
	c, n := p.c, p.n
	if rounded {
		c, n = p.roundedC, p.roundedN
	}
	return func(h float64) float64 { return c * math.Pow(h/foot, n) * foot * foot * foot }
}

// waterOne makes heads, so many hours apart.
func waterOne(random *rand.Rand, d *primary, n int, hours float64) []float64 {
	rating := d.rate(d.sizes, false)
	base, top := rating(d.low), rating(d.top)
	flow := make([]float64, n)
	drift, daily := between(random, -0.3, 0.6), between(random, 0.1, 0.4)
	season, phase := between(random, 300, 900), between(random, 0, 2*math.Pi)
	for i := range flow {
		hour := float64(i) * hours
		slow := 1 + drift*float64(i)/float64(n) + 0.15*math.Sin(2*math.Pi*hour/season+phase)
		day := math.Sin(2*math.Pi*(hour-8)/24) + 0.6*math.Sin(4*math.Pi*(hour-5)/24)
		flow[i] = base * slow * (1 + daily*day)
	}
	for at := 0.0; at < float64(n); at += between(random, 40, 200) / hours {
		rise, fall := between(random, 0.5, 5)/hours, between(random, 4, 30)/hours
		peak := top * magnitude(random, 0.1, 1)
		for i := int(at); i < min(n, int(at+rise+6*fall)); i++ {
			x := float64(i) - at
			flow[i] += peak * math.Min(x/rise, 1) * math.Exp(-math.Max(x-rise, 0)/fall)
		}
	}
	heads := make([]float64, n)
	ripple := 0.0
	for i, q := range flow {
		ripple = 0.8*ripple + 0.0004*random.NormFloat64()
		heads[i] = math.Max(inverse(rating, math.Min(q, 1.5*top))+ripple, 0)
	}
	return heads
}

// inverse is the head of a flow, by bisection up to 5 m.
func inverse(rating curve, flow float64) float64 {
	low, high := 0.0, 5.0
	for range 40 {
		if middle := (low + high) / 2; rating(middle) < flow {
			low = middle
		} else {
			high = middle
		}
	}
	return low
}
