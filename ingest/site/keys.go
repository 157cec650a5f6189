package site

import (
	"fmt"

	"retotal/ingest/quantity"
	"retotal/ingest/reading"
)

// settings reads the setting keys of a table; ramps are allowed in corrections.
func (t *table) settings(ramps bool, primary reading.Quantity) Settings {
	var s Settings
	s.Place = t.at("")
	for i := range s.Values {
		s.Values[i] = t.ramp(Setting(i), ramps)
	}
	if t.has("device") {
		d := t.sub("device")
		kind := d.text("kind", "")
		s.Device = &DeviceKeys{Kind: kind, Values: d.values, Prefix: d.path, Place: d.at("kind")}
		if len(d.values) == 0 {
			t.refuse("device", "is empty", "", `write [settings.device] with kind = "v-notch" and its dimensions`)
		}
	} else {
		t.asks("device", "table", "")
		t.get("device")
	}
	s.Loop = t.loop(primary)
	s.Air = t.air()
	if s.EchoAt = t.quantity("empty_distance_set_at", quantity.TemperatureDimension); s.EchoAt != nil {
		t.airRange("empty_distance_set_at", s.EchoAt.SI)
	}
	s.Shift = t.knots("head_shift")
	if word := t.oneOf("below_zero", "shown", "clamped"); word != "" {
		clamped := word == "clamped"
		s.Clamped = &clamped
	}
	return s
}

// onlyCorrected are the keys that only say what was wrong.
var onlyCorrected = []string{"head_shift", "empty_distance_set_at", LoggedFactor.Key()}

// refuseCorrections refuses the keys that only say what was wrong, in a table of what the meter was set to.
func (t *table) refuseCorrections() {
	for _, key := range onlyCorrected {
		if t.has(key) {
			t.refuse(key, "says what was wrong and not what the meter was set to",
				"it in a [[correction]] or a [[what_if]]", "")
		}
	}
}

// airRange refuses temperatures outside the range in which sound speed is taken from temperature alone.
func (t *table) airRange(key string, kelvin float64) {
	if kelvin < 253.15-1e-9 || kelvin > 323.15+1e-9 {
		t.refuse(key, "is outside -20 to 50 degC", "the air above the water",
			"the speed of sound is not taken from temperature alone beyond that")
	}
}

// loop reads { low = "0 m", high = "0.40 m", from = 4, to = 20 }.
func (t *table) loop(primary reading.Quantity) *Loop {
	t.asks("loop", "table", "")
	raw, ok := t.get("loop")
	if !ok {
		return nil
	}
	l := &Loop{From: 4, To: 20, Place: t.at("loop")}
	sub := t.sub("loop")
	low, high := sub.quantity("low", primary.Dimension()), sub.quantity("high", primary.Dimension())
	for _, x := range []struct {
		key string
		at  *float64
	}{{"from", &l.From}, {"to", &l.To}} {
		if v := sub.quantity(x.key, quantity.None); v != nil {
			*x.at = v.SI
		}
	}
	sub.close()
	if low == nil || high == nil {
		if _, isTable := raw.(map[string]any); isTable && (!sub.has("low") || !sub.has("high")) {
			t.refuse("loop", "lacks low or high", "what both ends of the current stand for",
				`write { low = "0 m", high = "0.40 m", from = 4, to = 20 }, with from and to in mA`)
		}
		return nil
	}
	if l.From == l.To || low.SI == high.SI {
		t.refuse("loop", "has one value at both ends", "", "")
		return nil
	}
	l.Low, l.High = *low, *high
	l.Text = fmt.Sprintf("%s to %s at %s to %s mA", low.Text, high.Text, quantity.Digits(l.From, 6),
		quantity.Digits(l.To, 6))
	return l
}

// air reads "20 degC", "logged" or { logged_plus = "-2 K" }.
func (t *table) air() *Air {
	t.asks("air_temperature", `temperature, "logged" or table`, "")
	raw, ok := t.get("air_temperature")
	if !ok {
		return nil
	}
	a := &Air{Place: t.at("air_temperature")}
	if _, isTable := raw.(map[string]any); isTable {
		sub := t.sub("air_temperature")
		plus := sub.quantity("logged_plus", quantity.TemperatureDimension)
		if sub.close(); plus == nil {
			if !sub.has("logged_plus") {
				t.refuse("air_temperature", "lacks logged_plus", "", `write { logged_plus = "-2 K" }`)
			}
			return nil
		}
		if plus.Unit.Offset != 0 {
			t.refuse("air_temperature", fmt.Sprintf("%q is a temperature and not a difference", plus.Text),
				"a difference in K", `write { logged_plus = "-2 K" }`)
			return nil
		}
		a.Logged, a.Plus, a.Text = true, plus.SI, "logged "+plus.Text
		return a
	}
	if raw == "logged" {
		a.Logged, a.Text = true, "logged"
		return a
	}
	if a.Fixed = t.parse("air_temperature", raw, quantity.TemperatureDimension); a.Fixed == nil {
		return nil
	}
	t.airRange("air_temperature", a.Fixed.SI)
	a.Text = a.Fixed.Text
	return a
}

// knots reads [["0.05 m", "2 mm"], ["0.30 m", "6 mm"]]: heads that rise, and what is added to the head at each.
func (t *table) knots(key string) (list []Knot) {
	t.asks(key, "list of pairs", "")
	raw, ok := t.get(key)
	if !ok {
		return nil
	}
	wrong := func() []Knot {
		t.refuse(key, "is not a list of heads and additions", "heads that rise",
			`write [["0.05 m", "2 mm"], ["0.30 m", "6 mm"]]`)
		return nil
	}
	points, _ := raw.([]any)
	for _, p := range points {
		pair, isList := p.([]any)
		if !isList || len(pair) != 2 {
			return wrong()
		}
		head, add := t.parse(key, pair[0], quantity.LengthDimension), t.parse(key, pair[1], quantity.LengthDimension)
		if head == nil || add == nil {
			return nil
		}
		if n := len(list); n > 0 && head.SI <= list[n-1].Head.SI {
			return wrong()
		}
		list = append(list, Knot{*head, *add})
	}
	if len(list) == 0 {
		return wrong()
	}
	return list
}

// ramp reads "1.225 m" or, where ramps are allowed, { from = "1.250 m", to = "1.225 m" }.
func (t *table) ramp(s Setting, allowed bool) *Ramp {
	key, dimension := s.Key(), settingKeys[s].dimension
	t.asks(key, dimensionWord(dimension), "")
	raw, ok := t.get(key)
	if !ok {
		return nil
	}
	r := &Ramp{Place: t.at(key)}
	if _, isTable := raw.(map[string]any); isTable && allowed {
		sub := t.sub(key)
		from, to := sub.quantity("from", dimension), sub.quantity("to", dimension)
		sub.close()
		if from == nil || to == nil {
			if !sub.has("from") || !sub.has("to") {
				t.refuse(key, "is a ramp without both ends", "", `write { from = "1.250 m", to = "1.225 m" }`)
			}
			return nil
		}
		r.From, r.To = *from, *to
	} else {
		v := t.parse(key, raw, dimension)
		if v == nil {
			return nil
		}
		r.From, r.To = *v, *v
	}
	if settingKeys[s].positive && (r.From.SI <= 0 || r.To.SI <= 0) {
		t.refuse(key, fmt.Sprintf("%q is not above 0", r.From.Text), "", "")
	}
	return r
}
