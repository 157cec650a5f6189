package alone

import (
	"math"
	"time"

	"retotal/recompute/audit/cause"
	"retotal/recompute/stat"
)

// Limits of what sound does, common practice.
const (
	soundNights  = 15
	soundRanks   = 0.5  // rank correlation of the differences from night to night, over 40 nights
	leastSound   = 0.4  // mm/K, of 0.23 m of air
	mostSound    = 12.0 // mm/K, of 6.8 m of air
	soundExpects = 2.0  // times what the distance on file makes, or one over that
)

// sound tells a level that follows the temperature of the air from night to night, as sound without compensation makes
// it: a distance d is shown d/(2T) too short for each kelvin that is not told.
func (l *Level) sound() (c cause.Cause, ok bool) {
	var rise, warmer []float64
	var before *night
	for _, n := range l.nights() {
		if before != nil && n.day-before.day == 1 {
			rise, warmer = append(rise, 1000*(n.head-before.head)), append(warmer, n.air-before.air)
		}
		before = &n
	}
	count := len(rise)
	if count < soundNights {
		return c, false
	}
	slope := stat.TheilSen(warmer, rise)
	ranks := stat.Spearman(warmer, rise)
	asked := math.Min(soundRanks*math.Sqrt(40/float64(count)), 0.8)
	if expected := l.Distance * 1000 / (2 * 283.15); l.Distance > 0 &&
		(slope > soundExpects*expected || slope < expected/soundExpects) {
		return c, false
	}
	if ranks < math.Max(asked, 0.33) || slope < leastSound || slope > mostSound {
		return c, false
	}
	c = cause.Named("sound")
	c.Value, c.Unit = slope, "mm/K"
	c.Jackknife(count, func(of func(int) bool) float64 {
		var x, y []float64
		for i := range rise {
			if of(i) {
				x, y = append(x, warmer[i]), append(y, rise[i])
			}
		}
		return stat.TheilSen(x, y)
	})
	if c.Low <= 0 {
		return c, false
	}
	c.Worth = l.soundWorth(slope / 1000)
	return c, true
}

// soundWorth is what the flow has too much for air that is warmer than its mean, and too little for colder air.
func (l *Level) soundWorth(perKelvin float64) float64 {
	mean, n := 0.0, 0
	at := map[int64]float64{}
	for i := range l.Hours {
		if t := l.Hours[i].Air; !math.IsNaN(t) {
			mean, n = mean+t, n+1
			at[l.Hours[i].At] = t
		}
	}
	mean /= float64(max(n, 1))
	return l.shifted(math.MinInt64, math.MaxInt64, func(t int64) float64 {
		if air, ok := at[t]; ok {
			return perKelvin * (air - mean)
		}
		return 0
	})
}

// night is the level and the air of the calmest hours of a day.
type night struct {
	day       int64
	head, air float64
}

// nightHours is how many hours of the day are taken: those in which the level goes least from day to day.
const nightHours = 5

// calmest is the hour of the day from which on so many go least from day to day.
func (l *Level) calmest() int {
	var by [24][]float64
	for i := 24; i < len(l.Hours); i++ {
		h, before := &l.Hours[i], &l.Hours[i-24]
		if d := math.Abs(h.Head - before.Head); h.At-before.At == 24*cause.HourNs && !math.IsNaN(d) {
			k := time.Unix(0, h.At).In(l.Clock).Hour()
			by[k] = append(by[k], d)
		}
	}
	best, least := 0, math.Inf(1)
	for k := range by {
		sum := 0.0
		for j := range nightHours {
			if list := by[(k+j)%24]; len(list) > 0 {
				sum += stat.Median(list)
			} else {
				sum = math.Inf(1)
			}
		}
		if sum < least {
			best, least = k, sum
		}
	}
	return best
}

// nights are those of the record that have three hours or more.
func (l *Level) nights() (list []night) {
	from := l.calmest()
	heads, airs := map[int64][]float64{}, map[int64][]float64{}
	var order []int64
	for i := range l.Hours {
		h := &l.Hours[i]
		t := time.Unix(0, h.At).In(l.Clock).Add(-time.Duration(from) * time.Hour)
		if t.Hour() >= nightHours || math.IsNaN(h.Head) || math.IsNaN(h.Air) {
			continue
		}
		day := time.Date(t.Year(), t.Month(), t.Day(), 0, 0, 0, 0, time.UTC).Unix() / 86400
		if len(heads[day]) == 0 {
			order = append(order, day)
		}
		heads[day], airs[day] = append(heads[day], h.Head), append(airs[day], h.Air)
	}
	for _, day := range order {
		if len(heads[day]) >= 3 {
			list = append(list, night{day, stat.Mean(heads[day]), stat.Mean(airs[day])})
		}
	}
	return list
}
