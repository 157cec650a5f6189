// Package records makes generated records of levels whose truth is known: what sound water looks like to a logger, and
// what goes wrong with a sensor. It is used by tests only.
package records

import (
	"math"
	"math/rand/v2"
	"time"
)

// Kind is what water a record is of.
type Kind int

// The kinds. Nothing in them is taken from a real site.
const (
	Stream    Kind = iota // seasons, storms and recessions
	Snowmelt              // a stream with days of melt in spring
	Tide                  // two main constituents of a tide, springs and neaps
	Sewage                // two peaks a day, quieter at weekends, rain
	Recession             // fed from the ground, falls over months, hardly any noise
	Damped                // steps of the log and ±2 to ±5 mm a day, through a meter that averages over minutes
	Pumped                // sewage with the pulses of a lift station
	DryBed                // dry for weeks, then a wave front and a recession down to the bed
	kinds
)

// Kinds lists all kinds.
func Kinds() (list []Kind) {
	for k := range kinds {
		list = append(list, k)
	}
	return list
}

// String is the name of a kind.
func (k Kind) String() string {
	return [...]string{
		"stream", "snowmelt", "tide", "sewage", "recession", "damped", "pumped", "dry bed",
	}[k]
}

// Record is one record. Level is what the log says and Sound what it would say of a sensor without fault, both in
// whole steps of Resolution, in metres.
type Record struct {
	Kind       Kind
	Interval   time.Duration
	Resolution float64 // m
	At         []int64 // ns since 1970
	Level      []float64
	Sound      []float64
	Injected   []Fault // in the order in which they were put in
}

// Begin is the time of the first reading of every record.
var Begin = time.Date(2031, 1, 1, 0, 0, 0, 0, time.UTC)

// Make makes a record without faults.
func Make(random *rand.Rand, kind Kind, interval time.Duration, resolution float64, length time.Duration) *Record {
	n := int(length / interval)
	r := &Record{Kind: kind, Interval: interval, Resolution: resolution, At: make([]int64, n),
		Level: make([]float64, n)}
	for i := range r.At {
		r.At[i] = Begin.Add(time.Duration(i) * interval).UnixNano()
	}
	w := water{random: random, hours: interval.Hours(), level: r.Level}
	w.make(kind)
	for i, x := range r.Level {
		r.Level[i] = r.round(x)
	}
	r.Sound = append([]float64(nil), r.Level...)
	return r
}

// round returns a level in whole steps of the log.
func (r *Record) round(x float64) float64 { return math.Round(x/r.Resolution) * r.Resolution }

// water is a course of the level under way.
type water struct {
	random *rand.Rand
	hours  float64 // from a reading to the next
	level  []float64
}

// between draws between two bounds.
func (w *water) between(low, high float64) float64 {
	return low + float64((high-low)*w.random.Float64())
}

// magnitude draws between two bounds, each factor as likely as another.
func (w *water) magnitude(low, high float64) float64 {
	return low * math.Pow(high/low, w.random.Float64())
}

func (w *water) make(kind Kind) {
	switch kind {
	case Stream:
		w.seasons(w.between(0.1, 0.6))
		w.storms(w.between(60, 200), w.between(0.05, 0.5))
		w.noise(w.magnitude(0.0003, 0.004), w.between(0, 0.01))
	case Snowmelt:
		w.seasons(w.between(0.15, 0.5))
		w.melt(w.between(0.01, 0.08))
		w.storms(w.between(150, 400), w.between(0.05, 0.3))
		w.noise(w.magnitude(0.0003, 0.003), w.between(0, 0.01))
	case Tide:
		w.tide(w.between(0.2, 1.5))
		w.noise(w.magnitude(0.001, 0.01), 0)
	case Sewage:
		w.diurnal(w.between(0.08, 0.25))
		w.storms(w.between(100, 300), w.between(0.03, 0.2))
		w.noise(w.magnitude(0.0005, 0.003), w.between(0, 0.01))
	case Recession:
		w.fall(w.between(0.2, 0.8), w.between(500, 3000))
		w.noise(w.magnitude(0.00005, 0.0005), 0)
	case Damped:
		w.wander(w.between(0.1, 0.5), w.between(0.002, 0.005))
		w.storms(w.between(150, 500), w.between(0.02, 0.1))
		w.damp(w.between(0.05, 0.3))
	case Pumped:
		w.diurnal(w.between(0.08, 0.2))
		w.pulses(w.between(0.02, 0.1))
		w.noise(w.magnitude(0.0005, 0.003), 0)
	case DryBed:
		w.storms(w.between(200, 500), w.between(0.1, 0.6))
		w.dry(w.magnitude(0.0005, 0.003))
	}
}

// add puts a course of the time in hours since the beginning onto the level.
func (w *water) add(course func(hour float64) float64) {
	for i := range w.level {
		w.level[i] += course(float64(i) * w.hours)
	}
}

// wave is a sine with a period in hours and a phase of its own.
func (w *water) wave(amplitude, period float64) func(hour float64) float64 {
	phase := w.between(0, 2*math.Pi)
	return func(hour float64) float64 { return amplitude * math.Sin(2*math.Pi*hour/period+phase) }
}

const (
	dayHours  = 24
	yearHours = 365 * dayHours
)

func (w *water) seasons(base float64) {
	w.add(func(float64) float64 { return base })
	w.add(w.wave(base/3, yearHours))
	w.add(w.wave(base/20, 29*dayHours))
}

