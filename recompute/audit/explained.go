package audit

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"retotal/ingest/quantity"
	"retotal/ingest/reading"
	"retotal/ingest/site"
	"retotal/recompute"
	"retotal/recompute/evidence"
	"retotal/recompute/explain"
	"retotal/recompute/settings"
)

// Explained is what level and flow, logged at one instant under one set of recorded settings, say of what the meter
// used. Whether that was right, they do not say.
type Explained struct {
	Segment *settings.Segment
	Pairs   int
	explain.Finding
}

// Explain finds, for each set of recorded settings, which setting explains the logged flow, where these do not make it
// to the log's rounding; the run must have kept the pairs.
func Explain(r *recompute.Result) (list []Explained) {
	if reproduces(r.FlowCheck.Recorded) {
		return nil
	}
	for i := range r.Pairs.Of {
		of := &r.Pairs.Of[i]
		s := of.Segment
		device := s.Settings.Device
		f := explain.Explain(&explain.Record{
			Pairs:       of.Pairs,
			Interval:    r.Facts.Interval.Nanoseconds() * int64(max(r.Pairs.Every, 1)),
			LevelStep:   r.Facts.Resolution[r.Site.Log.Primary],
			FlowStep:    r.Facts.Resolution[reading.Flow],
			Kind:        device.Kind,
			Dimensions:  device.Values,
			MaximumHead: s.MaximumHead, MaximumFlow: s.MaximumFlow, CutOff: s.CutOff,
			FlowFactor: 1,
			Means:      r.Site.Log.Means,
		})
		dropMore(&f)
		list = append(list, Explained{s, len(of.Pairs), f})
	}
	return list
}

// noBetter is the part of what the settings on file leave of the flow, above which an explanation is none.
const noBetter = 0.95

// dropMore drops what explains hardly more than the settings on file do behind what explains the flow better, and, of
// the explanations that fit as well as the best, those that are one before them and another setting: what the other
// adds is nothing.
func dropMore(f *explain.Finding) {
	var kept []explain.Explanation
	twins := 0
	for i, e := range f.Best {
		adds := func(k explain.Explanation) bool {
			return !slices.ContainsFunc(k.Names, func(name string) bool { return !slices.Contains(e.Names, name) })
		}
		switch {
		case i >= f.Twins && e.Left > noBetter*f.OnFile, i < f.Twins && slices.ContainsFunc(kept, adds):
			continue
		case i < f.Twins:
			twins++
		}
		kept = append(kept, e)
	}
	f.Best, f.Twins = kept, twins
}

// differs reports whether any of them says that the meter used another setting.
func differs(used []Explained) bool {
	return slices.ContainsFunc(used, func(x Explained) bool { return x.Differs() })
}

// Limits of what may be left where no setting differs, common practice.
const (
	sameWithin  = 0.01 // of the volume, beyond the log's rounding, where the settings on file explain the flow best
	otherWithin = 0.05 // of the volume, and of a span, where another equation or a lag does
)

// lags reports whether nothing but a lag stands between level and flow.
func (x *Explained) lags() bool {
	return x.Verdict == explain.CannotCompare && len(x.Best) > 0 && x.Best[0].Names[0] != "same" && x.Lag != 0
}

// graded is the verdict on settings of which none differs; false where something is left that a person has to look at:
// what stands for hours, what is more than the meter can show, and what nothing explains.
func graded(m evidence.Misfit, used []Explained) (verdict Verdict, ok bool) {
	verdict = Agrees
	for i := range used {
		switch x := &used[i]; {
		case x.Verdict == explain.Same:
			if m.Part() > sameWithin*(1+1e-9) || m.Standing.Part() > standingWithin*(1+1e-9) ||
				m.AboveCap >= capReadings {
				return Differs, false
			}
		case x.Verdict == explain.AnotherEquation && m.Standing.Part() <= otherWithin && x.Unlike <= otherWithin:
		case x.lags() && x.Unlike <= otherWithin:
			verdict = CannotTell
		default:
			return Differs, false
		}
	}
	return verdict, true
}

// sentences are what all of them tell, each once.
func sentences(used []Explained) string {
	var list []string
	for i := range used {
		if s := used[i].Sentence(); !slices.Contains(list, s) {
			list = append(list, s)
		}
	}
	return strings.Join(list, " ")
}

// upper begins a text with a capital letter.
func upper(text string) string { return strings.ToUpper(text[:1]) + text[1:] }

// Differs reports whether the pairs say that the meter used another setting than the site file.
func (x *Explained) Differs() bool { return x.Verdict == explain.SettingDiffers }

// Moves reports whether a datum stands in what explains the flow best or as well.
func (x *Explained) Moves() bool {
	return x.Differs() && slices.ContainsFunc(x.Best[:x.Twins], func(e explain.Explanation) bool {
		return slices.Contains(e.Names, "datum")
	})
}

// Name is what a site file calls the finding: the settings of the explanation that fits best.
func (x *Explained) Name() string { return strings.Join(x.Best[0].Names, " and ") }

