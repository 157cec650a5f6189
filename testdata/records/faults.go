package records

import (
	"math"
	"math/rand/v2"
	"slices"
	"time"
)

// Cause is what went wrong.
type Cause int

// The causes.
const (
	LoneSpike   Cause = iota // one reading off to one side
	SpikeRun                 // 2 to 12 readings off to one side
	Stuck                    // exactly one value for hours or days
	Step                     // the sensor moved: all that follows is off
	Drift                    // the level creeps off, by its size at the end of the record
	Flickering               // the sensor drops out to its end again and again, for a few readings
	Fading                   // it slides to its end, stays there, and comes back
	Ponded                   // the water does not go below a level, since the outlet is blocked
	TwoSurfaces              // some of the readings are of another surface
	Noisier                  // the readings scatter more
)

// Fault is one fault that was put into a record: readings From to Until-1 are wrong. Size is how far they are off in
// metres: of spikes the median; of a stuck spell how far the truth has gone when it ends, with Hidden how far it went
// at the most.
type Fault struct {
	Cause       Cause
	From, Until int
	Size        float64
	Hidden      float64
}

// Noise is how far a reading lies off the middle of its two neighbours, in the median and times 1.15, or the step of
// the log where that is more. Values that stand still do not count.
func (r *Record) Noise() float64 {
	var off []float64
	for i := 1; i+1 < len(r.Sound); i++ {
		a, x, b := r.Sound[i-1], r.Sound[i], r.Sound[i+1]
		if a != x || x != b {
			off = append(off, math.Abs(x-(a+b)/2))
		}
	}
	if len(off) == 0 {
		return r.Resolution
	}
	slices.Sort(off)
	return max(1.15*off[len(off)/2], r.Resolution)
}

// clear says that no fault is within so many readings of a stretch.
func (r *Record) clear(from, until, margin int) bool {
	if from < margin || until > len(r.Level)-margin {
		return false
	}
	for _, f := range r.Injected {
		if from < f.Until+margin && until > f.From-margin {
			return false
		}
	}
	return true
}

// place draws a place for a stretch of so many readings, away from other faults; it gives up after many tries.
func (r *Record) place(random *rand.Rand, length, margin int) (from int, ok bool) {
	for range 100 {
		from = random.IntN(max(len(r.Level)-length, 1))
		if r.clear(from, from+length, margin) {
			return from, true
		}
	}
	return 0, false
}

// margin is how many sound readings lie between two faults at least.
const margin = 40

// Spikes puts in lone spikes and runs of 2 to 12 spikes, each 3 to 150 times the noise, up or down, so many of each.
func (r *Record) Spikes(random *rand.Rand, lone, runs int) {
	noise := r.Noise()
	for k := range lone + runs {
		length, cause := 1, LoneSpike
		if k >= lone {
			length, cause = 2+random.IntN(11), SpikeRun
		}
		if from, ok := r.place(random, length, margin); ok {
			r.spike(random, cause, from, length, noise*3*math.Pow(50, random.Float64()))
		}
	}
}

// spike puts one in. Runs are foam, or a ladder in the beam: the readings of a run differ by up to a fifth.
func (r *Record) spike(random *rand.Rand, cause Cause, from, length int, size float64) {
	if random.IntN(2) == 0 {
		size = -size
	}
	var off []float64
	for i := from; i < from+length; i++ {
		factor := 1.0
		if length > 1 {
			factor = 0.8 + float64(0.4*random.Float64())
		}
		r.Level[i] = r.round(r.Sound[i] + float64(size*factor))
		off = append(off, math.Abs(r.Level[i]-r.Sound[i]))
	}
	slices.Sort(off)
	r.Injected = append(r.Injected, Fault{Cause: cause, From: from, Until: from + length, Size: off[length/2]})
}

// Stick puts in spells in which the sensor repeats its value, each 6 to 48 hours, so many.
func (r *Record) Stick(random *rand.Rand, spells int) {
	for range spells {
		lasts := 6 * math.Pow(8, random.Float64())
		length := int(lasts * float64(time.Hour) / float64(r.Interval))
		from, ok := r.place(random, length, 2*margin)
		if !ok {
			continue
		}
		f := Fault{Cause: Stuck, From: from, Until: from + length}
		value := r.Sound[from-1]
		for i := from; i < f.Until; i++ {
			r.Level[i] = value
			f.Hidden = max(f.Hidden, math.Abs(r.Sound[i]-value))
		}
		after := []float64{r.Sound[f.Until], r.Sound[f.Until+1], r.Sound[f.Until+2]}
		slices.Sort(after)
		f.Size = math.Abs(after[1] - value)
		r.Injected = append(r.Injected, f)
	}
}

// Move puts in a step of the sensor's place, up or down by a size in metres.
func (r *Record) Move(random *rand.Rand, size float64) {
	at := len(r.Level)/4 + random.IntN(len(r.Level)/2)
	r.shift(Step, at, func(int) float64 { return size })
}

