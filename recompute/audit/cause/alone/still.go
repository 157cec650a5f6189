package alone

import (
	"math"
	"slices"
	"time"

	"retotal/recompute/audit/cause"
	"retotal/recompute/stat"
)

// stills tells, of the times in which the level hardly moves, those in which it seldom or never does so elsewhere: a
// stuck sensor, or ponded water.
func (l *Level) stills() (list []cause.Cause) {
	usual := l.usualRange()
	for _, s := range l.Stills {
		list = add(list, l.still("sensor stuck", s))
	}
	for _, s := range l.Ponds {
		if l.alone(l.whole(s), plateauAlone) {
			list = add(list, l.stuckOrPonded(s, usual))
		}
	}
	for _, s := range l.plateaus(usual) {
		if l.alone(s, plateauAlone) {
			list = add(list, l.stuckOrPonded(s, usual))
		}
	}
	for _, hours := range []int{16, 24, 36} {
		if s, ok := l.quietest(hours, usual); ok && l.alone(s, stillAlone) {
			list = add(list, l.stuckOrPonded(s, usual))
		}
	}
	for _, band := range []float64{2 * l.Step, 4 * l.Step, 0.15 * usual, 0.25 * usual, 0.4 * usual} {
		tight := band <= 4.01*l.Step
		if band <= 0 || !tight && band > usual/2 || tight && band > 0.4*usual {
			continue
		}
		s, ok := l.longest(band)
		switch {
		case !ok:
		case tight && l.alone(s, stillAlone), !tight && l.others(s).lift > leastLift*usual && l.alone(s, plateauAlone):
			list = add(list, l.stuckOrPonded(s, usual))
		}
	}
	return list
}

// Limits of a time in which the level goes less far than ever else, found on generated records.
const (
	quietSteps = 4   // of the log, at most
	quietUsual = 0.3 // of the usual range of a day's hourly means
	quietShare = 0.4 // of the least range of any time as long elsewhere
)

// quietest is the time of so many hours in which the readings go least far, where that is far less than in any that
// does not lie near it.
func (l *Level) quietest(hours int, usual float64) (s Still, ok bool) {
	n := len(l.Hours) - hours
	ranges, best := make([]float64, max(n, 0)), -1
	for i := range ranges {
		low, high := math.Inf(1), math.Inf(-1)
		for _, h := range l.Hours[i : i+hours] {
			low, high = math.Min(low, h.Least), math.Max(high, h.Most)
		}
		lasts := l.Hours[i+hours-1].At - l.Hours[i].At
		if ranges[i] = high - low; math.IsNaN(ranges[i]) || lasts != int64(hours-1)*cause.HourNs {
			ranges[i] = math.Inf(1)
		}
		if best < 0 || ranges[i] < ranges[best] {
			best = i
		}
	}
	if best < 0 || ranges[best] > math.Min(quietSteps*l.Step+1e-9, quietUsual*usual) {
		return s, false
	}
	for i, r := range ranges {
		far := i+hours+plateauHours <= best || i >= best+hours+plateauHours
		if far && quietShare*r < ranges[best]-1e-9 {
			return s, false
		}
	}
	low, high := ends(l.Hours[best : best+hours])
	return Still{l.Hours[best].At, l.Hours[best+hours-1].At + cause.HourNs, (low + high) / 2}, true
}

// How far the level goes on the quietest days elsewhere, in times of what it goes in a spell in which it stands;
// found on generated records. Where water has no course of the day, as in a recession or a dry bed, there are quiet
// days, and nothing can be told.
const (
	stillAlone   = 2.5
	plateauAlone = 1.0
	quietDays    = 0.05 // of the days elsewhere are the quietest
)

