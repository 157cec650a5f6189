package ingest

import (
	"cmp"
	"maps"
	"math"
	"slices"
	"time"

	"retotal/ingest/quantity"
	"retotal/ingest/reading"
)

// Another interval is one that so many steps in a row keep to, none of them further than a factor from it; a logger
// that changes more often than a person would does so by itself, and the longest interval that it comes back to is
// usual at any time. Common practice.
const (
	alikeFactor  = 1.5
	alikeSteps   = 12
	mostSettings = 12
	comesBack    = 3
	shortSteps   = 4 // of a run that counts when it comes again more often than a person would change a logger
	// Of so many rows every one is looked at for its decimals, of later ones each eighth.
	allDecimals, someDecimals = 4096, 8
	// The first rows, rejected ones and all, tell more of a log of so few.
	tellingRows = 100
	mostLearned = 3    // readings again for another sampling
	mostSteps   = 4096 // different steps of one pace that are counted; more would tell nothing new
)

// sampler finds out from all readings how a log was sampled, in their order of time.
type sampler struct {
	log    *Log
	rows   int
	last   int64 // stamp of the reading before
	paces  []*pace
	run    []int64 // the last steps that are alike and not of the pace
	begins int64   // stamp of the reading before them
	// gap is the last step, when it was a longer one than those of the run, and began at gapFrom.
	gap, gapFrom int64
	short        []short // runs that ended too soon to be a pace
	astray       bool    // readings were held back, since they are to be read again
	column       [reading.Count]stepper
}

// short is how many runs of about one interval, longer than that of their pace, ended too soon to be a pace of their
// own.
type short struct {
	interval int64
	runs     int
}

// pace is a stretch of a log with one interval.
type pace struct {
	from     int64
	interval int64 // that began it; 0 when it is not known yet
	least    int64 // steps that keep to it
	most     int64
	exactly  int           // steps of the interval
	steps    map[int64]int // all other steps
}

func newPace(from, interval int64) *pace {
	p := &pace{from: from, steps: map[int64]int{}}
	p.set(interval)
	return p
}

func (p *pace) set(interval int64) {
	p.interval = interval
	p.least, p.most = int64(float64(interval)/alikeFactor), int64(float64(interval)*alikeFactor)
	p.exactly = p.steps[interval]
	delete(p.steps, interval)
}

// count adds to the steps of one length.
func (p *pace) count(step int64, n int) {
	if step == p.interval {
		p.exactly += n
	} else if _, known := p.steps[step]; known || len(p.steps) < mostSteps {
		p.steps[step] += n
	}
}

// all are the steps with how many there are of each.
func (p *pace) all() map[int64]int {
	all := maps.Clone(p.steps)
	if p.exactly > 0 {
		all[p.interval] += p.exactly
	}
	return all
}

// stepper finds the step of a column.
type stepper struct {
	chunk  reading.Digits
	unit   quantity.Unit
	from   int64 // of the chunk
	chunks map[float64]int
	list   []stretch
	next   *stretch // what one chunk says, and the next has to confirm; nil for nothing
}

// stretch is a time with one step.
type stretch struct {
	from int64
	step float64
}

func newSampler(l *Log) *sampler { return &sampler{log: l} }

// take takes in a batch.
func (s *sampler) take(b *reading.Batch) {
	stamped := s.log.shifts()
	for i, t := range b.Time {
		if stamped {
			t = s.log.stamp(t)
		}
		if s.rows > 0 {
			s.step(s.last, t)
		}
		s.last = t
		if s.rows++; s.rows <= allDecimals || s.rows%someDecimals == 0 {
			s.decimals(b, i, t)
		}
	}
}

