package uncertainty

import (
	"math"
	"math/rand/v2"
	"runtime"
	"slices"

	"retotal/ingest/problem"
	"retotal/recompute/block"
	"retotal/recompute/settings"
	"retotal/recompute/total"
)

// mostSampled is how many readings a Monte Carlo check takes: ten years of one-minute readings.
const mostSampled = 5_500_000

// Sample keeps the heads of readings that count, with the time that each stands for, so that a total can be drawn again
// and again.
type Sample struct {
	heads, seconds []float64
	starts         []int               // first reading of each segment's stretch
	segments       []*settings.Segment // of the corrected lane
	last           int64               // instant of the last head
	full           bool                // there were too many
}

// Add takes in the steps of a block.
func (s *Sample) Add(b *block.Block) {
	for k := range b.Steps {
		switch x := &b.Steps[k]; {
		case s.full:
		case x.Kind == block.Run:
			s.take(b, x.Low, x.High)
		case b.Means && x.Kind == block.Counts && x.Fate == block.Joined && x.Class == total.Measured:
			s.begin(b, x.Low, float64(b.Time[x.Low]-x.From)*1e-9)
		}
	}
}

// begin begins a stretch with a row that stands for so many seconds: of means, the interval before it.
func (s *Sample) begin(b *block.Block, row int, seconds float64) {
	s.starts = append(s.starts, len(s.heads))
	s.segments = append(s.segments, &b.Corrected.Segments[b.Corrected.At(b.Time[row])])
	s.heads, s.seconds = append(s.heads, b.Head[row]), append(s.seconds, seconds)
	s.last = b.Time[row]
	s.full = s.full || len(s.heads) > mostSampled
}

// take takes in measured rows low to high−1, of one segment; row low−1 is the accepted one before them. A stretch goes
// on over the blocks that it comes in.
func (s *Sample) take(b *block.Block, low, high int) {
	if s.full = len(s.heads)+high-low+1 > mostSampled; s.full {
		return
	}
	segment := &b.Corrected.Segments[b.Corrected.At(b.Time[low])]
	if n := len(s.segments); n == 0 || s.segments[n-1] != segment || s.last != b.Time[low-1] {
		s.begin(b, low-1, 0)
		s.segments[len(s.segments)-1] = segment
	}
	s.last = b.Time[high-1]
	for i := low; i < high; i++ {
		half := float64(b.Time[i]-b.Time[i-1]) * 0.5e-9
		s.seconds[len(s.seconds)-1] += half
		s.heads, s.seconds = append(s.heads, b.Head[i]), append(s.seconds, half)
	}
}

// Draws is what a Monte Carlo check found of the corrected total.
type Draws struct {
	Count     int
	Seed      uint64
	Mean      float64
	Standard  float64
	Low, High float64 // 2.5 and 97.5 per cent of the draws lie below, m³
}

// drawer is what every draw goes by.
type drawer struct {
	*Sample
	sources *Components
	budget  *Budget
	after   float64     // the total, m³
	sampled float64     // of it what the sample itself gives, m³
	chances [][]float64 // of each source in each draw
}

// Draw draws a corrected total so many times, every source from a normal distribution, through the ratings themselves
// and not through slopes. The same seed gives the same result, whatever the machine's cores. It fails when there is no
// sample, or not all of it could be kept.
func (s *Sample) Draw(l *Components, b *Budget, f *Figures, count int, seed uint64) (d Draws, ok bool) {
	if s.full || len(s.heads) == 0 || count < 2 || b == nil {
		return d, false
	}
	r := drawer{Sample: s, sources: l, budget: b, after: f.After.M3(), chances: chances(len(b.Parts), count, seed)}
	r.sampled = r.volume(func(*settings.Segment) float64 { return 0 }, 0, nil, make([]float64, drawn))
	totals := r.all(count, seed)
	d.Count, d.Seed = count, seed
	for _, v := range totals {
		d.Mean += v / float64(count)
	}
	sum := 0.0
	for _, v := range totals {
		sum += float64((v - d.Mean) * (v - d.Mean))
	}
	d.Standard = math.Sqrt(sum / float64(count-1))
	slices.Sort(totals)
	d.Low, d.High = totals[int(0.025*float64(count))], totals[min(int(0.975*float64(count)), count-1)]
	return d, true
}

