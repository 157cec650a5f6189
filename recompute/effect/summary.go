package effect

import (
	"cmp"
	"math"
	"slices"
	"strings"

	"retotal/ingest/reading"
	"retotal/ingest/site"
	"retotal/qa"
	"retotal/recompute/block"
	"retotal/recompute/settings"
)

// Summary is all events of one check.
type Summary struct {
	Flag   qa.Flags
	Check  string
	Limit  string
	Source string
	NotRun string // why the check was not run
	Action site.Action
	Stated string   // the key of the site file that set the action; "" for its default
	Grade  qa.Grade // of a reading that fails the check: 3 suspect, 4 fail, 9 missing
	Passed int      // readings of grade 1; those not evaluated are all, when the check was not run
	Rows   int
	Spans  int
	Effect float64
	Left   Change // see Event; those of its events add up to it, where no dropped readings alone stand between two
}

// Summary adds the events of a log of so many readings up by check.
func (v *Events) Summary(b *block.Block, readings int) []Summary {
	out, not := make([]Summary, len(qa.Checks)), notRun(b)
	for k, c := range qa.Checks {
		out[k] = Summary{
			Flag: c.Flag, Check: c.Name, Limit: limitText(b, &c), Source: c.Source,
			Grade: c.Grade, Action: b.Actions[c.Flag], Stated: b.Site.Screening.Stated[c.Name], NotRun: not[c.Flag],
			Left: v.kept.left[k],
		}
	}
	for _, event := range v.List {
		s := &out[index(event.Flag)]
		s.Rows, s.Spans, s.Effect = s.Rows+event.Rows, s.Spans+event.Spans, s.Effect+event.Effect
	}
	for k := range out {
		if out[k].NotRun == "" {
			out[k].Passed = readings - out[k].Rows
		}
	}
	return out
}

// Ranked lists the events of kept readings that leaving them out would change the total for, those worth a look first
// at the beginning: the largest change, and before any whose flag doubts the device those that doubt the reading.
func Ranked(events []*Event) (list []*Event) {
	for _, e := range events {
		if e.Left != (Change{}) {
			list = append(list, e)
		}
	}
	slices.SortStableFunc(list, func(a, b *Event) int {
		return cmp.Or(cmp.Compare(min(a.Flag&OfRating, 1), min(b.Flag&OfRating, 1)),
			cmp.Compare(math.Abs(b.Left.Volume), math.Abs(a.Left.Volume)))
	})
	return list
}

// limitText puts the limit of a check into words, those of the log's parts one after the other where they differ.
func limitText(b *block.Block, c *qa.Check) string {
	if b.Limited == nil {
		return c.Limit(b.Limits)
	}
	var texts []string
	for _, l := range b.Limited {
		if text := c.Limit(l.Limits); !slices.Contains(texts, text) {
			texts = append(texts, text)
		}
	}
	return strings.Join(texts, "; then ")
}

// notRun says why checks were not run.
func notRun(b *block.Block) map[qa.Flags]string {
	l, out := &b.Limits, map[qa.Flags]string{}
	set := func(f qa.Flags, is bool, why string) {
		if is {
			out[f] = why
		}
	}
	nowhere := func(has func(*settings.Segment) bool) bool {
		return !slices.ContainsFunc(b.Corrected.Segments, func(s settings.Segment) bool { return has(&s) })
	}
	set(qa.Drowned, nowhere(func(s *settings.Segment) bool { return s.Modular() > 0 }),
		"nothing is known of drowned flow at the device")
	set(qa.Drowned, !b.Log.Has[reading.Downstream], "the log has no downstream level")
	set(qa.Blanking, nowhere(func(s *settings.Segment) bool { return s.Blanking > 0 }),
		"no blanking distance is set, or the log holds no distance")
	set(qa.CutOff, nowhere(func(s *settings.Segment) bool { low, _ := stops(s); return low }),
		"nothing hides little flow: no cut-off, no zero that is moved, no loop")
	set(qa.Capped, nowhere(func(s *settings.Segment) bool { _, high := stops(s); return high }),
		"nothing hides much flow: no maximum flow, no loop")
	set(qa.SensorRange, math.IsInf(l.SensorLeast, -1) && math.IsInf(l.SensorMost, 1), "no sensor range is set")
	set(qa.UserRange, math.IsInf(l.UserLeast, -1) && math.IsInf(l.UserMost, 1), "no user range is set")
	set(qa.SecondSensor, !b.Log.Has[reading.SecondLevel], "the log has no second level")
	topless := nowhere(func(s *settings.Segment) bool { return !math.IsInf(s.Usual, 1) })
	set(qa.Rate, topless && max(l.RateUp, l.RateDown, l.ToldUp, l.ToldDown) == 0,
		"no rate is set, the device has no highest head, and the record does not tell")
	set(qa.Spike, b.Means, "the log holds means over intervals")
	set(qa.Stuck, b.Means, "the log holds means over intervals")
	for _, f := range []qa.Flags{qa.OddPeak, qa.Still} {
		set(f, b.Limits.SpikeThreshold > 0 && f == qa.OddPeak || b.Limits.StuckDuration > 0 && f == qa.Still,
			"limits of its own are stated")
		set(f, b.Means, "the log holds means over intervals")
	}
	set(qa.Attenuated, l.Rests, "the record often hardly moves for as long")
	set(qa.Unusable, b.Unusable == nil && l.TooLarge == 0,
		"no span is marked unusable and no largest correction is set")
	set(qa.Loop, !b.Site.Log.Columns[b.Site.Log.Primary].Loop, "the log holds no loop current")
	return out
}

// stops reports whether the meter stops at little flow, and at much.
func stops(s *settings.Segment) (low, high bool) {
	low, high = !math.IsInf(s.Ends.Least, -1), !math.IsInf(s.Ends.Most, 1)
	if s.Ends.Falling {
		return high, low
	}
	return low, high
}
