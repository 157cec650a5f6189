// Package block holds the rows at hand with the flow of every lane, which is all that a stage sees of a log.
package block

import (
	"math"
	"slices"
	"sort"
	"time"

	"retotal/ingest/reading"
	"retotal/ingest/site"
	"retotal/qa"
	"retotal/recompute/settings"
	"retotal/recompute/total"
)

// Frame is what holds for all blocks of a pass.
type Frame struct {
	Log     *reading.Facts
	Site    *site.Site
	Limits  qa.Limits                // of most of the log
	Limited []qa.Timed               // those of its parts; nil when all have the same
	Means   bool                     // the log's figures are means over intervals
	OfFlow  bool                     // they are flows or volumes, so that heads come out of a rating
	Actions map[qa.Flags]site.Action // what becomes of a reading, by single flags
	// Drops are the flags that make a reading more than one to keep: all with another action, and careful.
	Drops       qa.Flags
	From, Until int64           // period of the totals
	First       int64           // where the first reporting day begins or goes on
	Calendar    *total.Calendar // of the report
	primary     reading.Quantity
	movedAt     []int64 // instants at which something moved, see settings.MovedAt
	lag         int64   // 1 ns where figures are means: a mean belongs to the settings before its stamp
}

// Lane is one timeline of settings with the flows that it gives to the rows at hand.
type Lane struct {
	*settings.Lane
	Flow  []float64 // m³/s
	heads []float64 // memory
}

// Moved is a lane that a source of uncertainty moves. Before is the recorded lane moved by the same source, whose flows
// are what the meter would have shown; nil when before does not share the source.
type Moved struct{ After, Before *Lane }

// Lanes are the timelines that are carried through a log.
type Lanes struct {
	Recorded  *Lane // its flows are what the meter showed
	Corrected *Lane // before screening; where a row is used, Flow becomes what counts for it
	// Kept is the corrected lane as a meter with its settings would have shown it; Recorded itself when nothing was
	// corrected.
	Kept    *Lane
	WhatIfs []*Lane
	Moved   []Moved
}

// Columns are what the log says of each row. Those of quantities that it does not hold are empty.
type Columns struct {
	Shown        []int64   // by the logger's clock, under which it reported; Time itself when the clock was right
	Air          []float64 // K
	Logged       []float64 // flow, m³/s
	LoggedState  []reading.State
	Counter      []float64 // m³
	CounterState []reading.State
	Passed       []float64 // volume of the interval, m³
	PassedState  []reading.State
	File, Line   []int32
}

// Block is the rows at hand. Rows Low to High−1 are decided and are for the stages to take in; those before are
// context, those after wait for screening.
type Block struct {
	Frame
	Lanes
	qa.Window // Figure is the logged figure, SI; of counters and interval volumes, the mean flow of the interval
	Columns
	Low, High int
	// Free is the corrected flow before drowned readings were looked at; empty when the log has no downstream level.
	Free    []float64
	AtMost  []bool // the corrected flow is only the most that can have flowed; empty with Free
	Used    []bool // the corrected flow counts
	Rulings Rulings
	Cells   *Cells // nil unless they are wanted
	Steps   []Step // of the corrected total through the rows, see Step
	told    Record
	counter counter
}

// Told is what an earlier pass over the whole record told of the rows from one instant to another.
type Told struct {
	From, Until int64
	Verdict     qa.Verdict // of readings at an end of what the meter shows
	Flags       qa.Flags   // of others
}

// Record is what earlier passes told of the whole record, in lists in the order of time whose spans do not overlap: of
// readings at an end, of spikes, of stuck readings, of those that another quantity contradicts, of moves of the
// sensor.
type Record [5][]Told

// Cells are volumes by equal parts of the reporting days.
type Cells struct {
	Calendar      *total.Calendar // its days are the cells
	Before, After *total.Series   // of the recorded lane, and of the corrected total in all classes
	Counter       *total.Counter
}

// Divide has volumes added up by cells too, of which no more than so many cover the log up to its last reading.
func (f *Frame) Divide(most int, last int64) *Cells {
	span := time.Duration(min(f.Until, last) - f.First)
	c := f.Calendar.Cells(total.CellLength(f.Log.Interval, span, most))
	return &Cells{Calendar: c, Before: f.SeriesBy(c), After: f.SeriesBy(c)}
}

// New prepares the rows of a log. first is its first reading.
func New(l *reading.Facts, s *site.Site, lanes Lanes, told Record, first int64) *Block {
	b := &Block{Frame: newFrame(l, s, lanes.Corrected.Lane, first), Lanes: lanes, Rulings: newRulings(s), told: told}
	b.counter.rollover = s.Log.Columns[reading.Counter].Rollover
	b.counter.changes = CounterChanges(&s.Log, func(at int64) int64 { return at })
	return b
}

