package mistakes

import (
	"math"
	"slices"
)

// Two answers are twins when no log could tell them: their flows differ by less than a step of the log (and a tenth
// of what a step of the level makes) at nearly all heads, and their volumes by under 0.5 %. Which settings can be so
// confounded is not written down but tried: every other setting, and with a mistake of two every other pair, is
// fitted to the flow of the wrong meter without noise.

// twinSamples is how many heads are compared, spread over the record; twinShare of them have to agree.
const (
	twinSamples = 100
	twinShare   = 0.95
	twinVolume  = 0.005
)

// twins returns the truth and its twins.
func (b *build) twins(truth Answer) []Answer {
	class := []Answer{truth}
	if len(truth.Names) == 0 {
		return class
	}
	f := b.fitting()
	for _, names := range b.candidates(truth) {
		if known := slices.ContainsFunc(class, func(a Answer) bool { return within(a.Names, names) }); known {
			continue
		}
		var axes []axis
		for _, name := range names {
			axes = append(axes, b.axis(name))
		}
		values, _ := f.least(b.right, axes)
		candidate := b.right
		for i, name := range names {
			candidate = candidate.with(name, values[i])
		}
		if f.alike(&candidate) {
			class = append(class, Answer{names, values, truth.Since})
		}
	}
	return class
}

// within says that all of some names are among others.
func within(some, others []string) bool {
	return !slices.ContainsFunc(some, func(name string) bool { return !slices.Contains(others, name) })
}

// candidates are what may look like a mistake: any one setting; for a mistake of two, a pair that shares one of them
// or has a datum; for a live zero, which shifts and stretches the head at once, a datum with a factor.
func (b *build) candidates(truth Answer) (list [][]string) {
	singles := []string{"datum", "flow factor", "head factor", "span offset", "linear"}
	for name := range b.device.sizes {
		singles = append(singles, name)
	}
	slices.Sort(singles)
	for _, name := range singles {
		list = append(list, []string{name})
	}
	if len(truth.Names) == 1 && truth.Names[0] != "span offset" {
		return list
	}
	for _, first := range []string{"datum", "cap"} {
		if first == "cap" && !slices.Contains(truth.Names, first) {
			continue
		}
		for _, name := range singles {
			if name != first && name != "linear" && name != "span offset" {
				pair := []string{first, name}
				slices.Sort(pair)
				list = append(list, pair)
			}
		}
	}
	return list
}

// axis is one setting with the values it may take: those listed, and where it is open all between them too.
type axis struct {
	name   string
	values []float64
	open   bool
}

// axis returns the values that are tried of a setting.
func (b *build) axis(name string) axis {
	if name == "cap" {
		return axis{name, []float64{b.truth.Values[slices.Index(b.truth.Names, name)]}, false}
	}
	r, open := [2]float64{}, true
	switch name {
	case "datum":
		return axis{name, ladder(-0.15, 0.15, 30, false), true}
	case "span offset":
		return axis{name, ladder(-0.3, 0.3, 30, false), true}
	case "flow factor":
		r = [2]float64{0.02, 50}
	case "head factor", "linear":
		r = [2]float64{0.02, 10}
	default:
		if r, open = b.device.ranges[name]; !open {
			return axis{name, b.device.others[name], false}
		}
	}
	return axis{name, ladder(r[0], r[1], 40, true), true}
}

// ladder goes from one value to another in steps that are equal, or equal factors.
func ladder(from, to float64, steps int, factors bool) (list []float64) {
	for i := range steps + 1 {
		part := float64(i) / float64(steps)
		if factors {
			list = append(list, from*math.Pow(to/from, part))
		} else {
			list = append(list, from+(to-from)*part)
		}
	}
	return list
}

// least is the place of the least cost on an axis: the best of the values, and on an open one golden section around it.
func (a axis) least(cost func(float64) float64) (at, best float64) {
	best = math.Inf(1)
	place := 0
	for i, v := range a.values {
		if c := cost(v); c < best {
			at, best, place = v, c, i
		}
	}
	if !a.open {
		return at, best
	}
	const golden = 0.6180339887498949
	low, high := a.values[max(place-1, 0)], a.values[min(place+1, len(a.values)-1)]
	for range 24 {
		left, right := high-golden*(high-low), low+golden*(high-low)
		if x, y := cost(left), cost(right); x < y {
			high = right
			if x < best {
				at, best = left, x
			}
		} else {
			low = left
			if y < best {
				at, best = right, y
			}
		}
	}
	return at, best
}

// fitting holds the flows that a candidate has to meet, at some of the heads, with what may be missed.
type fitting struct {
	heads, flows, miss []float64
}

func (b *build) fitting() *fitting {
	heads := slices.Clone(b.heads[b.onset:])
	slices.Sort(heads)
	f := &fitting{}
	for i := range twinSamples {
		h := heads[(2*i+1)*len(heads)/(2*twinSamples)]
		f.heads = append(f.heads, h)
		f.flows = append(f.flows, b.wrong.show(h))
		f.miss = append(f.miss, b.tolerance(&b.wrong, h, 0.1))
	}
	return f
}

// least fits one or two settings of a meter.
func (f *fitting) least(m meter, axes []axis) (values []float64, best float64) {
	values = make([]float64, len(axes))
	values[0], best = axes[0].least(func(x float64) float64 {
		changed := m.with(axes[0].name, x)
		if len(axes) == 1 {
			return f.cost(&changed)
		}
		_, c := f.least(changed, axes[1:])
		return c
	})
	if len(axes) > 1 {
		rest, _ := f.least(m.with(axes[0].name, values[0]), axes[1:])
		copy(values[1:], rest)
	}
	return values, best
}

// cost is the sum of squares of what a meter misses, in parts of what it may; none counts for more than a thousand.
func (f *fitting) cost(m *meter) (sum float64) {
	for i, h := range f.heads {
		x := math.Min(math.Abs(m.show(h)-f.flows[i])/f.miss[i], 1e3)
		sum += x * x
	}
	return sum
}

// alike says that a meter is a twin of the wrong one.
func (f *fitting) alike(m *meter) bool {
	near, volume, other := 0, 0.0, 0.0
	for i, h := range f.heads {
		q := m.show(h)
		volume, other = volume+f.flows[i], other+q
		if math.Abs(q-f.flows[i]) <= f.miss[i] {
			near++
		}
	}
	return float64(near) >= twinShare*twinSamples && math.Abs(other/volume-1) < twinVolume
}
