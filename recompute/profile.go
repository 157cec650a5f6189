package recompute

import (
	"math"
	"slices"

	"retotal/recompute/stat"
)

const profileHour = int64(3600e9)

// Profile is the mean corrected flow of every hour of a log, of readings that count: what missing time can be filled
// from.
type Profile struct {
	first int64 // number of the first hour since 1970
	sum   []float64
	n     []int32
}

// add takes in one flow.
func (p *Profile) add(at int64, flow float64) {
	hour := at / profileHour
	if len(p.sum) == 0 {
		p.first = hour
	}
	k := int(hour - p.first)
	if k < 0 {
		return
	}
	for len(p.sum) <= k {
		p.sum, p.n = append(p.sum, 0), append(p.n, 0)
	}
	p.sum[k] += flow
	p.n[k]++
}

// mean returns the mean flow at an hour of the day over so many days before and after; false when there is none.
func (p *Profile) mean(hour int64, days int) (flow float64, ok bool) {
	sum, n := 0.0, 0
	for d := -days; d <= days; d++ {
		k := int(hour - p.first + int64(24*d))
		if d != 0 && k >= 0 && k < len(p.sum) && p.n[k] > 0 {
			sum, n = sum+p.sum[k]/float64(p.n[k]), n+1
		}
	}
	return sum / float64(max(n, 1)), n > 0
}

// At returns the mean flow of one hour, numbered since 1970; false when it has none.
func (p *Profile) At(hour int64) (flow float64, ok bool) {
	k := int(hour - p.first)
	if k < 0 || k >= len(p.sum) || p.n[k] == 0 {
		return 0, false
	}
	return p.sum[k] / float64(p.n[k]), true
}

// SameTime estimates an hour by the mean of the same time of day over so many days before and after.
func (p *Profile) SameTime(days int) func(hour int64) (float64, bool) {
	return func(hour int64) (float64, bool) { return p.mean(hour, days) }
}

// fewestPairs is how many hours two sites must share before one estimates the other.
const fewestPairs = 48

// Match is how an hour of one site is estimated from another.
type Match struct {
	Hours       int     // that both sites have
	Correlation float64 // of their flows; Pearson's for a line, Spearman's for ranks
}

// FromDonor estimates hours of this site from another's: by the least-squares line through the hours that both have, or
// by the flow of the same rank among them. It fails when they share too few hours.
func (p *Profile) FromDonor(donor *Profile, byRank bool) (estimate func(hour int64) (float64, bool), m Match, ok bool) {
	var own, theirs []float64
	for k := range donor.sum {
		hour := donor.first + int64(k)
		x, okX := donor.At(hour)
		y, okY := p.At(hour)
		if okX && okY {
			own, theirs = append(own, y), append(theirs, x)
		}
	}
	if m.Hours = len(own); m.Hours < fewestPairs {
		return nil, m, false
	}
	from := line2(theirs, own)
	m.Correlation = stat.Correlation(theirs, own)
	if byRank {
		m.Correlation = stat.RankCorrelation(theirs, own)
		slices.Sort(own)
		slices.Sort(theirs)
		from = func(x float64) float64 { return sameRank(theirs, own, x) }
	}
	return func(hour int64) (float64, bool) {
		x, ok := donor.At(hour)
		return math.Max(0, from(x)), ok
	}, m, true
}

// line2 returns the least-squares line through points.
func line2(x, y []float64) func(float64) float64 {
	n, meanX, meanY := float64(len(x)), 0.0, 0.0
	for i := range x {
		meanX, meanY = meanX+x[i]/n, meanY+y[i]/n
	}
	xy, xx := 0.0, 0.0
	for i := range x {
		xy, xx = xy+float64((x[i]-meanX)*(y[i]-meanY)), xx+float64((x[i]-meanX)*(x[i]-meanX))
	}
	slope := 0.0
	if xx > 0 {
		slope = xy / xx
	}
	return func(v float64) float64 { return meanY + float64(slope*(v-meanX)) }
}

// sameRank returns the value among sorted own ones that has the rank of x among sorted others; beyond them the nearest
// end.
func sameRank(others, own []float64, x float64) float64 {
	i, found := slices.BinarySearch(others, x)
	switch {
	case i == len(others):
		return own[len(own)-1]
	case found || i == 0:
		return own[i]
	}
	share := (x - others[i-1]) / (others[i] - others[i-1])
	return own[i-1] + float64((own[i]-own[i-1])*share)
}

// fillHours steps over a stretch hour by hour with estimates, when there is one for each hour.
func fillHours(t0, t1 int64, estimate func(int64) (float64, bool), step func(int64, float64, int64, float64)) {
	if estimate == nil {
		return
	}
	for hour := t0 / profileHour; hour <= (t1-1)/profileHour; hour++ {
		if _, ok := estimate(hour); !ok {
			return
		}
	}
	for at := t0; at < t1; {
		next := min((at/profileHour+1)*profileHour, t1)
		flow, _ := estimate(at / profileHour)
		step(at, flow, next, flow)
		at = next
	}
}
