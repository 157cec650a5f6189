package explain

import (
	"cmp"
	"math"
	"slices"
	"strings"

	"retotal/recompute/explain/published"
	"retotal/recompute/explain/sample"
	"retotal/recompute/stat"
)

// candidate is a hypothesis that was fitted.
type candidate struct {
	names   []string
	values  []float64
	snapped []string
	dials   []*dial // behind the values; nil for the ends
	eq      *equation
	free    bool // the factor on the equation was fitted too
	model   model
	before  *model // what held before since; nil for a candidate of the whole record
	since   int
	onset   [2]int // interval of since
	loss    float64
	score   float64
	layer   int // 0 recorded settings, 1 an equation, 2 a setting, 3 two
}

// key is the names of a candidate.
func (x candidate) key() string {
	key := strings.Join(x.names, "+")
	if x.before != nil {
		key += " since"
	}
	return key
}

// at is what a candidate makes of pair i, on of a head at the time of it.
func (x candidate) at(s *sample.Series, i int) float64 { return x.on(i, s.Head[i]) }

func (x candidate) on(i int, head float64) float64 {
	if x.before != nil && i < x.since {
		return x.before.flow(head)
	}
	return x.model.flow(head)
}

// What a hypothesis costs in score beyond its parameters: what is simple, and what people do often, wins among equals.
// Of a sample of few pairs it costs more, as each pair counts for more.
const (
	priorSetting  = 0.010
	priorPair     = 0.020 // more, of two settings
	priorThree    = 0.050 // more, of two settings and an end
	priorEquation = 0.004 // another equation than that on record
	priorFactor   = 0.004 // a factor on an equation
	creditUsual   = 0.012 // of a usual value, under which the loss is no more than usualLoss greater
	usualLoss     = 0.008
	mostFactor    = 1.02 // by which equations of a device differ from their like
)

// anyFactor is a factor without a bound.
const anyFactor = 1e6

// weigh adds what a candidate costs to its loss.
func (x *candidate) weigh(s *sample.Series) {
	n := float64(len(s.Sample.Index))
	parameters := float64(len(x.values))
	if x.layer == 0 {
		parameters = 0
	}
	prior := 0.0
	if x.free {
		parameters++
		prior += priorFactor
	}
	if x.eq != nil && x.eq.name != recorded {
		prior += priorEquation
	}
	for i, d := range x.dials {
		if x.layer >= 2 {
			prior += priorSetting
		}
		if d != nil {
			prior += d.prior
		}
		if x.snapped[i] != "" {
			prior -= creditUsual
		}
	}
	if x.layer >= 3 {
		prior += priorPair
	}
	if len(x.names) > 2 {
		prior += priorThree
	}
	if x.before != nil {
		prior += priorSetting
		parameters++
	}
	x.score = x.loss + float64(prior*s.Sample.Few()) + parameters*math.Log(n)/n
}

// search fits every hypothesis for the whole record.
func search(c *catalogue, s *sample.Series) (list []candidate) {
	list = c.plain(s)
	for i := range c.dials {
		list = append(list, c.singles(s, &c.dials[i])...)
	}
	ranked := rank(slices.Clone(list))
	if ranked[0].loss > pairsFrom {
		list = append(list, c.pairs(s, ranked)...)
	}
	return list
}

// pairsFrom is the loss above which pairs of settings are tried.
const pairsFrom = 0.15

