package qa

import (
	"math"
	"time"
)

// Limits are the limits of the checks that do not depend on the settings in force, a field each: they are handed to all
// checks and put into words by each.
type Limits struct {
	Resolution     float64       // m, one step of the log
	GapLimit       time.Duration // longest step that is no gap; 0 where no step is one, as of a counter that counts on
	Means          bool          // the figures are means over intervals: nothing is a spike or stuck
	SpikeWindow    time.Duration // whole width
	SpikeThreshold float64       // 0: the record tells what is a spike
	SpikeFloor     float64       // m
	StuckDuration  time.Duration // 0: the record tells what is stuck
	StuckTolerance float64       // m
	FlatLimit      time.Duration // longest run of one value that is looked at as the flat top of a peak
	BridgeLimit    time.Duration
	TooLarge       float64 // m, largest correction of a head; 0 for no limit
	Step           float64 // one step of the logged figure, in its own SI unit
	BelowZero      float64 // m, how far below zero flow a head may be
	// Ranges of the logged figure, ∓Inf where none is set.
	SensorLeast, SensorMost float64
	UserLeast, UserMost     float64
	RateUp, RateDown        float64 // m in RatePer; 0: half the highest valid head
	// by the record, where there is no highest head; 0 where it does not tell
	ToldUp, ToldDown float64
	RatePer          time.Duration
	StepLimit        float64 // m; 0: the record tells what is a step
	StepWindow       time.Duration
	FlatRange        float64 // m
	FlatWindow       time.Duration
	Rests            bool    // the record often hardly moves for so long: nothing is attenuated
	NoiseLimit       float64 // m
	SecondLimit      float64 // m
}

// gap is the longest step that is no gap, ns.
func (l *Limits) gap() int64 {
	if l.GapLimit == 0 {
		return math.MaxInt64
	}
	return l.GapLimit.Nanoseconds()
}

// half is half the spike window, ns.
func (l *Limits) half() int64 { return l.SpikeWindow.Nanoseconds() / 2 }

// Timed are the limits of the readings after an instant.
type Timed struct {
	From   int64
	Limits Limits
}

// Stated is what is said of the limits, in the units of Limits; what is zero is left open.
type Stated struct {
	TooLarge       float64
	SpikeWindow    time.Duration
	SpikeThreshold float64
	SpikeFloor     float64
	StuckDuration  time.Duration
	StuckTolerance float64
	BridgeLimit    time.Duration
	BelowZero      float64
	Sensor, User   Range
	RateUp         float64
	RateDown       float64
	RatePer        time.Duration
	StepLimit      float64
	StepWindow     time.Duration
	FlatRange      float64
	FlatWindow     time.Duration
	NoiseLimit     float64
	SecondLimit    float64
}

// Range is a range of the logged figure, SI, limits inclusive.
type Range struct{ Least, Most float64 }

// NewLimits fills what is left open from the log's interval and resolution: a spike window of seven intervals, a noise
// floor of 3 mm or two steps of the log, bridges of at most four hours; half a step below zero; half the highest head
// as the most that water rises in one interval; a step window of six hours or 24 intervals; a signal that moves by one
// step in a day; changes of five noise floors from reading to reading; 20 mm between two sensors.
func NewLimits(s Stated, interval, gapLimit time.Duration, resolution float64) Limits {
	interval = max(interval, time.Second)
	l := Limits{
		Resolution:     resolution,
		GapLimit:       gapLimit,
		Step:           resolution,
		TooLarge:       s.TooLarge,
		SpikeWindow:    or(s.SpikeWindow, 7*interval),
		SpikeThreshold: s.SpikeThreshold,
		SpikeFloor:     or(s.SpikeFloor, math.Max(0.003, 2*resolution)),
		StuckDuration:  s.StuckDuration,
		StuckTolerance: s.StuckTolerance,
		FlatLimit:      max(time.Hour, 20*interval),
		BridgeLimit:    or(s.BridgeLimit, 4*time.Hour),
		BelowZero:      or(s.BelowZero, math.Max(resolution/2, 1e-9)),
		SensorLeast:    math.Inf(-1),
		SensorMost:     math.Inf(1),
		UserLeast:      math.Inf(-1),
		UserMost:       math.Inf(1),
		RateUp:         s.RateUp,
		RateDown:       s.RateDown,
		RatePer:        or(s.RatePer, interval),
		StepLimit:      s.StepLimit,
		StepWindow:     or(s.StepWindow, max(6*time.Hour, 24*interval)),
		FlatRange:      or(s.FlatRange, math.Max(resolution, 0.001)),
		FlatWindow:     or(s.FlatWindow, 24*time.Hour),
		SecondLimit:    or(s.SecondLimit, 0.02),
	}
	if r := s.Sensor; r != (Range{}) {
		l.SensorLeast, l.SensorMost = r.Least, r.Most
	}
	if r := s.User; r != (Range{}) {
		l.UserLeast, l.UserMost = r.Least, r.Most
	}
	l.NoiseLimit = or(s.NoiseLimit, 5*l.SpikeFloor)
	return l
}

// or returns v, or what stands for it when it is zero.
func or[T comparable](v, otherwise T) T {
	var zero T
	if v == zero {
		return otherwise
	}
	return v
}
