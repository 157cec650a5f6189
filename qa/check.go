// Package qa decides, from the log and limits handed to it, which readings can be trusted, and says why not.
package qa

import (
	"fmt"
	"math"
	"strings"

	"retotal/ingest/quantity"
)

// Flags is a set of checks that a reading failed, one bit a check in the order of Checks.
type Flags uint32

// The flags, in the order in which they explain a reading: the first one set is the one that counts for its volume.
const (
	Conflict Flags = 1 << iota
	Unusable
	Dead
	SensorRange
	Loop
	Blanking
	Spike
	Stuck
	OddPeak
	Still
	CutOff
	Capped
	BelowZero
	Surcharge
	Validity
	Drowned
	SecondSensor
	Rate
	Step
	Attenuated
	Noise
	Clipped
	Zeros
	UserRange
	Gap
)

// Grade is a result on the five-value scheme of open ocean-observing practice (QARTOD manual for water level, table
// 3-1).
type Grade int

// The grades. A reading is rolled up to the worst of its checks: 9, then 4, 3, 1; it is 2 only when no check could be
// run on it. A pass of one check never outranks a doubt of another.
const (
	Pass         Grade = 1
	NotEvaluated Grade = 2
	Suspect      Grade = 3
	Fail         Grade = 4
	Missing      Grade = 9
)

// Grade rolls the flags of a reading up.
func (f Flags) Grade() Grade {
	worst := Pass
	for _, c := range Checks {
		if f&c.Flag&^Gap != 0 {
			worst = max(worst, c.Grade)
		}
	}
	return worst
}

var digits = quantity.Digits

// Check is one test of the readings.
type Check struct {
	Flag     Flags
	Grade    Grade  // what failing it means: Suspect or Fail
	Name     string // the one name of its flag: key in the site file, and in everything that is written
	Sentence string // what a flagged reading is
	Source   string
	Limit    func(Limits) string // the limit in words
	run      func(*Screener, *Window, int, int)
}

