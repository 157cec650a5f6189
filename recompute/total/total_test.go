package total

import (
	"fmt"
	"math"
	"math/big"
	"math/rand/v2"
	"testing"
	"time"
)

func calendar(t testing.TB, zone string, day time.Duration, first time.Time) *Calendar {
	t.Helper()
	l, err := time.LoadLocation(zone)
	if err != nil {
		t.Fatal(err)
	}
	return NewCalendar(l, day, false, first.UnixNano())
}

// TestCalendar: days of 23 and 25 hours at the clock changes of the EU (Directive 2000/84/EC: last Sundays of March and
// October, 01:00 UTC), and the day start apart from midnight (09:00, as UK gauged daily flows are kept).
func TestCalendar(t *testing.T) {
	for _, c := range []struct {
		zone  string
		start time.Duration
		at    string
		label string
		hours float64
	}{
		{"Europe/Dublin", 0, "2031-03-29T12:00:00Z", "2031-03-29", 24},
		{"Europe/Dublin", 0, "2031-03-30T12:00:00Z", "2031-03-30", 23},
		{"Europe/Dublin", 0, "2031-10-26T12:00:00Z", "2031-10-26", 25},
		{"UTC", 9 * time.Hour, "2031-03-30T08:59:59Z", "2031-03-29", 24},
		{"UTC", 9 * time.Hour, "2031-03-30T09:00:00Z", "2031-03-30", 24},
		{"America/New_York", 0, "2031-03-09T12:00:00Z", "2031-03-09", 23},
	} {
		at, _ := time.Parse(time.RFC3339, c.at)
		cal := calendar(t, c.zone, c.start, at.AddDate(0, 0, -40))
		day := cal.Day(at.UnixNano())
		start, end := cal.Bounds(day)
		if got := time.Duration(end - start).Hours(); cal.Label(day) != c.label ||
			got != c.hours || at.UnixNano() < start || at.UnixNano() >= end {
			t.Errorf("%s in %s: day %s of %g h, want %s of %g h", c.at, c.zone, cal.Label(day), got, c.label, c.hours)
		}
	}
}

// TestDayLabel: days from 09:00 carry the date on which they begin (UK gauged daily flows, nrfa.ceh.ac.uk) or end
// (daily records at 09:00, common practice elsewhere); a month is the days that carry its name. Days from midnight are
// the same either way.
func TestDayLabel(t *testing.T) {
	at := time.Date(2031, 3, 31, 12, 0, 0, 0, time.UTC)
	for _, c := range []struct {
		starts        time.Duration
		byEnd         bool
		label         string
		first, lastTo string // month of that day
	}{
		{9 * time.Hour, false, "2031-03-31", "2031-03-01T09:00:00Z", "2031-04-01T09:00:00Z"},
		{9 * time.Hour, true, "2031-04-01", "2031-03-31T09:00:00Z", "2031-04-30T09:00:00Z"},
		{0, true, "2031-03-31", "2031-03-01T00:00:00Z", "2031-04-01T00:00:00Z"},
	} {
		cal := NewCalendar(time.UTC, c.starts, c.byEnd, at.AddDate(0, 0, -3).UnixNano())
		day := cal.Day(at.UnixNano())
		from, until := cal.Span(day, func(label string) string { return label[:7] })
		first, last := time.Unix(0, from).UTC().Format(time.RFC3339), time.Unix(0, until).UTC().Format(time.RFC3339)
		if cal.Label(day) != c.label || first != c.first || last != c.lastTo {
			t.Errorf("%v, %v: %s, month from %s to %s; want %+v", c.starts, c.byEnd, cal.Label(day), first, last, c)
		}
	}
}

