// Package uncertainty says how sure a total is: the sources of uncertainty, what each changes in a total, and draws
// that check it.
//
// Uncertainties follow the GUM (JCGM 100): every source is moved by a small part of its standard uncertainty,
// everything is computed again, and the change of the total, times as much, is the source's part of it: the slope, and
// not what curvature adds on one side. Parts that are the same for all readings (datum, coefficient, geometry,
// temperature, the survey behind a correction) are fully correlated over a total; the random part of a reading is not.
// The parts of independent sources add in squares.
package uncertainty

import (
	"fmt"
	"slices"

	"retotal/ingest/problem"
	"retotal/ingest/quantity"
	"retotal/ingest/site"
	"retotal/recompute/device"
	"retotal/recompute/settings"
	"retotal/recompute/total"
)

// Coverage is the factor of an expanded uncertainty of about 95 %.
const Coverage = 2.0

// Usual uncertainties where the site file states none, 95 %; common practice.
const (
	usualDatum     = 0.003 // m: a tape or staff over a weir
	usualReading   = 0.002 // m: waves and the sensor
	usualBridged   = 0.20  // relative
	usualFilled    = 0.50
	usualEstimated = 0.20
)

// nudge is by which part of its standard uncertainty a source is moved.
const nudge = 0.1

// Kind is how a source acts on a total.
type Kind uint8

// The kinds of sources.
const (
	OfAll     Kind = iota // moves all readings alike; a lane is moved by it
	OfReading             // the random part of each reading
	OfShare               // a share of the total
	OfClass               // a share of the volume of one class
	Sampling              // what the flow does between readings
	Joining               // how readings are joined over a change of settings
)

// Component is one source of uncertainty.
type Component struct {
	Name  string
	Text  string // how large, and by whom
	Kind  Kind
	Input float64     // standard uncertainty, in Unit
	Unit  string      // "" where the input is no figure
	share float64     // OfShare, OfClass: the same as Input, of 1
	Class total.Class // OfClass: whose volume
	lane  int         // OfAll: number of the lane that is moved by it
}

// raises reports whether the source moves heads by a length.
func (s *Component) raises() bool { return s.Kind == OfAll && s.Unit == "mm" }

// Components are those of a site, and the lanes that they move.
type Components struct {
	List []Component
	// After are the corrected lanes, Before the recorded ones moved by the same: so what before shares of a source
	// cancels in the difference. Before is nil where it does not share the source.
	After, Before []*settings.Lane
}

// NewComponents builds the sources of a site whose recorded timeline is known.
func NewComponents(s *site.Site, recorded *settings.Lane) (Components, error) {
	b := builder{Builder: &settings.Builder{
		Site:     s,
		Ratings:  map[*site.DeviceKeys]device.Rating{},
		Recorded: recorded.Segments,
	}}
	u := &s.Uncertainty
	b.datum(u)
	for _, d := range u.Device {
		b.dimension(d)
	}
	if u.Air > 0 {
		air := Component{
			Name:  "air temperature",
			Text:  fmt.Sprintf("%s K, stated", quantity.Digits(u.Air, 3)),
			Unit:  "K",
			Input: u.Air / Coverage,
		}
		b.lane(air, true, func(s *settings.Segment) { b.Warm(s, nudge*u.Air/Coverage) })
	}
	b.coefficient()
	random, text := orUsual(u.Reading, usualReading, u.ReadingGiven)
	b.add(Component{
		Name:  "single readings",
		Text:  fmt.Sprintf("%s mm, %s", quantity.Digits(random*1000, 3), text),
		Kind:  OfReading,
		Input: random / Coverage * 1000,
		Unit:  "mm",
	})
	b.class(total.Bridged, u.Bridged, usualBridged)
	b.class(total.Estimated, 0, usualEstimated)
	b.class(total.Filled, u.Filled, usualFilled)
	if !s.Log.Means {
		b.add(Component{
			Name: "sampling interval",
			Text: "what every other reading changes in the day, by the root of 3",
			Kind: Sampling,
		})
	}
	if len(s.Settings)+len(s.Corrections) > 1 {
		b.add(Component{
			Name: "joins over changes",
			Text: "what a straight line of flow and one of distance differ by, by the root of 3",
			Kind: Joining,
		})
	}
	b.Problems.Sort()
	return b.sources, b.Problems.Err()
}

// Drowned gives the estimated flow the relative uncertainty that its drowned equation adds, at the most, in place of
// the usual one.
func (l *Components) Drowned(spread float64) {
	for i := range l.List {
		if s := &l.List[i]; s.Kind == OfClass && s.Class == total.Estimated {
			s.share, s.Input = spread/Coverage, spread/Coverage*100
			s.Text = fmt.Sprintf("%s %% of it, added by the drowned equation", quantity.Digits(spread*100, 3))
		}
	}
}

// builder builds sources and the lanes that they move.
type builder struct {
	*settings.Builder
	sources Components
}

