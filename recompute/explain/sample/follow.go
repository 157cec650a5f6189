package sample

import (
	"cmp"
	"math"
	"slices"

	"retotal/recompute/stat"
)

// Lag is by how much, and how, the flow follows the level.
type Lag struct {
	Name               string // "delay" or "damping"
	Seconds, Low, High float64
}

// Rules of a lag. A shift or a filter takes the scatter of levels down as it takes means of neighbours, and does so
// forwards and backwards; only a true lag tells the two directions apart.
const (
	lagReadings = 6000 // in the blocks that move most, of a day each: the level must rise and fall in them
	longestSpan = 1440 // readings of a block at most
	lagGain     = 0.93
	lagOneWay   = 0.8
	lagHeld     = 0.3 // the most that one reading counts for, Relative
	lagFarthest = 24  // steps
)

// Align finds whether flow follows level by a delay or a filter of the first order, by what makes readings of one level
// have one flow, whatever the rating; heads become those that the flow is of.
func (s *Series) Align() Lag {
	size := min(max(int(86400e9/s.interval), scatterBlock), longestSpan)
	blocks := s.moving(size)
	if len(blocks) == 0 {
		return Lag{}
	}
	n := s.power()
	delayed := func(steps float64) []float64 { return s.delayed(steps) }
	levels := make([]float64, len(s.At)) // that go like the flow
	for i, h := range s.Head {
		levels[i] = math.Pow(math.Max(h, 0), n)
	}
	damped := func(steps float64) []float64 { return s.damped(steps, levels) }
	cost := func(of func(float64) []float64, steps float64) float64 { return s.unlike(blocks, size, of(steps)) }
	still := s.unlike(blocks, size, s.Head)
	best, bestCost, name := 0.0, still, ""
	try := func(of func(float64) []float64, kind string, grid []float64) {
		at, least := 0, math.Inf(1)
		for i, steps := range grid {
			if c := cost(of, steps); c < least {
				at, least = i, c
			}
		}
		low, high := grid[max(at-1, 0)], grid[min(at+1, len(grid)-1)]
		steps, c := stat.Least(low, high, 14, func(x float64) float64 { return cost(of, x) })
		if c > least {
			steps, c = grid[at], least
		}
		if c < bestCost*(1-1e-3) && c < lagOneWay*cost(of, -steps) {
			best, bestCost, name = steps, c, kind
		}
	}
	try(delayed, "delay", []float64{-6, -4, -3, -2, -1.5, -1, -0.75, -0.5, -0.25, 0, 0.25, 0.5, 0.75, 1, 1.5, 2, 3, 4,
		5, 6, 8, 10, 12, 16, 20, lagFarthest})
	try(damped, "damping", []float64{0.1, 0.3, 0.5, 0.75, 1, 1.4, 2, 2.8, 4, 5.6, 8, 11, 16, lagFarthest})
	if name == "" || bestCost > lagGain*still {
		return Lag{}
	}
	s.aligned = true
	if name == "delay" {
		s.Head = delayed(best)
	} else {
		for i, u := range damped(best) {
			if s.Head[i] > 0 || u > 0 {
				s.Head[i] = math.Pow(u, 1/n)
			}
		}
	}
	out := Lag{Name: name, Seconds: best * s.StepSeconds()}
	slack := math.Max(0.1*math.Abs(best), 0.15) * s.StepSeconds()
	out.Low, out.High = out.Seconds-slack, out.Seconds+slack
	return out
}

// moving is the beginnings of the blocks of readings in which the level moves most.
func (s *Series) moving(size int) (blocks []int) {
	type block struct {
		from int
		way  float64
	}
	var list []block
	for from := 0; from+size/2 <= len(s.At); from += size {
		b := block{from: from}
		for i := from + 1; i < min(from+size, len(s.At)); i++ {
			if s.Flow[i] > 0 && s.Flow[i-1] > 0 {
				b.way += math.Abs(s.Flow[i]-s.Flow[i-1]) / (s.Flow[i] + s.Flow[i-1])
			}
		}
		if b.way > 0 {
			list = append(list, b)
		}
	}
	slices.SortFunc(list, func(a, b block) int { return cmp.Compare(b.way, a.way) })
	for _, b := range list[:min(len(list), max(lagReadings/size, 4))] {
		blocks = append(blocks, b.from)
	}
	slices.Sort(blocks)
	return blocks
}