// plain is the recorded settings, the equations of the device, and these with other ends.
func (c *catalogue) plain(s *sample.Series) (list []candidate) {
	for i := range c.equations {
		e := &c.equations[i]
		for _, free := range [...]bool{false, true} {
			m := c.model(e)
			c.strict(&m)
			if free {
				m.bestFactor(&s.Sample, 1/mostFactor, mostFactor, 1)
			}
			x := candidate{names: []string{"equation"}, values: []float64{m.factor / c.factor}, snapped: []string{""},
				dials: []*dial{nil}, eq: e, free: free, model: m, loss: m.loss(&s.Sample, 1), layer: 1}
			if e.name == recorded && !free {
				x.names, x.layer = []string{"same"}, 0
			}
			x.weigh(s)
			list = append(list, x)
			m = c.model(e)
			c.end(&m)
			if free {
				m.bestFactor(&s.Sample, 1/mostFactor, mostFactor, 1)
			}
			y := candidate{eq: e, free: free, model: m, layer: 1}
			if c.addEnds(s, &y); len(y.names) > 0 {
				y.layer = 1 + len(y.names)
			} else { // they are those on record, or at work nowhere
				y.names, y.values, y.snapped, y.dials, y.layer = x.names, x.values, x.snapped, x.dials, x.layer
				if free {
					y.values = []float64{m.factor / c.factor}
				}
			}
			y.loss = m.loss(&s.Sample, 1)
			y.weigh(s)
			list = append(list, y)
		}
	}
	return list
}

// strict sets the ends on record.
func (c *catalogue) strict(m *model) {
	m.cap, m.cut, m.dry = c.recordedCap(m), c.record.CutOff, math.Inf(-1)
}

// addEnds names the ends of a candidate that are neither those on record nor at work nowhere.
func (c *catalogue) addEnds(s *sample.Series, x *candidate) {
	raw := x.model
	raw.cap, raw.cut, raw.dry = math.Inf(1), 0, math.Inf(-1)
	on := c.recordedCap(&raw)
	known := func(v, on float64) bool {
		return math.Abs(v/on-1) < 0.01 || math.Abs(v/(on*x.model.factor/c.factor)-1) < 0.01
	}
	held, beyond, dry := 0, 0, 0
	least := raw.flow(s.Dry)
	if s.Least > 0 {
		least = s.Least
	}
	for k, i := range s.Readings.Index {
		q, t := s.Flow[i], s.Readings.Tolerances[k]
		pred := raw.flow(s.Head[i])
		switch {
		case q >= s.Top*(1-s.Sample.Blur) && pred > s.Top+float64(2*t):
			held++
		case q > on*1.01+2*t:
			beyond++
		case q == 0 && pred > math.Min(2*t, 0.5*least) && s.Head[i] > 0:
			dry++
		}
	}
	add := func(name string, v float64) {
		x.names, x.values = append(x.names, name), append(x.values, v)
		x.snapped, x.dials = append(x.snapped, ""), append(x.dials, nil)
	}
	switch {
	case held >= sample.LeastHeld && !known(s.Top, on):
		add("cap", s.Top)
	case beyond >= sample.LeastHeld && math.IsInf(s.Top, 1) && !math.IsInf(on, 1):
		add("cap", math.Inf(1))
	}
	switch off := c.record.CutOff; {
	case !math.IsInf(s.Dry, -1) && dry >= sample.LeastHeld:
		slack := float64(0.05 * least)
		if s.Least == 0 {
			slack += raw.flow(s.Dry+s.LevelStep) - least
		}
		if math.Abs(off-least) > slack && math.Abs(off*x.model.factor/c.factor-least) > slack {
			add("cut-off", least)
		}
	case math.IsInf(s.Dry, -1) && c.belowCut:
		add("cut-off", 0)
	}
}

// fitted is a value of a dial with the model that it makes.
type fitted struct {
	value float64
	model model
	loss  float64
}

// fit turns one dial over an equation until the loss is least; start is what was set before it, factor by how much
// the flow may be multiplied besides, up or down.
func (c *catalogue) fit(s *sample.Series, e *equation, start func(*model) bool, d *dial, factor float64,
	finest int) fitted {
	try := func(v float64, stride int) fitted {
		m := c.model(e)
		if start != nil && !start(&m) || d.values != nil && !d.set(&m, e, v) {
			return fitted{loss: math.Inf(1)}
		}
		c.end(&m)
		if d.values == nil { // a factor of any size
			if d.own {
				d.set(&m, e, 1)
			}
			before := m.factor
			m.bestFactor(&s.Sample, 1/anyFactor, anyFactor, stride)
			v = m.factor / before
		}
		if factor > 1 && d.values != nil {
			m.bestFactor(&s.Sample, 1/factor, factor, stride)
		}
		return fitted{v, m, m.loss(&s.Sample, stride)}
	}
	if d.values == nil {
		return try(0, finest)
	}
	losses := []float64{}
	for _, v := range d.values {
		losses = append(losses, try(v, sample.Coarse).loss)
	}
	best := fitted{loss: math.Inf(1)}
	for _, at := range lowest(losses, 3) {
		var x fitted
		if d.choice {
			x = try(d.values[at], finest)
		} else {
			low, high := d.values[max(at-1, 0)], d.values[min(at+1, len(d.values)-1)]
			v, _ := stat.Least(low, high, 17, func(v float64) float64 { return try(v, finest).loss })
			x = try(v, finest)
		}
		if x.loss < best.loss {
			best = x
		}
	}
	return best
}

