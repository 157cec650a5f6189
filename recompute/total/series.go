package total

// Series is one flow integrated over time: volume and covered time of every day.
type Series struct {
	calendar *Calendar
	from     int64 // nothing before or after the period counts
	until    int64
	volume   []Sum   // by day; in flow × ns × 2, scaled by Volume
	covered  []int64 // by day; ns
	// Hold takes each interval's flow from its end, as means over intervals have it, in place of the straight line
	// between both ends.
	Hold bool
	// Also takes in the same flow by other days; nil for none.
	Also *Series
}

// NewSeries returns an empty series over the period from–until.
func NewSeries(c *Calendar, from, until int64) *Series {
	return &Series{calendar: c, from: from, until: until}
}

// halfSecond turns the sum of (Q₀+Q₁)·Δt with Δt in nanoseconds into m³.
const halfSecond = 0.5e-9

// day returns the number of the day that holds an instant and makes room for it.
func (s *Series) day(at int64) int {
	d := s.calendar.Day(at)
	for len(s.volume) <= d {
		s.volume, s.covered = append(s.volume, Sum{}), append(s.covered, 0)
	}
	return d
}

// Run integrates flows q (m³/s) at times t, which rise, by the trapezoid between neighbours, and splits exactly at
// the bounds of days.
func (s *Series) Run(t []int64, q []float64) {
	for ; s != nil; s = s.Also {
		s.run(t, q)
	}
}

func (s *Series) run(t []int64, q []float64) {
	if len(t) < 2 {
		return
	}
	if t[0] < s.from || t[len(t)-1] > s.until || s.Hold {
		for i := 1; i < len(t); i++ {
			s.step(t[i-1], q[i-1], t[i], q[i])
		}
		return
	}
	q = q[:len(t)]
	for i := 1; i < len(t); {
		day := s.day(t[i-1])
		_, end := s.calendar.Bounds(day)
		first := i - 1
		sum := &s.volume[day]
		high, low := sum.high, sum.low
		before, flow := t[first], q[first]
		for ; i < len(t) && t[i] <= end; i++ {
			high, low = add(high, low, float64((flow+q[i])*float64(t[i]-before)))
			before, flow = t[i], q[i]
		}
		sum.high, sum.low = high, low
		s.covered[day] += before - t[first]
		if i < len(t) && before < end { // the interval crosses the bound
			s.step(before, flow, t[i], q[i])
			i++
		}
	}
}

// Step integrates one interval over which the flow goes from q0 to q1 along a straight line, clipped to the period
// and split at the bounds of days.
func (s *Series) Step(t0 int64, q0 float64, t1 int64, q1 float64) {
	for ; s != nil; s = s.Also {
		s.step(t0, q0, t1, q1)
	}
}

func (s *Series) step(t0 int64, q0 float64, t1 int64, q1 float64) {
	if s.Hold {
		q0 = q1
	}
	at := func(t int64) float64 { // flow on the straight line
		if t == t1 {
			return q1
		}
		return q0 + float64((q1-q0)*(float64(t-t0)/float64(t1-t0)))
	}
	low, high := max(t0, s.from), min(t1, s.until)
	flow := q0
	if low > t0 && low < high {
		flow = at(low)
	}
	for low < high {
		day := s.day(low)
		_, end := s.calendar.Bounds(day)
		next := min(end, high)
		flowNext := at(next)
		s.volume[day].Add(float64((flow + flowNext) * float64(next-low)))
		s.covered[day] += next - low
		low, flow = next, flowNext
	}
}

// Volume returns the volume of day i.
func (s *Series) Volume(i int) Volume {
	if i >= len(s.volume) {
		return Volume{}
	}
	v := s.volume[i]
	return Volume{Sum{float64(v.high * halfSecond), float64(v.low * halfSecond)}, s.covered[i]}
}
