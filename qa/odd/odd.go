// Package odd tells from a record of levels what no single reading of it shows: a sensor that drops out to one extreme
// or fades to it, an echo from two surfaces, water that is ponded, and noise that biases the mean flow.
//
// All is measured against the record itself: its noise, how it turns back, how long it stands. It changes no reading.
// It takes one pass; what it keeps are some figures a day and lists with a cap. Its rules and their constants are
// common practice or were found on generated records (testdata/records), on which TestOdd holds what it promises.
package odd

import (
	"cmp"
	"math"
	"slices"
	"time"
)

// Reading is one reading of a record.
type Reading struct {
	At    int64   // ns since 1970
	Level float64 // m, as measured, whatever its datum; it rises when the water does
	Head  float64 // m
	Flow  float64 // m³/s
	// Bound says that it stands at an end of what the meter shows: what it hides is known between bounds, so that it
	// tells of no pond, no noise and no fade. A sensor may still drop out to such an end.
	Bound bool
	Spike bool // it is known to be a spike, which is no noise
}

// Span is a time in which something was odd.
type Span struct {
	From, Until int64 // of its first and its last reading
	Readings    int   // that were
	Hours       float64
	Volume      float64 // m³ that the span has as logged
}

// Result is what was found.
type Result struct {
	DropOuts []DropOuts
	Fades    []Fade
	Ponds    []Pond
	Echoes   []Echo
	Noise    *Noise // nil for none
}

// Any reports whether anything was found.
func (r *Result) Any() bool {
	return len(r.DropOuts)+len(r.Fades)+len(r.Ponds)+len(r.Echoes) > 0 || r.Noise != nil
}

// Record takes in a record, reading by reading.
type Record struct {
	step     float64 // m, of the log
	interval time.Duration
	seconds  float64 // of it
	rating   func(head float64) float64
	last     int64
	ends     [2]end // low, high
	window   window
	every    int // one window of so many is measured for noise
	days     []day
	echoes   echoes
	pieces   pieces
	readings int
	volume   float64
}

// New begins a record of a step in metres (0 when it is not known) and an interval.
func New(step float64, interval time.Duration) *Record {
	r := &Record{last: math.MinInt64, step: max(step, 1e-6)}
	r.pieces.stride = 1
	r.ends[0], r.ends[1] = newEnd(-1), newEnd(1)
	r.Sampling(interval)
	return r
}

// Sampling tells that the record goes on with another interval.
func (r *Record) Sampling(interval time.Duration) {
	if interval != r.interval {
		r.breakOff()
		r.interval, r.seconds = interval, interval.Seconds()
		r.every = max(1, int(24*time.Hour/max(interval, 1)/windowReadings/enoughWindows))
		r.pieces.stride = max(1, int(pieceLength/max(interval, 1)/mostSamples))
	}
}

// Rating tells by which rating heads become flows from now on, in m and m³/s.
func (r *Record) Rating(flow func(head float64) float64) {
	r.breakOff()
	r.rating = flow
}

// Add takes the next reading; those that say nothing of the level are left out. Readings more than one and a half
// intervals apart are no neighbours.
func (r *Record) Add(x Reading) {
	if sum := x.Level + x.Head + x.Flow; math.IsNaN(sum) || math.IsInf(sum, 0) {
		return
	}
	if apart := x.At - r.last; apart <= 0 || apart >= int64(r.interval)*3/2 {
		r.breakOff()
	}
	r.last = x.At
	r.readings++
	r.volume += float64(x.Flow * r.seconds)
	for i := range r.ends {
		r.ends[i].add(r, &x)
	}
	if x.Bound {
		r.window = r.window[:0]
		return
	}
	r.pieces.add(r, &x)
	if r.window = append(r.window, x); len(r.window) == windowReadings {
		r.lookAt(r.window)
		r.window = r.window[:0]
	}
}

// breakOff ends what needs neighbours.
func (r *Record) breakOff() {
	for i := range r.ends {
		r.ends[i].breakOff(r)
	}
	r.window = r.window[:0]
}

// Finish ends the record and returns what was found, each kind in the order of time.
func (r *Record) Finish() (found Result) {
	r.breakOff()
	noise := r.usualNoise()
	for i := range r.ends {
		r.ends[i].tell(r, noise, &found)
	}
	slices.SortFunc(found.DropOuts, func(a, b DropOuts) int { return cmp.Compare(a.From, b.From) })
	slices.SortFunc(found.Fades, func(a, b Fade) int { return cmp.Compare(a.From, b.From) })
	found.Echoes = r.echoes.tell(r)
	found.Ponds = slices.DeleteFunc(r.pieces.tell(r, noise), func(p Pond) bool { // a fade that stands is no water
		return slices.ContainsFunc(found.Fades, func(f Fade) bool { return f.From <= p.Until && p.From <= f.Until })
	})
	found.Noise = r.tellNoise(&found)
	return found
}
