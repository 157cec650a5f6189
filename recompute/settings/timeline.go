package settings

import (
	"fmt"
	"maps"
	"math"
	"slices"
	"sort"
	"strconv"

	"retotal/ingest/problem"
	"retotal/ingest/quantity"
	"retotal/ingest/reading"
	"retotal/ingest/site"
	"retotal/recompute/device"
)

// The ends of time.
const (
	Always = math.MinInt64
	Never  = math.MaxInt64
)

// Segment is a span of time under one set of settings.
type Segment struct {
	From, Until int64 // instants; From belongs to the span
	Settings    site.Settings
	Rating      device.Rating
	chain       chain
	Origin      int64   // from where settings that move are reckoned
	MaximumHead float64 // m; +Inf when none is set
	MaximumFlow float64 // m³/s; +Inf when none is set
	CutOff      float64 // m³/s
	Blanking    float64 // m; 0 when none is set or the log holds no distance
	Top         float64 // head at which the channel or the rating ends: the lower of channel depth and the rating's end; +Inf for none
	Usual       float64 // highest head that is expected: the least of maximum head, the limit of validity and top
	Hold        float64 // flow of a reading that is held: at top, or at the nearest water the sensor sees if that is lower
	Ends        ends
	Unusable    bool
	Shown       *Extremes // of a recorded segment: the extremes of what the whole log shows under it; nil as long as it is not known
	AsRecorded  bool      // of a corrected segment: no correction holds in it
	// later is the segment as its settings stand at its end, where a correction moves more than a datum: heads and
	// flows go over from the one to the other in a straight line. Nil for others.
	later       *Segment
	Corrections []int // numbers of those in force
}

// Head returns the head of a logged figure at an instant, where the air has a temperature in kelvin.
func (s *Segment) Head(at int64, value, air float64) float64 {
	h := s.chain.headAt(at, value, air)
	if s.later != nil {
		h = s.between(at, h, s.later.chain.headAt(at, value, air))
	}
	return h
}

// between is the value at an instant of what goes from one value at the segment's beginning to another at its end.
func (s *Segment) between(at int64, from, to float64) float64 {
	return from + float64((to-from)*(float64(at-s.From)/float64(s.Until-s.From)))
}

// MeterFlow returns the flow that a meter with these settings shows: none below zero or below its cut-off, and no more
// than at the maximum head or the maximum flow.
func (s *Segment) MeterFlow(head float64) float64 {
	q := min(s.Rating.Flow(min(head, s.MaximumHead)), s.MaximumFlow)
	if q < s.CutOff {
		return 0
	}
	return q
}

// Lane is one timeline of settings: segments that follow each other without a gap.
type Lane struct {
	Name     string // "recorded", "corrected" or the name of a what-if
	Onset    bool   // corrected from another defensible onset, not asked for as a what-if
	Segments []Segment
	changes  []int64 // instants at which its settings change, not those at which a ramp is only cut
}

// At returns the number of the segment that holds an instant.
func (l *Lane) At(t int64) int {
	return sort.Search(len(l.Segments)-1, func(i int) bool { return l.Segments[i].Until > t })
}

// Lanes are the timelines of a site: as the meter was set, as it should have been, and what else is asked.
type Lanes struct {
	Recorded, Corrected *Lane
	WhatIfs             []*Lane
}

// NewLanes builds the timelines of a site. Beside the [[what_if]] of the site file, every correction whose onset is not
// sure gives one lane for each other defensible onset, and each number in without one lane that lacks that correction.
// What an earlier run found in the log are defensible onsets too. Problems have the place of the key at fault.
func NewLanes(s *site.Site, without []int, found ...Step) (*Lanes, problem.List) {
	b := Builder{Site: s, Ratings: map[*site.DeviceKeys]device.Rating{}}
	b.Recorded = b.timeline()
	lanes := &Lanes{Recorded: &Lane{Name: "recorded", Segments: b.Recorded}}
	b.finish(lanes.Recorded)
	lanes.Corrected = b.Lane("corrected", s.Corrections)
	for _, w := range s.WhatIfs {
		lanes.WhatIfs = append(lanes.WhatIfs, b.Lane(w.Name, append(slices.Clone(s.Corrections), site.Correction{From: w.From, Until: w.Until, Settings: w.Settings, Place: w.Place})))
	}
	for i := range s.Corrections {
		for _, other := range onsets(s, &s.Corrections[i], found) {
			list := slices.Clone(s.Corrections)
			list[i].From = other.from
			lane := b.Lane(fmt.Sprintf("onset %s", other.rule), list)
			lane.Onset = true
			lanes.WhatIfs = append(lanes.WhatIfs, lane)
		}
	}
	for _, i := range without {
		if i < 0 || i >= len(s.Corrections) {
			b.Add(problem.At(problem.Place{File: s.File}, fmt.Sprintf("there is no correction[%d] to leave out", i), fmt.Sprintf("a number from 0 to %d", len(s.Corrections)-1), ""))
			continue
		}
		lanes.WhatIfs = append(lanes.WhatIfs, b.Lane(fmt.Sprintf("without correction[%d]", i), slices.Delete(slices.Clone(s.Corrections), i, i+1)))
	}
	b.Problems.Sort()
	return lanes, b.Problems
}