// TestPeriodsByHand: at a steady 1 m³/s a period's volume is its seconds, counted by hand: 86,400 a day, 3,600 less or
// more where the clock changes (Directive 2000/84/EC; Lord Howe's half hour from memory), a leap day in 2032, and ISO
// 8601 weeks from Monday.
func TestPeriodsByHand(t *testing.T) {
	week := func(label string) string {
		at, _ := time.Parse("2006-01-02", label)
		y, w := at.ISOWeek()
		return fmt.Sprint(y, " ", w)
	}
	first := func(letters int) func(string) string { return func(label string) string { return label[:letters] } }
	for _, c := range []struct {
		zone   string
		starts time.Duration
		day    string
		name   func(string) string
		days   int
		extra  float64 // s
	}{
		{"Europe/Dublin", 0, "2031-03-30", first(10), 1, -3600},
		{"Europe/Dublin", 0, "2031-10-26", first(10), 1, 3600},
		{"Europe/Dublin", 9 * time.Hour, "2031-03-29", first(10), 1, -3600}, // the clock changes in the night before the 30th's 09:00
		{"Europe/Dublin", 9 * time.Hour, "2031-03-30", first(10), 1, 0},
		{"Europe/Dublin", 9 * time.Hour, "2031-10-25", first(10), 1, 3600},
		{"UTC", 9 * time.Hour, "2031-03-30", first(10), 1, 0},
		{"Australia/Lord_Howe", 0, "2031-10-05", first(10), 1, -1800},
		{"Australia/Lord_Howe", 0, "2031-04-06", first(10), 1, 1800},
		{"America/New_York", 0, "2031-11-02", first(10), 1, 3600},
		{"UTC", 0, "2032-02-29", first(10), 1, 0},
		{"UTC", 9 * time.Hour, "2031-12-31", first(10), 1, 0},
		{"Europe/Dublin", 0, "2031-03-30", week, 7, -3600},
		{"UTC", 0, "2032-01-01", week, 7, 0}, // Monday 29 December 2031 to Sunday 4 January
		{"Europe/Dublin", 0, "2031-03-15", first(7), 31, -3600},
		{"Europe/Dublin", 0, "2031-10-15", first(7), 31, 3600},
		{"Europe/Dublin", 9 * time.Hour, "2031-03-15", first(7), 31, -3600},
		{"UTC", 0, "2031-02-10", first(7), 28, 0},
		{"UTC", 9 * time.Hour, "2032-02-10", first(7), 29, 0},
		{"Europe/Dublin", 0, "2031-06-01", first(4), 365, 0},
		{"Europe/Dublin", 9 * time.Hour, "2032-06-01", first(4), 366, 0},
	} {
		noon, _ := time.Parse("2006-01-02", c.day)
		noon = noon.Add(12 * time.Hour)
		cal := calendar(t, c.zone, c.starts, noon.AddDate(0, 0, -400))
		s := NewSeries(cal, math.MinInt64, math.MaxInt64)
		var times []int64
		var flows []float64
		for at := noon.AddDate(0, 0, -399); at.Before(noon.AddDate(0, 0, 399)); at = at.Add(time.Hour) {
			times, flows = append(times, at.UnixNano()), append(flows, 1)
		}
		s.Run(times, flows)
		var sum Sum
		for i := range cal.Days() {
			if c.name(cal.Label(i)) == c.name(c.day) {
				v := s.Volume(i).Sum
				sum.Merge(v)
			}
		}
		want := float64(c.days)*86400 + c.extra
		l, _ := time.LoadLocation(c.zone)
		y, m, d := noon.Date()
		from, until := cal.Span(cal.Day(time.Date(y, m, d, 12, 0, 0, 0, l).UnixNano()), c.name)
		if math.Abs(sum.Value()-want) > 1e-6 || until-from != int64(want)*1e9 {
			t.Errorf("%s in %s from %v: %.3f m3 over %.0f s, want %.0f",
				c.day, c.zone, c.starts, sum.Value(), float64(until-from)*1e-9, want)
		}
	}
}

// TestRunIsExactAtBounds integrates a straight line, whose integral is known, over odd intervals across days.
func TestRunIsExactAtBounds(t *testing.T) {
	first := time.Date(2031, 3, 29, 0, 0, 0, 0, time.UTC)
	cal := calendar(t, "Europe/Dublin", 0, first)
	var times []int64
	var flows []float64
	flow := func(at int64) float64 { return 0.01 + 1e-7*float64(at-first.UnixNano())*1e-9 }
	step := int64(7*time.Hour + 13*time.Minute + 11*time.Second)
	for at := first.UnixNano(); at < first.AddDate(0, 0, 3).UnixNano(); at += step {
		times, flows = append(times, at), append(flows, flow(at))
	}
	s := NewSeries(cal, math.MinInt64, math.MaxInt64)
	s.Run(times, flows)
	for day := range 3 {
		start, end := cal.Bounds(day)
		end = min(end, times[len(times)-1])
		want := (flow(start) + flow(end)) / 2 * float64(end-start) * 1e-9
		sum, covered := parts(s.Volume(day))
		if got := sum.Value(); math.Abs(got-want) > 1e-9*want || covered != end-start {
			t.Errorf("day %d: %v m3 over %d ns, want %v over %d", day, got, covered, want, end-start)
		}
	}
}

// TestAnySplitGivesOneTotal cuts one record at random places and compares day sums, printed to 0.001 m³, with a
// 400-bit sum.
func TestAnySplitGivesOneTotal(t *testing.T) {
	random := rand.New(rand.NewPCG(1, 2))
	first := time.Date(2031, 3, 1, 0, 0, 0, 0, time.UTC)
	n := 20000
	times, flows := make([]int64, n), make([]float64, n)
	exact := new(big.Float).SetPrec(400)
	for i := range times {
		times[i] = first.UnixNano() + int64(i)*int64(time.Minute) + random.Int64N(int64(30*time.Second))
		flows[i] = 0.012 * math.Exp(random.NormFloat64())
		if i > 0 {
			term := new(big.Float).SetPrec(400).SetFloat64(flows[i-1])
			term.Add(term, new(big.Float).SetFloat64(flows[i]))
			exact.Add(exact, term.Mul(term, new(big.Float).SetInt64(times[i]-times[i-1])))
		}
	}
	want, _ := exact.Mul(exact, new(big.Float).SetFloat64(0.5e-9)).Float64()
	for range 200 {
		s := NewSeries(calendar(t, "Europe/Dublin", 0, first), math.MinInt64, math.MaxInt64)
		for low := 0; low < n-1; {
			high := min(n-1, low+1+random.IntN(3000))
			s.Run(times[low:high+1], flows[low:high+1])
			low = high
		}
		var total Sum
		for day := range 20 {
			v := s.Volume(day).Sum
			total.Merge(v)
		}
		if got := total.Value(); math.Abs(got-want) > 1e-12*want {
			t.Fatalf("total %v, exact %v", got, want)
		}
	}
}