// alone reports whether a time in which the level stands is one of its own in a record of which each day has a course:
// it has a day before it, and hardly any 24 h elsewhere go as little.
func (l *Level) alone(s Still, times float64) bool {
	if s.From < l.Hours[0].At+24*cause.HourNs {
		return false
	}
	reach := func(hours []cause.Hour) float64 {
		low, high := math.Inf(1), math.Inf(-1)
		for i := range hours {
			low, high = math.Min(low, hours[i].Least), math.Max(high, hours[i].Most)
		}
		return high - low
	}
	var elsewhere []float64
	for i := 0; i+24 <= len(l.Hours); i += 6 {
		from, until := l.Hours[i].At, l.Hours[i+23].At+cause.HourNs
		if until <= s.From-plateauHours*cause.HourNs || from >= s.Until+plateauHours*cause.HourNs {
			if v := reach(l.Hours[i : i+24]); !math.IsNaN(v) && until-from == 24*cause.HourNs {
				elsewhere = append(elsewhere, v)
			}
		}
	}
	if len(elsewhere) < 40 {
		return false
	}
	slices.Sort(elsewhere)
	own := math.Max(l.Step, reach(cause.Within(l.Hours, s.From, s.Until)))
	return stat.Percentile(elsewhere, quietDays) >= times*own
}

// Limits of what tells a stuck sensor from ponded water, found on generated records.
const (
	surelyLoose  = 0.8 // of the way back is one jump
	hardlyLoose  = 0.6
	surelyBelow  = 0.3 // of the hours stand below those of other days
	hardlyBelow  = 0.1
	fineInterval = 20 * time.Minute
	leastLift    = 0.3 // of the usual range of a day: ponded water stands higher by so much
	surelyLift   = 0.8
)

// stuckOrPonded names what a level stands still for. A sensor stands anywhere in the course of the day and, when it
// comes loose, jumps back; ponded water stands above what the hours have on other days, and drains. Where that does not
// tell, either may be.
func (l *Level) stuckOrPonded(s Still, usual float64) cause.Cause {
	s = l.whole(s)
	jumps, days := l.jumpsOut(s, usual), l.others(s)
	switch {
	case jumps >= surelyLoose || days.below > surelyBelow:
		return l.still("sensor stuck", s)
	case days.below < hardlyBelow && jumps < hardlyLoose && days.lift >= surelyLift*usual:
		return l.still("ponding", s)
	case days.below > hardlyBelow || days.lift < leastLift*usual:
		return l.still("sensor stuck", s, "ponding")
	}
	return l.still("ponding", s, "sensor stuck")
}

// whole is a time with all hours next to it that stay within what its middle does, and without those at its ends that
// do not.
func (l *Level) whole(s Still) Still {
	hours := cause.Within(l.Hours, s.From+(s.Until-s.From)/4, s.Until-(s.Until-s.From)/4)
	if len(hours) == 0 {
		return s
	}
	low, high := math.Inf(1), math.Inf(-1)
	for i := range hours {
		if !math.IsNaN(hours[i].Head) {
			low, high = math.Min(low, hours[i].Least), math.Max(high, hours[i].Most)
		}
	}
	room := math.Max(2*l.Step, (high-low)/2)
	first := slices.IndexFunc(l.Hours, func(h cause.Hour) bool { return h.At == hours[0].At })
	from, until := first, first+len(hours)
	fits := func(k int) bool { return l.Hours[k].Least >= low-room-1e-9 && l.Hours[k].Most <= high+room+1e-9 }
	for from > 0 && fits(from-1) && l.Hours[from].At-l.Hours[from-1].At == cause.HourNs {
		from--
	}
	for until < len(l.Hours) && fits(until) && l.Hours[until].At-l.Hours[until-1].At == cause.HourNs {
		until++
	}
	return Still{l.Hours[from].At, l.Hours[until-1].At + cause.HourNs, (low + high) / 2}
}