// all draws the totals on all cores.
func (r *drawer) all(count int, seed uint64) []float64 {
	totals, workers := make([]float64, count), runtime.GOMAXPROCS(0)
	problem.Beside(workers, func(w int) {
		memory := make([]float64, drawn)
		for k := w; k < count; k += workers {
			totals[k] = r.draw(k, rand.New(rand.NewPCG(seed, uint64(k))), memory)
		}
	})
	return totals
}

// chances are what moves each source in each draw, in standard uncertainties: for every source one value from each of
// so many equal parts of the normal distribution, in an order of its own (Latin hypercube sampling), so that few draws
// already have the spread that they should.
func chances(sources, count int, seed uint64) [][]float64 {
	out := make([][]float64, sources)
	for j := range out {
		random := rand.New(rand.NewPCG(seed, uint64(j)<<32|1))
		for k := range count {
			p := (float64(k) + random.Float64()) / float64(count)
			out[j] = append(out[j], math.Sqrt2*math.Erfinv(2*math.Min(math.Max(p, 1e-12), 1-1e-12)-1))
		}
		random.Shuffle(count, func(a, b int) { out[j][a], out[j][b] = out[j][b], out[j][a] })
	}
	return out
}

// draw computes the total once with every source moved by its chance, and the random part of every reading by one of
// its own.
func (r *drawer) draw(k int, random *rand.Rand, memory []float64) float64 {
	raised, factor, rest, noise := map[*Component]float64{}, 1.0, 0.0, 0.0
	for j, p := range r.budget.Parts {
		x, chance := p.Component, r.chances[j][k]
		switch {
		case x.Kind == OfReading:
			noise = x.Input / 1000
		case x.raises():
			raised[x] = chance * x.Input / 1000
		case x.Kind == OfAll, x.Kind == OfShare: // what scales all readings
			factor *= 1 + chance*p.Effect/r.after
		default:
			rest += chance * p.Effect
		}
	}
	up := func(s *settings.Segment) float64 { return raised[r.sources.raiser(s)] }
	return float64(factor*(r.volume(up, noise, random, memory)+r.after-r.sampled)) + rest
}

// drawn is how many readings are drawn at a time.
const drawn = 4096

// volume is that of the sample, its heads raised by segment, and with noise.
func (r *drawer) volume(up func(*settings.Segment) float64, noise float64, random *rand.Rand, memory []float64,
) (sum float64) {
	for stretch, start := range r.starts {
		end := len(r.heads)
		if stretch+1 < len(r.starts) {
			end = r.starts[stretch+1]
		}
		segment := r.segments[stretch]
		sum = r.stretch(sum, segment, start, end, up(segment), noise, random, memory)
	}
	return sum
}

// stretch adds the volume of readings of one segment, raised and with noise, to a sum.
func (r *drawer) stretch(
	sum float64,
	s *settings.Segment,
	start, end int,
	up, noise float64,
	random *rand.Rand,
	memory []float64,
) float64 {
	for low := start; low < end; low += len(memory) {
		high := min(low+len(memory), end)
		heads := memory[:high-low]
		for i, h := range r.heads[low:high] {
			if heads[i] = h + up; noise > 0 {
				heads[i] += float64(noise * random.NormFloat64())
			}
		}
		s.Rating.Flows(heads, heads)
		for i, q := range heads {
			sum += float64(q * r.seconds[low+i])
		}
	}
	return sum
}

// raiser is the source that raises a segment's heads; nil for none.
func (l *Components) raiser(s *settings.Segment) *Component {
	for i := range l.List {
		x := &l.List[i]
		if !x.raises() {
			continue
		}
		moved := l.After[x.lane]
		if m := &moved.Segments[moved.At(s.From)]; m.Raised(s) {
			return x
		}
	}
	return nil
}