// NewLanes prepares the lanes of a site, without rows and without those that sources of uncertainty move. Its corrected
// lane is kept as a meter would have shown it where the site file corrects anything.
func NewLanes(l *settings.Lanes, corrects bool) Lanes {
	lanes := Lanes{Recorded: NewLane(l.Recorded), Corrected: NewLane(l.Corrected)}
	if lanes.Kept = lanes.Recorded; corrects {
		lanes.Kept = NewLane(l.Corrected)
	}
	for _, w := range l.WhatIfs {
		lanes.WhatIfs = append(lanes.WhatIfs, NewLane(w))
	}
	return lanes
}

// NewLane prepares a lane without rows; nil for none.
func NewLane(l *settings.Lane) *Lane {
	if l == nil {
		return nil
	}
	return &Lane{Lane: l}
}

func newFrame(l *reading.Facts, s *site.Site, corrected *settings.Lane, first int64) Frame {
	f := Frame{
		Log:     l,
		Site:    s,
		Means:   s.Log.Means,
		primary: s.Log.Primary,
		OfFlow:  s.Log.Primary > reading.Head,
		From:    math.MinInt64,
		Until:   math.MaxInt64,
	}
	f.Limits = limits(l, s)
	for _, x := range l.Samplings {
		part := *l
		part.Interval, part.GapLimit, part.Resolution[s.Log.Primary] = x.Interval, x.GapLimit, x.Step
		f.Limited = append(f.Limited, qa.Timed{From: x.From, Limits: limits(&part, s)})
	}
	f.setActions()
	if s.Report.From != nil {
		f.From = s.Report.From.UTC
	}
	if s.Report.Until != nil {
		f.Until = s.Report.Until.UTC
	}
	f.movedAt = settings.MovedAt(s, corrected)
	if f.Means {
		f.lag = 1
	}
	if f.Means && f.primary != reading.Counter || l.Has[reading.IntervalVolume] {
		first = l.Begins(first)
	}
	f.First = max(first, f.From)
	f.Calendar = total.NewCalendar(s.Report.Clock.Location, s.Report.DayStarts, s.Report.LabelByEnd, f.First)
	return f
}

// limits are those of the site file and the log for the checks.
func limits(l *reading.Facts, s *site.Site) qa.Limits {
	resolution, gap := l.Resolution[s.Log.Primary], l.GapLimit
	if s.Log.Primary > reading.Head {
		resolution = 0 // heads are computed, not logged
	}
	if s.Log.Primary == reading.Counter {
		gap = 0 // a counter counts on while nothing is logged
	}
	limits := qa.NewLimits(stated(&s.Screening), l.Interval, gap, resolution)
	limits.Step = l.Resolution[s.Log.Primary]
	if s.Log.Primary > reading.Flow {
		limits.Step /= math.Max(l.Interval.Seconds(), 1) // of the mean flow
	}
	limits.Means = s.Log.Means
	return limits
}

// stated is what a site file says of the limits.
func stated(s *site.Screening) qa.Stated {
	return qa.Stated{
		TooLarge: s.TooLarge, BridgeLimit: s.BridgeLimit, BelowZero: s.BelowZero, SecondLimit: s.SecondLimit,
		SpikeWindow: s.SpikeWindow, SpikeThreshold: s.SpikeThreshold, SpikeFloor: s.SpikeFloor,
		StuckDuration: s.StuckDuration, StuckTolerance: s.StuckTolerance,
		Sensor: qa.Range(s.SensorRange), User: qa.Range(s.UserRange),
		RateUp: s.RateUp, RateDown: s.RateDown, RatePer: s.RatePer, StepLimit: s.StepLimit, StepWindow: s.StepWindow,
		FlatRange: s.FlatRange, FlatWindow: s.FlatWindow, NoiseLimit: s.NoiseLimit,
	}
}

// Series is a new series of flows that are computed from the log's figures, by the report's days.
func (f *Frame) Series() *total.Series { return f.SeriesBy(f.Calendar) }

// SeriesBy is the same by other days.
func (f *Frame) SeriesBy(c *total.Calendar) *total.Series {
	s := total.NewSeries(c, f.From, f.Until)
	s.Hold = f.Means
	return s
}

// Day is the number of the reporting day of an instant; of one before the period, that of the period's beginning.
func (f *Frame) Day(at int64) int { return f.Calendar.Day(max(at, f.From)) }

// NumberOf is the number of the segment of a lane that row i belongs to.
func (b *Block) NumberOf(l *settings.Lane, i int) int { return l.At(b.Time[i] - b.lag) }

