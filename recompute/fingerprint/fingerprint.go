// Package fingerprint finds which primary devices make the flow of the level in a log of which nothing is on file.
//
// It tries every device that has one free dimension, or comes in sizes, against pairs of level and flow, with a datum
// that is right or off. What it answers is what the meter used; it never says what stands in the channel.
package fingerprint

import (
	"cmp"
	"math"
	"slices"

	"retotal/recompute/explain/sample"
	"retotal/recompute/stat"
)

// Record is a log.
type Record struct {
	At        []int64   // ns since 1970, in order
	Level     []float64 // m; a distance from the sensor down to the water, where Distance says so
	Flow      []float64 // m³/s
	Distance  bool
	Interval  int64   // ns, the usual step; 0 where not known
	LevelStep float64 // m, to which the log is rounded; 0 where not known
	FlowStep  float64 // m³/s
	Means     bool    // the figures are known to be means over the interval
	// LevelUnits and FlowUnits are other units that the columns may be in than those that were taken.
	LevelUnits, FlowUnits []Unit
}

// Unit is another unit that a column may be in, by what it is times the unit that was taken.
type Unit struct {
	Name  string
	Times float64
}

// Print is what a log tells.
type Print struct {
	Why     string   // nothing fits, or nothing can be told; "" otherwise
	Devices []Device // the best first, those that fit as well behind it
	Twins   int      // how many of Devices fit as well as the first, itself included
	Beside  []string // what no log can tell from the first
	Pairs   int
	Lag     sample.Lag
	Cap     End
	CutOff  End
	// LevelStep and FlowStep are the steps of rounding in m and m³/s; 0 for none that shows.
	LevelStep, FlowStep float64
	Means               Means
	Fits                float64 // part of the readings with flow that the best explains, between Before and After
	// Above is the logged level above which the flow is other than the best makes it, nearly always more, or less, as
	// where a second part of a device begins; NaN for none. More says which.
	Above float64
	More  bool
	// Before and After are the instants, ns, before and after which the best explains next to nothing, as where a
	// setting was changed; 0 for none.
	Before, After int64
	Others        []Part // what makes the flow there
}

// Part is what a part of a log tells, from an instant up to another, ns.
type Part struct {
	From, Until int64
	Print       Print
}

// End is where a meter stops.
type End struct {
	Flow  float64 // m³/s; NaN for none
	Level float64 // as logged, m, at which it does
}

// Device is one device that makes the logged flow.
type Device struct {
	Kind      string // as in device.Kinds
	Size      string // that is made or usual and lies within the interval; "" for none
	Dimension string // what Value is: "angle", "throat", "width", "exponent", …
	Value     float64
	Low, High float64 // of Value, 95 %, with what published equations of a device differ by
	Equation  string
	Factor    float64 // on the equation
	// Coefficient and Exponent are those of a power law in SI; 0 for other devices.
	Coefficient, Exponent float64
	// Zero is the logged level, or distance, at which the device has no flow, m; it is 0 for a level that is a head.
	Zero, ZeroLow, ZeroHigh float64
	Shifted                 bool    // Zero was found; else it was taken to be 0 and fits
	Unlike                  float64 // sums of absolute differences, part of the volume
	Score                   float64 // of the fit, less is better
	Flow                    func(level float64) float64
}

// Rules of the answer, common with those by which settings are explained.
const (
	twinScore  = 0.02
	mostListed = 8
	mostHeld   = 0.9
	fits       = 3.0 // tolerances, within which a reading is explained
	leastFits  = 0.6 // of the readings, that the best has to explain
	mostLeft   = 0.5 // of what the flow is off its own median, that the best may leave
)

// Find finds what makes the flow, and where that holds for a part of the record only, what makes that of the others.
func Find(r *Record) Print {
	p := whole(r)
	for _, span := range [][2]int64{{math.MinInt64, p.Before}, {p.After + 1, math.MaxInt64}} {
		from, _ := slices.BinarySearch(r.At, span[0])
		until, _ := slices.BinarySearch(r.At, span[1])
		if span[0] == 1 || span[1] == 0 || until-from < leastPart {
			continue
		}
		of := *r
		of.At, of.Level, of.Flow = r.At[from:until], r.Level[from:until], r.Flow[from:until]
		p.Others = append(p.Others, Part{r.At[from], r.At[until-1], whole(&of)})
	}
	return p
}

// leastPart is how many readings of a part are worth a fingerprint of their own.
const leastPart = 100

