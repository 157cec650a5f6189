package picture

import (
	"slices"
	"time"

	"retotal/report"
)

// Options are how a picture is wanted.
type Options struct {
	// Width and Height are in units of 1/96 inch, with the key; 0 is the picture's own.
	Width, Height float64
	From, Until   int64 // instants between which it is drawn; both 0 for all that is reported
	Lanes         []string
}

// The lanes that a picture may show.
const (
	LaneAfter   = "after"   // corrected and screened
	LaneBefore  = "before"  // by the recorded settings
	LaneLogged  = "logged"  // volume of the logged flow
	LaneCounter = "counter" // volume by the counter of the meter
)

// Lanes are all of them.
func Lanes() []string { return []string{LaneAfter, LaneBefore, LaneLogged, LaneCounter} }

// shows reports whether a lane is wanted, or none is named.
func (o *Options) shows(lane string) bool { return len(o.Lanes) == 0 || slices.Contains(o.Lanes, lane) }

// asks reports whether a lane is named.
func (o *Options) asks(lane string) bool { return slices.Contains(o.Lanes, lane) }

// size fills in what is not wanted otherwise.
func (o Options) size(width, height float64) Options {
	if o.Width == 0 {
		o.Width = width
	}
	if o.Height == 0 {
		o.Height = height
	}
	return o
}

// span is from when until when a picture is drawn.
func (o *Options) span(run *report.Run) (from, until int64) {
	if o.From == 0 && o.Until == 0 {
		return run.Result.Total.From, max(run.Result.Total.Until, run.Result.Total.From+1)
	}
	return o.From, max(o.Until, o.From+1)
}

// dates says from when until when, in the report's zone: "1 Jul 2031 to 30 Sep 2031".
func dates(run *report.Run, from, until int64) string {
	location := run.Site().Report.Clock.Location
	first, last := time.Unix(0, from).In(location), time.Unix(0, until-1).In(location)
	if first.Format("2 Jan 2006") == last.Format("2 Jan 2006") {
		return first.Format("2 January 2006")
	}
	return first.Format("2 January 2006") + " to " + last.Format("2 January 2006")
}
