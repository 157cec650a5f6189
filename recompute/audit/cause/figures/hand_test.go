package figures

import (
	"fmt"
	"math"
	"slices"
	"testing"
	"time"

	"retotal/recompute/audit/cause"
)

var begins = time.Date(2031, 3, 1, 0, 0, 0, 0, time.UTC).UnixNano()

const dayNs = 24 * cause.HourNs

// flowOf is a flow with a day and a week, m³/h, of hour k.
func flowOf(k int) float64 {
	return 50 + 20*math.Sin(2*math.Pi*float64(k)/24) + 10*math.Sin(2*math.Pi*float64(k)/131)
}

const someDays = 40

// counted is a counter over forty days, of which counts says what it counts in an hour.
func counted(counts func(k int, flow float64) float64) *Counter {
	c := &Counter{Step: 0.01}
	for k := range 24 * someDays {
		q, at := flowOf(k), begins+int64(k)*cause.HourNs
		c.Hours = append(c.Hours, cause.Hour{At: at, Flow: q, Rated: q, Counted: counts(k, q)})
	}
	for d := range someDays {
		day := Day{From: begins + int64(d)*dayNs, Until: begins + int64(d+1)*dayNs, Rated: math.NaN()}
		for _, h := range c.Hours[24*d : 24*d+24] {
			day.Flow, day.Counted = day.Flow+h.Flow, day.Counted+h.Counted
		}
		c.Days = append(c.Days, day)
	}
	return c
}

// TestCounterByHand: what a counter does that is wrong in one way, of a known size, is named with it; of one that is
// right, or off by less than a factor is told for, nothing is said.
func TestCounterByHand(t *testing.T) {
	hour := func(k int) int64 { return begins + int64(k)*cause.HourNs }
	for _, c := range []struct {
		name          string
		counter       *Counter
		value, within float64
		since         int64
	}{
		{"", counted(func(_ int, q float64) float64 { return q }), 0, 0, 0},
		{"", counted(func(_ int, q float64) float64 { return 1.009 * q }), 0, 0, 0},
		{"counter multiplier", counted(func(_ int, q float64) float64 { return 1.05 * q }), 1.05, 0.001, 0},
		{"counter multiplier", counted(func(_ int, q float64) float64 { return 3.6 * q }), 3.6, 0, 0},
		{"counter multiplier", counted(func(k int, q float64) float64 {
			if k >= 500 {
				return q / 10
			}
			return q
		}), 0.1, 0, hour(500)},
		{"counter cut-off", counted(func(_ int, q float64) float64 {
			if q < 36 {
				return 0
			}
			return q
		}), 10, 0.3, 0}, // 36 m³/h are 10 L/s
		{"counter standing", counted(func(k int, q float64) float64 {
			if k >= 300 && k < 340 {
				return 0
			}
			return q
		}), 40, 0, hour(300)},
		{"counter replaced", counted(func(k int, q float64) float64 {
			if k == 222 {
				return q + 50000
			}
			return q
		}), 50000 + flowOf(222), 0.1, hour(222)},
	} {
		list := c.counter.Causes()
		if c.name == "" {
			if len(list) > 0 {
				t.Errorf("nothing is wrong: %s %v", list[0].Name, list[0].Value)
			}
			continue
		}
		if len(list) != 1 || list[0].Name != c.name || math.Abs(list[0].Value-c.value) > c.within+1e-9 ||
			list[0].Since != c.since {
			t.Errorf("%s %v since %v: %+v", c.name, c.value, c.since, list)
		}
	}
}

// TestFalls: a counter that fell to what flowed since was set back, one that fell to another figure was replaced.
func TestFalls(t *testing.T) {
	for to, want := range map[float64]string{0: "counter reset", 30: "counter reset", 5000: "counter replaced"} {
		c := counted(func(_ int, q float64) float64 { return q })
		at := begins + 333*cause.HourNs
		c.Falls = []Fall{{At: at, From: 70000, To: to}}
		list := c.Causes()
		if len(list) != 1 || list[0].Name != want || list[0].Since != at || list[0].Worth != to-70000 {
			t.Errorf("to %v: %+v", to, list)
		}
	}
}

// TestScaled: where the settings on file make what the counter has, the flow was scaled, and not the counter.
func TestScaled(t *testing.T) {
	c := counted(func(_ int, q float64) float64 { return q / 3.6 })
	for i := range c.Days {
		c.Days[i].Rated = c.Days[i].Counted * 1.004 // the rounding of the level
	}
	list := c.Causes()
	if len(list) != 1 || list[0].Name != "flow scaled after the meter" || math.Abs(list[0].Value-3.6) > 1e-9 {
		t.Errorf("%+v", list)
	}
}