// jumpsOut is how much of the way back to where the level is hours later it goes from one reading to the next; 0 where
// that is too little to tell.
func (l *Level) jumpsOut(s Still, usual float64) float64 {
	if l.Interval > fineInterval {
		return (surelyLoose + hardlyLoose) / 2 // what drains may do so from a reading to the next
	}
	after := cause.Within(l.Hours, s.Until-cause.HourNs, s.Until+3*cause.HourNs)
	if len(after) < 3 || after[len(after)-1].At-after[0].At > 4*cause.HourNs {
		return 0
	}
	way := after[2].Head - s.Head
	most := 0.0
	for i := range after[:3] {
		if j := after[i].Jump; math.Abs(j) > math.Abs(most) {
			most = j
		}
	}
	if math.Abs(way) < math.Max(4*l.Step, 0.15*usual) || most*way < 0 {
		return 0
	}
	return most / way
}

// otherDays is how a time stands to the same hours of the days around it.
type otherDays struct {
	below float64 // share of its hours at which the level stands higher on other days
	lift  float64 // m, the median by which it stands higher than these
}

// others compares a time in which the level stands with the same hours of the days around it.
func (l *Level) others(s Still) (o otherDays) {
	const day = 24 * cause.HourNs
	if l.heads == nil {
		l.heads = map[int64]float64{}
		for i := range l.Hours {
			l.heads[l.Hours[i].At] = l.Hours[i].Head
		}
	}
	below := 0
	var lifts []float64
	for _, h := range cause.Within(l.Hours, s.From, s.Until) {
		var others []float64
		for k := int64(1); k <= 12 && len(others) < 6; k++ {
			for _, t := range []int64{h.At - k*day, h.At + k*day} {
				if v, ok := l.heads[t]; ok && !math.IsNaN(v) && (t < s.From || t >= s.Until) {
					others = append(others, v)
				}
			}
		}
		if len(others) == 0 {
			continue
		}
		lifts = append(lifts, s.Head-stat.Median(others))
		if lifts[len(lifts)-1] < -2*l.Step {
			below++
		}
	}
	if len(lifts) == 0 {
		return o
	}
	return otherDays{float64(below) / float64(len(lifts)), stat.Median(lifts)}
}

// Limits of a plateau, found on generated records.
const (
	plateauHours = 20
	plateauEdge  = 6    // h, in which it is reached and left
	plateauBand  = 0.3  // of its height
	plateauFall  = 0.35 // of its height, at least
	plateauRange = 0.4  // of the usual range of a day, its height at least
	plateauLeast = 0.008
	mostPlateaus = 2 // what comes more often is the water's own
)

// plateaus are times in which the level, within hours, rises to one and the same level, stays for a day or longer, and
// falls again. Water after rain falls at once, and what is discharged so is discharged again and again.
func (l *Level) plateaus(usual float64) (list []Still) {
	least := math.Max(plateauLeast, math.Max(4*l.Step, plateauRange*usual))
	for i := plateauEdge; i < len(l.Hours); i++ {
		before, _ := ends(l.Hours[i-plateauEdge : i])
		up := l.Hours[i].Head - before
		if !(up >= least) || l.Hours[i].At-l.Hours[i-plateauEdge].At != plateauEdge*cause.HourNs {
			continue
		}
		end := l.stays(i, math.Max(plateauBand*up, 2*l.Step))
		if end-i < plateauHours || end+plateauEdge > len(l.Hours) {
			continue
		}
		after, _ := ends(l.Hours[end : end+plateauEdge])
		low, high := ends(l.Hours[i:end])
		if low-after >= plateauFall*up {
			list = append(list, Still{l.Hours[i].At, l.Hours[end-1].At + cause.HourNs, (low + high) / 2})
			i = end
		}
	}
	if len(list) > mostPlateaus {
		return nil
	}
	return list
}

// stays is the end of the hours from one on in which all readings lie within a band, m.
func (l *Level) stays(from int, band float64) (end int) {
	low, high := math.Inf(1), math.Inf(-1)
	for end = from; end < len(l.Hours); end++ {
		h := &l.Hours[end]
		low, high = math.Min(low, h.Least), math.Max(high, h.Most)
		if math.IsNaN(h.Head) || high-low > band+1e-9 || end > from && h.At-l.Hours[end-1].At > 2*cause.HourNs {
			break
		}
	}
	return end
}

