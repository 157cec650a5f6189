package profile

import (
	"math"
	"slices"
	"time"
)

// candidate is an excursion that was set aside, with the readings around it.
type candidate struct {
	from, until int64
	readings    int
	coarse      bool    // its readings are so far apart that a lone peak can be sound
	strength    float64 // its size in units of the noise around it
	window      [windowSize]float64
}

func (c *candidate) levels() []float64 { return c.window[:c.readings+2*side] }

// class is the candidates of one side and about one length, of which mostCandidates are listed. When there are more,
// the weaker half goes, and none that is weaker comes in any more.
type class struct {
	list    []candidate
	weakest float64
	left    int // not listed
}

const mostCandidates = 4096

// classes: up and down, of 1, 2 to 4 and 5 to 12 readings, and falls that need not return.
const (
	lengthClasses = 3
	falls         = 2 * lengthClasses
	classes       = falls + 1
)

func (s *shape) class() int {
	k := 0
	switch {
	case !s.returns:
		return falls
	case s.readings > 4:
		k = 2
	case s.readings > 1:
		k = 1
	}
	if s.off < 0 {
		k += lengthClasses
	}
	return k
}

// spikes are the excursions of a record.
type spikes [classes]class

// Readings this far apart or more may hide a whole storm between them: a lone peak can be sound.
const coarseInterval = 15 * time.Minute

// mostReturning is how many readings an excursion may have that returns to its level.
func mostReturning(coarse bool) int {
	if coarse {
		return 2
	}
	return mostSpikes
}

// How much looser an excursion is found than it is judged in the end, since only the noise around it is known.
const (
	looseSize  = 0.8
	looseLevel = 1.25
	looseFall  = 5
	// an excursion of so much noise stands in a spell of equal values without ending it
	throughNoise = 10
	// excursions of less noise than this are part of what is normal
	normalNoise = 5
)

// excursion looks whether one begins at reading k, and if so sets its changes aside.
func (p *Profile) excursion(k int) {
	w := p.level[k-side : min(k-side+windowSize, len(p.level))]
	noise := p.local.noise
	coarse := p.settings.Interval >= coarseInterval
	l := limits{looseSize * noise, looseLevel * noise, mostReturning(coarse), looseFall * noise}
	s, ok := l.find(w)
	if !ok {
		return
	}
	if !s.returns && p.returnsAt(k+s.readings, &l) {
		return // the fall is a reading before a rise that returns
	}
	strength := math.Abs(s.off) / noise
	c := &p.spikes[s.class()]
	if strength < c.weakest {
		c.left++
		if strength < normalNoise {
			return
		}
	}
	p.free = k + s.readings + 1
	p.runs.through = s.returns && strength >= throughNoise
	if strength < c.weakest {
		return
	}
	if len(c.list) == mostCandidates {
		p.thin(c)
	}
	one := candidate{
		from: p.at[k], until: p.at[k+s.readings-1], readings: s.readings, coarse: coarse, strength: strength,
	}
	copy(one.window[:], w[:s.readings+2*side])
	c.list = append(c.list, one)
}

// returnsAt says that an excursion begins at reading k that returns.
func (p *Profile) returnsAt(k int, l *limits) bool {
	s, ok := l.find(p.level[k-side : min(k-side+windowSize, len(p.level))])
	return ok && s.returns
}

// thin drops the weaker half of a class.
func (p *Profile) thin(c *class) {
	all := make([]float64, len(c.list))
	for i := range c.list {
		all[i] = c.list[i].strength
	}
	c.weakest = median(all)
	kept := c.list[:0]
	for i := range c.list {
		one := &c.list[i]
		if one.strength >= c.weakest && len(kept) < mostCandidates/2 {
			kept = append(kept, *one)
			continue
		}
		c.left++
		if one.strength < normalNoise {
			p.restore(one)
		}
	}
	c.list = kept
}

