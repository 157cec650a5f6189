package odd

import (
	"math"
	"slices"
	"time"
)

// Pond is a time in which water stood still above the level of zero flow, as it does behind a blocked outlet or in
// backwater, although the record shows that it goes lower, and stands nowhere for as long.
type Pond struct {
	Span
	Head  float64 // m, at which it stood
	Lower float64 // m, to which it goes elsewhere: a tenth of the time it is there or lower
	Usual float64 // hours, the longest time for which it stands still elsewhere
}

// piece is the level over six hours, in the median.
type piece struct {
	at       int64
	level    float64 // m
	spread   float64 // m, of the middle half of its readings
	offset   float64 // m, of the head
	volume   float64 // m³
	readings int
}

// pieces gathers the pieces of a record.
type pieces struct {
	list    []piece
	began   int64 // of the last piece, ns
	stride  int   // one reading of so many counts for the median
	pass    int   // readings until the next that counts
	samples []float64
}

const (
	pieceLength = 6 * time.Hour
	mostSamples = 32
	fewestOfOne = 3
	stillSteps  = 2.5 // and the times of the noise below, within which medians stand still
	stillNoise  = 1.5
	stillSpread = 2   // times the noise, of the middle half of a piece: 1.35 for normal noise
	mostlyStill = 0.4 // of the pieces of a pond stand, the others are risen
	leastPond   = 8   // pieces
	pondOthers  = 2.5 // times as long as any other time of standing
	pondOver    = 3   // times what is still, over the level of zero flow and over the low levels elsewhere
	fewestLow   = 12  // pieces lower than a pond
	piecesADay  = 4
	mostRisen   = 20 // pieces in a row for which a pond may rise and fall
)

func (p *pieces) add(r *Record, x *Reading) {
	if len(p.list) == 0 || x.At-p.began >= pieceLength.Nanoseconds() {
		p.close()
		at := x.At / pieceLength.Nanoseconds()
		p.began, p.pass = at*pieceLength.Nanoseconds(), 0
		p.list = append(p.list, piece{at: at, level: math.NaN()})
	}
	one := &p.list[len(p.list)-1]
	if p.pass--; p.pass < 0 && len(p.samples) < 2*mostSamples {
		p.samples, p.pass = append(p.samples, x.Level), p.stride-1
	}
	one.readings++
	one.offset = x.Head - x.Level
	one.volume += float64(x.Flow * r.seconds)
}

// close takes the median of the last piece and its spread; one of too few readings has none.
func (p *pieces) close() {
	if n, of := len(p.list), len(p.samples); n > 0 && of >= fewestOfOne {
		slices.Sort(p.samples)
		p.list[n-1].level = p.samples[of/2]
		p.list[n-1].spread = p.samples[of-1-of/4] - p.samples[of/4]
	}
	p.samples = p.samples[:0]
}

// standing is a run of pieces at one level, which may rise from it for a while and return.
type standing struct {
	first, last int // pieces
	n           int // of them at the level
	level       float64
}

// tell returns the longest time of standing when nothing else in the record compares with it.
func (p *pieces) tell(r *Record, noise float64) []Pond {
	p.close()
	within := max(stillSteps*r.step, stillNoise*noise)
	runs := p.runs(within, stillSpread*noise)
	if len(runs) == 0 {
		return nil
	}
	longest := slices.MaxFunc(runs, func(a, b standing) int { return a.n - b.n })
	other := 1
	for _, s := range runs {
		if s.first != longest.first && math.Abs(s.level-longest.level) > within {
			other = max(other, s.n)
		}
	}
	head := longest.level + p.list[longest.first].offset
	lower, ok := p.lower(&longest, within)
	stands := float64(longest.n) >= mostlyStill*float64(longest.last-longest.first+1) && !p.crest(&longest, within)
	if !ok || !stands || longest.n < int(max(leastPond, pondOthers*float64(other))) || head < pondOver*within {
		return nil
	}
	x := Pond{Head: head, Lower: lower + p.list[longest.first].offset, Usual: float64(other) * pieceLength.Hours()}
	x.From = p.list[longest.first].at * pieceLength.Nanoseconds()
	x.Until = (p.list[longest.last].at + 1) * pieceLength.Nanoseconds()
	for _, one := range p.list[longest.first : longest.last+1] {
		x.Readings += one.readings
		x.Volume += one.volume
	}
	x.Hours = float64(x.Readings) * r.interval.Hours()
	return []Pond{x}
}

// crest says that the lows before and after a run come up to it and leave it gently: the broad crest of a season.
func (p *pieces) crest(s *standing, within float64) bool {
	gentle := func(from, until int) bool {
		low := math.Inf(1)
		for _, one := range p.list[max(from, 0):min(until, len(p.list))] {
			if !math.IsNaN(one.level) {
				low = min(low, one.level)
			}
		}
		return low >= s.level-pondOver*within && low <= s.level+within
	}
	return gentle(s.first-piecesADay, s.first) && gentle(s.last+1, s.last+1+piecesADay)
}

// lower is the level under which the record is a tenth of the time beside a run; false where that is not clearly lower.
func (p *pieces) lower(s *standing, within float64) (level float64, ok bool) {
	var list []float64
	low := 0
	for i, one := range p.list {
		if !math.IsNaN(one.level) && (i < s.first || i > s.last) {
			list = append(list, one.level)
			if one.level < s.level-pondOver*within {
				low++
			}
		}
	}
	if low < fewestLow {
		return 0, false
	}
	slices.Sort(list)
	return list[len(list)/10], list[len(list)/10] < s.level-pondOver*within
}

// runs lays the record out in times of standing.
func (p *pieces) runs(within, spread float64) (list []standing) {
	for i := 0; i < len(p.list); {
		s, next := p.from(i, within, spread)
		if s.n > 1 {
			list = append(list, s)
		}
		i = next
	}
	return list
}

// from follows the run that begins with a piece, and returns where to go on. A piece in which the level moves does not
// stand, wherever its median is.
func (p *pieces) from(i int, within, spread float64) (s standing, next int) {
	s = standing{first: i, last: i, level: p.list[i].level}
	if math.IsNaN(s.level) || p.list[i].spread > spread {
		return s, i + 1
	}
	low, high, risen := s.level, s.level, 0
	for k := i; k < len(p.list) && risen <= mostRisen; k++ {
		x := p.list[k].level
		switch {
		case math.IsNaN(x):
			risen++
		case x < high-within:
			return s, max(s.last, i+1)
		case x > low+within, p.list[k].spread > spread:
			risen++
		default:
			low, high, risen = min(low, x), max(high, x), 0
			s.last, s.n, s.level = k, s.n+1, (low+high)/2
		}
	}
	return s, max(s.last, i+1)
}