// AcceptedBy is who answers for the finding; nil for nobody. It is known by the settings of an explanation that fits
// best or as well.
func (x *Explained) AcceptedBy(s *site.Site) *site.Accepted {
	for i := range s.Accepted {
		for k := range x.Best[:x.Twins] {
			if s.Accepted[i].Finding == strings.Join(x.Best[k].Names, " and ") {
				return &s.Accepted[i]
			}
		}
	}
	return nil
}

// Sentence says what the log tells of the settings on file.
func (x *Explained) Sentence() string {
	switch x.Verdict {
	case explain.Same:
		return "The settings on file make the logged flow."
	case explain.AnotherEquation:
		return fmt.Sprintf("The settings on file make the logged flow, by another published equation of the device "+
			"(%s).", x.Best[0].Equation)
	case explain.CannotCompare:
		return "What the meter used cannot be told: " + x.Why + "."
	}
	e := &x.Best[0]
	var parts []string
	for i, name := range e.Names {
		parts = append(parts, name+" "+Value(name, e.Values[i], e.Snapped[i]))
	}
	text := "The meter used another setting than the site file has: " + strings.Join(parts, ", and ")
	if e.Since != 0 {
		text += ", since " + utc(e.Since) + " UTC"
	}
	switch x.Twins {
	case 1:
	case 2:
		text += "; another explanation fits as well"
	default:
		text += fmt.Sprintf("; %d other explanations fit as well", x.Twins-1)
	}
	return text + "."
}

// Unit is the SI unit of the values of a setting by its name; "1" for a plain number and of another device.
func Unit(name string) string {
	switch name {
	case "datum", "span offset", "throat", "width", "size", "crest height":
		return "m"
	case "angle":
		return "rad"
	case "cap", "cut-off", "flow offset":
		return "m3/s"
	case "delay", "damping":
		return "s"
	}
	return "1"
}

// Value writes the value of a setting by its name: "+25.0 mm", "60 deg", "x 1.2009 (US for imperial gallon)".
func Value(name string, v float64, taken string) string {
	text := ""
	switch name {
	case "kind":
		return taken
	case "datum", "span offset":
		text = fmt.Sprintf("%+.1f mm", 1000*v)
	case "angle":
		text = quantity.Digits(v*180/math.Pi, 4) + " deg"
	case "throat", "width", "size", "crest height":
		text = quantity.Digits(v, 4) + " m"
	case "flow offset":
		text = quantity.Signed(1000*v, 4) + " L/s"
	case "cap", "cut-off":
		text = quantity.Digits(1000*v, 4) + " L/s"
	case "delay", "damping":
		text = quantity.FormatDuration(time.Duration(v * float64(time.Second)).Round(time.Second))
	case "roughness", "slope", "exponent":
		text = quantity.Digits(v, 4)
	default:
		text = "x " + quantity.Digits(v, 5)
	}
	if taken != "" && !strings.HasPrefix(text, taken) {
		text += " (" + taken + ")"
	}
	return text
}

// measurements are the cheapest ones that tell apart the explanations in which a setting stands.
var measurements = []struct{ name, text string }{
	{"datum", "read the head at the gauge or by tape beside the display: it shows the datum to 1 or 2 mm"},
	{"head factor", "read the head at the gauge beside the display at two heads, one twice the other"},
	{"span offset", "read the current of the loop at a known head"},
	{"flow offset", "read the current of the flow's output beside the display, once at no flow if that can be"},
	{"angle", "look up the notch angle in the meter's menu, and measure the notch"},
	{"throat", "look up the size in the meter's menu, and measure the throat"},
	{"width", "look up the width in the meter's menu, and measure the crest"},
	{"size", "look up the size in the meter's menu, and measure the device"},
	{"kind", "look up in the meter's menu which device it was given"},
	{"flow factor", "read the flow on the display beside the logger's figure at the same minute"},
	{"coefficient", "look up the coefficient in the meter's menu"},
	{"exponent", "look up the exponent in the meter's menu"},
	{"roughness", "look up the roughness in the meter's menu"},
	{"slope", "look up the slope in the meter's menu"},
	{"crest height", "look up the crest height in the meter's menu"},
	{"linear", "look up in the meter's menu whether its output is level or flow"},
	{"cap", "look up the maximum flow in the meter's menu"},
	{"cut-off", "look up the cut-off in the meter's menu"},
	{"delay", "compare the clocks of meter and logger"},
	{"damping", "look up the damping in the meter's menu"},
}

// mostLeft is the part of the volume that an explanation may leave without a word.
const mostLeft = 0.01

// Against is what speaks against an explanation: what it leaves, and values that nobody makes or sets; "" for nothing.
func (x *Explained) Against(e *explain.Explanation) string {
	var list []string
	if e.Left > mostLeft {
		list = append(list, fmt.Sprintf("leaves %s of the flow", percent(e.Left)))
	}
	for i, name := range e.Names {
		switch name {
		case "angle", "throat", "flow factor", "head factor":
			if e.Snapped[i] == "" {
				list = append(list, "no usual "+name)
			}
		}
	}
	return strings.Join(list, ", ")
}

