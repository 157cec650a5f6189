// Package qa decides, from the log and limits handed to it, which readings can be trusted, and says why not.
package qa

import (
	"fmt"
	"math"
	"strings"
	"time"

	"retotal/ingest/quantity"
	"retotal/ingest/site"
)

// Flags is a set of checks that a reading failed, one bit a check in the order of Checks.
type Flags uint16

// The flags, in the order in which they explain a reading: the first one set is the one that counts for its volume.
const (
	Conflict Flags = 1 << iota
	Unusable
	Loop
	Blanking
	Spike
	Stuck
	CutOff
	Capped
	BelowZero
	Surcharge
	Validity
	Drowned
	Gap
)

// Check is one test of the readings.
type Check struct {
	Flag     Flags
	Name     string // key in the site file
	Title    string // in reports
	Sentence string // what a flagged reading is
	Source   string
	Limit    func(Limits) string // the limit in words
	run      func(*Screener, *Window, int, int)
}

// Checks is every check, in the order of their flags.
var Checks = []Check{
	{Conflict, "conflict", "conflict", "stands twice in the log with different values", "common practice",
		func(Limits) string { return "same time, other values" }, (*Screener).conflicts},
	{Unusable, "unusable", "unusable", "says nothing of the flow: its span is marked unusable, its correction is too large, or its counter fell", "common practice",
		func(l Limits) string {
			if l.TooLarge > 0 {
				return fmt.Sprintf("marked, or corrected by more than %.3g mm", l.TooLarge*1000)
			}
			return "marked in the site file, or a counter that fell"
		}, (*Screener).unusable},
	{Loop, "loop", "loop current", "was taken at a loop current between measurement and failure", "NAMUR NE 43 (figures read second hand)",
		func(Limits) string { return "3.6 to 3.8 mA and 20.5 to 21 mA" }, (*Screener).loop},
	{Blanking, "blanking", "too near", "is nearer to the sensor than it can see", "common practice",
		func(Limits) string { return "distance < blanking distance of the settings" }, (*Screener).blanking},
	{Spike, "spike", "spike", "lies far off the median of the readings around it",
		"Hampel identifier with 1.4826 MAD (signal-processing documentation); floor at the log's resolution",
		func(l Limits) string {
			return fmt.Sprintf("more than %.3g x max(1.4826 MAD, %.3g mm) off the median of %s", l.SpikeThreshold, l.SpikeFloor*1000, quantity.FormatDuration(l.SpikeWindow))
		}, (*Screener).spikes},
	{Stuck, "stuck", "stuck", "repeats one value for too long while there is flow", "common practice",
		func(l Limits) string {
			return fmt.Sprintf("within %.3g mm for %s or longer", l.StuckTolerance*1000, quantity.FormatDuration(l.StuckDuration))
		}, nil}, // flagged by scanStuck, which decides how many rows are ready
	{CutOff, "cut_off", "cut off", "stands at zero or at the low end of what the meter shows, which hides what flowed", "settings of the meter",
		func(Limits) string { return "at zero, below the flow cut-off, or at the low end of the loop" }, (*Screener).stops},
	{Capped, "capped", "capped", "stands at the most that the meter shows", "settings of the meter",
		func(Limits) string { return "at the maximum flow of the settings, or at the high end of the loop" }, nil}, // flagged by stops
	{BelowZero, "below_zero", "below zero", "is below the level of zero flow", "common practice",
		func(l Limits) string {
			return fmt.Sprintf("head < -%.3g mm (half a step of the log)", l.Resolution*500)
		}, (*Screener).heads},
	{Surcharge, "surcharge", "surcharge", "is above the maximum head or the device's limit", "limits of the device's standard",
		func(Limits) string { return "head > the lower of maximum head and the device's limit" }, nil}, // flagged by heads
	{Validity, "validity", "low head", "is below the lowest head for which the rating is valid", "limits of the device's standard",
		func(Limits) string { return "0 < head < the device's lowest head" }, nil}, // flagged by heads
	{Drowned, "drowned", "drowned", "was taken while the water below the device stood above its modular limit", "limits and equations of the device's sources",
		func(Limits) string {
			return "downstream head > modular limit x head; flow by the drowned equation, or the free one where none holds"
		}, (*Screener).drowned},
	{Gap, "gap", "gap", "comes after a time without readings", "common practice",
		func(l Limits) string { return "longer than " + quantity.FormatDuration(l.GapLimit) }, (*Screener).gaps},
}

// Title names the first check of a set of flags, "" for none.
func (f Flags) Title() string {
	for _, c := range Checks {
		if f&c.Flag != 0 {
			return c.Title
		}
	}
	return ""
}

// Text names all checks of a set of flags, joined by blanks, as output files hold them.
func (f Flags) Text() string {
	if f == 0 {
		return ""
	}
	var names []string
	for _, c := range Checks {
		if f&c.Flag != 0 {
			names = append(names, c.Name)
		}
	}
	return strings.Join(names, " ")
}

// First returns the flag that counts for a reading's volume: the first one set.
func (f Flags) First() Flags { return f & -f }

// Limits are the limits of the checks that do not depend on the settings in force.
type Limits struct {
	Resolution     float64 // m, one step of the log
	GapLimit       time.Duration
	SpikeWindow    time.Duration // whole width
	SpikeThreshold float64
	SpikeFloor     float64 // m
	StuckDuration  time.Duration
	StuckTolerance float64 // m
	BridgeLimit    time.Duration
	TooLarge       float64 // m, largest correction of a head; 0 for no limit
	Step           float64 // one step of the logged figure, in its own SI unit
}

// NewLimits fills what the site file leaves open from the log's interval and resolution: a spike window of seven
// intervals, three deviations, a noise floor of 3 mm or two steps of the log, a value stuck for an hour or 20 intervals,
// bridges of at most four hours.
func NewLimits(s site.Screening, interval, gapLimit time.Duration, resolution float64) Limits {
	interval = max(interval, time.Second)
	l := Limits{Resolution: resolution, GapLimit: gapLimit, SpikeWindow: s.SpikeWindow, SpikeThreshold: s.SpikeThreshold,
		SpikeFloor: s.SpikeFloor, StuckDuration: s.StuckDuration, StuckTolerance: s.StuckTolerance, BridgeLimit: s.BridgeLimit, TooLarge: s.TooLarge, Step: resolution}
	if l.SpikeWindow == 0 {
		l.SpikeWindow = 7 * interval
	}
	if l.SpikeThreshold == 0 {
		l.SpikeThreshold = 3
	}
	if l.SpikeFloor == 0 {
		l.SpikeFloor = math.Max(0.003, 2*resolution)
	}
	if l.StuckDuration == 0 {
		l.StuckDuration = max(time.Hour, 20*interval)
	}
	if l.BridgeLimit == 0 {
		l.BridgeLimit = 4 * time.Hour
	}
	return l
}
