package alone

import (
	"math"
	"testing"
	"time"

	"retotal/recompute/audit/cause"
)

var begins = time.Date(2031, 3, 1, 0, 0, 0, 0, time.UTC).UnixNano()

// at is the beginning of an hour of the record.
func at(k int) int64 { return begins + int64(k)*cause.HourNs }

// days are forty of a level with a course of the day of 100 ± 20 mm, in steps of a millimetre, four readings an hour,
// of which moved makes what the sensor shows.
func days(moved func(k int, level float64) float64) *Level {
	l := &Level{Step: 0.001, Clock: time.UTC}
	last := math.NaN()
	for k := range 40 * 24 {
		h := cause.Hour{At: at(k), Least: 9, Most: -9, Air: math.NaN(), Flow: 1}
		for q := range 4 {
			hour := float64(k) + float64(q)/4
			v := 0.1 + 0.02*math.Sin(2*math.Pi*hour/24) + 0.003*math.Sin(2*math.Pi*hour/157)
			v = math.Round(1000*moved(k, v)) / 1000
			h.Head += v / 4
			h.Least, h.Most = math.Min(h.Least, v), math.Max(h.Most, v)
			if j := v - last; math.Abs(j) > math.Abs(h.Jump) {
				h.Jump, h.JumpAt = j, at(k)+int64(q)*cause.HourNs/4
			}
			last = v
		}
		l.Hours = append(l.Hours, h)
	}
	return l
}

// TestLevelByHand: a level that stands for 30 h at what it had, one that is lifted by a pond for four days, and one
// that jumps by 30 mm and goes on, are told with their times; the same level without them is not.
func TestLevelByHand(t *testing.T) {
	for _, c := range []struct {
		name   string
		level  *Level
		since  int64
		value  float64
		within float64
	}{
		{"", days(func(_ int, v float64) float64 { return v }), 0, 0, 0},
		{"sensor stuck", days(func(k int, v float64) float64 {
			if k >= 400 && k < 430 {
				return 0.101
			}
			return v
		}), at(400), 30, 1},
		{"ponding", days(func(k int, v float64) float64 {
			edge := math.Min(1, math.Min(float64(k-499)/3, float64(596-k)/3))
			if edge > 0 {
				return v + edge*(math.Max(v, 0.15+0.1*(v-0.1))-v)
			}
			return v
		}), at(501), 94, 4},
		{"datum step", days(func(k int, v float64) float64 {
			if k >= 450 {
				return v + 0.03
			}
			return v
		}), at(450), 30, 3},
	} {
		list := c.level.Causes()
		if c.name == "" {
			if len(list) > 0 {
				t.Errorf("nothing is wrong: %+v", list)
			}
			continue
		}
		if len(list) != 1 || list[0].Name != c.name || math.Abs(list[0].Value-c.value) > c.within ||
			math.Abs(float64(list[0].Since-c.since)) > 2*float64(cause.HourNs) {
			t.Errorf("%s since %v: %+v", c.name, c.since, list)
		}
	}
}

// TestSoundByHand: a level that rises by 3 mm with each kelvin of the air, which goes by 8 K over eleven days, is told;
// so it is not where the distance on file makes 8 mm of it, or the level knows nothing of the air.
func TestSoundByHand(t *testing.T) {
	air := func(k int) float64 {
		return 280 + 8*math.Sin(2*math.Pi*float64(k)/264) + 3*math.Sin(2*math.Pi*float64(k)/24)
	}
	warm := func(l *Level) *Level {
		for k := range l.Hours {
			l.Hours[k].Air = air(k)
		}
		return l
	}
	follows := func(k int, v float64) float64 { return v + 0.003*(air(k)-280) }
	list := warm(days(follows)).Causes()
	if len(list) != 1 || list[0].Name != "sound" || math.Abs(list[0].Value-3) > 0.3 {
		t.Errorf("%+v", list)
	}
	far := warm(days(follows))
	far.Distance = 8 * 2 * 283.15 / 1000
	for _, l := range []*Level{far, days(follows), warm(days(func(_ int, v float64) float64 { return v }))} {
		for _, c := range l.Causes() {
			if c.Name == "sound" {
				t.Errorf("%+v", c)
			}
		}
	}
}

// TestSummerTime: an hour that lacks on 30 March 2031, and one that stands twice on 26 October, are of a clock that
// follows summer time; on another day, at noon, or where the log's zone has it, they are not.
func TestSummerTime(t *testing.T) {
	spell := func(date string, hours float64) Spell {
		from, err := time.Parse("2006-01-02 15:04", date)
		if err != nil {
			t.Fatal(err)
		}
		return Spell{From: from.UnixNano(), Until: from.UnixNano() + int64(hours*float64(cause.HourNs))}
	}
	berlin, err := time.LoadLocation("Europe/Berlin")
	if err != nil {
		t.Skip(err)
	}
	for _, c := range []struct {
		gap, double string
		clock       *time.Location
		want        float64 // 0 for none
	}{
		{"2031-03-30 01:45", "", time.UTC, 1}, {"", "2031-10-26 02:00", time.UTC, -1},
		{"2031-03-29 01:45", "", time.UTC, 0}, {"2031-03-30 12:00", "", time.UTC, 0},
		{"2031-03-30 00:45", "", berlin, 0}, {"", "2031-10-25 02:00", time.UTC, 0},
	} {
		s := &Stamps{Clock: c.clock, Report: time.UTC}
		if c.gap != "" {
			s.Gaps = []Spell{spell(c.gap, 1.25)}
		} else {
			s.Doubles = []Spell{spell(c.double, 0.75)}
		}
		list := s.Causes()
		if (c.want == 0) != (len(list) == 0) || len(list) > 0 && list[0].Value != c.want {
			t.Errorf("%+v: %+v", c, list)
		}
	}
}