// Creep puts in a drift, by a size in metres at the end of the record.
func (r *Record) Creep(random *rand.Rand, size float64) {
	at := random.IntN(len(r.Level) / 2)
	r.shift(Drift, at, func(i int) float64 { return size * float64(i-at) / float64(len(r.Level)-at) })
}

func (r *Record) shift(cause Cause, at int, by func(i int) float64) {
	for i := at; i < len(r.Level); i++ {
		r.Level[i] = r.round(r.Sound[i] + by(i))
	}
	r.Injected = append(r.Injected, Fault{Cause: cause, From: at, Until: len(r.Level),
		Size: math.Abs(by(len(r.Level)))})
}

// spell draws a place for a spell of so many hours, of 100 readings at least.
func (r *Record) spell(random *rand.Rand, hours float64) (from, until int, ok bool) {
	length := max(int(hours*float64(time.Hour)/float64(r.Interval)), 100)
	from, ok = r.place(random, length, margin)
	return from, from + length, ok
}

// End is the level at an end of what the sensor shows, a tenth of the record's range beyond its highest or lowest.
func (r *Record) End(high bool) float64 {
	least, most := slices.Min(r.Sound), slices.Max(r.Sound)
	beyond := (most - least) / 10
	if high {
		return r.round(most + beyond)
	}
	return r.round(least - beyond)
}

// Flicker lets the sensor drop out to its end so many times in a spell of some hours, for 1 to 5 readings each. Size
// is how far the water is from the end, in the median.
func (r *Record) Flicker(random *rand.Rand, hours float64, times int, high bool) {
	from, until, ok := r.spell(random, hours)
	if !ok {
		return
	}
	var off []float64
	end := r.End(high)
	for range times {
		at := from + random.IntN(until-from-5)
		for i := at; i < at+1+random.IntN(5); i++ {
			r.Level[i] = end
		}
		off = append(off, math.Abs(r.Sound[at]-end))
	}
	slices.Sort(off)
	r.Injected = append(r.Injected, Fault{Cause: Flickering, From: from, Until: until, Size: off[len(off)/2]})
}

// Fade lets the sensor slide to its end in the first third of a spell of some hours and stay there for the rest.
func (r *Record) Fade(random *rand.Rand, hours float64, high bool) {
	from, until, ok := r.spell(random, hours)
	if !ok {
		return
	}
	end := r.End(high)
	for i := from; i < until; i++ {
		gone := min(1, 3*float64(i-from)/float64(until-from))
		r.Level[i] = r.round(r.Sound[i] + float64(gone*(end-r.Sound[i])))
	}
	r.Injected = append(r.Injected, Fault{Cause: Fading, From: from, Until: until,
		Size: math.Abs(r.Sound[until] - end)})
}

// Pond keeps the level of a spell of some hours from falling below one that a share of the record's readings do not
// exceed, the noise of the readings aside. Size is by how much it stands above the sound level, in the median; 0 says
// that the water hardly touched it.
func (r *Record) Pond(random *rand.Rand, hours, share float64) {
	from, until, ok := r.spell(random, hours)
	if !ok {
		return
	}
	sorted := slices.Clone(r.Sound)
	slices.Sort(sorted)
	level, noise := sorted[int(share*float64(len(sorted)))], r.Noise()-r.Resolution
	var off []float64
	for i := from; i < until; i++ {
		if r.Sound[i] < level {
			r.Level[i] = r.round(level + float64(max(noise, 0)*random.NormFloat64()))
		}
		off = append(off, r.Level[i]-r.Sound[i])
	}
	slices.Sort(off)
	r.Injected = append(r.Injected, Fault{Cause: Ponded, From: from, Until: until, Size: off[len(off)/2]})
}

// TwoEchoes takes a share of the readings of a spell of some hours from another surface: one that stands so far above
// the water of its beginning, or one that moves with the water at that height.
func (r *Record) TwoEchoes(random *rand.Rand, hours, size, share float64, stands bool) {
	from, until, ok := r.spell(random, hours)
	if !ok {
		return
	}
	fixed := r.round(r.Sound[from] + size)
	for i := from; i < until; i++ {
		if random.Float64() >= share {
			continue
		}
		if r.Level[i] = fixed; !stands {
			r.Level[i] = r.round(r.Sound[i] + size)
		}
	}
	r.Injected = append(r.Injected, Fault{Cause: TwoSurfaces, From: from, Until: until, Size: size})
}

// Noisy adds normal noise to the readings of a spell of some hours, whose standard deviation is a share of their
// level in the median.
func (r *Record) Noisy(random *rand.Rand, hours, share float64) {
	from, until, ok := r.spell(random, hours)
	if !ok {
		return
	}
	sorted := slices.Clone(r.Sound[from:until])
	slices.Sort(sorted)
	deviation := share * sorted[len(sorted)/2]
	for i := from; i < until; i++ {
		r.Level[i] = r.round(r.Sound[i] + float64(deviation*random.NormFloat64()))
	}
	r.Injected = append(r.Injected, Fault{Cause: Noisier, From: from, Until: until, Size: deviation})
}
