package device

import (
	"fmt"
	"math"
	"slices"

	"retotal/ingest/quantity"
)

// greatestFroude is the Froude number of the approach up to which a gauged head is trusted (ISO 4359, read in public
// code; common practice for the other structures).
const greatestFroude = 0.5

// approachKeys are the keys of the channel upstream of a throat or crest.
var approachKeys = []string{"approach_section", "channel_width", "approach_side_slope", "approach_diameter"}

// channel is the approach to a throat or crest whose floor stands hump above its bed.
type channel struct {
	section section
	hump    float64
	known   bool // false: its velocity is left out
}

// readChannel reads the approach: approach_section "rectangular" (with channel_width), "trapezoidal" (channel_width at
// the bed and approach_side_slope), "U" or "circular" (approach_diameter). usual is the one that holds where nothing is
// given; hump the height of the throat floor or crest above the approach bed, and its key.
func readChannel(d *dimensions, usual channel, hump float64, key string, description *Description) channel {
	c := usual
	c.hump = hump
	shape := d.choice("approach_section", "rectangular", "trapezoidal", "U", "circular")
	strayKeys(d, shape, description)
	switch {
	case d.has("approach_section") && shape != "rectangular" || d.has("channel_width"):
		c.section, c.known = readApproachSection(d, shape), true
	case !usual.known:
		description.Advice = append(description.Advice,
			"channel_width (or approach_section) is not given, so the velocity of approach is "+
				"left out and the contraction could not be checked; the flow is then too low rather than too high")
		return c
	}
	description.Dimensions = append(description.Dimensions, Constant{"approach_section", c.section.name})
	for _, dim := range c.section.dims {
		name := map[string]string{
			"width": "channel_width", "side_slope": "approach_side_slope", "diameter": "approach_diameter",
		}[dim.Name]
		if name != "approach_side_slope" || shape == "trapezoidal" {
			description.Dimensions = append(description.Dimensions, Constant{name, dim.Value})
		}
	}
	description.Dimensions = append(description.Dimensions, Constant{key, digits(hump, 4) + " m"})
	return c
}

// strayKeys tells keys that the section of the approach has no use for: as an error where approach_section was
// forgotten, else as advice, since a correction that changes the section cannot take the keys of the old one away.
func strayKeys(d *dimensions, shape string, description *Description) {
	used := map[string][]string{
		"rectangular": {"channel_width"}, "trapezoidal": {"channel_width", "approach_side_slope"},
		"U": {"approach_diameter"}, "circular": {"approach_diameter"},
	}[shape]
	for _, key := range approachKeys[1:] {
		switch {
		case !d.has(key) || slices.Contains(used, key):
		case d.has("approach_section"):
			description.Advice = append(description.Advice,
				fmt.Sprintf("%s is not used: the approach is %s", key, shape))
		default:
			d.refuse(key, fmt.Sprintf("%s %q without approach_section", key, d.text(key)), "",
				`add approach_section = "circular", "U" or "trapezoidal"`)
		}
	}
}

// readApproachSection reads the shape of an approach that is given.
func readApproachSection(d *dimensions, shape string) section {
	switch shape {
	case "rectangular", "trapezoidal":
		b, m := d.quantity("channel_width", quantity.LengthDimension), 0.0
		d.positiveIfGiven("channel_width")
		if shape == "trapezoidal" {
			m = d.number("approach_side_slope")
			d.between("approach_side_slope", m, 0, 20, "horizontal to vertical, from 0")
		}
		return trapezoidSection(b, m)
	}
	diameter := d.quantity("approach_diameter", quantity.LengthDimension)
	d.between("approach_diameter", diameter, 0.01, 20, "a diameter above 0")
	if diameter = math.Max(diameter, 0.01); shape == "U" {
		return uSection(diameter)
	}
	return circleSection(diameter)
}

// area returns the wetted area of the approach at head h; +Inf where the approach is not known.
func (c channel) area(h float64) float64 {
	if !c.known {
		return math.Inf(1)
	}
	return c.section.area(math.Min(h+c.hump, c.section.depth))
}

