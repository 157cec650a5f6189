package alone

import (
	"math"
	"slices"
	"time"

	"retotal/recompute/audit/cause"
)

// Stamps are what the log's own instants show of its clock.
type Stamps struct {
	Clock   *time.Location // what the log's clock keeps by the site file
	Report  *time.Location // of the report
	Gaps    []Spell        // of an hour beyond the interval between two readings
	Doubles []Spell        // readings whose times stand twice
	Hours   []cause.Hour
}

// Spell is a time with readings or without.
type Spell struct {
	From, Until int64
	Readings    int
}

// Limits of a change of the clock, common practice: it happens at night, and an hour stands twice, not more.
const (
	nightUntil = 4 // h
	changeH    = 1.5
)

// Causes looks for an hour that is missing, or twice there, in the night in which clocks change.
func (s *Stamps) Causes() (list []cause.Cause) {
	at := func(spells []Spell, back bool) {
		for _, x := range spells {
			t := time.Unix(0, x.From).In(s.Clock)
			if _, before := t.Add(-12 * time.Hour).Zone(); before != zoneOf(t.Add(12*time.Hour)) {
				continue // the site file has it
			}
			forward, later := cause.ChangeDates(t.Year(), s.Report)
			if back {
				forward = later
			}
			date := time.Date(t.Year(), t.Month(), t.Day(), 0, 0, 0, 0, time.UTC)
			if t.Hour() >= nightUntil && t.Hour() < 23 || !slices.ContainsFunc(forward, func(d time.Time) bool {
				return d.Equal(date) || t.Hour() == 23 && d.Equal(date.AddDate(0, 0, 1))
			}) || back && float64(x.Until-x.From) > changeH*float64(cause.HourNs) {
				continue
			}
			c := cause.Named("summer time in the log")
			c.Value, c.Low, c.High, c.Unit = 1, 1, 1, "h"
			if back {
				c.Value, c.Low, c.High = -1, -1, -1
			}
			c.Since, c.Worth = x.From, s.hourAt(x.From)
			list = append(list, c)
		}
	}
	at(s.Gaps, false)
	at(s.Doubles, true)
	return list
}

func zoneOf(t time.Time) int {
	_, seconds := t.Zone()
	return seconds
}

// hourAt is the volume of an hour about an instant: what a day has too little or too much.
func (s *Stamps) hourAt(at int64) float64 {
	sum, n := 0.0, 0
	for _, h := range cause.Within(s.Hours, at-3*cause.HourNs, at+4*cause.HourNs) {
		if h.Flow >= 0 {
			sum, n = sum+h.Flow, n+1
		}
	}
	if n == 0 {
		return math.NaN()
	}
	return -sum / float64(n)
}