// TestClip: nothing outside the period counts, and the interval over its bound counts up to the bound.
func TestClip(t *testing.T) {
	first := time.Date(2031, 3, 1, 0, 0, 0, 0, time.UTC).UnixNano()
	minute := int64(time.Minute)
	s := NewSeries(calendar(t, "UTC", 0, time.Unix(0, first)), first+90e9, first+4*minute)
	s.Run([]int64{first, first + minute, first + 2*minute, first + 3*minute, first + 5*minute},
		[]float64{9, 2, 4, 4, 6})
	// 30 s at 3 to 4, one minute at 4, one minute at 4 to 5
	if sum, covered := parts(s.Volume(0)); math.Abs(sum.Value()-(3.5*30+4*60+4.5*60)) > 1e-9 || covered != 150e9 {
		t.Errorf("%v m3 over %d ns", sum.Value(), covered)
	}
}

// TestCounter: rows CNT-1 and CNT-2 of the reference (modulus arithmetic as in OPC UA Part 4 7.5).
func TestCounter(t *testing.T) {
	first := time.Date(2031, 3, 1, 0, 0, 0, 0, time.UTC)
	for _, c := range []struct {
		id              string
		from, to        float64
		greatestPerHour float64
		want            float64
		falls           int
	}{
		{"CNT-1", 999900, 100, 0, 200, 0},
		{"CNT-2", 523400, 12, 50, 0, 1},
		{"rise", 100, 150, 50, 50, 0},
	} {
		counter := NewCounter(calendar(t, "UTC", 0, first), math.MinInt64, math.MaxInt64, 1e6, c.greatestPerHour/3600,
			1)
		counter.Add(first.UnixNano(), c.from)
		counter.Add(first.Add(time.Hour).UnixNano(), c.to)
		if sum := counter.Volume(0).Sum; math.Abs(sum.Value()-c.want) > 1e-9 || len(counter.Falls) != c.falls {
			t.Errorf("%s: %v m3, %d falls, want %v and %d", c.id, sum.Value(), len(counter.Falls), c.want, c.falls)
		}
	}
}

// TestCounterChange: a register that was replaced at half past the hour counts what the old one showed last and the
// new one since it showed first. By hand: 990 to 1,010 and 5 to 35 is 50; when nobody read the old one, 5 to 35 is 30,
// over half an hour; over its modulus, 999,990 to 10 and 5 to 35 is 50.
func TestCounterChange(t *testing.T) {
	first := time.Date(2031, 3, 1, 0, 0, 0, 0, time.UTC)
	for _, c := range []struct {
		name             string
		before, last     float64
		want             float64
		covered          time.Duration
		falls, rollovers int
	}{
		{"read", 990, 1010, 50, time.Hour, 0, 0},
		{"not read", 990, math.NaN(), 30, 30 * time.Minute, 0, 0},
		{"rolled over before it was changed", 999990, 10, 50, time.Hour, 0, 1},
		{"fell before it was changed", 990, 400, 30, 30 * time.Minute, 1, 0},
	} {
		counter := NewCounter(calendar(t, "UTC", 0, first), math.MinInt64, math.MaxInt64, 1e6, 100.0/3600, 1)
		counter.Changes = []CounterChange{{At: first.Add(30 * time.Minute).UnixNano(), Last: c.last, First: 5}}
		counter.Run([]int64{first.UnixNano(), first.Add(time.Hour).UnixNano()}, []float64{c.before, 35})
		sum, covered := parts(counter.Volume(0))
		if math.Abs(sum.Value()-c.want) > 1e-9 || covered != int64(c.covered) ||
			len(counter.Falls) != c.falls || counter.Rollovers != c.rollovers || counter.Changed != 1 {
			t.Errorf("%s: %v m3 over %v, %d falls, %d rollovers, %d changes",
				c.name, sum.Value(), time.Duration(covered), len(counter.Falls), counter.Rollovers, counter.Changed)
		}
	}
}

func BenchmarkRun(b *testing.B) {
	n := 65536
	times, flows := make([]int64, n), make([]float64, n)
	first := time.Date(2031, 3, 1, 0, 0, 0, 0, time.UTC)
	for i := range times {
		times[i], flows[i] = first.UnixNano()+int64(i)*int64(time.Minute), 0.01+float64(i%100)/1e4
	}
	s := NewSeries(calendar(b, "UTC", 0, first), math.MinInt64, math.MaxInt64)
	for b.Loop() {
		s.Run(times, flows)
	}
	b.ReportMetric(float64(n)*float64(b.N)/b.Elapsed().Seconds()/1e6, "Mrows/s")
}

// parts takes a volume apart.
func parts(v Volume) (sum Sum, covered int64) { return v.Sum, v.Covered }
