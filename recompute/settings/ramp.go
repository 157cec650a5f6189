package settings

import (
	"fmt"
	"maps"
	"strconv"

	"retotal/ingest/problem"
	"retotal/ingest/quantity"
	"retotal/ingest/site"
)

// rampSteps is into how many parts a ramp is cut whose setting does not move the head along a straight line. Within a
// part heads and flows go over in a straight line from what the settings give at its beginning to what they give at its
// end.
const rampSteps = 256

// steps returns where a correction is cut because a setting other than an empty distance or a level of zero flow moves:
// at even times.
func steps(c *site.Correction) (cuts []int64) {
	if !stepped(c) {
		return nil
	}
	for k := range int64(rampSteps) {
		cuts = append(cuts, c.From.UTC+(c.Until.UTC-c.From.UTC)/rampSteps*k)
	}
	return cuts
}

// stepped reports whether a correction moves a setting that is cut into steps.
func stepped(c *site.Correction) bool {
	rest := c.Settings
	rest.Values[site.EmptyDistance], rest.Values[site.LevelOfZeroFlow] = nil, nil
	return c.From != nil && c.Until != nil && rest.Moves()
}

// still returns a correction's settings at an instant, those that move along a straight line as they are.
func (b *Builder) still(c *site.Correction, at int64) site.Settings {
	out := c.Settings
	if !stepped(c) {
		return out
	}
	share := float64(at-c.From.UTC) / float64(c.Until.UTC-c.From.UTC)
	for i, r := range out.Values {
		datum := site.Setting(i) == site.EmptyDistance || site.Setting(i) == site.LevelOfZeroFlow
		if r != nil && r.From.SI != r.To.SI && !datum {
			moved := *r
			moved.From.SI += float64((r.To.SI - r.From.SI) * share)
			moved.To.SI = moved.From.SI
			out.Values[i] = &moved
		}
	}
	if out.Device != nil {
		out.Device = b.stillDevice(out.Device, share)
	}
	return out
}

// stillDevice puts the dimensions of a device that move at their value for a share of the way.
func (b *Builder) stillDevice(d *site.DeviceKeys, share float64) *site.DeviceKeys {
	out := *d
	out.Values = maps.Clone(d.Values)
	for key, v := range d.Values {
		from, to, ok := site.DeviceRamp(v)
		if !ok {
			continue
		}
		middle, err := quantity.Between(fmt.Sprint(from), fmt.Sprint(to), share)
		if err != nil {
			b.Add(problem.At(d.Place, fmt.Sprintf("%s.%s cannot move: %v", d.Prefix, key, err),
				"two values of one unit", ""))
			middle = fmt.Sprint(from)
		}
		out.Values[key] = middle
		if _, isText := from.(string); !isText {
			out.Values[key], _ = strconv.ParseFloat(middle, 64)
		}
	}
	return &out
}