// add adds a cause unless one of the list covers its time already.
func add(list []cause.Cause, c cause.Cause) []cause.Cause {
	if slices.ContainsFunc(list, func(o cause.Cause) bool { return o.Since <= c.Until && c.Since <= o.Until }) {
		return list
	}
	return append(list, c)
}

func (l *Level) still(name string, s Still, asWell ...string) cause.Cause {
	c := cause.Named(name)
	c.AsWell = asWell
	c.Value, c.Unit = float64(s.Until-s.From)/float64(cause.HourNs), "h"
	c.Low, c.High = c.Value, c.Value
	c.Since, c.Until, c.Worth = s.From, s.Until, l.against(s)
	return c
}

// against is what a time has more than the same hours of the days around it, m³.
func (l *Level) against(s Still) float64 {
	const day = 24 * cause.HourNs
	sum := 0.0
	at := map[int64]float64{}
	for i := range l.Hours {
		at[l.Hours[i].At] = l.Hours[i].Flow
	}
	length := (s.Until-s.From)/day + 1
	for _, h := range cause.Within(l.Hours, s.From, s.Until) {
		var others []float64
		for k := length; k <= length+3; k++ {
			for _, t := range []int64{h.At - k*day, h.At + k*day} {
				if q, ok := at[t]; ok && q >= 0 {
					others = append(others, q)
				}
			}
		}
		if len(others) > 0 && h.Flow >= 0 {
			sum += h.Flow - stat.Median(others)
		}
	}
	return sum
}

// usualRange is the median range of the hourly means of a day, m.
func (l *Level) usualRange() float64 {
	var ranges []float64
	for i := 0; i+24 <= len(l.Hours); i += 12 {
		low, high := ends(l.Hours[i : i+24])
		ranges = append(ranges, high-low)
	}
	if len(ranges) < 8 {
		return 0
	}
	return stat.Median(ranges)
}

// ends are the least and the most of the hourly means.
func ends(hours []cause.Hour) (low, high float64) {
	low, high = math.Inf(1), math.Inf(-1)
	for i := range hours {
		if h := hours[i].Head; !math.IsNaN(h) {
			low, high = math.Min(low, h), math.Max(high, h)
		}
	}
	return low, high
}

// run is a spell of hours, by their places, in which the level stays within a band.
type run struct{ from, until int }

// runs are the spells in which the readings stay within a band, m, the longest from each beginning, none inside
// another.
func (l *Level) runs(band float64) (list []run) {
	last := 0
	for i := range l.Hours {
		if math.IsNaN(l.Hours[i].Head) {
			continue
		}
		if end := l.stays(i, band); end > last {
			list, last = append(list, run{i, end}), end
		}
	}
	return list
}

// Limits of a level that hardly moves; found on generated records.
const (
	leastStill  = 14  // h
	stillTimes  = 2.2 // as long as anywhere else
	stillMargin = 4   // h, and longer by so much
)

// longest is the longest spell within a band, where it is much longer than any other that does not touch it.
func (l *Level) longest(band float64) (s Still, ok bool) {
	list := l.runs(band)
	best := run{}
	for _, r := range list {
		if r.until-r.from > best.until-best.from {
			best = r
		}
	}
	other := 0
	for _, r := range list {
		if r.until <= best.from-plateauHours || r.from >= best.until+plateauHours {
			other = max(other, r.until-r.from)
		}
	}
	length := best.until - best.from
	if length < leastStill || float64(length) < stillTimes*float64(other) || length < other+stillMargin {
		return s, false
	}
	low, high := ends(l.Hours[best.from:best.until])
	return Still{l.Hours[best.from].At, l.Hours[best.until-1].At + cause.HourNs, (low + high) / 2}, true
}
