package site

import (
	"math"
	"slices"
	"strings"

	"retotal/ingest/problem"
	"retotal/ingest/quantity"
)

// Setting is a single number that a meter works with.
type Setting int

// The settings, in the order of the signal: from the sound in the air to the flow that is shown.
const (
	DistanceFactor   Setting = iota // distance that the meter works with over the one that the sensor measured
	EmptyDistance                   // m, sensor face to the gauge datum
	LevelOfZeroFlow                 // m, above the gauge datum
	BlankingDistance                // m, nearest distance the sensor can see
	// head that the rating is given over the head itself: not 1 where units were mixed up
	HeadFactor
	MaximumHead  // m; a meter shows no more than the flow at it
	MaximumFlow  // m³/s; a meter shows no more than it
	FlowCutOff   // m³/s; a meter shows smaller flows as zero
	LoggedFactor // what the logged figures are to be multiplied with
	ChannelDepth // m, head at which the water leaves the channel: nothing flows above it
	SettingCount
)

// settingKeys describes the settings.
var settingKeys = [SettingCount]struct {
	key       string
	name      string // in reports
	dimension quantity.Dimension
	positive  bool
}{
	{"distance_factor", "distance factor", quantity.None, true},
	{"empty_distance", "empty distance", quantity.LengthDimension, true},
	{"level_of_zero_flow", "zero flow at", quantity.LengthDimension, false},
	{"blanking_distance", "blanking distance", quantity.LengthDimension, false},
	{"head_factor", "head factor", quantity.None, true},
	{"maximum_head", "maximum head", quantity.LengthDimension, true},
	{"maximum_flow", "maximum flow", quantity.FlowDimension, true},
	{"flow_cut_off", "flow cut-off", quantity.FlowDimension, true},
	{"logged_factor", "logged factor", quantity.None, true},
	{"channel_depth", "channel depth", quantity.LengthDimension, true},
}

// Key is the setting's key in a site file; Name its name in reports.
func (s Setting) Key() string  { return settingKeys[s].key }
func (s Setting) Name() string { return settingKeys[s].name }

// Settings is everything that turns a reading into a flow. Fields that a change or a correction leaves alone are nil.
type Settings struct {
	Values  [SettingCount]*Ramp
	Device  *DeviceKeys
	Loop    *Loop
	Air     *Air
	EchoAt  *quantity.Value // K: air temperature at which the empty distance was set by an echo
	Shift   []Knot          // correction of the head that depends on the head itself
	Clamped *bool           // the meter shows no level below zero
	Place   problem.Place
}

// Loop is how a loop current stands for the logged quantity: Low at From, High at To.
type Loop struct {
	Low, High quantity.Value // in the dimension of the logged quantity
	From, To  float64        // mA
	Text      string
	Place     problem.Place
}

// Air is the temperature of the air that sound goes through: one value, or the logged one and a difference.
type Air struct {
	Fixed  *quantity.Value // K
	Logged bool
	Plus   float64 // K, added to the logged temperature
	Text   string
	Place  problem.Place
}

// Knot is one point of a correction that depends on head.
type Knot struct {
	Head, Add quantity.Value // m
}

// Given reports whether any setting is given.
func (s *Settings) Given() bool { return len(s.named()) > 0 }

// named lists the settings that are given, by key.
func (s *Settings) named() (keys []string) {
	for i, v := range s.Values {
		if v != nil {
			keys = append(keys, Setting(i).Key())
		}
	}
	for _, x := range []struct {
		key string
		set bool
	}{
		{"device", s.Device != nil},
		{"loop", s.Loop != nil},
		{"air_temperature", s.Air != nil},
		{"empty_distance_set_at", s.EchoAt != nil},
		{"head_shift", s.Shift != nil},
		{"below_zero", s.Clamped != nil},
	} {
		if x.set {
			keys = append(keys, x.key)
		}
	}
	return keys
}

