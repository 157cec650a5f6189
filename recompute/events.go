package recompute

import (
	"math"
	"math/bits"

	"retotal/ingest/reading"
	"retotal/ingest/site"
	"retotal/qa"
)

// Event is a span of consecutive readings with one flag.
type Event struct {
	Flag        qa.Flags
	Check       string      // name of the check
	Action      site.Action // what becomes of its readings
	From, Until int64       // first and last reading; for a gap, the readings on both sides
	Rows        int
	File, Line  int32 // of the first reading
	Lowest      float64
	Highest     float64 // heads under the corrected settings, m
	Effect      float64 // m³ that the action added to the corrected total; readings with several flags count for the first
	Spans       int     // 1; more when spans were joined because there were too many
}

// FlagSummary is all events of one check.
type FlagSummary struct {
	Flag   qa.Flags
	Check  string
	Title  string
	Limit  string
	Source string
	NotRun string // why the check was not run
	Action site.Action
	Grade  qa.Grade // of a reading that fails the check: 3 suspect, 4 fail, 9 missing
	Passed int      // readings of grade 1; those not evaluated are all, when the check was not run
	Rows   int
	Spans  int
	Effect float64
}

// mostEvents is how many events of one check are kept apart; those beyond are joined to the last.
const mostEvents = 20000

// events follows the spans of every flag.
type events struct {
	list   []*Event
	open   [32]*Event // by flag
	count  [32]int
	latest [32]*Event
	recent *Event // of the last accepted reading, when it was changed
	any    qa.Flags
}

// index numbers a single flag from 0; the empty set has number 31, which is never open.
func index(f qa.Flags) int {
	if f == 0 {
		return 31
	}
	return bits.TrailingZeros32(uint32(f))
}

// extend takes in rows low to high−1: their flags begin, carry on or end events.
func (v *events) extend(e *Engine, low, high int) {
	for i := low; i < high; i++ {
		flags := e.Flags[i]
		if flags|v.any == 0 {
			continue
		}
		for rest := flags | v.any; rest != 0; rest &^= rest.First() {
			f := rest.First()
			if flags&f == 0 || f == qa.Gap {
				v.open[index(f)] = nil
				v.any &^= f
			}
			if flags&f != 0 {
				v.carry(e, f, i)
			}
		}
	}
}

// carry adds row i to the open event of a flag, or begins one.
func (v *events) carry(e *Engine, f qa.Flags, i int) {
	k := index(f)
	event := v.open[k]
	if event == nil {
		event = v.begin(e, f, i)
	}
	event.Rows++
	event.Until = e.Time[i]
	event.Lowest, event.Highest = math.Min(event.Lowest, e.Head[i]), math.Max(event.Highest, e.Head[i])
}

func (v *events) begin(e *Engine, f qa.Flags, i int) *Event {
	k := index(f)
	v.any |= f
	if v.count[k]++; v.count[k] > mostEvents {
		v.open[k] = v.latest[k]
		v.latest[k].Spans++
		return v.latest[k]
	}
	event := &Event{Flag: f, Check: qa.Checks[k].Name, Action: e.after.actions[f], From: e.Time[i], Until: e.Time[i], File: e.file[i], Line: e.line[i],
		Lowest: math.Inf(1), Highest: math.Inf(-1), Spans: 1}
	if f == qa.Gap {
		event.From = e.Time[i-1]
	}
	v.list = append(v.list, event)
	v.open[k], v.latest[k] = event, event
	return event
}

// summary adds the events up by check.
func (v *events) summary(e *Engine) []FlagSummary {
	out := make([]FlagSummary, len(qa.Checks))
	for k, c := range qa.Checks {
		out[k] = FlagSummary{Flag: c.Flag, Check: c.Name, Title: c.Title, Limit: c.Limit(e.screener.Limits), Source: c.Source, Grade: c.Grade, Action: e.after.actions[c.Flag]}
	}
	out[index(qa.Drowned)].NotRun = e.withoutDownstream()
	out[index(qa.Blanking)].NotRun = e.withoutBlanking()
	out[index(qa.CutOff)].NotRun, out[index(qa.Capped)].NotRun = e.withoutEnds()
	l := &e.screener.Limits
	if math.IsInf(l.SensorLeast, -1) && math.IsInf(l.SensorMost, 1) {
		out[index(qa.SensorRange)].NotRun = "no sensor range is set"
	}
	if math.IsInf(l.UserLeast, -1) && math.IsInf(l.UserMost, 1) {
		out[index(qa.UserRange)].NotRun = "no user range is set"
	}
	if !e.log.Has[reading.SecondLevel] {
		out[index(qa.SecondSensor)].NotRun = "the log has no second level"
	}
	if e.withoutTop() && l.RateUp == 0 && l.RateDown == 0 {
		out[index(qa.Rate)].NotRun = "no rate is set and the device has no highest head"
	}
	if e.ofIntervals() {
		out[index(qa.Spike)].NotRun, out[index(qa.Stuck)].NotRun = "the log holds means over intervals", "the log holds means over intervals"
	}
	if e.Unusable == nil && e.screener.Limits.TooLarge == 0 {
		out[index(qa.Unusable)].NotRun = "no span is marked unusable and no largest correction is set"
	}
	if !e.site.Log.Columns[e.site.Log.Primary].Loop {
		out[index(qa.Loop)].NotRun = "the log holds no loop current"
	}
	for _, event := range v.list {
		s := &out[index(event.Flag)]
		s.Rows, s.Spans, s.Effect = s.Rows+event.Rows, s.Spans+event.Spans, s.Effect+event.Effect
	}
	for k := range out {
		if out[k].NotRun == "" {
			out[k].Passed = e.taken - out[k].Rows
		}
	}
	return out
}

// withoutDownstream says why drowned flow was not looked for; "" when it was.
func (e *Engine) withoutDownstream() string {
	if !e.log.Has[reading.Downstream] {
		return "the log has no downstream level"
	}
	for i := range e.corrected.Segments {
		if e.corrected.Segments[i].Modular() > 0 {
			return ""
		}
	}
	return "nothing is known of drowned flow at the device"
}

// withoutEnds says why readings at the ends of what the meter shows were not looked for; "" when they were.
func (e *Engine) withoutEnds() (low, high string) {
	low, high = "nothing hides little flow: no cut-off, no zero that is moved, no loop", "nothing hides much flow: no maximum flow, no loop"
	for i := range e.corrected.Segments {
		ends := &e.corrected.Segments[i].Ends
		least, most := !math.IsInf(ends.Least, -1), !math.IsInf(ends.Most, 1)
		if ends.Falling {
			least, most = most, least
		}
		if least {
			low = ""
		}
		if most {
			high = ""
		}
	}
	return low, high
}

// withoutTop reports whether no segment has a highest head.
func (e *Engine) withoutTop() bool {
	for i := range e.corrected.Segments {
		if !math.IsInf(e.corrected.Segments[i].Usual, 1) {
			return false
		}
	}
	return true
}

// withoutBlanking says why readings too near were not looked for; "" when they were.
func (e *Engine) withoutBlanking() string {
	for i := range e.corrected.Segments {
		if e.corrected.Segments[i].Blanking > 0 {
			return ""
		}
	}
	return "no blanking distance is set, or the log holds no distance"
}