// restore counts the changes of an excursion that turned out to be normal, and the distances of all readings beside
// these.
func (p *Profile) restore(c *candidate) {
	w, least := c.levels(), leastChange(p.settings.Resolution)
	for k := side; k <= side+c.readings+1; k++ {
		b := p.habits.at(w[k-1])
		if k <= side+c.readings {
			b.change(w[k]-w[k-1], least)
		}
		b.bend(w[k]-w[k-1]-(w[k-1]-w[k-2]), least)
	}
}

// beyondTies keeps what stands exactly at a limit, which is a matter of rounding, below it.
const beyondTies = 1 + 1e-6

// A fall that need not return has fallFactor times the largest usual change at both ends, and twice that at one.
const fallFactor = 5

// spiked is a candidate as it is judged against the whole record.
type spiked struct {
	*candidate
	shape
	band  *band
	alike bool // with others of its side: the record's own
	ends  bool // it stands at the extreme of the record, as others do
}

// judge returns the candidates of a class that are excursions by the record's own noise.
func (r *record) judge(c *class) (list []spiked) {
	for i := range c.list {
		one := spiked{candidate: &c.list[i]}
		w := one.levels()
		one.band = r.at(w[side-1])
		n := one.band.noise * beyondTies
		l := limits{n, n, mostReturning(one.coarse), math.Inf(1)}
		if c == &r.spikes[falls] {
			l.most, l.fall = 0, fallFactor*max(n, one.band.change99, r.whole.rise999, r.whole.fall999)
		}
		var ok bool
		one.shape, ok = l.measure(w, one.candidate.readings)
		if ok && one.returns {
			ok = one.candidate.readings == 1 || one.jump > one.band.change99
		} else if ok {
			ok = slices.Max(w[side:side+one.candidate.readings]) < r.lowest
		}
		if ok {
			list = append(list, one)
		}
	}
	return list
}

// settleSpikes restores what is normal after all, and then tells the spikes.
func (r *record) settleSpikes(p *Profile) {
	for k := range p.spikes {
		found := map[*candidate]bool{}
		for _, one := range r.judge(&p.spikes[k]) {
			found[one.candidate] = math.Abs(one.off) >= normalNoise*one.band.noise
		}
		for i := range p.spikes[k].list {
			if one := &p.spikes[k].list[i]; !found[one] {
				p.restore(one)
			}
		}
	}
	r.measure(p)
	var lists [classes][]spiked
	modest := 0
	for k := range p.spikes {
		lists[k] = r.judge(&p.spikes[k])
		for i := range lists[k] {
			if lists[k][i].modest() {
				modest++
			}
		}
	}
	many := float64(modest) > max(modestCount, modestShare*float64(r.total))
	r.alike = [2]Note{{Kind: OwnPulses, Alike: true}, {Kind: OwnPulses, Alike: true}}
	r.findAlike(lists[:lengthClasses], 1)
	r.findAlike(lists[lengthClasses:falls], -1)
	var sizes [classes]float64
	for k := range p.spikes {
		sizes[k] = r.ownSize(lists[k], &p.spikes[k])
	}
	for k := range p.spikes {
		size := sizes[k]
		for other := range falls {
			if other/lengthClasses == k/lengthClasses && k != falls {
				size = max(size, sizes[other]/besideFactor)
			}
		}
		r.tell(r.others(lists[k], &p.spikes[k], size, many))
	}
	for _, note := range r.alike {
		if note.Count > 0 {
			r.result.Notes = append(r.result.Notes, note)
		}
	}
}

// tell turns excursions into verdicts.
func (r *record) tell(list []spiked) {
	for _, one := range list {
		v := Verdict{
			From: one.from, Until: one.until, Readings: one.candidate.readings, Kind: Spike, Size: one.off,
			Remove: r.removes(&one), Why: "jumps off its level and back",
		}
		if !one.returns {
			v.Why = "falls far below all other readings, and does not return to its level"
		}
		r.result.Verdicts = append(r.result.Verdicts, v)
	}
}