// Measurement is what would settle which of the explanations that fit equally well is true, the cheapest first; "" when
// nothing has to be settled.
func (x *Explained) Measurement() string {
	if !x.Differs() {
		return ""
	}
	first := ""
	for _, m := range measurements {
		switch with, apart := x.of(m.name); {
		case with > 0 && (apart || with < x.Twins):
			return m.text
		case with > 0 && first == "":
			first = m.text
		}
	}
	return first
}

// datumSeen is what a reading of the head tells two datums apart by, m.
const datumSeen = 0.003

// of counts the explanations that fit equally well in which a setting stands, and says whether its values lie apart.
func (x *Explained) of(name string) (with int, apart bool) {
	low, high := math.Inf(1), math.Inf(-1)
	for i := range x.Best[:x.Twins] {
		if k := slices.Index(x.Best[i].Names, name); k >= 0 {
			with++
			low, high = min(low, x.Best[i].Values[k]), max(high, x.Best[i].Values[k])
		}
	}
	seen := 0.005 * math.Abs(high)
	if name == "datum" {
		seen = datumSeen
	}
	return with, high-low > seen
}

// Trial is explanation n, from 1, as text for a site file: in place of the recorded settings, or as a change of them.
// What it says is what the meter used, not what is right. It is "" where no key of a site file says it.
func (x *Explained) Trial(r *recompute.Result, n int) string {
	e := &x.Best[n-1]
	var values, device []string
	for i, name := range e.Names {
		value, ofDevice := x.key(name, e.Values[i], e.Snapped[i])
		switch {
		case value == "", name == "datum" && r.Site.Log.Primary == reading.Head: // of heads, a datum is in no setting
			return ""
		case ofDevice:
			device = append(device, value)
		default:
			values = append(values, value)
		}
	}
	instant := func(at int64) string { return time.Unix(0, at).UTC().Format("2006-01-02T15:04:05Z") }
	table := "settings.change"
	text := "# What the meter used by its own log; a trial, for a competent person to confirm at the site.\n" +
		fmt.Sprintf("# By the pairs of the log it leaves %s of the logged flow (the settings on file %s), and makes "+
			"%s %s\n# against these. retotal check says what it does once it stands in the site file.\n",
			percent(e.Left), percent(x.OnFile), quantity.Signed(r.Site.Report.VolumeUnit.FromSI(e.Worth), 4),
			r.Site.Report.VolumeUnit.Symbol)
	switch {
	case e.Since != 0:
		text += "# Beside [settings], from when on the meter used it:\n[[settings.change]]\nat = " +
			instant(e.Since) + "\n"
	case x.Segment.From != settings.Always:
		text += "# In place of the same keys of the [[settings.change]] of " + instant(x.Segment.From) +
			"; its other keys stay:\n"
	default:
		table = "settings"
		text += "# In place of the same keys of [settings]; its other keys stay:\n"
	}
	text += strings.Join(values, "")
	if len(device) > 0 {
		text += "[" + table + ".device]\n" + strings.Join(device, "")
	}
	return text
}

// sizeKeys are the keys of the one dimension by which devices are sized.
var sizeKeys = map[string]string{"h-flume": "depth", "manning": "diameter", "palmer-bowlus": "diameter",
	"cutthroat": "throat"}

// key writes a setting as a line of a site file; ofDevice says that it belongs to the device.
func (x *Explained) key(name string, v float64, taken string) (line string, ofDevice bool) {
	length := func(key string, v float64) string { return fmt.Sprintf("%s = %q\n", key, quantity.Digits(v, 5)+" m") }
	set := func(which site.Setting) float64 {
		if line := x.Segment.Settings.Values[which]; line != nil {
			return line.From.SI
		}
		return 0
	}
	switch name {
	case "datum":
		if empty := set(site.EmptyDistance); empty > 0 {
			return length("empty_distance", empty-v), false
		}
		return length("level_of_zero_flow", set(site.LevelOfZeroFlow)+v), false
	case "head factor":
		if on := set(site.HeadFactor); on > 0 {
			v *= on
		}
		return fmt.Sprintf("head_factor = %s\n", quantity.Digits(v, 6)), false
	case "cap":
		return fmt.Sprintf("maximum_flow = %q\n", quantity.Digits(1000*v, 5)+" L/s"), false
	case "cut-off":
		return fmt.Sprintf("flow_cut_off = %q\n", quantity.Digits(1000*v, 5)+" L/s"), false
	case "angle":
		return fmt.Sprintf("angle = %q\n", quantity.Digits(v*180/math.Pi, 5)+" deg"), true
	case "throat", "width":
		if taken != "" {
			return fmt.Sprintf("%s = %q\n", name, taken), true
		}
		return length(name, v), true
	case "crest height":
		return length("crest_height", v), true
	case "size":
		if key := sizeKeys[x.Segment.Settings.Device.Kind]; key != "" {
			if taken != "" {
				return fmt.Sprintf("%s = %q\n", key, taken), true
			}
			return length(key, v), true
		}
	case "roughness", "slope", "coefficient", "exponent":
		return fmt.Sprintf("%s = %s\n", name, quantity.Digits(v, 6)), true
	}
	return "", false
}
