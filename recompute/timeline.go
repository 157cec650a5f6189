package recompute

import (
	"fmt"
	"maps"
	"math"
	"slices"
	"sort"

	"retotal/ingest"
	"retotal/ingest/problem"
	"retotal/ingest/quantity"
	"retotal/ingest/reading"
	"retotal/ingest/site"
	"retotal/recompute/device"
)

// The ends of time.
const (
	always = math.MinInt64
	never  = math.MaxInt64
)

// Segment is a span of time under one set of settings.
type Segment struct {
	From, Until int64 // instants; From belongs to the span
	Settings    site.Settings
	Rating      device.Rating
	// A head is Sign × reading + shift, and the shift moves along a straight line from From on.
	sign        float64
	shift       float64 // m, at origin
	shiftPerNs  float64
	origin      int64
	maximumHead float64 // m; +Inf when none is set
	blanking    float64 // m; 0 when none is set or the log holds no distance
	top         float64 // highest valid head: the lower of maximum head and the device's limit
	hold        float64 // flow of a reading that is held: at top, or at the nearest water the sensor sees if that is lower
}

// head returns the head of a reading at an instant.
func (s *Segment) head(at int64, value float64) float64 {
	return float64(s.sign*value) + s.shiftAt(at)
}

func (s *Segment) shiftAt(at int64) float64 {
	if s.shiftPerNs == 0 {
		return s.shift
	}
	return s.shift + float64(s.shiftPerNs*float64(at-s.origin))
}

// meterFlow returns the flow that a meter with these settings shows: none below zero, and no more than at the maximum
// head.
func (s *Segment) meterFlow(head float64) float64 {
	return s.Rating.Flow(math.Min(head, s.maximumHead))
}

// Lane is one timeline of settings: segments that follow each other without a gap.
type Lane struct {
	Name     string // "recorded" or "corrected"
	Segments []Segment
}

// at returns the number of the segment that holds an instant.
func (l *Lane) at(t int64) int {
	return sort.Search(len(l.Segments)-1, func(i int) bool { return l.Segments[i].Until > t })
}

// NewLanes builds the recorded and the corrected timeline of a site. Problems have the place of the key at fault.
func NewLanes(s *site.Site) (recorded, corrected *Lane, problems problem.List) {
	b := builder{site: s}
	recorded = &Lane{Name: "recorded", Segments: b.recorded()}
	corrected = &Lane{Name: "corrected", Segments: b.corrected(recorded.Segments)}
	b.finish(recorded.Segments, recorded.Segments)
	b.finish(corrected.Segments, recorded.Segments)
	b.problems.Sort()
	return recorded, corrected, b.problems
}

// builder turns the tables of a site file into segments.
type builder struct {
	site     *site.Site
	problems problem.List
	seen     map[string]bool // messages already given: a device may serve several segments
}

func (b *builder) add(p *problem.Problem) {
	if b.seen == nil {
		b.seen = map[string]bool{}
	}
	if !b.seen[p.Error()] {
		b.seen[p.Error()] = true
		b.problems.Add(p)
	}
}

// recorded carries the settings from change to change.
func (b *builder) recorded() []Segment {
	var segments []Segment
	var now site.Settings
	for i, change := range b.site.Settings {
		now = overlay(now, change.Settings)
		from, until := int64(always), int64(never)
		if i > 0 && change.At != nil {
			from = change.At.UTC
		}
		if i+1 < len(b.site.Settings) && b.site.Settings[i+1].At != nil {
			until = b.site.Settings[i+1].At.UTC
		}
		segments = append(segments, Segment{From: from, Until: until, Settings: now, origin: from})
	}
	return segments
}

// corrected cuts the recorded segments at the bounds of corrections and lays the corrections over them.
func (b *builder) corrected(recorded []Segment) []Segment {
	bounds := map[int64]bool{}
	for _, c := range b.site.Corrections {
		from, until := span(c)
		bounds[from], bounds[until] = true, true
	}
	var segments []Segment
	for _, r := range recorded {
		from := r.From
		for _, cut := range slices.Sorted(maps.Keys(bounds)) {
			if cut > from && cut < r.Until {
				segments = append(segments, Segment{From: from, Until: cut, Settings: r.Settings})
				from = cut
			}
		}
		segments = append(segments, Segment{From: from, Until: r.Until, Settings: r.Settings})
	}
	for i := range segments {
		s := &segments[i]
		s.origin = s.From
		for _, c := range b.site.Corrections {
			if from, until := span(c); from <= s.From && s.Until <= until {
				s.Settings = overlay(s.Settings, c.Settings)
				b.checkRamps(c)
			}
		}
	}
	return segments
}

// span returns the bounds of a correction.
func span(c site.Correction) (from, until int64) {
	from, until = always, never
	if c.From != nil {
		from = c.From.UTC
	}
	if c.Until != nil {
		until = c.Until.UTC
	}
	return from, until
}

// checkRamps refuses ramps of settings that do not move in time.
func (b *builder) checkRamps(c site.Correction) {
	for _, x := range []struct {
		key string
		r   *site.Ramp
	}{{"maximum_head", c.MaximumHead}, {"blanking_distance", c.BlankingDistance}} {
		if x.r != nil && x.r.From.SI != x.r.To.SI {
			b.add(problem.At(x.r.Place, x.key+" cannot be a ramp", "one value", "only empty_distance and level_of_zero_flow move in time"))
		}
	}
}

