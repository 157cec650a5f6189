package stage

import (
	"fmt"
	"math"
	"time"

	"retotal/qa"
	"retotal/recompute/block"
	"retotal/recompute/settings"
	"retotal/recompute/total"
)

// Recorded integrates what the meter showed, and what it would have shown with the corrected settings, between
// neighbours that are not too far apart. It stands before screening: a meter knows no flags.
type Recorded struct {
	Peak   float64 // highest flow that was shown, m³/s
	series *total.Series
	kept   *total.Series // series itself when nothing was corrected: the same to the last bit
	rules  []dayRule
}

// dayRule is another way to bound days and months, under which reported figures may have been reckoned.
type dayRule struct {
	name     string
	calendar *total.Calendar
	series   *total.Series
}

// NewRecorded prepares the stage for a pass.
func NewRecorded(b *block.Block) *Recorded {
	r := &Recorded{series: b.Series(), rules: dayRules(b)}
	if b.Cells != nil {
		r.series.Also = b.Cells.Before
	}
	if r.kept = r.series; b.Kept != b.Recorded {
		r.kept = b.Series()
	}
	return r
}

// dayRules are the other rules, when figures were reported: days from midnight and from 06:00 to 09:00, by the clock of
// the report, of the logger and of UTC.
func dayRules(b *block.Block) (list []dayRule) {
	s := b.Site
	if len(s.Report.Reported) == 0 {
		return nil
	}
	type key struct {
		zone  string
		start time.Duration
	}
	seen := map[key]bool{{zoneName(s.Report.Clock.Location), s.Report.DayStarts}: true}
	for _, location := range []*time.Location{s.Report.Clock.Location, s.Log.Clock.Location, time.UTC} {
		for _, start := range []time.Duration{0, 6 * time.Hour, 7 * time.Hour, 8 * time.Hour, 9 * time.Hour} {
			k := key{zoneName(location), start}
			if seen[k] {
				continue
			}
			seen[k] = true
			c := total.NewCalendar(location, start, false, b.First)
			name := fmt.Sprintf("days from %s in %s", time.Time{}.Add(start).Format("15:04"), k.zone)
			list = append(list, dayRule{name, c, b.SeriesBy(c)})
		}
	}
	return list
}

// zoneName is the name of a zone; a fixed offset of zero is UTC.
func zoneName(location *time.Location) string {
	if name := location.String(); name != "+00:00" {
		return name
	}
	return "UTC"
}

// Add takes in the rows of a block.
func (r *Recorded) Add(b *block.Block) {
	for _, q := range b.Recorded.Flow[b.Low:b.High] {
		r.Peak = max(r.Peak, q)
	}
	series := []*total.Series{r.series}
	for i := range r.rules {
		series = append(series, r.rules[i].series)
	}
	integrate(b, b.Recorded, b.Shown, series...)
	if r.kept != r.series {
		integrate(b, b.Kept, b.Time, r.kept)
	}
}

// Day is the volume of day i, and that of a meter with the corrected settings.
func (r *Recorded) Day(i int) (shown, kept total.Volume) {
	return r.series.Volume(i), r.kept.Volume(i)
}

// RuleVolume is a day's or a month's volume of the recorded lane by another rule.
type RuleVolume struct {
	Rule   string
	Volume total.Volume
}

// Rules are the volumes by the other rules, by the name that a day's label gives to its period.
func (r *Recorded) Rules(name func(day string) string) map[string][]RuleVolume {
	out := map[string][]RuleVolume{}
	for _, o := range r.rules {
		periods := map[string]*total.Volume{}
		for i := range o.calendar.Days() {
			label := name(o.calendar.Label(i))
			if periods[label] == nil {
				periods[label] = &total.Volume{}
			}
			periods[label].Merge(o.series.Volume(i))
		}
		for label, v := range periods {
			out[label] = append(out[label], RuleVolume{o.name, *v})
		}
	}
	return out
}

// integrate adds the flows of a lane, whatever screening says of them, to series that run by a clock.
func integrate(b *block.Block, l *block.Lane, clock []int64, series ...*total.Series) {
	put := func(t0 int64, q0 float64, t1 int64, q1 float64) {
		for _, s := range series {
			s.Step(t0, q0, t1, q1)
		}
	}
	if b.Means { // each over its own interval
		for i := b.Low; i < b.High; i++ {
			put(b.Opens(i)+clock[i]-b.Time[i], l.Flow[i], clock[i], l.Flow[i])
		}
		return
	}
	for low := max(b.Low-1, 0); low < b.High; {
		end := unbroken(b, low, l.Segments[l.At(b.Time[low])].Until)
		for _, s := range series {
			s.Run(clock[low:end], l.Flow[low:end])
		}
		if end < b.High && b.Flags[end]&qa.Gap == 0 {
			off := clock[end-1] - b.Time[end-1]
			from, to := b.EndAt(end-1, l.Flow[end-1]), b.EndAt(end, l.Flow[end])
			b.Connect(l.Lane, from, to, settings.MeterRate, func(t0 int64, q0 float64, t1 int64, q1 float64) {
				put(t0+off, q0, t1+off, q1)
			})
		}
		low = end
	}
}

// unbroken returns the end of the rows from low on without a gap and before an instant.
func unbroken(b *block.Block, low int, until int64) int {
	end := low + 1
	for end < b.High && b.Flags[end]&qa.Gap == 0 && b.Time[end] < until {
		end++
	}
	return end
}

// greatest is the largest flow that the meter can have counted, m³/s; 0 when no maximum is set.
func greatest(recorded *settings.Lane) float64 {
	most := 0.0
	for i := range recorded.Segments {
		s := &recorded.Segments[i]
		top := math.Min(settings.RecordedTop(s), s.MaximumFlow)
		if math.IsInf(top, 1) {
			return 0
		}
		most = max(most, top)
	}
	return 1.5 * most // meters count in coarse steps of time
}
