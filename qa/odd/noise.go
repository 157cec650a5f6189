package odd

import (
	"math"
	"slices"
	"time"
)

// window is readings that follow each other without a gap.
type window []Reading

const (
	windowReadings = 64 // that are looked at together
	enoughWindows  = 6  // of a day for its noise
	fewestOff      = 32 // readings of a window with neighbours, none of them a spike
)

// lookAt takes in a window: for noise, and for an echo from two surfaces.
func (r *Record) lookAt(w window) {
	if r.echoes.windows%r.every == 0 {
		r.measureNoise(w)
	}
	r.echoes.add(r, w)
}

// Noise is what the noise of the readings makes of the mean flow. Flow grows faster than head, so a reading too high
// adds more than one too low takes away: for a small standard deviation s by ½ Q″(h) s² in the mean.
type Noise struct {
	Span              // of the days that are biased
	Days      int     // of them
	Deviation float64 // m, standard deviation of a reading on these days, in the median
	Usual     float64 // m, of the record
	Bias      float64 // m³ that these days have by noise
	Share     float64 // of their volume
	Whole     float64 // of the volume of the record
	Worst     int64   // noon of the day with the largest share
	OfWorst   float64 // its share
}

// day is what noise did on one day of UTC.
type day struct {
	number      int64
	windows     int
	deviation   float64 // m, sum over the windows, as the rest
	correlation float64
	skew        float64
	shape       float64
	seconds     float64
	volume      float64 // m³
	bias        float64 // m³
}

const (
	dayNs = 24 * 3600e9
	// mostBiased is the share of a volume from which on a bias by noise is told.
	mostBiased = 0.005
	// whiteCorrelation is what changes that follow each other have at the most where readings scatter: −0.5 for those
	// that are independent, 0 for water that wanders.
	whiteCorrelation = -0.33
	mostSkew         = 0.2
	// leastShape and mostShape hold the median of the scatter as a share of what nine in ten do not exceed: 0.41 for
	// normal noise.
	leastShape   = 0.32
	mostShape    = 0.52
	mostDays     = 0.8 // of the days must scatter where all noise of a record is told
	unusualNoise = 3   // times that of the record, from which on a day is one of its own
	leastDay     = 0.2 // of the volume of a mean day: of the flow of a drier one any noise is a large share
	// longestNoise is the longest interval at which noise of the whole record is told from water that moves from one
	// reading to the next, as pulses of pumps do.
	longestNoise = 6 * time.Minute
)

// Scatter of a reading off the middle of its neighbours: of independent normal readings with variance s² it is normal
// with variance 1.5 s². The smallest 80 % of its squares have a mean of 0.4377 of that (variance of the normal
// distribution cut off at ±1.2816: 1 − 2·1.2816·φ(1.2816)/0.8), which lone odd readings do not move.
const (
	keptShare = 0.4377
	ofMiddle  = 1.5
)

// measureNoise takes in the noise of a window, and what it adds to the flow.
func (r *Record) measureNoise(w window) {
	var offs, squares [windowReadings - 2]float64
	off, square := offs[:0], squares[:0]
	product, all := 0.0, 0.0
	for i := range len(w) - 2 {
		if w[i].Spike || w[i+1].Spike || w[i+2].Spike {
			continue
		}
		before, after := w[i+1].Level-w[i].Level, w[i+2].Level-w[i+1].Level
		x := (before - after) / 2
		off, square = append(off, x), append(square, x*x)
		product, all = product+float64(before*after), all+float64(before*before)
	}
	if len(off) < fewestOff {
		return
	}
	head, flow := w.means()
	slices.Sort(off)
	slices.Sort(square)
	sum, n := 0.0, len(square)*4/5
	for _, x := range square[:n] {
		sum += x
	}
	deviation := math.Sqrt(sum / float64(n) / keptShare / ofMiddle)
	d := r.dayOf(w[0].At)
	d.windows++
	d.deviation += deviation
	if all > 0 {
		d.correlation += product / all
	}
	if outer := square[len(square)*9/10]; outer > 0 {
		d.shape += math.Sqrt(square[len(square)/2] / outer)
	}
	low, high := off[len(off)/10], off[len(off)-1-len(off)/10]
	if high > low {
		d.skew += (low + high - 2*off[len(off)/2]) / (high - low)
	}
	seconds := windowReadings * r.seconds * float64(r.every)
	d.seconds += seconds
	d.volume += float64(flow * seconds)
	if r.rating != nil {
		d.bias += float64(Bias(r.rating, head, deviation) * seconds)
	}
}

// means are the mean head and flow of a window, spikes aside, of which it does not consist.
func (w window) means() (head, flow float64) {
	n := 0.0
	for i := range w {
		if !w[i].Spike {
			head, flow, n = head+w[i].Head, flow+w[i].Flow, n+1
		}
	}
	return head / n, flow / n
}

// dayOf is the day of an instant, which is the last one or a new one.
func (r *Record) dayOf(at int64) *day {
	number := at / dayNs
	if n := len(r.days); n == 0 || r.days[n-1].number != number {
		r.days = append(r.days, day{number: number})
	}
	return &r.days[len(r.days)-1]
}

