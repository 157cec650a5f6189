package alone

import (
	"math"
	"slices"

	"retotal/recompute/audit/cause"
	"retotal/recompute/stat"
)

// Limits of a step of the datum, found on generated records.
const (
	stepTimes  = 5   // what a reading usually goes by at most in an hour
	stepSteps  = 3   // of the log
	stepAround = 2.5 // what any other reading goes by in the hours around
	stepHours  = 4   // around it
	stepDays   = 5   // on either side
	stepShare  = 0.7 // of the hours of the day that must go along
	// In parts of the jump: what a day before may differ by; what each day after must, at least and most, and most of
	// its hours; and what is left of the first day's on the last: a storm recedes.
	stepCalm  = 0.45
	stepLow   = 0.55
	stepHigh  = 1.6
	stepLeast = 0.3
	stepKeeps = 0.75
	// Of a rise, which a storm may make, more is asked.
	riseCalm  = 0.35
	riseKeeps = 0.88
)

// steps are jumps from a reading to the next in quiet hours, after which the level is elsewhere by as much, at once and
// at all hours of the days that follow; and moves that the record tells otherwise.
func (l *Level) steps() (list []cause.Cause) {
	var jumps []float64
	for i := range l.Hours {
		jumps = append(jumps, math.Abs(l.Hours[i].Jump))
	}
	if len(jumps) < 2*24*stepDays {
		return nil
	}
	least := math.Max(stepTimes*stat.Median(jumps), stepSteps*l.Step)
	for i := range l.Hours {
		h := &l.Hours[i]
		if math.Abs(h.Jump) >= least && l.quiet(i) && l.goesOn(i) {
			list = append(list, l.stepped(h.JumpAt, h.Jump, stat.Median(jumps)+l.Step/2))
		}
	}
	for _, m := range l.Moves {
		near := slices.ContainsFunc(list, func(c cause.Cause) bool {
			return c.Since >= m.Before-2*cause.HourNs && c.Since <= m.After+2*cause.HourNs
		})
		if !near && math.Abs(m.Size) >= stepSteps*l.Step {
			list = append(list, l.stepped(m.After, l.sized(&m), 2*m.Scatter))
		}
	}
	return list
}

// sized is the size of a move, m: what its own readings jump by, where that is about as much as the days tell.
func (l *Level) sized(m *Move) float64 {
	for _, h := range cause.Within(l.Hours, m.After-cause.HourNs+1, m.After+1) {
		if share := h.Jump / m.Size; h.JumpAt == m.After && share > 0.5 && share < 2 {
			return h.Jump
		}
	}
	return m.Size
}

// quiet reports whether a jump stands alone among the readings of the hours around it.
func (l *Level) quiet(i int) bool {
	jump := l.Hours[i].Jump
	for k := max(0, i-stepHours); k <= min(len(l.Hours)-1, i+stepHours); k++ {
		if k != i && stepAround*math.Abs(l.Hours[k].Jump) > math.Abs(jump) {
			return false
		}
	}
	return true
}

// goesOn reports whether the level stays where a jump brought it: in the next hours and, by the hour of the day, over
// days.
func (l *Level) goesOn(i int) bool {
	jump := l.Hours[i].Jump
	mean := func(from, until int) float64 {
		sum, n := 0.0, 0
		for k := max(0, from); k < min(until, len(l.Hours)); k++ {
			if !math.IsNaN(l.Hours[k].Head) {
				sum, n = sum+l.Hours[k].Head, n+1
			}
		}
		return sum / float64(n)
	}
	if at := (mean(i+1, i+3) - mean(i-2, i)) / jump; !(at > 0.5 && at < 1.5) {
		return false
	}
	var usual [24]float64 // by the hours of the day, before
	for hour := range usual {
		var before []float64
		for k := i - 24*stepDays + hour; k < i; k += 24 {
			if k >= 0 && !math.IsNaN(l.Hours[k].Head) {
				before = append(before, l.Hours[k].Head)
			}
		}
		if len(before) < stepDays-1 {
			return false
		}
		usual[hour] = stat.Median(before)
	}
	day := func(from int) (shift, least float64) { // of a day, in jumps
		var along []float64
		for hour := range usual {
			k := from + hour
			if k >= 0 && k < len(l.Hours) && l.Hours[k].At-l.Hours[i].At == int64(k-i)*cause.HourNs &&
				!math.IsNaN(l.Hours[k].Head) {
				along = append(along, (l.Hours[k].Head-usual[hour])/jump)
			}
		}
		if len(along) < 20 {
			return math.NaN(), math.NaN()
		}
		slices.Sort(along)
		return stat.Percentile(along, 0.5), stat.Percentile(along, 1-stepShare)
	}
	first, last, calm, keeps := 0.0, 0.0, stepCalm, stepKeeps
	if jump > 0 {
		calm, keeps = riseCalm, riseKeeps
	}
	for d := -stepDays; d < stepDays; d++ {
		shift, least := day(i + 24*d)
		switch {
		case d < 0 && !(math.Abs(shift) <= calm):
			return false
		case d >= 0 && !(shift >= stepLow && shift <= stepHigh && least > stepLeast):
			return false
		case d == 0:
			first = shift
		}
		last = shift
	}
	return last >= keeps*first
}

// stepped is a step of the datum, m.
func (l *Level) stepped(at int64, size, within float64) cause.Cause {
	c := cause.Named("datum step")
	c.Value, c.Unit = 1000*size, "mm"
	c.Low, c.High = 1000*(size-within), 1000*(size+within)
	c.Since = at
	c.Worth = l.shifted(at, math.MaxInt64, func(int64) float64 { return size })
	return c
}
