// Package settings is timelines of what a meter was told and of what it should have been told, and what its figures can
// still say.
package settings

import (
	"fmt"
	"iter"
	"math"
	"slices"
	"sort"

	"retotal/ingest/problem"
	"retotal/ingest/reading"
	"retotal/ingest/site"
	"retotal/recompute/device"
	"retotal/recompute/settings/chain"
)

// The ends of time.
const (
	Always = math.MinInt64
	Never  = math.MaxInt64
)

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
	Warnings            problem.List
}

// NewLanes builds the timelines of a site. Beside the [[what_if]] of the site file, every correction whose onset is not
// sure gives one lane for each other defensible onset, and each number in without, from 1, one lane that lacks that
// correction. What an earlier run found in the log are defensible onsets too. All problems are returned together, each
// with the place of the key at fault.
func NewLanes(s *site.Site, without []int, found ...Step) (*Lanes, error) {
	b := Builder{Site: s, Ratings: map[*site.DeviceKeys]device.Rating{}}
	b.Recorded = b.timeline()
	lanes := &Lanes{Recorded: &Lane{Name: "recorded", Segments: b.Recorded}}
	b.finish(lanes.Recorded)
	lanes.Corrected = b.Lane("corrected", s.Corrections)
	lanes.WhatIfs = slices.Concat(b.asked(), b.fromOnsets(found), b.lacking(without))
	b.Problems.Sort()
	lanes.Warnings = b.Problems.Warnings()
	return lanes, b.Problems.Err()
}

// asked are the lanes of the site file's [[what_if]].
func (b *Builder) asked() (lanes []*Lane) {
	for _, w := range b.Site.WhatIfs {
		c := site.Correction{From: w.From, Until: w.Until, Settings: w.Settings, Place: w.Place}
		lanes = append(lanes, b.Lane(w.Name, append(slices.Clone(b.Site.Corrections), c)))
	}
	return lanes
}

// fromOnsets are the lanes of other defensible onsets.
func (b *Builder) fromOnsets(found []Step) (lanes []*Lane) {
	for i := range b.Site.Corrections {
		for _, other := range onsets(b.Site, &b.Site.Corrections[i], found) {
			list := slices.Clone(b.Site.Corrections)
			list[i].From = other.from
			lane := b.Lane(fmt.Sprintf("onset %s", other.rule), list)
			lane.Onset = true
			lanes = append(lanes, lane)
		}
	}
	return lanes
}

// lacking are the lanes that lack one correction each, by their numbers from 1.
func (b *Builder) lacking(without []int) (lanes []*Lane) {
	all := b.Site.Corrections
	for _, n := range without {
		i := n - 1
		if i < 0 || i >= len(all) {
			expected := fmt.Sprintf("a number from 1 to %d", len(all))
			if len(all) == 0 {
				expected = "a site file with corrections"
			}
			b.Add(problem.At(problem.Place{File: b.Site.File},
				fmt.Sprintf("there is no correction number %d to leave out", n), expected, ""))
			continue
		}
		others := slices.Delete(slices.Clone(all), i, i+1)
		lanes = append(lanes, b.Lane("without "+problem.Entry("correction", i, 0), others))
	}
	return lanes
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
		rating := b.Rating(now.Device)
		segments = append(segments, Segment{From: from, Until: until, Settings: now, Origin: from, Rating: rating})
	}
	return segments
}

// Lane builds the timeline that a list of corrections makes of the recorded settings: segments are cut at the bounds of
// corrections, which are laid over them in their order.
func (b *Builder) Lane(name string, corrections []site.Correction) *Lane {
	l := &Lane{Name: name}
	cuts := cutsOf(corrections)
	for _, r := range b.Recorded {
		from := r.From
		for _, cut := range cuts {
			if cut > from && cut < r.Until {
				l.Segments = append(l.Segments, Segment{From: from, Until: cut, Settings: r.Settings, Origin: from})
				from = cut
			}
		}
		l.Segments = append(l.Segments, Segment{From: from, Until: r.Until, Settings: r.Settings, Origin: from})
	}
	for i := range l.Segments {
		b.correct(&l.Segments[i], corrections)
	}
	b.finish(l)
	return l
}

// cutsOf are the instants, rising, at which a lane is cut for its corrections.
func cutsOf(corrections []site.Correction) []int64 {
	var cuts []int64
	for i := range corrections {
		from, until := Span(corrections[i])
		cuts = append(append(cuts, from, until), steps(&corrections[i])...)
	}
	slices.Sort(cuts)
	return slices.Compact(cuts)
}

// correct lays the corrections that hold in a segment over its settings.
func (b *Builder) correct(s *Segment, corrections []site.Correction) {
	later := *s
	moving := false
	s.AsRecorded = true
	for k := range corrections {
		c := &corrections[k]
		if from, until := Span(*c); from > s.From || s.Until > until {
			continue
		}
		start, end := b.still(c, s.From), b.still(c, s.Until)
		s.Settings, later.Settings = s.Settings.Overlay(&start), later.Settings.Overlay(&end)
		s.Unusable = s.Unusable || c.Unusable
		moving, s.AsRecorded = moving || stepped(c), false
		s.Corrections = append(s.Corrections, k)
	}
	if moving {
		s.later = &later
	}
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

// finish builds the device of each segment and the way from a logged figure to a head.
func (b *Builder) finish(l *Lane) {
	recorded := Lane{Segments: b.Recorded}
	for s := range l.stands() {
		s.meter = &b.Recorded[recorded.At(s.From)]
		if s.Rating = b.Rating(s.Settings.Device); s.known() {
			b.link(s)
			b.warnOfLimit(s)
		}
	}
	for s := range l.stands() { // what follows from a segment may need to know how it stands at its end
		if s.known() && (s.later == nil || s.later.known()) {
			s.derive(b.Site)
		}
	}
	l.findChanges()
}

// known reports whether the devices of a segment and of its meter could be built.
func (s *Segment) known() bool { return s.Rating != nil && s.meter.Rating != nil }

// link works out the way from a logged figure to a head.
func (b *Builder) link(s *Segment) {
	primary := b.Site.Log.Primary
	s.chain = chain.Build(primary, &b.Site.Log.Columns[primary], s.Origin, s.told(), s.meter.told())
}

func (s *Segment) told() chain.Told { return chain.Told{Settings: &s.Settings, Rating: s.Rating} }

// stands are the segments of a lane, each followed by how it stands at its end where that is another.
func (l *Lane) stands() iter.Seq[*Segment] {
	return func(yield func(*Segment) bool) {
		for i := range l.Segments {
			s := &l.Segments[i]
			if !yield(s) || s.later != nil && !yield(s.later) {
				return
			}
		}
	}
}

// derive works out what follows from a segment's settings, its rating and its chain: where meter, channel and rating
// end, and what is known there.
func (s *Segment) derive(of *site.Site) {
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
		holdHead = math.Min(holdHead, s.chain.Head(s.Origin, s.Blanking, chain.Standard))
	}
	s.Hold = math.Inf(1)
	if !math.IsInf(holdHead, 1) {
		s.Hold = s.Rating.Flow(holdHead)
	}
	s.Ends = findEnds(of, s, s.meter)
}