// storms adds storms, so many hours apart in the mean, of a mean height in metres: a rise of 20 minutes to 4 hours,
// rounded at its crest, a quick recession of hours and a slow one of days.
func (w *water) storms(apart, height float64) {
	for at := apart * w.random.ExpFloat64(); at < float64(len(w.level))*w.hours; at += apart * w.random.ExpFloat64() {
		w.storm(at, height*w.random.ExpFloat64(), w.magnitude(0.33, 4))
	}
}

func (w *water) storm(at, height, rise float64) {
	quick, slow, share := w.between(1, 8)+rise, w.between(20, 90), w.between(0.5, 0.9)
	for i := int(math.Ceil(at / w.hours)); i < len(w.level); i++ {
		x := float64(i)*w.hours - at
		if x < rise {
			s := math.Sin(math.Pi / 2 * x / rise)
			w.level[i] += float64(height * s * s)
			continue
		}
		x -= rise
		left := float64(share*math.Exp(-x/quick)) + float64((1-share)*math.Exp(-x/slow))
		if left < 1e-5 {
			return
		}
		w.level[i] += float64(height * left)
	}
}

// melt adds days of melt, steep in the afternoon and slow at night, of an amplitude that comes and goes.
func (w *water) melt(amplitude float64) {
	envelope := w.wave(1, 20*dayHours)
	begins := w.between(0, float64(len(w.level))*w.hours/2)
	w.add(func(hour float64) float64 {
		if hour < begins {
			return 0
		}
		course := math.Sin(2*math.Pi*(hour-10)/dayHours) + float64(0.2*math.Sin(4*math.Pi*(hour-8)/dayHours))
		return amplitude * (1 + envelope(hour)) * (1 - math.Exp(-(hour-begins)/72)) * (1 + course) / 2
	})
}

// tide adds the principal lunar and solar constituents, 12.4206 h and 12 h, a diurnal one of 25.8193 h, and one of
// shallow water, 6.2103 h (periods by general knowledge of tides).
func (w *water) tide(amplitude float64) {
	w.add(func(float64) float64 { return 2.2 * amplitude })
	for _, c := range []struct{ share, period float64 }{{1, 12.4206}, {0.35, 12}, {0.15, 25.8193}, {0.08, 6.2103}} {
		w.add(w.wave(c.share*amplitude, c.period))
	}
}

// diurnal adds the two peaks a day of sewage, less at weekends.
func (w *water) diurnal(base float64) {
	w.add(func(hour float64) float64 {
		day := math.Sin(2*math.Pi*(hour-8)/dayHours) + math.Sin(4*math.Pi*(hour-5)/dayHours)/2
		week := 1.0
		if int(hour/dayHours)%7 >= 5 {
			week = 0.9
		}
		return base * week * (1 + day/3)
	})
	w.add(w.wave(base/30, 7.3))
	w.add(w.wave(base/50, 1.9))
}

// fall adds a recession with its constant in hours, and rain that hardly shows.
func (w *water) fall(base, hours float64) {
	w.add(func(hour float64) float64 { return base * math.Exp(-hour/hours) })
	w.storms(700, 0.01)
}

// wander adds a level that goes up and down by so much within a day.
func (w *water) wander(base, amplitude float64) {
	w.add(func(float64) float64 { return base })
	w.add(w.wave(amplitude, dayHours))
	w.add(w.wave(amplitude/3, 9))
	w.add(w.wave(4*amplitude, 17*dayHours))
}

// damp passes the level through a meter that answers with a time constant in hours, and whose own noise is small.
func (w *water) damp(hours float64) {
	share := 1 - math.Exp(-w.hours/hours)
	shown, noise := w.level[0], w.between(0, 0.0002)
	for i, x := range w.level {
		shown += float64(share * (x + float64(noise*w.random.NormFloat64()) - shown))
		w.level[i] = shown
	}
}

// pulses adds a lift station: a pump that starts each time its sump is full, for 3 to 8 minutes, and whose wave runs
// out over minutes.
func (w *water) pulses(height float64) {
	apart, lasts, runsOut := w.between(0.25, 1.2), w.between(3, 8)/60, w.between(0.02, 0.06)
	on, shown, until := w.between(0, apart), 0.0, 0.0
	const fine = 1.0 / 120 // hours
	at := 0.0
	for i := range w.level {
		for ; at <= float64(i)*w.hours; at += fine {
			if at >= on {
				until = on + lasts
				on += apart * w.between(0.7, 1.3) * (1 - 0.4*math.Sin(2*math.Pi*(at-8)/dayHours))
			}
			target := 0.0
			if at < until {
				target = height
			}
			shown += float64((target-shown)*fine) / (runsOut + fine)
		}
		w.level[i] += shown
	}
}

// noise adds what the surface does: waves, a part of which last longer than a reading, more of them in higher water.
func (w *water) noise(deviation, ofRise float64) {
	lowest := math.Inf(1)
	for _, x := range w.level {
		lowest = min(lowest, x)
	}
	slow, keeps := 0.0, math.Exp(-w.hours/0.5)
	for i, x := range w.level {
		d := deviation + float64(ofRise*(x-lowest))
		slow = float64(keeps*slow) + float64(math.Sqrt(1-float64(keeps*keeps))*w.random.NormFloat64())
		w.level[i] += float64(d * (w.random.NormFloat64() + slow/2))
	}
}

// dry cuts the level off at the bed; water that is there has noise, the bed has next to none.
func (w *water) dry(deviation float64) {
	threshold := w.between(0.005, 0.03)
	for i, x := range w.level {
		if x <= threshold {
			w.level[i] = 0
			if w.random.IntN(500) == 0 {
				w.level[i] = deviation / 2
			}
			continue
		}
		w.level[i] = max(0, x-threshold+float64(deviation*w.random.NormFloat64()))
	}
}
