// Package audit says which of log, settings, counter and reported totals disagree, and which setting explains it.
package audit

import (
	"fmt"
	"math"
	"slices"

	"retotal/ingest/quantity"
	"retotal/ingest/reading"
	"retotal/recompute"
	"retotal/recompute/total"
)

// Verdict is the outcome of one comparison.
type Verdict string

// The verdicts.
const (
	Agrees     Verdict = "agrees"
	Differs    Verdict = "differs"
	CannotTell Verdict = "cannot tell"
	Plausible  Verdict = "plausible" // of a correction
	Doubtful   Verdict = "doubtful"
)

// Finding is one comparison of two figures.
type Finding struct {
	Topic     string
	Verdict   Verdict
	Sentence  string
	Tolerance string
	By        string   // what differs, in a few words
	Doubts    []string // why something is doubtful
	Allowed   bool     // what differs is no more than the site file allows: nobody has to look
	Cause     *Cause   // what explains it best; nil where nothing does, or nothing is tried
	part      float64  // by which volumes differ
	// from and until are the time that a finding on the level is about; 0 for all of it.
	from, until int64
}

// Tolerances of the audit, common practice.
const (
	counterWithin = 0.005 // of the volume
)

// Findings compares what the result's figures say: the logged flow with each lane, the counter with the logged flow,
// and submitted totals with the recorded lane. used is what the meter used by its own log, as far as it was asked.
func Findings(r *recompute.Result, used []Explained) []Finding {
	var out []Finding
	out = append(out, loggedFlow(r, used))
	if r.Facts.Has[reading.Counter] {
		out = append(out, counter(r))
	}
	if r.Facts.Has[reading.IntervalVolume] {
		f, sentence := againstFlow(r, "interval volumes", reading.IntervalVolume,
			func(p *recompute.Period) total.Volume { return p.Passed })
		f.Sentence = sentence("the interval volumes add up to")
		f.allow(f.part, r.Site.Audit.Volumes)
		out = append(out, f)
	}
	out = append(out, slices.Concat(units(r), levels(r), odds(r), dates(r), reported(r))...)
	if f, asked := dailyUncertainty(r); asked {
		out = append(out, f)
	}
	return append(explained(r, out), corrections(r)...)
}

// allow notes that the site file allows what differs, a part of the volume, where it does.
func (f *Finding) allow(part, allowed float64) {
	if f.Verdict != Differs || math.Abs(part) > allowed*(1+1e-9) || allowed == 0 {
		return
	}
	f.Allowed = true
	f.Sentence += fmt.Sprintf(" The site file allows %s %%.", quantity.Digits(100*allowed, 3))
}

// counter compares the counter's own total with the flow.
func counter(r *recompute.Result) Finding {
	f, sentence := againstFlow(r, "counter", reading.Counter,
		func(p *recompute.Period) total.Volume { return p.Counted })
	f.Sentence = sentence("the counter advanced by")
	f.allow(f.part, r.Site.Audit.Volumes)
	if f.Verdict == Agrees && r.FlowCheck.Recorded.Readings > 0 && !reproduces(r.FlowCheck.Recorded) {
		f.Sentence += " It has what the log has, and not what the settings on file make of the level: what differs " +
			"was set in the meter, and is no scale behind it."
	}
	if r.Rollovers > 0 {
		f.Sentence += fmt.Sprintf(" The counter rolled over %s.", times(r.Rollovers))
	}
	if r.CounterChanges > 0 {
		f.Sentence += fmt.Sprintf(" It was changed %s, as the site file says.", times(r.CounterChanges))
	}
	if n := len(r.Falls); n > 0 {
		f.Sentence += fmt.Sprintf(" It fell without rolling over %s, the first time at %s UTC %s: a reset or a "+
			"replaced counter; what it counted in between is not known.",
			times(n), utc(r.Falls[0].At), r.Falls[0])
	}
	return f
}

// againstFlow compares volumes that the meter counted with its logged flow or, without one, with the recorded lane,
// over the days that both cover. The sentence is worded by the caller's verb.
func againstFlow(
	r *recompute.Result, topic string, q reading.Quantity, counted func(*recompute.Period) total.Volume,
) (f Finding, sentence func(verb string) string) {
	f = Finding{
		Topic:     topic + " and integrated flow", // counterTopic for the counter
		Tolerance: fmt.Sprintf("%.1f %% over the days that both cover", counterWithin*100),
	}
	if primary := r.Site.Log.Primary; r.FlowCheck.Recorded.Readings == 0 && primary == q {
		f.Verdict = CannotTell
		return f, func(string) string {
			return fmt.Sprintf("The flow is computed from the %s, so there is nothing to compare the %s with.",
				primary, topic)
		}
	}
	other := "logged flow"
	of := func(p *recompute.Period) total.Volume { return p.Logged }
	if r.FlowCheck.Recorded.Readings == 0 {
		other, of = "flow of the recorded settings", func(p *recompute.Period) total.Volume { return p.Before }
	}
	sum, integrated := 0.0, 0.0
	var pairs []dayPair
	for i := range r.Days {
		d := &r.Days[i]
		if c, o := counted(d), of(d); c.Covered == o.Covered && c.Covered > 0 {
			sum, integrated = sum+c.M3(), integrated+o.M3()
			pairs = append(pairs, dayPair{d.Label, o.M3(), c.M3()})
		}
	}
	days := len(pairs)
	if days == 0 || integrated == 0 {
		f.Verdict = CannotTell
		return f, func(string) string { return fmt.Sprintf("No day is covered by both the %s and the flow.", topic) }
	}
	difference := sum/integrated - 1
	f.part = difference
	if f.Verdict = Agrees; math.Abs(difference) > counterWithin {
		f.Verdict = Differs
	}
	unit, line := r.Site.Report.VolumeUnit, reconcile(pairs, 2*r.Facts.Resolution[reading.Counter])
	f.By = fmt.Sprintf("by %+.2f %%", 100*difference)
	if line.steady() {
		f.By += fmt.Sprintf(", day by day a factor of %.4f", line.slope)
	}
	return f, func(verb string) string {
		return fmt.Sprintf("Over %d days that both cover, %s %.1f %s and the integrated %s is %.1f %s: %+.3f %%.",
			days, verb, unit.FromSI(sum), unit.Symbol, other, unit.FromSI(integrated), unit.Symbol, 100*difference) +
			line.sentence(unit)
	}
}

func times(n int) string {
	if n == 1 {
		return "once"
	}
	return fmt.Sprintf("%d times", n)
}
