package recompute

import (
	"math"
	"math/rand/v2"
	"runtime"
	"slices"
	"sync"

	"retotal/recompute/settings"
)

// mostSampled is how many readings a Monte Carlo check takes: ten years of one-minute readings.
const mostSampled = 5_500_000

// sampler keeps the heads of readings that count, with the time that each stands for, so that a total can be drawn
// again and again.
type sampler struct {
	heads, seconds []float64
	starts         []int               // first reading of each segment's stretch
	segments       []*settings.Segment // of the corrected lane
	full           bool                // there were too many
}

// addSamples takes in measured rows low to high−1, of one segment; row low−1 is the accepted one before them.
func (e *Engine) addSamples(low, high int) {
	s := e.sampler
	if s == nil || s.full {
		return
	}
	if s.full = len(s.heads)+high-low+1 > mostSampled; s.full {
		return
	}
	segment := &e.corrected.Segments[e.corrected.At(e.Time[low])]
	s.starts, s.segments = append(s.starts, len(s.heads)), append(s.segments, segment)
	s.heads, s.seconds = append(s.heads, e.Head[low-1]), append(s.seconds, 0)
	for i := low; i < high; i++ {
		half := float64(e.Time[i]-e.Time[i-1]) * 0.5e-9
		s.seconds[len(s.seconds)-1] += half
		s.heads, s.seconds = append(s.heads, e.Head[i]), append(s.seconds, half)
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

// MonteCarlo draws the corrected total so many times, every source from a normal distribution, through the ratings
// themselves and not through slopes. The same seed gives the same result, whatever the machine's cores. It fails when
// the engine kept no sample, or could not keep all of it.
func (r *Result) MonteCarlo(count int, seed uint64) (d Draws, ok bool) {
	s := r.sampler
	if s == nil || s.full || len(s.heads) == 0 || count < 2 || r.Total.Budget == nil {
		return d, false
	}
	totals, chances := make([]float64, count), r.chances(count, seed)
	var wait sync.WaitGroup
	workers := runtime.GOMAXPROCS(0)
	for w := range workers {
		wait.Add(1)
		go func() {
			defer wait.Done()
			memory := make([]float64, 4096)
			for k := w; k < count; k += workers {
				totals[k] = r.draw(k, chances, rand.New(rand.NewPCG(seed, uint64(k))), memory)
			}
		}()
	}
	wait.Wait()
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

// chances are what moves each source in each draw, in standard uncertainties: for every source one value from each of
// so many equal parts of the normal distribution, in an order of its own (Latin hypercube sampling), so that few draws
// already have the spread that they should.
func (r *Result) chances(count int, seed uint64) [][]float64 {
	out := make([][]float64, len(r.Total.Budget.Parts))
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
func (r *Result) draw(k int, chances [][]float64, random *rand.Rand, memory []float64) float64 {
	s := r.sampler
	raised, factor, rest, noise := map[string]float64{}, 1.0, 0.0, 0.0
	after := r.Total.After.M3()
	for j, p := range r.Total.Budget.Parts {
		x, chance := p.Source, chances[j][k]
		switch {
		case x.Random:
			noise = x.Input / 1000
		case x.Unit == "mm":
			raised[x.Name] = chance * x.Input / 1000
		case x.ofClass || x.sampling || x.joining:
			rest += chance * p.Effect
		default: // what scales all readings
			factor *= 1 + chance*p.Effect/after
		}
	}
	measured := 0.0
	for stretch, start := range s.starts {
		end := len(s.heads)
		if stretch+1 < len(s.starts) {
			end = s.starts[stretch+1]
		}
		segment := s.segments[stretch]
		up := raised[r.sourceOf(segment)]
		for low := start; low < end; low += len(memory) {
			high := min(low+len(memory), end)
			heads := memory[:high-low]
			for i, h := range s.heads[low:high] {
				heads[i] = h + up + float64(noise*random.NormFloat64())
			}
			segment.Rating.Flows(heads, heads)
			for i, q := range heads {
				measured += float64(q * s.seconds[low+i])
			}
		}
	}
	return float64(factor*(measured+r.Total.After.M3()-r.Total.Classes[Measured].M3())) + rest
}

// sourceOf names the source that raises a segment's heads.
func (r *Result) sourceOf(s *settings.Segment) string {
	for i := range r.Sources {
		x := &r.Sources[i]
		if x.lane < 0 || x.Unit != "mm" {
			continue
		}
		moved := r.moved[x.lane]
		if m := &moved.Segments[moved.At(s.From)]; m.Raised(s) {
			return x.Name
		}
	}
	return ""
}