// Of a class there are too many for faults when there are more than ownCount, or ownDaily a day if that is more, or
// more than ownShare of the readings. Then those below ownFactor times the ownRank of their sizes are the record's own.
// Pulses that last longer or shorter than these, to the same side, are too where they are smaller than a third of that.
// Of those of all classes that jump by hardly more than the record usually does, fewer are too many.
const (
	ownCount      = 20
	ownDaily      = 2
	ownShare      = 0.005
	ownRank       = 0.9
	ownFactor     = 3
	besideFactor  = 3
	modestCount   = 8
	modestShare   = 0.0004
	unusualFactor = 1.25 // of the usual largest change
)

// tooMany says of how many of a class that they are no faults.
func (r *record) tooMany(n int) bool {
	return float64(n) > max(ownCount, ownDaily*r.covered.Hours()/24) || float64(n) > ownShare*float64(r.total)
}

// ownSize is the size below which the excursions of a class are the record's own; 0 where there are few.
func (r *record) ownSize(list []spiked, c *class) float64 {
	if len(list) == 0 || !r.tooMany(len(list)+c.left) {
		return 0
	}
	var sizes []float64
	for i := range list {
		sizes = append(sizes, math.Abs(list[i].off))
	}
	slices.Sort(sizes)
	return ownFactor * sizes[int(ownRank*float64(len(sizes)-1))]
}

// others returns what is no pulse of the record's own, of which those are below a size, the modest ones where there
// are many, and those that are alike; it notes these. Drop-outs to the record's end are not said to be its own.
func (r *record) others(list []spiked, c *class, size float64, modestToo bool) (kept []spiked) {
	note := Note{Kind: OwnPulses}
	for _, one := range list {
		switch {
		case math.Abs(one.off) < size, modestToo && one.modest():
			if !one.ends {
				note.count(&one)
			}
		case one.alike && !one.ends && one.off > 0:
			r.alike[0].count(&one)
		case one.alike && !one.ends:
			r.alike[1].count(&one)
		default:
			kept = append(kept, one)
		}
	}
	switch {
	case note.Count > 0:
		note.Count += c.left
		r.result.Notes = append(r.result.Notes, note)
	case c.left > 0:
		r.result.Notes = append(r.result.Notes, Note{Kind: Left, Count: c.left})
	}
	return kept
}

// count takes an excursion into a note.
func (n *Note) count(one *spiked) {
	h := math.Abs(one.off)
	if n.Count++; n.Count == 1 {
		n.Low = h
	}
	n.Low, n.High, n.Rising = min(n.Low, h), max(n.High, h), one.off > 0
}

// modest says that an excursion jumps by hardly more than the record usually does there.
func (s *spiked) modest() bool { return s.returns && s.jump < unusualFactor*s.band.usual }

// removes says that no sound explanation of an excursion is left.
func (r *record) removes(one *spiked) bool {
	h, n := math.Abs(one.off), one.band.noise*beyondTies
	m := one.candidate.readings
	switch {
	case !one.returns:
		return false
	case h < 8*n, one.jump < 6*n, one.modest(), one.spread > float64(0.25*h)+n:
		return false
	case one.apart > float64(0.3*one.jump)+float64(0.5*n):
		return false
	case m > 1 && (h < 10*n || h < 3*one.band.usual), m > 4 && h < 15*n:
		return false
	case one.alike && one.off > 0, m > 1 && !one.ends && r.jumpsSo(one.jump):
		return false
	}
	return !one.coarse || r.impossible(one)
}

// impossible says of an excursion between readings far apart that it lies below all that the water does.
func (r *record) impossible(one *spiked) bool {
	if one.off > 0 || -one.off <= 10*max(r.whole.fall999, one.band.change99) {
		return false
	}
	highest := slices.Max(one.levels()[side : side+one.candidate.readings])
	return highest < r.lowest-float64(0.25*(r.high-r.low)) || highest < r.low-float64(3*r.whole.fall999)
}