// step takes in the step between two readings.
func (s *sampler) step(from, to int64) {
	d := to - from
	if len(s.paces) == 0 {
		s.paces = append(s.paces, newPace(from, 0))
	}
	p := s.paces[len(s.paces)-1]
	if d == p.interval && len(s.run) == 0 {
		p.exactly++
		return
	}
	p.count(d, 1)
	if p.interval > 0 && d >= p.least && d <= p.most {
		s.drop(p)
		return
	}
	if len(s.run) > 0 && !keeps(d, s.run[0]) {
		if d > s.run[0] && !(s.gap > 0 && keeps(d, s.gap)) { // a gap within the run, unless two are alike
			s.gap, s.gapFrom = d, from
			return
		}
		gap, at := s.gap, s.gapFrom
		s.drop(p)
		if gap > 0 && keeps(d, gap) {
			s.run, s.begins = append(s.run, gap), at
		}
	}
	if len(s.run) == 0 {
		s.begins = from
	}
	s.gap = 0
	if s.run = append(s.run, d); len(s.run) == alikeSteps {
		s.change(p)
	}
}

// drop ends a run that is no pace.
func (s *sampler) drop(p *pace) {
	if len(s.run) >= shortSteps && s.run[0] > p.interval {
		interval := median(s.run)
		i := slices.IndexFunc(s.short, func(x short) bool { return keeps(x.interval, interval) })
		if i < 0 && len(s.short) < mostSteps {
			i, s.short = len(s.short), append(s.short, short{interval: interval})
		}
		if i >= 0 {
			s.short[i].runs++
		}
	}
	s.run, s.gap = s.run[:0], 0
}

// change begins a pace with the steps that are alike.
func (s *sampler) change(p *pace) {
	interval := median(s.run)
	if p.interval == 0 {
		p.set(interval)
	} else {
		next := newPace(s.begins, interval)
		for _, d := range s.run {
			p.count(d, -1)
			next.count(d, 1)
		}
		s.paces = append(s.paces, next)
	}
	s.run, s.gap = s.run[:0], 0
}

// keeps reports whether two intervals are the same but for jitter.
func keeps(a, b int64) bool { return float64(max(a, b)) <= alikeFactor*float64(min(a, b)) }

func median(list []int64) int64 {
	list = slices.Sorted(slices.Values(list))
	return list[len(list)/2]
}

// usual is the median of counted steps; 0 when there are none.
func usual(counts map[int64]int) int64 {
	n := 0
	for _, k := range counts {
		n += k
	}
	below := 0
	for _, step := range slices.Sorted(maps.Keys(counts)) {
		if below += counts[step]; below > n/2 {
			return step
		}
	}
	return 0
}

// decimals takes in the values of a reading with its stamp.
func (s *sampler) decimals(b *reading.Batch, i int, at int64) {
	file, _ := b.Place(i)
	for q := range b.Value {
		if b.Value[q] == nil || b.State[q] != nil && b.State[q][i] != reading.Present ||
			s.log.pressed(reading.Quantity(q)) { // from which the air's may have been taken off
			continue
		}
		s.column[q].take(b.Value[q][i], at, s.log.Files[file].Unit(reading.Quantity(q)))
	}
}

// take takes in a value.
func (c *stepper) take(v float64, at int64, u quantity.Unit) {
	if c.chunks == nil || c.unit != u {
		*c = stepper{unit: u, from: at, chunks: map[float64]int{}, list: c.list, next: c.next}
	}
	n := reading.Decimals(v, u)
	if c.chunk.Add(v, n, n); !c.chunk.Sure() {
		return
	}
	found := stretch{c.from, reading.Step(c.chunk.Usual(), u)}
	c.chunks[found.step]++
	c.chunk, c.from = reading.Digits{}, at+1
	switch {
	case len(c.list) == 0:
		c.list = append(c.list, found)
	case found.step == c.list[len(c.list)-1].step:
		c.next = nil
	case c.next != nil && c.next.step == found.step:
		if len(c.list) <= mostSettings {
			c.list = append(c.list, *c.next)
		}
		c.next = nil
	default:
		c.next = &found
	}
}

// usual is the step of most values.
func (c *stepper) usual() (step float64, ok bool) {
	most := 0
	for _, s := range slices.Sorted(maps.Keys(c.chunks)) {
		if n := c.chunks[s]; n > most {
			step, most = s, n
		}
	}
	return step, most > 0
}