// overlay returns settings with those of over in their place, where over has any.
func overlay(under, over site.Settings) site.Settings {
	if over.EmptyDistance != nil {
		under.EmptyDistance = over.EmptyDistance
	}
	if over.LevelOfZeroFlow != nil {
		under.LevelOfZeroFlow = over.LevelOfZeroFlow
	}
	if over.MaximumHead != nil {
		under.MaximumHead = over.MaximumHead
	}
	if over.BlankingDistance != nil {
		under.BlankingDistance = over.BlankingDistance
	}
	if over.Device != nil {
		under.Device = overlayDevice(under.Device, over.Device)
	}
	return under
}

// overlayDevice replaces the device, or single dimensions of it when no other kind is named.
func overlayDevice(under, over *site.DeviceKeys) *site.DeviceKeys {
	if under == nil || over.Kind != "" && over.Kind != under.Kind {
		return over
	}
	merged := *over
	merged.Kind = under.Kind
	merged.Values = maps.Clone(under.Values)
	maps.Copy(merged.Values, over.Values)
	return &merged
}

// finish builds the device of each segment and the way from a reading to a head.
func (b *builder) finish(segments, recorded []Segment) {
	lane := Lane{Segments: recorded}
	for i := range segments {
		s := &segments[i]
		s.Rating = b.rating(s.Settings.Device)
		s.maximumHead = math.Inf(1)
		if m := s.Settings.MaximumHead; m != nil {
			s.maximumHead = m.From.SI
		}
		b.setShift(s, &recorded[lane.at(s.From)])
		if s.Rating == nil {
			continue
		}
		s.top = math.Min(s.maximumHead, s.Rating.Limits().High)
		b.warnOfLimit(s)
		holdHead := s.top
		if r := s.Settings.BlankingDistance; r != nil && b.site.Log.Primary == reading.Distance {
			s.blanking = r.From.SI
			holdHead = math.Min(holdHead, s.shiftAt(s.origin)-s.blanking)
		}
		s.hold = math.Inf(1)
		if !math.IsInf(holdHead, 1) {
			s.hold = s.Rating.Flow(holdHead)
		}
	}
}

// warnOfLimit tells a maximum head for which the device's rating is not valid.
func (b *builder) warnOfLimit(s *Segment) {
	limits := s.Rating.Limits()
	if m := s.Settings.MaximumHead; m != nil && m.From.SI > limits.High+1e-6 {
		b.add(problem.Warn(m.Place, fmt.Sprintf("maximum_head %q is above the highest head, %.3g m, for which the rating is valid", m.From.Text, limits.High),
			limits.HighSource, "readings between the two are flagged as surcharge"))
	}
}

// rating builds a device and words what is wrong with its keys.
func (b *builder) rating(keys *site.DeviceKeys) device.Rating {
	if keys == nil || keys.Kind == "" {
		return nil // reported when the file was read
	}
	r, issues := device.Build(keys.Kind, keys.Values)
	for _, issue := range issues {
		place, ok := b.site.Places[keys.Prefix+"."+issue.Key]
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
		b.add(problem.At(place, keys.Prefix+": "+issue.Found, issue.Expected, remedy))
	}
	if len(issues) > 0 {
		return nil
	}
	return r
}

// setShift computes sign and shift of a segment. A log of levels or heads was written under the recorded settings: what it
// holds is moved by the difference to them.
func (b *builder) setShift(s, recorded *Segment) {
	empty, zero := line(s.Settings.EmptyDistance, s), line(s.Settings.LevelOfZeroFlow, s)
	emptyThen, zeroThen := line(recorded.Settings.EmptyDistance, recorded), line(recorded.Settings.LevelOfZeroFlow, recorded)
	var at, perNs float64
	switch b.site.Log.Primary {
	case reading.Distance:
		s.sign = -1
		at = float64(quantity.HeadFromDistance(quantity.Distance(empty.at), 0, quantity.Level(zero.at)))
		perNs = empty.perNs - zero.perNs
	case reading.Level:
		s.sign = 1
		at = float64(quantity.HeadFromLevel(quantity.Level(empty.at-emptyThen.at), quantity.Level(zero.at)))
		perNs = empty.perNs - zero.perNs
	default:
		s.sign = 1
		at = (empty.at - emptyThen.at) - (zero.at - zeroThen.at)
		perNs = empty.perNs - zero.perNs
	}
	s.shift, s.shiftPerNs = at, perNs
}

// straight is a setting as a straight line in time from the segment's beginning.
type straight struct{ at, perNs float64 }

// line returns a setting over a segment, which may be only a part of the correction that moves it.
func line(r *site.Ramp, s *Segment) straight {
	if r == nil {
		return straight{}
	}
	if r.From.SI == r.To.SI {
		return straight{at: r.From.SI}
	}
	perNs := (r.To.SI - r.From.SI) / float64(r.Ends-r.Starts)
	return straight{at: r.From.SI + float64(perNs*float64(s.origin-r.Starts)), perNs: perNs}
}

// OutsideLog returns problems with corrections that touch no reading of the log, and warnings for changes of settings after its
// end. It is called once the log's first and last reading are known.
func OutsideLog(l *ingest.Log) (problems problem.List) {
	clock := l.Site.Log.Clock
	bounds := fmt.Sprintf("times between the first reading, %s, and the last, %s (%s)", clock.Format(l.From), clock.Format(l.Till), clock.Name)
	for i, c := range l.Site.Corrections {
		if from, until := span(c); from >= l.Till || until <= l.From {
			problems.Add(problem.At(c.Place, fmt.Sprintf("correction[%d] lies outside the log", i), bounds, "check from and until, and the year"))
		}
	}
	for i, c := range l.Site.Settings {
		if c.At != nil && c.At.UTC > l.Till {
			problems.Add(problem.Warn(c.At.Place, fmt.Sprintf("settings.change[%d] at %s is after the last reading and changes nothing", i-1, c.At.Text), bounds, ""))
		}
	}
	return problems
}
