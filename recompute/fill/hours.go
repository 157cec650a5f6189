package fill

import (
	"math"
	"slices"

	"retotal/recompute/block"
	"retotal/recompute/stat"
)

// HourlyMeans is the mean corrected flow of every hour of a log, of readings that count: what missing time can be
// filled from.
type HourlyMeans struct {
	first int64 // number of the first hour since 1970
	sum   []float64
	n     []int32
}

// Add takes in the rows of a block that count.
func (h *HourlyMeans) Add(b *block.Block) {
	for i := b.Low; i < b.High; i++ {
		if b.Used[i] {
			h.take(b.Time[i], b.Corrected.Flow[i])
		}
	}
}

// take takes in one flow.
func (h *HourlyMeans) take(at int64, flow float64) {
	hour := block.HourOf(at)
	if len(h.sum) == 0 {
		h.first = hour
	}
	k := int(hour - h.first)
	if k < 0 {
		return
	}
	h.sum, h.n = block.Grow(h.sum, k+1), block.Grow(h.n, k+1)
	h.sum[k] += flow
	h.n[k]++
}

// mean returns the mean flow at an hour of the day over so many days before and after; false when there is none.
func (h *HourlyMeans) mean(hour int64, days int) (flow float64, ok bool) {
	sum, n := 0.0, 0
	for d := -days; d <= days; d++ {
		if flow, ok := h.at(hour + int64(24*d)); ok && d != 0 {
			sum, n = sum+flow, n+1
		}
	}
	return sum / float64(max(n, 1)), n > 0
}

// at returns the mean flow of one hour, numbered since 1970; false when it has none.
func (h *HourlyMeans) at(hour int64) (flow float64, ok bool) {
	k := int(hour - h.first)
	if k < 0 || k >= len(h.sum) || h.n[k] == 0 {
		return 0, false
	}
	return h.sum[k] / float64(h.n[k]), true
}

// SameTime estimates an hour by the mean of the same time of day over so many days before and after.
func (h *HourlyMeans) SameTime(days int) func(hour int64) (float64, bool) {
	return func(hour int64) (float64, bool) { return h.mean(hour, days) }
}

// fewestPairs is how many hours two sites must share before one estimates the other.
const fewestPairs = 48

// DonorFit is how an hour of one site is estimated from another.
type DonorFit struct {
	Hours       int     // that both sites have
	Correlation float64 // of their flows; Pearson's for a line, Spearman's for ranks
}

// FromDonor estimates hours of this site from another's: by the least-squares line through the hours that both have, or
// by the flow of the same rank among them. It fails when they share too few hours.
func (h *HourlyMeans) FromDonor(donor *HourlyMeans, byRank bool) (
	estimate func(hour int64) (float64, bool),
	fit DonorFit,
	ok bool,
) {
	var own, theirs []float64
	for k := range donor.sum {
		hour := donor.first + int64(k)
		x, okX := donor.at(hour)
		y, okY := h.at(hour)
		if okX && okY {
			own, theirs = append(own, y), append(theirs, x)
		}
	}
	if fit.Hours = len(own); fit.Hours < fewestPairs {
		return nil, fit, false
	}
	from := stat.LeastSquares(theirs, own)
	fit.Correlation = stat.Pearson(theirs, own)
	if byRank {
		fit.Correlation = stat.Spearman(theirs, own)
		slices.Sort(own)
		slices.Sort(theirs)
		from = func(x float64) float64 { return stat.SameRank(theirs, own, x) }
	}
	return func(hour int64) (float64, bool) {
		x, ok := donor.at(hour)
		return math.Max(0, from(x)), ok
	}, fit, true
}
