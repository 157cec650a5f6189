package device

import "math"

// Drownable is a device of which something is known under a downstream head. Every kind is one.
type Drownable interface {
	// ModularLimit returns the ratio of downstream to upstream head up to which flow is free, +Inf when nothing is
	// known, and the source of the limit and of the drowned equation.
	ModularLimit() (ratio float64, source string)
	// Drowned returns what is known of the flow at heads h upstream and hd downstream, both above the level of zero
	// flow, at any ratio of the two. With ok the flow is q, and spread is the relative uncertainty (95 %) that drowning
	// adds to it: 0 and the free flow up to the modular limit. Without ok the flow lies between 0 and q: the last value
	// of the drowned equation above its end, or the free flow where no equation holds. It is never above the free flow.
	Drowned(h, hd float64) (q, spread float64, ok bool)
}

// drowning is what a device knows of flow under a downstream head.
type drowning struct {
	modular float64 // hd/h up to which flow is free
	end     float64 // hd/h at which the drowned equation ends
	source  string
	// the drowned equation up to end, not ok where q is a bound; nil where none holds
	flow func(h, hd, free float64) (q, spread float64, ok bool)
}

// drownable makes a device Drownable as far as its drowning is known.
type drownable struct{ drowning *drowning } // nil when nothing is known of drowned flow

// ModularLimit implements Drownable; a device that knows nothing of drowned flow has no limit.
func (d drownable) ModularLimit() (float64, string) {
	if d.drowning == nil {
		return math.Inf(1), ""
	}
	return d.drowning.modular, d.drowning.source
}

// ratioTolerance keeps a ratio that was given as a limit, as 0.9, at that limit after a division of two heads.
const ratioTolerance = 1e-9

// at bounds or computes the flow at two heads, free being the flow at h alone. It is defined for a nil drowning.
func (d *drowning) at(h, hd, free float64) (q, spread float64, ok bool) {
	switch {
	case d == nil || h <= 0:
		return free, 0, hd <= 0
	case hd <= float64((d.modular+ratioTolerance)*h):
		return free, 0, true
	case d.flow == nil:
		return free, 0, false
	}
	beyond := hd > float64((d.end+ratioTolerance)*h)
	q, spread, ok = d.flow(h, math.Min(hd, float64(d.end*h)), free)
	return math.Min(math.Max(q, 0), free), spread, ok && !beyond
}

// modularOnly is a device of which only the modular limit is known.
func modularOnly(ratio float64, source string) *drowning {
	return &drowning{
		modular: ratio,
		source:  source + "; above it no drowned equation holds and the flow lies between 0 and free flow",
	}
}

// givenModular reads the optional modular_limit of a rating that is the user's own: hd/h up to which its flow is free.
func givenModular(d *dimensions) drownable {
	if !d.has("modular_limit") {
		return drownable{}
	}
	ratio := d.number("modular_limit")
	d.between("modular_limit", ratio, 0, 1,
		"the ratio of downstream to upstream head up to which flow is free, from 0 to 1")
	return drownable{modularOnly(ratio, "modular limit of the site file")}
}

// villemonteEnd is where Villemonte's equation is left: above it one hundredth of the ratio is 5 % of the flow and
// more. A judgement of this program: its sources state no end, and at 1 the equation says that a weir under still water
// carries nothing.
const villemonteEnd = 0.95

// villemonteFactor is 1 − (h2/h1)^n to the power of 0.385 (Villemonte 1947; read: EPA SWMM Vol. II eq. 6-26).
func villemonteFactor(s, n float64) float64 {
	return math.Pow(1-math.Pow(math.Max(s, 0), n), 0.385)
}

// villemonte is the drowned flow of a thin-plate weir, n the exponent of its free equation: a thin plate drowns as soon
// as the water below reaches its crest. Uncertainty about 5 % (from memory); against the curves of USGS TWRI 3-A5 it
// reads up to 14 % low for deep crests, so 10 % are taken.
func villemonte(n float64) *drowning {
	return &drowning{
		end:    villemonteEnd,
		source: "Villemonte 1947, read: EPA SWMM Vol. II eq. 6-26; 5 to 10 % at best; left at h2/h1 = 0.95 (judgement)",
		flow: func(h, hd, free float64) (float64, float64, bool) {
			return free * villemonteFactor(hd/h, n), 0.10, true
		},
	}
}

