package alone

import (
	"fmt"
	"math"
	"math/rand/v2"
	"strings"
	"testing"
	"time"

	"retotal/recompute/audit/cause"
	"retotal/testdata/effort"
	"retotal/testdata/records"
)

// levelOf is a record as package audit hands it over.
func levelOf(r *records.Record) *Level {
	l := &Level{Step: r.Resolution, Clock: time.UTC}
	sum, n, last := 0.0, 0, math.NaN()
	for i, at := range r.At {
		number, level := at/cause.HourNs, r.Level[i]
		if k := len(l.Hours); k == 0 || l.Hours[k-1].At != number*cause.HourNs {
			l.Hours = append(l.Hours, cause.Hour{At: number * cause.HourNs, Least: level, Most: level, Air: math.NaN()})
			sum, n = 0, 0
		}
		h := &l.Hours[len(l.Hours)-1]
		sum, n = sum+level, n+1
		h.Head, h.Least, h.Most = sum/float64(n), math.Min(h.Least, level), math.Max(h.Most, level)
		h.Flow = math.Pow(math.Max(level, 0), 1.5) * 3600
		if j := level - last; math.Abs(j) > math.Abs(h.Jump) {
			h.Jump, h.JumpAt = j, at
		}
		last = level
	}
	return l
}

// warm puts a temperature of the air to the hours, which the level knows nothing of.
func (l *Level) warm(random *rand.Rand) {
	weather := 0.0
	for i := range l.Hours {
		weather += -weather/72 + 4*math.Sqrt(2.0/72)*random.NormFloat64()
		hour := float64(l.Hours[i].At/cause.HourNs%24) - 9
		l.Hours[i].Air = 283 + weather + 4*math.Sin(2*math.Pi*hour/24)
	}
}

// harm is how many records of sound levels are told to be wrong.
func harm(seed uint64, rounds int, length time.Duration) (told, of int, where []string) {
	random := rand.New(rand.NewPCG(seed, 77))
	resolutions := []float64{0.0005, 0.001, 0.002, 0.005, 0.01}
	for range rounds {
		for _, kind := range records.Kinds() {
			for _, minutes := range []time.Duration{5, 15, 60} {
				resolution := resolutions[random.IntN(len(resolutions))]
				l := levelOf(records.Make(random, kind, minutes*time.Minute, resolution, length))
				l.warm(random)
				list := l.Causes()
				of++
				if len(list) == 0 {
					continue
				}
				told++
				var words []string
				for _, c := range list {
					words = append(words, fmt.Sprintf("%s %.2f since %.2f", c.Name, c.Value,
						float64(c.Since-l.Hours[0].At)/86400e9))
				}
				where = append(where, fmt.Sprintf("%v, %v, %v m: %s", kind, minutes*time.Minute, resolution,
					strings.Join(words, "; ")))
			}
		}
	}
	return told, of, where
}

// TestHarm: of the level alone, nothing is said of sound records, but of 2 in 100.
func TestHarm(t *testing.T) {
	told, of, where := harm(1, effort.Rounds(3, 20), 90*24*time.Hour)
	t.Logf("%d of %d\n%s", told, of, strings.Join(where, "\n"))
	if told*50 > of+50 {
		t.Error("too many")
	}
}