// Bias is by how much the mean flow over readings of a head with normal noise of a standard deviation exceeds the flow
// at that head. It is taken from the rating itself, by Gauss–Hermite quadrature of five points (Abramowitz and Stegun,
// table 25.10). Near zero flow, where ½ Q″ s² does not hold, since a rating gives no flow below zero, it holds to a
// twentieth up to noise as large as the head.
func Bias(flow func(head float64) float64, head, deviation float64) float64 {
	if deviation == 0 {
		return 0
	}
	mean := weights[0] * flow(head)
	for i, x := range nodes {
		x *= math.Sqrt2 * deviation
		mean += float64(weights[i+1] * (flow(head-x) + flow(head+x)))
	}
	return mean - flow(head)
}

var (
	nodes   = [2]float64{0.958572464613819, 2.020182870456086}
	weights = [3]float64{
		0.9453087204829419 / sqrtPi, 0.3936193231522412 / sqrtPi, 0.01995324205904591 / sqrtPi,
	}
)

const sqrtPi = 1.7724538509055160273

// usualNoise is the noise of the record, in the median of the days that count for its flow; a step at the least.
func (r *Record) usualNoise() float64 {
	var list []float64
	flow := r.meanFlow()
	for i := range r.days {
		if d := &r.days[i]; d.counts(flow) {
			list = append(list, d.mean(d.deviation))
		}
	}
	return max(middle(list), r.step)
}

// meanFlow is that of the windows of all days, m³/s.
func (r *Record) meanFlow() float64 {
	volume, seconds := 0.0, 0.0
	for i := range r.days {
		volume, seconds = volume+r.days[i].volume, seconds+r.days[i].seconds
	}
	return volume / max(seconds, 1)
}

// counts reports whether a day's flow is not small beside the mean flow.
func (d *day) counts(mean float64) bool { return d.volume/d.seconds >= leastDay*mean }

// middle is the median, or the upper of the two in the middle; 0 for none.
func middle(list []float64) float64 {
	if len(list) == 0 {
		return 0
	}
	list = slices.Clone(list)
	slices.Sort(list)
	return list[len(list)/2]
}

func (d *day) mean(sum float64) float64 { return sum / float64(d.windows) }

// scatters reports whether the readings of a day scatter as noise of a sensor or of the surface does.
func (d *day) scatters() bool {
	shape := d.mean(d.shape)
	return d.mean(d.correlation) <= whiteCorrelation && math.Abs(d.mean(d.skew)) <= mostSkew &&
		shape >= leastShape && shape <= mostShape
}

// biased reports whether noise biases a day that counts.
func (d *day) biased(mean float64) bool {
	return d.counts(mean) && d.scatters() && d.bias >= mostBiased*(d.volume-d.bias) && d.bias > 0
}

// tellNoise tells of days that noise biases: all of them where they bias the whole record, else those whose noise is
// not this record's.
func (r *Record) tellNoise(found *Result) *Noise {
	usual, flow := r.usualNoise(), r.meanFlow()
	whole := r.scatters(flow, found)
	n := &Noise{Usual: usual}
	var deviations []float64
	for i := range r.days {
		d := &r.days[i]
		if !d.biased(flow) || found.aside(d.number) || !whole && d.mean(d.deviation) < unusualNoise*usual {
			continue
		}
		n.take(r, d)
		deviations = append(deviations, d.mean(d.deviation))
	}
	if n.Days == 0 {
		return nil
	}
	n.Deviation = middle(deviations)
	n.Share, n.Whole = n.Bias/(n.Volume-n.Bias), n.Bias/(r.volume-n.Bias)
	return n
}

// scatters reports whether noise biases the whole record: that of a sensor is there on most days.
func (r *Record) scatters(flow float64, found *Result) bool {
	bias, count, white := 0.0, 0, 0
	for i := range r.days {
		d := &r.days[i]
		if !d.counts(flow) || found.aside(d.number) {
			continue
		}
		if count++; d.scatters() {
			white++
		}
		if d.biased(flow) {
			bias += d.bias
		}
	}
	return bias >= mostBiased*(r.volume-bias) && r.interval <= longestNoise &&
		float64(white) >= mostDays*float64(count)
}

func (n *Noise) take(r *Record, d *day) {
	if n.Days == 0 {
		n.From = d.number * dayNs
	}
	n.Until = (d.number + 1) * dayNs
	n.Days++
	n.Hours += d.seconds / 3600
	n.Readings += int(d.seconds / r.seconds)
	n.Volume += d.volume
	n.Bias += d.bias
	if share := d.bias / max(d.volume-d.bias, 1e-9); share > n.OfWorst {
		n.OfWorst, n.Worst = share, d.number*dayNs+dayNs/2
	}
}

// aside reports whether a day has drop-outs or an echo from two surfaces, which are no noise.
func (r *Result) aside(number int64) bool {
	holds := func(s *Span) bool { return s.From/dayNs <= number && number <= s.Until/dayNs }
	return slices.ContainsFunc(r.Echoes, func(e Echo) bool { return holds(&e.Span) }) ||
		slices.ContainsFunc(r.DropOuts, func(d DropOuts) bool { return holds(&d.Span) })
}