// Checks is every check, in the order of their flags.
var Checks = []Check{
	{Conflict, Fail, "conflict", "stands twice in the log with different values", "common practice",
		func(Limits) string { return "same time, other values" }, (*Screener).conflicts},
	{
		Unusable, Fail, "unusable",
		"says nothing of the flow: its span is marked unusable, its correction is too large, or its counter fell",
		"common practice",
		func(l Limits) string {
			if l.TooLarge > 0 {
				return fmt.Sprintf("marked, or corrected by more than %s mm", digits(l.TooLarge*1000, 3))
			}
			return "marked in the site file, or a counter that fell"
		}, (*Screener).unusable,
	},
	{
		Dead, Fail, "dead",
		"stands at an end of what the meter shows, reached or left by a jump that the water of this record " +
			"does not make",
		"common practice",
		func(Limits) string {
			return "at an end; a jump of over 3 times the largest change elsewhere, 20 mm and 10 steps"
		}, nil,
	}, // marked by verdicts
	{
		SensorRange, Fail, "sensor_range", "is a figure that the sensor cannot give",
		"QARTOD manual for water level, gross range test (limits inclusive)",
		func(l Limits) string { return rangeText(l.SensorLeast, l.SensorMost) }, (*Screener).sensorRange,
	},
	{
		Loop, Suspect, "loop_current", "was taken at a loop current between measurement and failure",
		"NAMUR NE 43 (figures read second hand)",
		func(Limits) string { return "3.6 to 3.8 mA and 20.5 to 21 mA" }, (*Screener).loop,
	},
	{Blanking, Fail, "blanking", "is nearer to the sensor than it can see", "common practice",
		func(Limits) string { return "distance within half a step of the blanking distance, or below it" },
		(*Screener).blanking},
	{
		Spike, Fail, "spike", "leaves the level of the readings around it and returns to it, as this water does not",
		"common practice; with a threshold stated, the Hampel identifier with 1.4826 MAD (signal-processing " +
			"documentation)",
		func(l Limits) string {
			if l.SpikeThreshold == 0 {
				return "over 8 times the noise, which the record tells, and no sound explanation left"
			}
			return fmt.Sprintf("more than %s x max(1.4826 MAD, %s mm) off the median of %s",
				digits(l.SpikeThreshold, 3), digits(l.SpikeFloor*1000, 3), quantity.FormatDuration(l.SpikeWindow))
		}, (*Screener).spikes,
	},
	{
		Stuck, Fail, "stuck",
		"repeats one value for longer than this water stands, and ends in a jump or while another quantity moves",
		"common practice",
		func(l Limits) string {
			if l.StuckDuration == 0 {
				return "twice as long as it stands at that level, with a jump at the end or another logged quantity " +
					"that moves, which the record tells"
			}
			return fmt.Sprintf("within %s mm for %s or longer",
				digits(l.StuckTolerance*1000, 3), quantity.FormatDuration(l.StuckDuration))
		}, nil,
	}, // flagged ahead of the others, with spikes
	{
		OddPeak, Suspect, "odd_peak", "may be a spike: it leaves the level of the readings around it and returns to it",
		"common practice", func(Limits) string { return "over 4 times the noise, which the record tells" }, nil,
	}, // flagged with spikes
	{
		Still, Suspect, "still",
		"may be stuck: it repeats one value for longer than this water usually stands, or while another quantity moves",
		"common practice",
		func(Limits) string { return "twice as long as it stands at that level, which the record tells" }, nil,
	}, // flagged with spikes
	{
		CutOff, Suspect, "cut_off",
		"stands at zero or at the low end of what the meter shows, which hides what flowed", "settings of the meter",
		func(Limits) string { return "at zero, below the flow cut-off, or at the low end of the loop" },
		(*Screener).stops,
	},
	{Capped, Suspect, "capped", "stands at the most that the meter shows", "settings of the meter",
		func(Limits) string { return "at the maximum flow of the settings, or at the high end of the loop" },
		nil, // flagged by stops
	},
	{BelowZero, Suspect, "below_zero", "is below the level of zero flow", "common practice",
		func(l Limits) string {
			if l.BelowZero <= 1e-9 {
				return "head < 0"
			}
			return fmt.Sprintf("head < -%s mm%s", digits(l.BelowZero*1000, 3), halfStep(l.BelowZero == l.Resolution/2))
		}, (*Screener).heads},
	{
		Surcharge, Suspect, "surcharge",
		"is above the channel's depth or the end of the rating: a table's last head, a pipe's crown",
		"settings, end of the rating",
		func(Limits) string { return "head > the lower of channel depth and the end of the rating" },
		nil, // flagged by heads
	},
	{
		Validity, Suspect, "validity",
		"lies outside the heads for which the rating is valid, where its coefficient is less well known",
		"limits of the device's standard",
		func(Limits) string { return "0 < head < the device's lowest head, or head > its highest" },
		nil, // flagged by heads
	},
	{
		Drowned, Suspect, "drowned",
		"was taken while the water below the device stood above its modular limit",
		"limits and equations of the device's sources",
		func(Limits) string {
			return "downstream head > modular limit x head; flow by the drowned equation; where none holds, between " +
				"0 and the last drowned or the free flow"
		}, (*Screener).drowned,
	},
	{
		SecondSensor, Suspect, "second_sensor", "differs from the second sensor",
		"QARTOD manual for water level, neighbour test; limit of our own",
		func(l Limits) string {
			return fmt.Sprintf("more than %s mm apart", digits(l.SecondLimit*1000, 3))
		},
		(*Screener).secondSensor,
	},
	{
		Rate, Suspect, "rate_of_change",
		"differs from the reading before it by more than water rises or falls",
		"QARTOD manual for water level, rate of change test; limits of our own",
		func(l Limits) string {
			return fmt.Sprintf("%s up, %s down in %s",
				orHalf(l.RateUp, l.ToldUp), orHalf(l.RateDown, l.ToldDown), quantity.FormatDuration(l.RatePer))
		}, (*Screener).rates,
	},
	{
		Step, Suspect, "step",
		"begins a level that stays elsewhere: a sensor that moved or a setting that changed", "common practice",
		func(l Limits) string {
			if l.StepLimit == 0 {
				return "over 6 times what the level does within a day, and it stays, which the record tells"
			}
			return fmt.Sprintf("a jump of more than %s mm between levels that stand still for %s",
				digits(l.StepLimit*1000, 3), quantity.FormatDuration(l.StepWindow))
		}, (*Screener).steps,
	},
	{
		Attenuated, Suspect, "attenuated", "ends a time in which the signal hardly moved, with flow",
		"QARTOD manual for water level, attenuated signal test; limits of our own",
		func(l Limits) string {
			return fmt.Sprintf("within %s mm for %s", digits(l.FlatRange*1000, 3),
				quantity.FormatDuration(l.FlatWindow))
		}, (*Screener).attenuated,
	},
	{Noise, Suspect, "noise", "ends a stretch in which readings jump up and down", "common practice",
		func(l Limits) string {
			return fmt.Sprintf("half of the last %d changes > %s mm, turning back", noiseReadings,
				digits(l.NoiseLimit*1000, 3))
		}, (*Screener).noise},
	{
		Clipped, Suspect, "flat_peak", "is part of a peak with a flat top, which something cut off",
		"QARTOD manual for water level 3.3.2; limits of our own",
		func(l Limits) string {
			return "4 equal readings or more after a rise of over 5 steps or 5 mm at once, and a fall after them"
		},
		nil, // flagged by scanStuck
	},
	{
		Zeros, Suspect, "abrupt_zeros", "is a zero between heads that end abruptly: a cut-off at low flow",
		"common practice",
		func(Limits) string { return "3 zeros or more between heads over 10 steps or 10 mm" },
		nil, // flagged by scanStuck
	},
	{
		UserRange, Suspect, "user_range", "is outside what its user expects",
		"QARTOD manual for water level, gross range test (limits inclusive)",
		func(l Limits) string { return rangeText(l.UserLeast, l.UserMost) },
		nil, // flagged by sensorRange
	},
	{Gap, Missing, "gap", "comes after a time without readings", "common practice",
		func(l Limits) string {
			if l.GapLimit == 0 {
				return "none: a counter counts on while nothing is logged"
			}
			return "longer than " + quantity.FormatDuration(l.GapLimit)
		}, (*Screener).gaps},
}

func halfStep(is bool) string {
	if is {
		return " (half a step of the log)"
	}
	return ""
}

func orHalf(limit, told float64) string {
	mm := func(v float64) string { return digits(v*1000, 3) + " mm" }
	switch {
	case limit > 0:
		return mm(limit)
	case told > 0:
		return fmt.Sprintf("half the highest valid head, or %s where there is none,", mm(told))
	}
	return "half the highest valid head"
}

func rangeText(least, most float64) string {
	switch {
	case math.IsInf(least, -1) && math.IsInf(most, 1):
		return "none set"
	case math.IsInf(least, -1):
		return fmt.Sprintf("above %s m", digits(most, 4))
	case math.IsInf(most, 1):
		return fmt.Sprintf("below %s m", digits(least, 4))
	}
	return fmt.Sprintf("outside %s to %s m", digits(least, 4), digits(most, 4))
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