// Ramps returns the numbers that are given.
func (s *Settings) Ramps() (list []*Ramp) {
	for _, v := range s.Values {
		if v != nil {
			list = append(list, v)
		}
	}
	return list
}

// Overlay returns settings with those of over in their place, where over has any; a device of the same kind keeps the
// dimensions that over does not name.
func (s Settings) Overlay(over *Settings) Settings {
	for i, v := range over.Values {
		if v != nil {
			s.Values[i] = v
		}
	}
	if over.Device != nil {
		s.Device = s.Device.overlay(over.Device)
	}
	if over.Loop != nil {
		s.Loop = over.Loop
	}
	if over.Air != nil {
		s.Air = over.Air
	}
	if over.EchoAt != nil {
		s.EchoAt = over.EchoAt
	}
	if over.Shift != nil {
		s.Shift = over.Shift
	}
	if over.Clamped != nil {
		s.Clamped = over.Clamped
	}
	return s
}

// overlay returns the keys of a device with those of over in their place, or over alone when it names another kind.
func (d *DeviceKeys) overlay(over *DeviceKeys) *DeviceKeys {
	if d == nil || over.Kind != "" && over.Kind != d.Kind {
		return over
	}
	merged := *over
	merged.Kind = d.Kind
	merged.Values = map[string]any{}
	for _, values := range []map[string]any{d.Values, over.Values} {
		for key, v := range values {
			merged.Values[key] = v
		}
	}
	return &merged
}

// DeviceRamp is one dimension of a device that moves in time: { from = "90 deg", to = "88 deg" }.
func DeviceRamp(v any) (from, to any, ok bool) {
	ends, isTable := v.(map[string]any)
	if !isTable || len(ends) != 2 {
		return nil, nil, false
	}
	from, hasFrom := ends["from"]
	to, hasTo := ends["to"]
	return from, to, hasFrom && hasTo
}

// Moves reports whether any setting is a ramp.
func (s *Settings) Moves() bool {
	if s.Device != nil {
		for _, v := range s.Device.Values {
			if _, _, ok := DeviceRamp(v); ok {
				return true
			}
		}
	}
	return slices.ContainsFunc(s.Ramps(), func(r *Ramp) bool { return r.From.SI != r.To.SI })
}

// Written gives a number as it was written; "" for none.
func (r *Ramp) Written() string {
	switch {
	case r == nil:
		return ""
	case r.From.SI == r.To.SI:
		return r.From.Text
	}
	return r.From.Text + " to " + r.To.Text
}

// Words says in words what is set beside the device: "empty distance 1.225 m, ...".
func (s *Settings) Words() (list []string) {
	for i, v := range s.Values {
		if v != nil {
			list = append(list, Setting(i).Name()+" "+v.Written())
		}
	}
	if s.Loop != nil {
		list = append(list, "loop "+s.Loop.Text)
	}
	if s.Air != nil {
		list = append(list, "air temperature "+s.Air.Text)
	}
	if s.EchoAt != nil {
		list = append(list, "empty distance set by echo at "+s.EchoAt.Text)
	}
	if s.Shift != nil {
		var knots []string
		for _, k := range s.Shift {
			knots = append(knots, k.Add.Text+" at "+k.Head.Text)
		}
		list = append(list, "head shifted by "+strings.Join(knots, ", "))
	}
	if s.Clamped != nil && *s.Clamped {
		list = append(list, "nothing below zero shown")
	}
	return list
}

// SpeedOfSound returns the speed of sound in air of a temperature in kelvin, m/s: 343.2 √(T/293.15), ISO 9613-1:1993
// A.5 as public code quotes it (pyfar/pyfar, constants/speed_of_sound.py), for -20 to 50 degC. Humidity and carbon
// dioxide add up to 0.7 % at 30 degC (Cramer 1993); between two temperatures most of that cancels.
func SpeedOfSound(kelvin float64) float64 { return 343.2 * math.Sqrt(kelvin/293.15) }