// facts are what the readings say of how the log was sampled; what they do not say stays as the first rows had it.
func (s *sampler) facts() reading.Facts {
	f := s.log.Facts
	f.Samplings = nil
	all := map[int64]int{}
	for _, p := range s.paces {
		for step, n := range p.all() {
			all[step] += n
		}
	}
	if step := usual(all); s.rows > tellingRows {
		f.Interval = time.Duration(step)
	}
	for q := range s.column {
		if step, ok := s.column[q].usual(); ok {
			f.Resolution[q] = step
		}
	}
	paces := s.settings()
	longest := f.Interval
	if len(paces) > mostSettings {
		paces, longest = nil, max(longest, time.Duration(returning(paces)))
	}
	for _, x := range s.short {
		if x.runs > mostSettings && time.Duration(x.interval) > longest {
			paces, longest = nil, time.Duration(x.interval)
		}
	}
	f.GapLimit = s.log.gapLimit(longest)
	if len(paces) > 1 || len(s.column[f.Primary].list) > 1 {
		f.Samplings = s.samplings(&f, paces)
	}
	return f
}

// strays reports whether the readings so far say that the log was not sampled as is assumed: then what was made of them
// must be made again.
func (s *sampler) strays() bool {
	s.astray = s.astray || len(s.paces) > max(s.log.paces, 1) && s.log.learned < mostLearned
	return s.astray
}

// settings are the stretches with one interval, each unlike the one before it.
func (s *sampler) settings() (list []stretch) {
	for _, p := range s.paces {
		interval := float64(usual(p.all()))
		if n := len(list); n > 0 && keeps(int64(list[n-1].step), int64(interval)) {
			continue
		}
		list = append(list, stretch{p.from, interval})
	}
	return list
}

// returning is the longest interval that a log comes back to; 0 when there is none.
func returning(list []stretch) (longest int64) {
	for _, a := range list {
		n := 0
		for _, b := range list {
			if keeps(int64(a.step), int64(b.step)) {
				n++
			}
		}
		if n >= comesBack {
			longest = max(longest, int64(a.step))
		}
	}
	return longest
}

// samplings joins the stretches with one interval and those with one step.
func (s *sampler) samplings(f *reading.Facts, paces []stretch) (list []reading.Sampling) {
	steps := slices.Clone(s.column[f.Primary].list)
	for k := range steps {
		steps[k].from-- // a reading has the step that begins with it
	}
	from := []int64{math.MinInt64}
	for _, x := range [][]stretch{paces, steps} {
		for k := 1; k < len(x); k++ {
			from = append(from, x[k].from)
		}
	}
	slices.Sort(from)
	for _, at := range slices.Compact(from) {
		x := reading.Sampling{
			From: at, Interval: f.Interval, GapLimit: f.GapLimit,
			Step: valueAt(steps, at, f.Resolution[f.Primary]),
		}
		if len(paces) > 0 {
			x.Interval = time.Duration(valueAt(paces, at, 0))
			x.GapLimit = s.log.gapLimit(x.Interval)
		}
		list = append(list, x)
	}
	return list
}

// valueAt is the value of the stretch that an instant belongs to; otherwise when there are none.
func valueAt(list []stretch, at int64, otherwise float64) float64 {
	i, found := slices.BinarySearchFunc(list, at, func(s stretch, at int64) int { return cmp.Compare(s.from, at) })
	switch {
	case len(list) == 0:
		return otherwise
	case found:
		return list[i].step
	}
	return list[max(i-1, 0)].step
}

// same reports whether two findings are the same but for jitter, so that nothing would come of reading again.
func same(a, b *reading.Facts) bool {
	near := func(a, b time.Duration) bool { return max(a, b)-min(a, b) <= max(a, b)/8 }
	step := func(a, b float64) bool { return max(a, b) <= alikeFactor*min(a, b) || max(a, b) < 1e-7 }
	for q := range a.Resolution {
		if !step(a.Resolution[q], b.Resolution[q]) {
			return false
		}
	}
	return near(a.Interval, b.Interval) && near(a.GapLimit, b.GapLimit) &&
		slices.EqualFunc(a.Samplings, b.Samplings, func(a, b reading.Sampling) bool {
			return a.From == b.From && near(a.Interval, b.Interval) && step(a.Step, b.Step)
		})
}
