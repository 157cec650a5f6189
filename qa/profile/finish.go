package profile

import (
	"cmp"
	"math"
	"slices"
	"time"
)

// fewestChanges is how many changes a band must hold to speak for itself.
const fewestChanges = 200

// fastest is how many times faster than 999 in 1,000 of its changes water may rise or fall; common practice.
const fastest = 3

// inner is how many bands lie between the outer two, and outer is the share of the readings in each of these.
const (
	inner = 30
	outer = 0.005
)

// band is what the record does within a range of levels.
type band struct {
	bucket
	changes  int
	own      int     // of these, in its own range of levels
	noise    float64 // m, of a reading, at least the record's step
	change50 float64 // m, median of the changes from a reading to the next
	change99 float64 // m, 99th percentile of these
	usual    float64 // m, the same without the slope of the water, as of a tide
	rise99   float64 // m, of the rises, and of the falls; zero is neither
	fall99   float64
	rise999  float64
	fall999  float64
}

func (b *band) measure(step float64) {
	all := b.rise
	all.merge(&b.fall)
	b.changes = all.count()
	b.noise = max(step, noiseOfMedian*b.off.quantile(0.5))
	b.change50, b.change99 = all.quantile(0.5), all.quantile(0.99)
	b.usual = min(b.change99, 2*b.off.quantile(0.99)) // where a slope begins or ends it is halved
	b.rise99, b.fall99 = b.rise.ofMoving(0.99), b.fall.ofMoving(0.99)
	b.rise999, b.fall999 = b.rise.ofMoving(0.999), b.fall.ofMoving(0.999)
}

// record is the whole record, once it has ended.
type record struct {
	settings Settings
	total    int
	covered  time.Duration
	spikes   *spikes
	alike    [2]Note // of own pulses that are alike, up and down
	result   Result

	buckets   []*bucket // by level
	width     float64
	step      float64 // m
	whole     band
	bands     []band
	low, high float64 // m, 1st and 99th percentile of level
	lowest    float64 // m, 0.2 percentile
	least     float64 // m, the lowest
	from, to  float64 // m, of the inner bands
}

// Finish ends the record and returns what is not normal in it, in the order of time.
func (p *Profile) Finish() Result {
	p.end()
	if len(p.habits.list) == 0 {
		return Result{}
	}
	r := &record{settings: p.settings, total: p.total, covered: p.covered, spikes: &p.spikes}
	r.measure(p)
	r.settleSpikes(p)
	r.settleRuns(p)
	r.tellImpossible(p)
	slices.SortStableFunc(r.result.Verdicts, func(a, b Verdict) int {
		return cmp.Or(cmp.Compare(a.From, b.From), cmp.Compare(b.Until, a.Until))
	})
	r.tellBands()
	return r.result
}

// measure makes the bands.
func (r *record) measure(p *Profile) {
	r.buckets, r.width = p.habits.list, p.habits.width
	slices.SortFunc(r.buckets, func(a, b *bucket) int { return cmp.Compare(a.index, b.index) })
	r.whole = band{}
	for _, b := range r.buckets {
		r.whole.merge(b)
	}
	changes := r.whole.rise
	changes.merge(&r.whole.fall)
	r.step = max(r.settings.Resolution, stepOf(&changes, &r.whole.off), leastChange(r.settings.Resolution))
	r.whole.measure(r.step)
	r.least = float64(r.buckets[0].index) * r.width
	r.lowest, r.low, r.high = r.level(0.002), r.level(0.01), r.level(0.99)
	r.from, r.to = r.level(outer), r.level(1-outer)
	n := int(math.Floor(max((r.to-r.from)/max(r.step, r.width), 1)))
	r.bands = make([]band, min(n, inner)+2)
	for _, b := range r.buckets {
		r.at((float64(b.index) + 0.5) * r.width).merge(b)
	}
	for i := range r.bands {
		r.bands[i].measure(r.step)
	}
	r.pool()
}

// level is the level that a share of the readings do not exceed, on a straight line within its bucket.
func (r *record) level(share float64) float64 {
	rank, below := share*float64(r.whole.readings), 0.0
	for _, b := range r.buckets {
		n := float64(b.readings)
		if n > 0 && below+n >= rank {
			return (float64(b.index) + (rank-below)/n) * r.width
		}
		below += n
	}
	return float64(r.buckets[len(r.buckets)-1].index+1) * r.width
}

// at is the band of a level.
func (r *record) at(level float64) *band { return &r.bands[r.index(level)] }

func (r *record) index(level float64) int {
	n := len(r.bands) - 2
	switch {
	case level < r.from:
		return 0
	case level >= r.to:
		return n + 1
	}
	return 1 + min(int((level-r.from)/(r.to-r.from)*float64(n)), n-1)
}

// pool takes into every band that holds too little as many of the bands around it as it takes.
func (r *record) pool() {
	alone := slices.Clone(r.bands)
	for at := range r.bands {
		b := &r.bands[at]
		for i := 1; i < len(alone) && (b.changes < fewestChanges || b.runs.count() <= fewestOthers); i++ {
			for _, k := range []int{at - i, at + i} {
				if k >= 0 && k < len(alone) {
					b.merge(&alone[k].bucket)
				}
			}
			b.measure(r.step)
		}
		b.own = alone[at].changes
	}
}

// tellBands puts what is normal into the result.
func (r *record) tellBands() {
	r.result.Step = r.step
	if r.whole.changes >= fewestChanges {
		r.result.Rise, r.result.Fall = fastest*r.whole.rise999, fastest*r.whole.fall999
	}
	n := len(r.bands) - 2
	edge := func(i int) float64 {
		switch {
		case i == 0:
			return math.Inf(-1)
		case i == n+2:
			return math.Inf(1)
		}
		return r.from + float64((r.to-r.from)*float64(i-1)/float64(n))
	}
	for i := range r.bands {
		b := &r.bands[i]
		r.result.Bands = append(r.result.Bands, Band{
			Low: edge(i), High: edge(i + 1), Changes: b.own, Noise: b.noise, Usual: b.usual,
		})
	}
}