// SegmentOf is that segment.
func (b *Block) SegmentOf(l *settings.Lane, i int) *settings.Segment {
	return &l.Segments[b.NumberOf(l, i)]
}

// EachSegment calls f for the stretches of rows low to high−1 that lie in one segment of a lane.
func (b *Block) EachSegment(l *settings.Lane, low, high int, f func(s *settings.Segment, low, high int)) {
	for low < high {
		s := b.SegmentOf(l, low)
		end := low + sort.Search(high-low, func(i int) bool { return b.Time[low+i]-b.lag >= s.Until })
		if s.Until == settings.Never {
			end = high
		}
		f(s, low, end)
		low = end
	}
}

// AirOf returns the temperatures of some rows, K; nil when the log has none.
func (b *Block) AirOf(low, high int) []float64 {
	if len(b.Air) == 0 {
		return nil
	}
	return b.Air[low:high]
}

// Hour is an hour in nanoseconds.
const Hour = int64(3600e9)

// HourOf numbers the hour that holds an instant since 1970, before it too.
func HourOf(at int64) int64 {
	if at < 0 {
		return (at+1)/Hour - 1
	}
	return at / Hour
}

// standardAir is the temperature of a standard day, K.
const standardAir = 293.15

// AirAt returns the temperature of a row, that of a standard day when the log has none, K.
func (b *Block) AirAt(i int) float64 {
	if len(b.Air) == 0 {
		return standardAir
	}
	return b.Air[i]
}

// FreeAt is the corrected flow of row i before drowned readings were looked at, m³/s.
func (b *Block) FreeAt(i int) float64 {
	if len(b.Free) == 0 {
		return b.Corrected.Flow[i]
	}
	return b.Free[i]
}

// Settings lays out for the checks which settings are in force in which rows.
func (b *Block) Settings() {
	b.Spans = b.Spans[:0]
	b.EachSegment(b.Corrected.Lane, 0, len(b.Time), func(s *settings.Segment, low, high int) {
		valid := s.Rating.Limits()
		b.Spans = append(b.Spans, qa.Span{
			End:      high,
			Blanking: s.Blanking,
			Top:      s.Top,
			Valid:    valid.High,
			Usual:    s.Usual,
			Low:      valid.Low,
			Modular:  s.Modular(),
			Least:    s.Ends.Least,
			Most:     s.Ends.Most,
			Falling:  s.Ends.Falling,
			Twofold:  s.Ends.Twofold,
		})
	})
}

// each calls f for every lane that stands beside the corrected one, and shown for every lane whose flows are what a
// meter would have shown.
func (l *Lanes) each(f, shown func(*Lane)) {
	shown(l.Recorded)
	for _, w := range l.WhatIfs {
		f(w)
	}
	for _, m := range l.Moved {
		if f(m.After); m.Before != nil {
			shown(m.Before)
		}
	}
}

// Rate computes the flows of all lanes for the rows from Low to High−1.
func (b *Block) Rate() {
	low, high := b.Low, b.High
	corrected := b.Corrected.Flow
	b.each(b.rateLane, func(l *Lane) {
		b.EachSegment(l.Lane, low, high, func(s *settings.Segment, low, high int) {
			s.Shows(l.Flow[low:high], b.Time[low:high], b.Figure[low:high], b.OfFlow)
		})
	})
	b.EachSegment(b.Corrected.Lane, low, high, func(s *settings.Segment, low, high int) {
		s.Flows(corrected[low:high], b.Head[low:high], b.Figure[low:high], b.Time[low:high])
		for i := low; s.OfMeans() && i < high; i++ { // what is known of a mean, whatever screening makes of it
			corrected[i], _ = s.MeanBounds(b.Figure[i], b.AirAt(i))
		}
		if b.Kept != b.Recorded {
			b.keep(s, low, high)
		}
	})
}

// rateLane computes the flows of a lane beside the corrected one.
func (b *Block) rateLane(l *Lane) {
	b.EachSegment(l.Lane, b.Low, b.High, func(s *settings.Segment, low, high int) {
		l.heads = slices.Grow(l.heads[:0], high-low)[:high-low]
		s.Heads(l.heads, b.Time[low:high], b.Figure[low:high], b.AirOf(low, high))
		s.Flows(l.Flow[low:high], l.heads, b.Figure[low:high], b.Time[low:high])
	})
}

// keep works out what a meter with the corrected settings of a segment would have shown.
func (b *Block) keep(s *settings.Segment, low, high int) {
	out := b.Kept.Flow[low:high]
	if s.AsRecorded {
		copy(out, b.Recorded.Flow[low:high])
		return
	}
	copy(out, b.Corrected.Flow[low:high])
	s.Limit(out, b.Head[low:high])
}
