// Package profile tells from a record of levels alone what is normal in it, and which of its readings are not: spikes,
// and spells in which the sensor repeated one value.
//
// Everything is measured against the record's own habits at that level: its noise, how far it usually goes from a
// reading to the next, and how long it usually stands. What a record does often is no fault; where it holds too little
// to tell, nothing is flagged. A reading is to be removed only where no sound explanation is left; all else is flagged
// to be looked at.
//
// It takes one pass in memory that does not grow with the record: 1 to 3 MB, and 9 MB however wild it is. Results do
// not depend on how readings are handed in. Its rules and their constants are common practice or were found on
// generated records (testdata/records), on which TestHarm holds what it promises.
package profile

import (
	"math"
	"time"
)

// Settings are what must be known of a record.
type Settings struct {
	Resolution float64       // step of the log in metres; 0 when it is not known
	Interval   time.Duration // from a reading to the next; readings more than one and a half apart are no neighbours
	// how far the readings of a run of equal values may lie apart, in metres; 0 for exactly equal
	Tolerance float64
}

// Kind is what is wrong with readings.
type Kind uint8

// The kinds.
const (
	Spike Kind = iota
	Stuck
)

// String is the name of a kind.
func (k Kind) String() string { return [...]string{"spike", "stuck"}[k] }

// Verdict is a span of readings that are not what this record does. Spans of one kind do not overlap.
type Verdict struct {
	From, Until int64 // times of its first and of its last reading
	Readings    int
	Kind        Kind
	Remove      bool    // no sound explanation is left: to be bridged from the reading before to the one after
	Size        float64 // metres: how far a spike lies off, up or down; the larger jump at an end of a stuck spell
	Why         string
}

// A block is as many readings as are looked at together; ahead is how many follow a reading before it is decided
// whether an excursion begins there, and behind how many before it are still needed.
const (
	block  = 2048
	ahead  = mostSpikes + side - 1
	behind = side + mostSpikes
)

// Profile takes in a record, reading by reading.
type Profile struct {
	settings Settings
	apart    int64 // ns: readings further apart are no neighbours

	at    []int64 // readings at hand: a stretch without a gap
	level []float64
	next  int // first of them that is not settled

	zeros   int // changes of zero in a row, up to the last one settled
	free    int // first reading whose change was not set aside
	counted int // last reading whose change was counted
	habits  buckets
	local   local
	spikes  spikes
	runs    runs
	lastAt  int64         // of the last reading, one that cannot be a level too
	beyond  impossible    // the readings at hand that cannot be
	beyonds []impossible  // those before
	left    int           // of them, not listed
	total   int           // readings
	covered time.Duration // by them
}

// New begins a record.
func New(s Settings) *Profile {
	p := &Profile{
		habits: newBuckets(s.Resolution),
		at:     make([]int64, 0, block), level: make([]float64, 0, block),
	}
	p.set(s)
	p.reset()
	return p
}

func (p *Profile) set(s Settings) {
	p.settings = s
	p.apart = int64(s.Interval) * 3 / 2
	p.local.least = s.Resolution
	p.runs.tolerance = max(s.Tolerance, leastChange(s.Resolution))
	p.runs.interval = s.Interval
}

// leastChange is the least that is a change at all: a thousandth of the step, or a nanometre, for arithmetic.
func leastChange(step float64) float64 { return max(step/1000, 1e-9) }

// Sampling tells that the record goes on with another interval or step. What came before it is no neighbour of what
// comes after.
func (p *Profile) Sampling(s Settings) {
	if s == p.settings {
		return
	}
	p.end()
	s.Resolution = max(s.Resolution, p.settings.Resolution)
	p.set(s)
}

// Add takes the next reading: its time in ns since 1970, and its level in metres, which rises when the water does. A
// reading that is not ok, since other checks doubt it, ends what it stands in, as a gap does; so does one that is no
// number or not later than the one before.
func (p *Profile) Add(at int64, level float64, ok bool) {
	if len(p.at) > 0 {
		if apart := at - p.lastAt; apart <= 0 || apart >= p.apart {
			p.end()
		}
	}
	if !ok || math.IsNaN(level) || math.IsInf(level, 0) {
		p.end()
		return
	}
	if p.beyond.readings > 0 {
		p.returned(level)
	}
	p.total++
	p.lastAt = at
	p.covered += p.settings.Interval
	p.at, p.level = append(p.at, at), append(p.level, level)
	if len(p.at) == block {
		p.settle(block - ahead)
		p.forget()
	}
}

// end settles a stretch before a gap and begins another.
func (p *Profile) end() {
	if len(p.at) == 0 {
		return
	}
	p.settle(len(p.at))
	p.habits.at(p.level[len(p.level)-1]).readings++
	p.runs.finish(p)
	p.reset()
}

func (p *Profile) reset() {
	p.at, p.level = p.at[:0], p.level[:0]
	p.next, p.zeros, p.free, p.counted, p.beyond = 0, 0, 1, -1, impossible{}
	p.local.seen = 1
	p.runs.reset()
}

// forget moves what is still needed to the front.
func (p *Profile) forget() {
	from := p.next - behind
	p.at = p.at[:copy(p.at, p.at[from:])]
	p.level = p.level[:copy(p.level, p.level[from:])]
	p.next -= from
	p.free -= from
	p.counted -= from
	p.local.seen -= from
}

// settle decides of the readings up to one whether they begin an excursion, and counts the others.
func (p *Profile) settle(until int) {
	least := leastChange(p.settings.Resolution)
	p.local.learn(p.level, least)
	x := p.level
	before := 0.0 // the change before
	if p.next > 1 {
		before = x[p.next-1] - x[p.next-2]
	}
	for k := p.next; k < until; k++ {
		if k == 0 {
			p.runs.add(p, 0)
			continue
		}
		change := x[k] - x[k-1]
		if k >= p.free && k >= side && p.mayLeave(k, change) {
			p.excursion(k)
		}
		if k < p.free {
			p.habits.at(x[k-1]).readings++
			p.zeros = 0
			if k == p.free-1 || !p.runs.through {
				p.runs.add(p, k)
			}
		} else {
			p.count(k, change, before, least)
			p.runs.add(p, k)
		}
		before = change
	}
	p.next = until
}

// mayLeave says, of a reading and the change to it, that an excursion can begin with it; it is quick, and passes over
// nine in ten readings of noise. A lone one has two jumps, which are together the difference of two changes, whatever
// the slope; a longer one begins with a jump from the slope before.
func (p *Profile) mayLeave(k int, change float64) bool {
	x, noise := p.level, looseSize*p.local.noise
	if k+1 < len(x) && math.Abs(change+x[k]-x[k+1]) >= 2*leastJump(1)*noise {
		return true
	}
	return math.Abs(change-(x[k-1]-x[k-3])/2) >= (leastJump(2)-slopeNoise)*noise
}

// count counts the change to reading k, and the one before where that was counted too. All that is no more than least
// is zero.
func (p *Profile) count(k int, change, before, least float64) {
	b := p.habits.at(p.level[k-1])
	b.readings++
	both := p.counted == k-1
	p.counted = k
	if math.Abs(change) > least {
		p.zeros = 0
	} else if p.zeros++; p.zeros > mostZeros {
		return
	}
	b.change(change, least)
	if both {
		b.bend(change-before, least)
	}
}

// mostZeros is how many changes of zero in a row count; more would make every quantile of standing water zero.
const mostZeros = 3