func (b *builder) add(s Component) { b.sources.List = append(b.sources.List, s) }

// lane adds a source that moves all readings, by a change of every segment. Where before shares it, a copy of the
// recorded lane is moved too.
func (b *builder) lane(s Component, shared bool, change func(*settings.Segment)) {
	l := &b.sources
	s.Kind, s.lane = OfAll, len(l.After)
	b.add(s)
	l.After = append(l.After, b.Moved(b.Lane(s.Name, b.Site.Corrections), change))
	if !shared {
		l.Before = append(l.Before, nil)
		return
	}
	l.Before = append(l.Before, b.Moved(b.Lane(s.Name, settings.Spans(b.Site.Corrections)), change))
}

// datum adds the datum, and the surveys behind corrections that stand for it in their spans.
func (b *builder) datum(u *site.Uncertainty) {
	datum, text := orUsual(u.Datum, usualDatum, u.DatumGiven)
	source := Component{
		Name:  "datum",
		Text:  fmt.Sprintf("%s mm, %s", quantity.Digits(datum*1000, 3), text),
		Unit:  "mm",
		Input: datum / Coverage * 1000,
	}
	b.lane(source, true, func(s *settings.Segment) {
		if b.surveyOf(s) < 0 {
			s.Raise(nudge * datum / Coverage)
		}
	})
	for i, c := range b.Site.Corrections {
		if c.U95 <= 0 {
			continue
		}
		survey := Component{
			Name:  "survey of " + problem.Entry("correction", i, 0),
			Text:  fmt.Sprintf("%s mm, stated", quantity.Digits(c.U95*1000, 3)),
			Unit:  "mm",
			Input: c.U95 / Coverage * 1000,
		}
		b.lane(survey, false, func(s *settings.Segment) {
			if b.surveyOf(s) == i {
				s.Raise(nudge * c.U95 / Coverage)
			}
		})
	}
}

// surveyOf returns the correction whose own uncertainty stands for a segment's datum, −1 for none.
func (b *builder) surveyOf(s *settings.Segment) int {
	for i, c := range b.Site.Corrections {
		if from, until := settings.Span(c); c.U95 > 0 && from <= s.From && s.Until <= until {
			return i
		}
	}
	return -1
}

// dimension adds one dimension of the device.
func (b *builder) dimension(d site.DimensionU95) {
	fail := func(found, expected string) {
		place := b.Site.Places["uncertainty.device."+d.Key]
		b.Add(problem.At(place, fmt.Sprintf("uncertainty.device.%s: %s", d.Key, found), expected, ""))
	}
	b.lane(Component{Name: "device " + d.Key, Text: d.Text + ", stated"}, true, func(s *settings.Segment) {
		value, ok := s.Settings.Device.Values[d.Key]
		if !ok {
			fail("the device has no such dimension in the site file", "a key of [settings.device]")
			return
		}
		text, err := quantity.Moved(fmt.Sprint(value), d.Text, nudge/Coverage)
		if err != nil {
			fail(err.Error(), "the unit that the device is written in")
			return
		}
		keys := *s.Settings.Device
		keys.Values = map[string]any{}
		for k, v := range s.Settings.Device.Values {
			keys.Values[k] = v
		}
		keys.Values[d.Key] = text
		if r := b.Rating(&keys); r != nil {
			b.Rate(s, r)
		}
	})
}

// coefficient adds that of the device's coefficient: as stated, or as its source has it.
func (b *builder) coefficient() {
	share, text := b.Site.Uncertainty.Coefficient, "stated"
	for i := range b.Recorded {
		if r := b.Recorded[i].Rating; r != nil && b.Site.Uncertainty.Coefficient == 0 {
			if d := r.Describe(); d.Uncertainty > share {
				share, text = d.Uncertainty, d.UncertainBy
			}
		}
	}
	if share > 0 {
		b.add(Component{
			Name:  "coefficient",
			Text:  fmt.Sprintf("%s %%, %s", quantity.Digits(share*100, 3), text),
			Kind:  OfShare,
			share: share / Coverage,
			Input: share / Coverage * 100,
			Unit:  "%",
		})
	}
}

// class adds a share of one class.
func (b *builder) class(c total.Class, stated, usual float64) {
	share, text := orUsual(stated, usual, stated > 0)
	b.add(Component{
		Name:  c.String() + " flow",
		Text:  fmt.Sprintf("%s %% of it, %s", quantity.Digits(share*100, 3), text),
		Kind:  OfClass,
		share: share / Coverage,
		Input: share / Coverage * 100,
		Unit:  "%",
		Class: c,
	})
}

func orUsual(stated, usual float64, given bool) (float64, string) {
	if given {
		return stated, "stated"
	}
	return usual, "common practice"
}

// Clone is a copy of the list over the same lanes.
func (l *Components) Clone() Components {
	return Components{List: slices.Clone(l.List), After: l.After, Before: l.Before}
}