// fullWidthFactor is the drowned factor of the full-width thin-plate weir, 1.007 [0.975 − (h2/h1)^1.45]^0.265 (recalled
// from ISO 1438 clause
// 9.7.2, not read; that the clause exists was read).
func fullWidthFactor(s float64) float64 {
	return math.Min(1, 1.007*math.Pow(math.Max(0.975-math.Pow(math.Max(s, 0), 1.45), 0), 0.265))
}

// fullWidth is the drowned flow of a full-width thin-plate weir: the mean of its own factor and of the general one,
// which reads low for deep crests, with half their difference, and 5 %, as uncertainty.
func fullWidth() *drowning {
	return &drowning{
		end: villemonteEnd,
		source: "mean of the full-width factor recalled from ISO 1438 9.7.2 and of Villemonte 1947 (read: EPA SWMM " +
			"Vol. II eq. 6-26)",
		flow: func(h, hd, free float64) (float64, float64, bool) {
			own, general := fullWidthFactor(hd/h), villemonteFactor(hd/h, 1.5)
			mean := (own + general) / 2
			return free * mean, math.Max(0.05, math.Abs(own-general)/2/mean), true
		},
	}
}

// broadFactors is what drowning leaves of the flow over a broad-crested weir, by the ratio of the energy heads below
// and above it (read: openearth/matlab-tools, Q_weir_SRE.m).
var broadFactors = [][2]float64{
	{0.82, 1}, {0.85, 0.95}, {0.90, 0.90}, {0.95, 0.80}, {0.96, 0.60}, {0.97, 0.40}, {0.99, 0.20}, {1, 0},
}

// broadEnd is where broadFactors is left: beyond it a hundredth of the ratio is a quarter of the flow (judgement).
const broadEnd = 0.95

// broadDrowned is the drowned flow of a broad-crested weir. Its modular limit is that of the sources of C (read:
// package weirs of CRAN: tailwater below 0.66 of the head); the factors start at 0.82, USGS TWRI 3-A5 at 0.85 (read),
// so between the two the flow is still free, within 5 %.
func broadDrowned() *drowning {
	return &drowning{modular: 0.66, end: broadEnd, source: "free to 0.66 (read: CRAN package weirs); " +
		"factors by energy heads read in an open script, with gauged heads; left at 0.95 (judgement)",
		flow: func(h, hd, free float64) (float64, float64, bool) {
			s := hd / h
			if s <= broadFactors[0][0] {
				return free, 0.05, true
			}
			i := 1
			for i < len(broadFactors)-1 && s > broadFactors[i][0] {
				i++
			}
			a, b := broadFactors[i-1], broadFactors[i]
			return free * (a[1] + float64((b[1]-a[1])*(s-a[0])/(b[0]-a[0]))), 0.10, true
		}}
}

// summand is one term of a flow that is made of several: a rating at a head above its own crest, added or taken away.
type summand struct {
	crest  float64
	sign   float64
	rating Rating
}

// drownedSum adds terms that drown each at its own crest: the modular limit is the least of theirs, since none drowns
// before the water stands that high over the lowest crest; the flow is known where every term's is.
func drownedSum(terms []summand) (ratio float64, source string) {
	ratio = math.Inf(1)
	for _, t := range terms {
		if d, ok := t.rating.(Drownable); ok {
			if r, s := d.ModularLimit(); r < ratio {
				ratio, source = r, "each part by its own crest; first: "+s
			}
		}
	}
	return ratio, source
}

// drownedFlows returns the flow of terms under a downstream head, and the spread of its parts weighted by their flow.
func drownedFlows(terms []summand, h, hd float64) (q, spread float64, ok bool) {
	ok = true
	for _, t := range terms {
		part, s, known := 0.0, 0.0, true
		if d, can := t.rating.(Drownable); can {
			part, s, known = d.Drowned(h-t.crest, hd-t.crest)
		}
		q += t.sign * part
		spread += math.Abs(part) * s
		ok = ok && known
	}
	if q > 0 {
		spread /= q
	}
	return q, spread, ok
}