// whole finds what makes the flow of a record as one.
func whole(r *Record) Print {
	sign := 1.0
	if r.Distance {
		sign = -1
	}
	heads := make([]float64, len(r.Level))
	for i, v := range r.Level {
		heads[i] = sign * v
	}
	origin := far(heads, r.Flow, r.Distance)
	for i := range heads {
		heads[i] -= origin
	}
	s := sample.New(r.At, heads, r.Flow, r.Interval, r.LevelStep, r.FlowStep, r.Means)
	p := Print{Pairs: len(s.At), Cap: End{math.NaN(), math.NaN()}, CutOff: End{math.NaN(), math.NaN()},
		Above: math.NaN(), LevelStep: r.LevelStep, FlowStep: r.FlowStep}
	if p.Why = s.Unfit(); p.Why != "" {
		return p
	}
	p.Lag = s.Align()
	if s.Measure(); s.Held() > mostHeld {
		p.Why = "nearly all the time the flow stands at one most"
		return p
	}
	p.LevelStep, p.FlowStep = s.LevelStep, s.FlowStep
	f := &fitter{s: s, moves: origin != 0, record: r}
	list := f.all()
	logged := func(head float64) float64 { return sign * (head + origin) }
	f.listed(&p, list, logged)
	best := list[0]
	f.spells(&p, best)
	f.explains(&p, best, logged)
	divided := p.Before != 0 || p.After != 0
	if p.Fits < leastFits || !divided && best.unlike > mostLeft*f.spread() {
		p.Why = "no device of the catalogue, and no power law, makes the flow of the level"
	}
	f.ends(&p, best, logged)
	p.Means = f.means(best)
	p.Beside = f.beside(best)
	return p
}

// far is where the heads begin of levels that are no heads, as those above the sea and distances: the level of zero
// flow, roughly; 0 for levels that may be heads.
func far(levels, flows []float64, always bool) float64 {
	var hs, qs []float64
	for i, q := range flows {
		if q > 0 && !math.IsNaN(levels[i]) && !math.IsInf(levels[i]+q, 0) {
			hs, qs = append(hs, levels[i]), append(qs, q)
		}
	}
	if len(hs) < sample.LeastPairs {
		return 0
	}
	every := max(len(hs)/300, 1)
	best, zero := math.Inf(1), 0.0
	for n := 1.0; n < 3; n += 0.25 {
		var x, y []float64
		for i := 0; i < len(hs); i += every {
			x, y = append(x, hs[i]), append(y, math.Pow(qs[i], 1/n))
		}
		slope := stat.TheilSen(x, y)
		if !(slope > 0) {
			continue
		}
		var starts []float64
		for i := range x {
			starts = append(starts, x[i]-y[i]/slope)
		}
		middle := stat.Median(slices.Clone(starts))
		for i := range starts {
			starts[i] = math.Abs(starts[i] - middle)
		}
		if off := stat.Median(starts); off < best {
			best, zero = off, middle
		}
	}
	slices.Sort(hs)
	if !always && math.Abs(zero) < farFrom*(stat.Percentile(hs, 0.95)-zero) {
		return 0
	}
	return zero
}

// farFrom is the part of the highest head by which a level of zero flow may be off and the level still pass for a head.
const farFrom = 0.6

// listed puts the devices into a print, each kind and size once, those that fit as well as the best behind it.
func (f *fitter) listed(p *Print, list []fitted, logged func(head float64) float64) {
	best := list[0]
	var behind []Device
	seen := map[[2]string]bool{}
	for _, x := range list {
		d := f.device(x, logged)
		k := [2]string{d.Kind, d.Size}
		if d.Size != "" && seen[k] { // of any size, and comes to one that is made
			continue
		}
		seen[k] = true
		if x.score < best.score+twinScore {
			p.Devices = append(p.Devices, d)
		} else {
			behind = append(behind, d)
		}
	}
	p.Twins = len(p.Devices)
	p.Devices = append(p.Devices, behind...)
	p.Devices = p.Devices[:min(len(p.Devices), mostListed)]
	p.Twins = min(p.Twins, mostListed)
}

// ranked keeps the best of each kind and size, the best first.
func ranked(list []fitted) (out []fitted) {
	list = slices.DeleteFunc(list, func(x fitted) bool { return math.IsInf(x.score, 0) || math.IsNaN(x.score) })
	slices.SortStableFunc(list, func(a, b fitted) int { return cmp.Compare(a.score, b.score) })
	seen := map[[2]string]bool{}
	for _, x := range list {
		if k := [2]string{x.kind, x.size}; !seen[k] {
			seen[k] = true
			out = append(out, x)
		}
	}
	return out
}