// submitted are days of which figure says what was reported, to 0.1 m³.
func submitted(figure func(r *Reported, from, until int64, d int) float64) *Reported {
	var hours []cause.Hour
	for k := range 24 * someDays {
		hours = append(hours, cause.Hour{At: begins + int64(k)*cause.HourNs, Flow: flowOf(k)})
	}
	r := &Reported{Report: time.UTC, Volumes: cause.NewVolumes(hours, func(h *cause.Hour) float64 { return h.Flow })}
	for d := 2; d < someDays-2; d++ {
		f := Figure{From: begins + int64(d)*dayNs, Until: begins + int64(d+1)*dayNs, Step: 0.1,
			Corrected: math.NaN(), Logged: math.NaN(), Counted: math.NaN(), Label: fmt.Sprint(d)}
		f.Flow = r.Volumes.Between(f.From, f.Until)
		f.Value = math.Round(10*figure(r, f.From, f.Until, d)) / 10
		r.Days = append(r.Days, f)
	}
	return r
}

// TestReportedByHand: days that were reported otherwise, each in one way, are told by it.
func TestReportedByHand(t *testing.T) {
	shifted := func(hours func(from int64) float64) *Reported {
		return submitted(func(r *Reported, from, until int64, _ int) float64 {
			by := int64(hours(from) * float64(cause.HourNs))
			return r.Volumes.Between(from+by, until+by)
		})
	}
	register := 12345.0
	for _, c := range []struct {
		name          string
		reported      *Reported
		value, within float64
	}{
		{"", shifted(func(int64) float64 { return 0 }), 0, 0},
		{"reported day bound", shifted(func(int64) float64 { return 9 }), 9, 0},
		{"reported day bound", shifted(func(int64) float64 { return -5 }), -5, 0},
		{"clock offset", shifted(func(int64) float64 { return 5.4 }), 5.4, 0.05},
		{"clock drift", shifted(func(from int64) float64 { return float64(from-begins) / float64(dayNs) * 300 / 3600 }),
			300, 15},
		{"reported unit", submitted(func(r *Reported, from, until int64, _ int) float64 {
			return 1000 * r.Volumes.Between(from, until)
		}), 1000, 0},
		{"register reported", submitted(func(r *Reported, from, until int64, _ int) float64 {
			register += r.Volumes.Between(from, until)
			return register
		}), 12345, 1},
		{"reported from elsewhere", submitted(func(r *Reported, from, until int64, d int) float64 {
			if d < someDays-5 {
				return r.Volumes.Between(from+3*dayNs, until+3*dayNs)
			}
			return r.Volumes.Between(from, until)
		}), 3, 0},
	} {
		list := c.reported.Causes()
		if c.name == "" {
			if len(list) > 0 {
				t.Errorf("nothing is wrong: %+v", list)
			}
			continue
		}
		if len(list) != 1 || list[0].Name != c.name || math.Abs(list[0].Value-c.value) > c.within+1e-9 {
			t.Errorf("%s %v: %+v", c.name, c.value, list)
		}
	}
}

// TestRepeatedDays: three days that carry the figure of the one before them.
func TestRepeatedDays(t *testing.T) {
	r := submitted(func(r *Reported, from, until int64, _ int) float64 { return r.Volumes.Between(from, until) })
	for i := 11; i < 14; i++ {
		r.Days[i].Value = r.Days[10].Value
	}
	list := r.Causes()
	if len(list) != 1 || list[0].Name != "reported value repeated" || list[0].Value != 3 ||
		list[0].Since != r.Days[11].From || list[0].Until != r.Days[13].Until {
		t.Errorf("%+v", list)
	}
}

// TestMonthsByHand: of four months of 1,000, 1,100, 1,300 and 900 m³ one figure, or all, were made otherwise.
func TestMonthsByHand(t *testing.T) {
	flows := []float64{1000, 1100, 1300, 900}
	for _, c := range []struct {
		name   string
		values []float64
		value  float64 // NaN for none
	}{
		{"", []float64{1000, 1104, 1297, 900}, 0},
		{"reported unit", []float64{10000, 11000, 13000, 9000}, 10},
		{"reported value repeated", []float64{1000, 1000, 1300, 900}, math.NaN()},
		{"reported from elsewhere", []float64{1000, 900.2, 1300, 903.5}, math.NaN()},
		{"register reported", []float64{1000, 2100, 3400, 4300}, 1000},
		{"", []float64{1000, 1217, 1300, 900}, 0},
	} {
		r := &Reported{Report: time.UTC}
		var hours []cause.Hour
		for i, flow := range flows {
			f := Figure{Label: fmt.Sprintf("2031-%02d", i+1), From: begins + int64(i)*30*dayNs,
				Until: begins + int64(i+1)*30*dayNs, Value: c.values[i], Step: 0.1, Flow: flow,
				Corrected: math.NaN(), Logged: math.NaN(), Counted: math.NaN()}
			r.Months = append(r.Months, f)
			for k := range 30 * 24 {
				hours = append(hours, cause.Hour{At: f.From + int64(k)*cause.HourNs, Flow: flow / 720})
			}
		}
		r.All = slices.Clone(r.Months)
		r.Volumes = cause.NewVolumes(hours, func(h *cause.Hour) float64 { return h.Flow })
		list := r.Causes()
		switch {
		case c.name == "" && len(list) > 0:
			t.Errorf("%v: %+v", c.values, list)
		case c.name != "" && (len(list) != 1 || list[0].Name != c.name ||
			!math.IsNaN(c.value) && list[0].Value != c.value):
			t.Errorf("%s: %+v", c.name, list)
		}
	}
}
