// Package moves finds where the sensor of a record was moved: jumps after which the level goes on as before, elsewhere.
//
// A storm recedes, a flow that stops begins again, and what a record does often is its own. A move is told with the
// readings it lies between, so with a gap or with the time that the sensor was out of its place. Everything is measured
// against the record itself: how far it goes within a day, from a reading to the next and from days to days.
//
// It takes one pass and keeps some 100 bytes an hour of the record. Its rules and their constants are common practice
// or were found on generated records (testdata/records), on which TestHarm holds what it promises.
package moves

import (
	"math"
	"slices"
	"time"
)

const (
	hourNs   = int64(time.Hour)
	dayHours = 24
)

// hour is the median level of one hour of a record.
type hour struct {
	number int64   // since 1970
	level  float64 // m
}

// jump is a change from a reading to the next.
type jump struct {
	before, after int64 // times of the two
	change        float64
	stir          float64 // m, the scatter of the readings around it, as a standard deviation
	sharp         float64 // by how many times it exceeds the four changes on either side
	fine          bool    // readings follow each other closely enough for water to be followed
	gap           bool    // the two readings are no neighbours
}

// pair is the largest rise and the largest fall that end within an hour.
type pair struct{ rise, fall jump }

// pairs are those of all hours, in pieces: a list that grows would be copied again and again.
type pairs struct {
	pieces [][]pair
	count  int
	ends   int64 // when the hour of the last one is over
}

const pieceLength = 1024

func (p *pairs) add() {
	if p.count%pieceLength == 0 {
		p.pieces = append(p.pieces, make([]pair, pieceLength))
	}
	p.count++
}

func (p *pairs) at(i int) *pair { return &p.pieces[i/pieceLength][i%pieceLength] }

// around is how many changes on either side a change is compared with, wide how many readings that takes.
const (
	around = 4
	wide   = 2*around + 2
)

// fineInterval is the most that readings may lie apart for a storm to take several of them; common practice.
const fineInterval = 10 * time.Minute

// Record takes in a record, reading by reading.
type Record struct {
	step   float64
	hours  []hour
	pairs  pairs
	number int64     // of the hour at hand
	ends   int64     // when it is over
	levels []float64 // its readings
	recent []reading
	shifts map[int][]placed // of all times, by days, in the order of their size; made when asked for
	times  map[int][]int    // where they were taken, in the order of time
	noise  float64          // m, see Daily
}

type reading struct {
	at    int64
	level float64
}

// New begins a record with a step of the log in metres; 0 when it is not known.
func New(step float64) *Record {
	return &Record{step: step, recent: make([]reading, 0, 64*wide)}
}

// Add takes the next reading: its time in ns since 1970, and its level in metres, up or down. What is no number, or not
// later than the reading before, is passed over.
func (r *Record) Add(at int64, level float64) {
	if math.IsNaN(level) || math.IsInf(level, 0) || len(r.recent) > 0 && at <= r.recent[len(r.recent)-1].at {
		return
	}
	if at >= r.ends || len(r.levels) == 0 {
		r.close()
		r.number = hourOf(at)
		r.ends = (r.number + 1) * hourNs
	}
	r.levels = append(r.levels, level)
	if len(r.recent) == cap(r.recent) {
		r.recent = r.recent[:copy(r.recent, r.recent[max(len(r.recent)-wide+1, 0):])]
	}
	if r.recent = append(r.recent, reading{at, level}); len(r.recent) >= wide {
		r.compare(r.recent[len(r.recent)-wide:])
	}
}

// hourOf numbers the hour of an instant, before 1970 too.
func hourOf(at int64) int64 {
	if at < 0 {
		return (at+1)/hourNs - 1
	}
	return at / hourNs
}

// close ends the hour at hand.
func (r *Record) close() {
	if len(r.levels) > 0 {
		r.hours = append(r.hours, hour{r.number, quickMedian(r.levels)})
		r.levels = r.levels[:0]
	}
}