// Builder turns the tables of a site file into segments.
type Builder struct {
	Site     *site.Site
	Problems problem.List
	seen     map[string]bool // messages already given: a device may serve several segments
	Recorded []Segment       // as the meter was set
	Ratings  map[*site.DeviceKeys]device.Rating
}

func (b *Builder) Add(p *problem.Problem) {
	if b.seen == nil {
		b.seen = map[string]bool{}
	}
	if !b.seen[p.Error()] {
		b.seen[p.Error()] = true
		b.Problems.Add(p)
	}
}

// timeline carries the recorded settings from change to change.
func (b *Builder) timeline() []Segment {
	var segments []Segment
	var now site.Settings
	for i, change := range b.Site.Settings {
		now = now.Overlay(&change.Settings)
		from, until := int64(Always), int64(Never)
		if i > 0 && change.At != nil {
			from = change.At.UTC
		}
		if i+1 < len(b.Site.Settings) && b.Site.Settings[i+1].At != nil {
			until = b.Site.Settings[i+1].At.UTC
		}
		segments = append(segments, Segment{From: from, Until: until, Settings: now, Origin: from, Rating: b.Rating(now.Device)})
	}
	return segments
}

// Lane builds the timeline that a list of corrections makes of the recorded settings: segments are cut at the bounds of
// corrections, which are laid over them in their order.
func (b *Builder) Lane(name string, corrections []site.Correction) *Lane {
	bounds := map[int64]bool{}
	for i := range corrections {
		from, until := Span(corrections[i])
		bounds[from], bounds[until] = true, true
		for _, cut := range steps(&corrections[i]) {
			bounds[cut] = true
		}
	}
	cuts := slices.Sorted(maps.Keys(bounds))
	l := &Lane{Name: name}
	for _, r := range b.Recorded {
		from := r.From
		for _, cut := range cuts {
			if cut > from && cut < r.Until {
				l.Segments = append(l.Segments, Segment{From: from, Until: cut, Settings: r.Settings})
				from = cut
			}
		}
		l.Segments = append(l.Segments, Segment{From: from, Until: r.Until, Settings: r.Settings})
	}
	for i := range l.Segments {
		s := &l.Segments[i]
		s.Origin = s.From
		later := *s
		moving := false
		s.AsRecorded = true
		for k := range corrections {
			c := &corrections[k]
			if from, until := Span(*c); from <= s.From && s.Until <= until {
				start, end := b.still(c, s.From), b.still(c, s.Until)
				s.Settings, later.Settings = s.Settings.Overlay(&start), later.Settings.Overlay(&end)
				s.Unusable = s.Unusable || c.Unusable
				moving, s.AsRecorded = moving || stepped(c), false
				s.Corrections = append(s.Corrections, k)
			}
		}
		if moving {
			s.later = &later
		}
	}
	b.finish(l)
	return l
}

// Span returns the bounds of a correction.
func Span(c site.Correction) (from, until int64) {
	from, until = Always, Never
	if c.From != nil {
		from = c.From.UTC
	}
	if c.Until != nil {
		until = c.Until.UTC
	}
	return from, until
}

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
		if which := site.Setting(i); r != nil && r.From.SI != r.To.SI && which != site.EmptyDistance && which != site.LevelOfZeroFlow {
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
			b.Add(problem.At(d.Place, fmt.Sprintf("%s.%s cannot move: %v", d.Prefix, key, err), "two values of one unit", ""))
			middle = fmt.Sprint(from)
		}
		out.Values[key] = middle
		if _, isText := from.(string); !isText {
			out.Values[key], _ = strconv.ParseFloat(middle, 64)
		}
	}
	return &out
}

