package recompute

const profileHour = int64(3600e9)

// Profile is the mean corrected flow of every hour of a log, of readings that count: what missing time can be filled from.
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

// fill steps over a stretch hour by hour with the means of their time of day, when there is one for each hour.
func (p *Profile) fill(t0, t1 int64, days int, step func(int64, float64, int64, float64)) {
	if p == nil {
		return
	}
	for hour := t0 / profileHour; hour <= (t1-1)/profileHour; hour++ {
		if _, ok := p.mean(hour, days); !ok {
			return
		}
	}
	for at := t0; at < t1; {
		next := min((at/profileHour+1)*profileHour, t1)
		flow, _ := p.mean(at/profileHour, days)
		step(at, flow, next, flow)
		at = next
	}
}