// compare looks at the change in the middle of the readings at hand: only the largest of its hour is worth a look at
// what is around it.
func (r *Record) compare(x []reading) {
	a, b := &x[around], &x[around+1]
	if r.pairs.count == 0 || b.at >= r.pairs.ends {
		r.pairs.add()
		r.pairs.ends = (hourOf(b.at) + 1) * hourNs
	}
	p := r.pairs.at(r.pairs.count - 1)
	switch change := b.level - a.level; {
	case change > p.rise.change:
		p.rise = jumpIn(x, r.step)
	case change < p.fall.change:
		p.fall = jumpIn(x, r.step)
	}
}

// jumpIn is the change between the two readings in the middle of some.
func jumpIn(x []reading, step float64) jump {
	a, b := &x[around], &x[around+1]
	most, least := 0.0, int64(math.MaxInt64)
	changes := make([]float64, 0, 2*around)
	for k := 1; k < len(x); k++ {
		if k != around+1 {
			c := math.Abs(x[k].level - x[k-1].level)
			most, changes = max(most, c), append(changes, c)
			least = min(least, x[k].at-x[k-1].at)
		}
	}
	j := jump{before: a.at, after: b.at, change: b.level - a.level}
	j.sharp = math.Abs(j.change) / max(most, step, 1e-9)
	j.stir = ofNormal * median(changes) / math.Sqrt2
	j.gap = b.at-a.at > 3*max(least, int64(fineInterval))/2
	j.fine = least <= int64(fineInterval) && !j.gap
	return j
}

// median sorts the values and returns the middle one, or the mean of the middle two.
func median(values []float64) float64 {
	slices.Sort(values)
	n := len(values)
	if n%2 == 1 {
		return values[n/2]
	}
	return (values[n/2-1] + values[n/2]) / 2
}

// quickMedian is the median of numbers of which none is NaN; it changes their order.
func quickMedian(values []float64) float64 {
	n := len(values)
	part(values, n/2)
	if n%2 == 1 {
		return values[n/2]
	}
	return (slices.Max(values[:n/2]) + values[n/2]) / 2
}

// part puts the value of rank k where it would stand in order, what is less before it and what is more behind it
// (Hoare's selection).
func part(values []float64, k int) {
	for len(values) > 1 {
		pivot, i, j := values[len(values)/2], 0, len(values)-1
		for i <= j {
			for values[i] < pivot {
				i++
			}
			for values[j] > pivot {
				j--
			}
			if i <= j {
				values[i], values[j] = values[j], values[i]
				i, j = i+1, j-1
			}
		}
		switch {
		case k <= j:
			values = values[:j+1]
		case k >= i:
			values, k = values[i:], k-i
		default:
			return
		}
	}
}

// ofNormal makes a standard deviation of the median distance from the middle, for normal scatter.
const ofNormal = 1.4826

// scatter is the median distance of values from their median, as a standard deviation. It sorts them.
func scatter(values []float64) float64 {
	m := median(values)
	for i := range values {
		values[i] = math.Abs(values[i] - m)
	}
	return ofNormal * median(values)
}

// Daily is how far the record goes within a day: the scatter of the hours of a day, or of what the same hours of the
// day before leave of them, where days are alike; the lesser of the two, each in the median of all days, and a step of
// the log at least; m. It is +Inf where no day is known.
func (r *Record) Daily() float64 {
	r.close()
	level := func(i int) float64 { return r.hours[i].level }
	since := func(i int) float64 {
		if k, ok := r.find(r.hours[i].number - dayHours); ok {
			return (level(i) - level(k)) / math.Sqrt2
		}
		return math.NaN()
	}
	return max(r.step, 1e-9, min(r.within(level), r.within(since)))
}

// within is the scatter of what hours have within a day, in the median of all days.
func (r *Record) within(of func(i int) float64) float64 {
	var days, day []float64
	flush := func() {
		if len(day) >= dayHours/2 {
			days = append(days, scatter(day))
		}
		day = day[:0]
	}
	for i, h := range r.hours {
		if i > 0 && hourDay(h.number) != hourDay(r.hours[i-1].number) {
			flush()
		}
		if v := of(i); !math.IsNaN(v) {
			day = append(day, v)
		}
	}
	flush()
	if len(days) == 0 {
		return math.Inf(1)
	}
	return median(days)
}

// hourDay numbers the day of an hour.
func hourDay(number int64) int64 { return hourOf(number * hourNs / dayHours) }