// lowest is the places of the least values among those that are no greater than their neighbours.
func lowest(values []float64, count int) (at []int) {
	for i, v := range values {
		if math.IsInf(v, 1) || i > 0 && values[i-1] < v || i+1 < len(values) && values[i+1] < v {
			continue
		}
		at = append(at, i)
	}
	slices.SortStableFunc(at, func(a, b int) int { return cmp.Compare(values[a], values[b]) })
	return at[:min(len(at), count)]
}

// singles turns one dial over every equation, without and with a factor on it.
func (c *catalogue) singles(s *sample.Series, d *dial) (list []candidate) {
	for i := range c.equations {
		e := &c.equations[i]
		if d.own && i > 0 {
			break
		}
		for _, free := range [...]bool{false, true} {
			if free && (d.scales && !d.choice || d.own) {
				break
			}
			factor := 1.0
			if free {
				factor = mostFactor
			}
			x := c.fit(s, e, nil, d, factor, 1)
			if math.IsInf(x.loss, 1) {
				continue
			}
			y := candidate{names: []string{d.name}, values: []float64{x.value}, snapped: []string{""},
				dials: []*dial{d}, eq: e, free: free, model: x.model, loss: x.loss, layer: 2}
			c.finish(s, &y)
			list = append(list, y)
		}
	}
	return list
}

// finish snaps values, names ends and weighs a candidate.
func (c *catalogue) finish(s *sample.Series, x *candidate) {
	if len(x.dials) == 1 {
		c.snap(s, x)
	}
	c.addEnds(s, x)
	if len(x.names) > 1 {
		x.layer = len(x.names) + 1
	}
	x.weigh(s)
	x.sort()
}

// sort puts names in order, with what belongs to them.
func (x *candidate) sort() {
	for i := range x.names {
		for k := i; k > 0 && x.names[k] < x.names[k-1]; k-- {
			x.names[k], x.names[k-1] = x.names[k-1], x.names[k]
			x.values[k], x.values[k-1] = x.values[k-1], x.values[k]
			x.snapped[k], x.snapped[k-1] = x.snapped[k-1], x.snapped[k]
			x.dials[k], x.dials[k-1] = x.dials[k-1], x.dials[k]
		}
	}
}

// snap takes the value of a single dial for a usual one where that fits as well.
func (c *catalogue) snap(s *sample.Series, x *candidate) {
	d, v := x.dials[0], x.values[0]
	if d.choice {
		for i, value := range d.values {
			if value == v {
				x.snapped[0] = d.labels[i]
				if d.sizes != nil {
					x.values[0] = d.sizes[i]
				}
			}
		}
		return
	}
	if d.values == nil && len(d.labels) > 0 {
		x.snapped[0] = d.labels[0]
		return
	}
	nearest, least := published.Usual{}, 0.02
	for _, u := range d.usual {
		if off := math.Abs(v/u.Value - 1); off < least {
			nearest, least = u, off
		}
	}
	if nearest.Label == "" {
		return
	}
	m := c.model(x.eq)
	if !d.set(&m, x.eq, nearest.Value) {
		return
	}
	c.end(&m)
	if loss := m.loss(&s.Sample, 1); loss <= x.loss+float64(usualLoss*math.Sqrt(s.Sample.Few())) {
		x.values[0], x.snapped[0], x.model, x.loss = nearest.Value, nearest.Label, m, loss
	}
}