// froude is the Froude number v/√(g A/T) of the approach at head h and flow q; T is held at the width at 0.95 of a
// pipe's depth above that.
func (c channel) froude(h, q float64) float64 {
	if !c.known {
		return 0
	}
	a, t := c.area(h), c.section.width(math.Min(h+c.hump, 0.95*c.section.depth))
	return q / (a * math.Sqrt(Gravity*a/t))
}

// energy solves H = h + Q²/(2 g A²) with Q = flow(H): the velocity head of the approach, of area A at head h. By
// secants from below: the excess H − h − Q²/(2gA²) bends downwards, so they come to its first root, that of subcritical
// flow, without passing it. An approach that cannot carry the flow below the critical state has no root: H is then held
// where the excess is greatest, which goes on from the last root without a step; such heads lie above the limit of the
// Froude number, and are told.
func (c channel) energy(h float64, flow func(energy float64) float64) float64 {
	area := c.area(h)
	if math.IsInf(area, 1) {
		return h
	}
	excess := func(e float64) float64 {
		v := flow(e) / area
		return e - h - v*v/(2*Gravity)
	}
	e0, x0 := h, excess(h)
	e1 := h - x0
	for range 40 {
		if e1 >= 1.5*h { // a throat takes at most a third of H in its own velocity: no root lies beyond
			return summitOf(excess, h, 1.5*h)
		}
		x1 := excess(e1)
		if e1-e0 <= 1e-14*h || x1 >= 0 {
			return e1
		}
		if x1 <= x0 { // past the top of the excess without a root
			return summitOf(excess, h, 1.5*h)
		}
		e0, x0, e1 = e1, x1, e1-float64(x1*(e1-e0)/(x1-x0))
	}
	return e1
}

// limit lowers the limit of validity to the head at which the Froude number of the approach passes 0.5, and to a
// contraction: a throat area of share of the approach's at most (0: no such limit). An approach narrower than the
// throat or crest, or without room for the lowest head, is refused.
func (c channel) limit(
	d *dimensions, key string, l *Limits, flow func(h float64) float64, throat section, share float64, source string,
) {
	if !c.known || len(d.issues) > 0 {
		return
	}
	if crown := c.section.depth - c.hump; crown < l.End {
		l.End, l.EndSource = crown, "crown of the approach pipe"
	}
	if l.End <= l.Low || throat.width(l.Low) > c.section.width(l.Low+c.hump)*(1+1e-9) ||
		throat.area(l.Low) >= c.area(l.Low)*(1-1e-9) {
		d.refuse(key, "the approach is narrower than the throat or crest, or leaves no contraction",
			"an approach that is wider than the throat, or whose bed is lower",
			"measure the channel where the head is gauged")
		return
	}
	if l.End < l.High {
		l.High, l.HighSource = l.End, l.EndSource
	}
	froude := firstAbove(l.Low, l.High, func(h float64) bool { return c.froude(h, flow(h)) > greatestFroude })
	narrow := firstAbove(l.Low, l.High, func(h float64) bool { return share > 0 && throat.area(h) > share*c.area(h) })
	switch {
	case froude < l.High && froude <= narrow:
		l.High = froude
		l.HighSource = fmt.Sprintf("Froude number of the approach <= %s (ISO 4359, read in public code)",
			digits(greatestFroude, 2))
	case narrow < l.High:
		l.High, l.HighSource = narrow, source
	}
}

// smooth is where a table of the flow may end: up to high, but below the heads at which the approach comes near the
// critical state, where the flow bends too sharply to be worth a table.
func (c channel) smooth(low, high float64, flow func(h float64) float64) float64 {
	if !c.known || !(high > low) || math.IsInf(high, 1) {
		return high
	}
	return firstAbove(low, high, func(h float64) bool { return c.froude(h, flow(h)) > 0.7 })
}

// firstAbove returns the first head at which something holds, by 64 steps and bisection; high where it does nowhere.
func firstAbove(low, high float64, holds func(h float64) bool) float64 {
	const steps = 64
	if holds(low) {
		return low
	}
	last := low
	for i := 1; i <= steps; i++ {
		h := low + float64((high-low)*float64(i)/steps)
		if holds(h) {
			return bisect(last, h, func(h float64) bool { return !holds(h) })
		}
		last = h
	}
	return high
}
