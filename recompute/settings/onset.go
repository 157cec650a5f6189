package settings

import (
	"slices"
	"time"

	"retotal/ingest/problem"
	"retotal/ingest/site"
	"retotal/recompute/total"
)

// Step is a step that an earlier run found in a log.
type Step struct {
	At   int64
	What string // "a step of +20 mm in the night minimum of the head"
}

// onset is a time from which an error may defensibly be said to have lasted.
type onset struct {
	rule string
	from *site.Instant
}

// onsets lists the other defensible onsets of a correction whose own is not sure: the last good check, half the time
// since then (R-10 and R-12 of the trade's record-computation practice: assumptions side by side), no further back than
// the cap, changes of settings in between, and steps found in the log.
func onsets(s *site.Site, c *site.Correction, found []Step) (list []onset) {
	if c.Onset == nil || c.Onset.LastGood == nil || c.Until == nil || c.From == nil {
		return nil
	}
	for _, o := range candidates(s, c, found) {
		same := func(other onset) bool { return other.from.UTC == o.from.UTC }
		if at := o.from.UTC; at != c.From.UTC && at < c.Until.UTC && !slices.ContainsFunc(list, same) {
			o.from.Text = s.Log.Clock.Format(at)
			o.rule, o.from.Place = o.rule+", "+o.from.Text, c.Onset.Place
			list = append(list, o)
		}
	}
	return list
}

// candidates are the onsets that rules give, wherever they lie.
func candidates(s *site.Site, c *site.Correction, found []Step) (list []onset) {
	add := func(rule string, at int64) { list = append(list, onset{rule, &site.Instant{UTC: at}}) }
	good := c.Onset.LastGood.UTC
	half := good + (c.Until.UTC-good)/2
	if limit := c.Onset.Cap.Nanoseconds(); limit > 0 {
		half = max(half, c.Until.UTC-limit)
	}
	add("at the last good check", good)
	add("half-way since the last good check", half)
	for _, change := range s.Settings {
		if change.At != nil && change.At.UTC > good {
			add("at the change of settings", change.At.UTC)
		}
	}
	for _, step := range found {
		if step.At > good {
			add("at "+step.What, step.At)
		}
	}
	return list
}

// OnsetOpen reports whether a site has a correction whose onset is not sure, so that steps found in the data are of use
// (see NewLanes).
func OnsetOpen(s *site.Site) bool {
	return slices.ContainsFunc(s.Corrections, func(c site.Correction) bool { return c.Onset != nil })
}

// OnBounds warns of corrections that begin exactly where a reporting month begins: an onset is better placed at an
// event than at a bound of the report (R-10: training slides on record computations citing Kennedy 1983).
func OnBounds(s *site.Site) (warnings problem.List) {
	for _, c := range s.Corrections {
		if c.From == nil {
			continue
		}
		t := time.Unix(0, c.From.UTC).In(s.Report.Clock.Location)
		first := time.Date(t.Year(), t.Month(), 1, 0, 0, 0, 0, time.UTC)
		month := total.Civil(t.Location(), first.Add(s.Report.DayStarts))
		if month == c.From.UTC && c.Onset != nil {
			warnings.Add(problem.Warn(c.From.Place,
				"the correction begins exactly at the bound of a reporting month, and its onset is not sure",
				"an event in the record", "say in reason why it begins there"))
		}
	}
	return warnings
}
