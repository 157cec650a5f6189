package site

import (
	"fmt"
	"slices"

	"retotal/ingest/problem"
	"retotal/ingest/quantity"
	"retotal/ingest/reading"
)

func (s *Site) readSettings(top *table) {
	t := top.sub("settings")
	first := Change{Settings: t.settings(false, s.Log.Primary)}
	changes := t.list("change")
	t.refuseCorrections()
	t.close()
	if first.Device == nil {
		t.refuse("device", "is missing", "", `add [settings.device] with kind = "v-notch" and its dimensions`)
	} else if first.Device.Kind == "" {
		t.refuse("device", "has no kind", "", `add kind = "v-notch"`)
	}
	if s.Log.Primary == reading.Distance && first.Values[EmptyDistance] == nil && !t.has("empty_distance") {
		t.refuse("empty_distance", "is missing, and the log holds distances", "", `add empty_distance = "1.250 m"`)
	}
	s.Settings = []Change{first}
	for _, c := range changes {
		at := c.instant("at", s.Log.Clock)
		if at == nil && !c.has("at") {
			c.refuse("at", "is missing", "", "add at = 2031-04-02T10:30:00")
		}
		c.refuseCorrections()
		change := Change{At: at}
		c.asks("moved", "true or false", "") // what is left out is not false
		if moved := c.flag("moved"); c.has("moved") {
			change.Moved = &moved
		}
		change.Settings = c.settings(false, s.Log.Primary)
		s.Settings = append(s.Settings, change)
		c.close()
	}
	for i := 2; i < len(s.Settings); i++ {
		if a, b := s.Settings[i-1].At, s.Settings[i].At; a != nil && b != nil && b.UTC <= a.UTC {
			top.doc.problems.Add(problem.At(b.Place,
				fmt.Sprintf("settings.change at %s is not after the change before it, at %s", b.Text, a.Text),
				"changes in the order of their times", ""))
		}
	}
}

func (s *Site) readCorrections(top *table) {
	for _, t := range top.list("correction") {
		c := Correction{
			Place:    t.at(""),
			Reason:   t.required("reason", "Tape survey of 2 April, two readings agree"),
			By:       t.text("by", ""),
			From:     t.instant("from", s.Log.Clock),
			Until:    t.instant("until", s.Log.Clock),
			Unusable: t.flag("unusable"),
			Sure:     t.flag("sure"),
		}
		c.Settings = t.settings(true, s.Log.Primary)
		if !c.Given() && !c.Unusable && len(t.doc.problems) == 0 {
			t.refuse("", "corrects nothing", "a setting that was wrong", `add for example empty_distance = "1.225 m"`)
		}
		t.checkSpan(c.From, c.Until, &c.Settings)
		s.checkDatum(t, &c.Settings)
		if v := t.quantity("uncertainty", quantity.LengthDimension); v != nil {
			if c.U95 = v.SI; v.SI <= 0 {
				t.refuse("uncertainty", fmt.Sprintf("%q is not above 0", v.Text), "", "")
			}
		}
		s.checkSizes(t, &c)
		c.Onset = s.onset(t, &c)
		t.close()
		s.Corrections = append(s.Corrections, c)
	}
	s.refuseOverlaps(top.doc)
}

// refuseEmpty refuses a span without an instant in it.
func (t *table) refuseEmpty(from, until *Instant) {
	t.refuse("until", until.Text+" is not after from, "+from.Text, "a time after it",
		"a reading at until is no longer in the span")
}

// checkSpan refuses spans that end before they begin and ramps without both ends, and puts the ends of the span into
// the ramps.
func (t *table) checkSpan(from, until *Instant, s *Settings) {
	if from != nil && until != nil && until.UTC <= from.UTC {
		t.refuseEmpty(from, until)
	}
	if !s.Moves() {
		return
	}
	if from == nil || until == nil {
		t.refuse("", "has a ramp but not both from and until", "", "add the times between which the setting moved")
		if s.Device != nil { // so that the device has no second complaint about the same
			for key, v := range s.Device.Values {
				if start, _, ok := DeviceRamp(v); ok {
					s.Device.Values[key] = start
				}
			}
		}
		return
	}
	for _, r := range s.Ramps() {
		r.Starts, r.Ends = from.UTC, until.UTC
	}
}

// checkDatum refuses a correction of the empty distance where it would move nothing by a known amount: a log of levels
// or flows was computed with the recorded one.
func (s *Site) checkDatum(t *table, c *Settings) {
	if s.Log.Primary != reading.Distance && c.Values[EmptyDistance] != nil &&
		s.Settings[0].Values[EmptyDistance] == nil {
		t.refuse("empty_distance",
			"corrects an empty distance that was not recorded, and the log holds "+s.Log.Primary.String()+"s",
			"what the meter was set to", "add empty_distance to [settings]")
	}
	if c.Air != nil && s.Log.Primary != reading.Distance && s.Settings[0].Values[EmptyDistance] == nil {
		t.refuse("air_temperature", "needs the distance that the sound went, and no empty distance was recorded",
			"what the meter was set to", "add empty_distance to [settings]")
	}
	if c.Air != nil && s.Settings[0].Air == nil && len(t.doc.problems) == 0 {
		t.refuse("air_temperature", "corrects an air temperature that was not recorded",
			"the temperature that the meter assumed", `add air_temperature = "20 degC" or "logged" to [settings]`)
	}
}

// flag reads true or false.
func (t *table) flag(key string) bool {
	t.asks(key, "true or false", "false")
	v, ok := t.get(key)
	b, isFlag := v.(bool)
	if ok && !isFlag {
		t.refuse(key, fmt.Sprintf("= %v is neither true nor false", v), "", fmt.Sprintf("write %s = true", key))
	}
	return b
}

// onset reads onset = { last_good_check = 2031-01-15T00:00:00, cap = "60 d" }.
func (s *Site) onset(t *table, c *Correction) *Onset {
	sub := t.sub("onset")
	if !t.has("onset") {
		return nil
	}
	o := &Onset{LastGood: sub.instant("last_good_check", s.Log.Clock), Cap: sub.duration("cap"), Place: t.at("onset")}
	sub.close()
	if o.LastGood == nil && !sub.has("last_good_check") {
		t.refuse("onset", "lacks last_good_check", "",
			"write onset = { last_good_check = 2031-01-15T00:00:00, cap = \"60 d\" }")
	}
	if o.LastGood == nil {
		return nil
	}
	if c.Until == nil || c.From == nil || o.LastGood.UTC > c.From.UTC || c.Moves() {
		t.refuse("onset", "needs a correction with from and until, after the last good check, and without a ramp", "",
			"")
	}
	return o
}

// refuseOverlaps reports pairs of corrections that change one setting at one time.
func (s *Site) refuseOverlaps(doc *document) {
	for i := range s.Corrections {
		for j := range i {
			a, b := &s.Corrections[j], &s.Corrections[i]
			if a.Until != nil && b.From != nil && b.From.UTC >= a.Until.UTC ||
				b.Until != nil && a.From != nil && a.From.UTC >= b.Until.UTC {
				continue
			}
			for _, key := range b.Settings.named() {
				if slices.Contains(a.Settings.named(), key) {
					doc.problems.Add(problem.At(b.Place, fmt.Sprintf("%s changes %s at times that %s changes it too",
						problem.Entry("correction", i, b.Place.Line), key,
						problem.Entry("correction", j, a.Place.Line)),
						"one correction of a setting at a time",
						"let one end where the other begins, or make them one"))
				}
			}
		}
	}
}