// finish builds the device of each segment and the way from a logged figure to a head.
func (b *Builder) finish(l *Lane) {
	recorded := Lane{Segments: b.Recorded}
	for i := range l.Segments {
		s := &l.Segments[i]
		then := &b.Recorded[recorded.At(s.From)]
		for _, x := range []*Segment{s, s.later} {
			if x == nil {
				continue
			}
			x.Rating = b.Rating(x.Settings.Device)
			if x.Rating != nil && then.Rating != nil {
				x.chain = buildChain(b.Site.Log.Primary, &b.Site.Log.Columns[b.Site.Log.Primary], x, then)
				b.warnOfLimit(x)
				x.derive(b.Site, then)
			}
		}
	}
	l.findChanges()
}

// derive works out what follows from a segment's settings, its rating and its chain: where meter, channel and rating
// end, and what is known there.
func (s *Segment) derive(of *site.Site, then *Segment) {
	limits := s.Rating.Limits()
	s.MaximumHead, s.MaximumFlow = optional(s, site.MaximumHead), optional(s, site.MaximumFlow)
	if r := s.Settings.Values[site.FlowCutOff]; r != nil {
		s.CutOff = r.From.SI
	}
	s.Top = math.Min(limits.End, optional(s, site.ChannelDepth))
	s.Usual = min(s.MaximumHead, limits.High, s.Top)
	holdHead := s.Top
	if r := s.Settings.Values[site.BlankingDistance]; r != nil && of.Log.Primary == reading.Distance {
		s.Blanking = r.From.SI
		holdHead = math.Min(holdHead, s.chain.headAt(s.Origin, s.Blanking, 293.15))
	}
	s.Hold = math.Inf(1)
	if !math.IsInf(holdHead, 1) {
		s.Hold = s.Rating.Flow(holdHead)
	}
	s.Ends = findEnds(of, s, then)
}

// optional returns a limit, +Inf when it is not set.
func optional(s *Segment, which site.Setting) float64 {
	if r := s.Settings.Values[which]; r != nil {
		return r.From.SI
	}
	return math.Inf(1)
}

// warnOfLimit tells a maximum head for which the device's rating is not valid.
func (b *Builder) warnOfLimit(s *Segment) {
	limits := s.Rating.Limits()
	if m := s.Settings.Values[site.MaximumHead]; m != nil && m.From.SI > limits.High+1e-6 {
		b.Add(problem.Warn(m.Place, fmt.Sprintf("maximum_head %q is above the highest head, %.3g m, for which the rating is valid", m.From.Text, limits.High),
			limits.HighSource, "readings above that limit are flagged, and kept"))
	}
}

// Rating builds a device, once for each table of keys, and words what is wrong with them.
func (b *Builder) Rating(keys *site.DeviceKeys) device.Rating {
	if keys == nil || keys.Kind == "" {
		return nil // reported when the file was read
	}
	if r, ok := b.Ratings[keys]; ok {
		return r
	}
	r, issues := device.Build(keys.Kind, keys.Values)
	for _, issue := range issues {
		place, ok := b.Site.Places[keys.Prefix+"."+issue.Key]
		if !ok {
			place = keys.Place
		}
		remedy := issue.Remedy
		if issue.Unknown {
			name := issue.Key
			if issue.Key == "kind" {
				name = keys.Kind
			}
			remedy = problem.Suggest(name, issue.Known)
		}
		b.Add(problem.At(place, keys.Prefix+": "+issue.Found, issue.Expected, remedy))
	}
	if len(issues) > 0 {
		r = nil
	}
	b.Ratings[keys] = r
	return r
}

// straight is a setting as a straight line in time from the segment's beginning.
type straight struct{ At, PerNs float64 }

// Line returns a setting over a segment, which may be only a part of the correction that moves it.
func Line(r *site.Ramp, s *Segment) straight {
	if r == nil {
		return straight{}
	}
	if r.From.SI == r.To.SI {
		return straight{At: r.From.SI}
	}
	perNs := (r.To.SI - r.From.SI) / float64(r.Ends-r.Starts)
	return straight{At: r.From.SI + float64(perNs*float64(s.Origin-r.Starts)), PerNs: perNs}
}