// unlike is how much the flows of neighbours in head differ within blocks, Relative.
func (s *Series) unlike(blocks []int, size int, heads []float64) float64 {
	sum, count := 0.0, 0
	most := slices.Max(s.Flow) * (1 - EndSlack)
	var near []int
	for _, from := range blocks {
		near = near[:0]
		for i := from; i < min(from+size, len(s.At)); i++ {
			if s.Flow[i] > 0 && s.Flow[i] < most {
				near = append(near, i)
			}
		}
		slices.SortFunc(near, func(a, b int) int {
			if heads[a] == heads[b] {
				return a - b
			}
			return cmp.Compare(heads[a], heads[b])
		})
		for k := 1; k+1 < len(near); k++ {
			a, b, c := near[k-1], near[k], near[k+1]
			weight := 0.5
			if span := heads[c] - heads[a]; span > 0 {
				weight = (heads[b] - heads[a]) / span
			}
			between := s.Flow[a] + float64(weight*(s.Flow[c]-s.Flow[a]))
			sum, count = sum+math.Min(math.Abs(s.Flow[b]-between)/s.Flow[b], lagHeld), count+1
		}
	}
	return sum / math.Max(float64(count), 1)
}

// power is the exponent of flow over head, roughly: the median slope of logarithms between far heads.
func (s *Series) power() float64 {
	order := s.ByHead()
	var slopes []float64
	half := len(order) / 2
	for k := 0; k < half; k += max(half/400, 1) {
		a, b := order[k], order[k+half]
		if s.Flow[a] > 0 && s.Head[a] > 0 && s.Head[b] > 1.02*s.Head[a] && s.Flow[b] > 0 {
			slopes = append(slopes, math.Log(s.Flow[b]/s.Flow[a])/math.Log(s.Head[b]/s.Head[a]))
		}
	}
	if len(slopes) == 0 {
		return 1.5
	}
	slices.Sort(slopes)
	return min(max(slopes[len(slopes)/2], 0.7), 4)
}

// delayed is the heads some steps earlier, on straight lines between readings; those of gaps stay.
func (s *Series) delayed(steps float64) []float64 {
	out := make([]float64, len(s.At))
	by := int64(steps * float64(s.interval))
	k := 0
	for i, at := range s.At {
		t := at - by
		for k+1 < len(s.At) && s.At[k+1] <= t {
			k++
		}
		out[i] = s.Head[i]
		switch {
		case s.At[k] == t:
			out[i] = s.Head[k]
		case s.At[k] < t && k+1 < len(s.At) && s.At[k+1]-s.At[k] <= 3*s.interval:
			out[i] = s.Head[k] + float64((s.Head[k+1]-s.Head[k])*(float64(t-s.At[k])/float64(s.At[k+1]-s.At[k])))
		}
	}
	return out
}

// damped is what a filter of the first order with a time constant of some steps makes of levels that go in straight
// lines between readings. Negative steps filter backwards in time.
func (s *Series) damped(steps float64, levels []float64) []float64 {
	out := make([]float64, len(levels))
	constant := math.Abs(steps) * float64(s.interval)
	for k := range levels {
		i, before := k, k-1
		if steps < 0 {
			i, before = len(levels)-1-k, len(levels)-k
		}
		out[i] = levels[i]
		if k == 0 || constant == 0 {
			continue
		}
		gap := math.Abs(float64(s.At[i] - s.At[before]))
		if gap == 0 || gap > float64(3*s.interval) {
			continue
		}
		slope := (levels[i] - levels[before]) * constant / gap
		out[i] = levels[i] - slope + float64((out[before]-levels[before]+slope)*math.Exp(-gap/constant))
	}
	return out
}
