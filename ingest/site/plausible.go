package site

import (
	"fmt"
	"maps"
	"slices"

	"retotal/ingest/quantity"
)

// mostTimes is how many times a recorded size a corrected one may be, or how small a part of it, without a word from
// whoever knows: units that are mistaken for each other lie further apart (inch and centimetre 2.54, foot and metre
// 3.28, metre and millimetre 1,000). Common practice.
const mostTimes = 3

// checkSizes refuses sizes of a correction that lie beyond mostTimes of those recorded in its span; sure = true
// overrules. The level of zero flow may be next to nothing and is left to what it makes of the log.
func (s *Site) checkSizes(t *table, c *Correction) {
	if c.Sure {
		return
	}
	recorded := s.recordedIn(c)
	for _, which := range []Setting{
		EmptyDistance, BlankingDistance, MaximumHead, MaximumFlow, FlowCutOff, ChannelDepth,
	} {
		r := c.Values[which]
		if r == nil {
			continue
		}
		var then []quantity.Value
		for i := range recorded {
			if v := recorded[i].Values[which]; v != nil {
				then = append(then, v.From)
			}
		}
		if t.checkSize(which.Key(), r.From, then); r.To.SI != r.From.SI {
			t.checkSize(which.Key(), r.To, then)
		}
	}
	if c.Device != nil {
		t.checkDevice(c.Device, recorded)
	}
}

// checkDevice does the same for the dimensions of a device of the same kind that carry a unit.
func (t *table) checkDevice(d *DeviceKeys, recorded []Settings) {
	sub := t.sub("device")
	for _, key := range slices.Sorted(maps.Keys(d.Values)) {
		for _, value := range endsOf(d.Values[key]) {
			v, ok := size(value)
			var then []quantity.Value
			for i := range recorded {
				old := recorded[i].Device
				if old == nil || d.Kind != "" && old.Kind != d.Kind {
					continue
				}
				if w, known := size(old.Values[key]); known && w.Unit.Dimension == v.Unit.Dimension {
					then = append(then, w)
				}
			}
			if ok {
				sub.checkSize(key, v, then)
			}
		}
	}
}

// endsOf are both ends of a dimension that moves, or the one value.
func endsOf(v any) []any {
	if from, to, ok := DeviceRamp(v); ok {
		return []any{from, to}
	}
	return []any{v}
}

// size reads a dimension of a device: a length, an angle or a flow.
func size(v any) (quantity.Value, bool) {
	text, isText := v.(string)
	for _, d := range []quantity.Dimension{quantity.LengthDimension, quantity.AngleDimension, quantity.FlowDimension} {
		if value, err := quantity.Parse(text, d); isText && err == nil {
			return value, true
		}
	}
	return quantity.Value{}, false
}

// checkSize refuses a size that lies beyond mostTimes of each of those recorded; nothing is said where none is.
func (t *table) checkSize(key string, v quantity.Value, recorded []quantity.Value) {
	for _, then := range recorded {
		if then.SI <= 0 || v.SI <= mostTimes*then.SI*(1+1e-9) && v.SI >= then.SI/mostTimes*(1-1e-9) {
			return
		}
	}
	if len(recorded) == 0 || v.SI <= 0 { // what is not above 0 is refused as such
		return
	}
	then := recorded[len(recorded)-1]
	times := fmt.Sprintf("%s times", quantity.Digits(v.SI/then.SI, 4))
	if v.SI < then.SI {
		times = fmt.Sprintf("1/%s of", quantity.Digits(then.SI/v.SI, 4))
	}
	t.refuse(key, fmt.Sprintf("%q is %s the recorded %q", v.Text, times, then.Text),
		fmt.Sprintf("a third to %d times what the meter was set to", mostTimes),
		"check the unit, or write sure = true in the correction if it is so")
}

// recordedIn are the recorded settings that hold at some time of a correction's span.
func (s *Site) recordedIn(c *Correction) (list []Settings) {
	var now Settings
	for i := range s.Settings {
		now = now.Overlay(&s.Settings[i].Settings)
		ended := i+1 < len(s.Settings) && s.Settings[i+1].At != nil &&
			c.From != nil && s.Settings[i+1].At.UTC <= c.From.UTC
		begun := s.Settings[i].At == nil || c.Until == nil || s.Settings[i].At.UTC < c.Until.UTC
		if begun && !ended {
			list = append(list, now)
		}
	}
	return list
}
