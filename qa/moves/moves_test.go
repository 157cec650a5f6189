package moves

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"testing"
	"time"
)

// step is one step of the logs below: a power of two, so that a jump can stand exactly at an edge.
const step = 1.0 / 1024

// log is so many days of a level that stands at zero, a reading every 5 minutes from the beginning of 2031.
type log struct {
	at    []int64
	level []float64
}

const perDay = 288

func days(n int) (l log) {
	began := time.Date(2031, 1, 1, 0, 0, 0, 0, time.UTC)
	for i := range n * perDay {
		l.at = append(l.at, began.Add(time.Duration(i)*5*time.Minute).UnixNano())
		l.level = append(l.level, 0)
	}
	return l
}

// raise adds to the rows from one to another.
func (l log) raise(from, until int, by float64) log {
	for i := from; i < min(until, len(l.level)); i++ {
		l.level[i] += by
	}
	return l
}

// scatter adds to the rows from one to another, and scatters them on either side of that.
func (l log) scatter(from, until int, by, most float64) log {
	for i := from; i < until; i++ {
		l.level[i] += by + most*math.Sin(float64(i*i%1009))
	}
	return l
}

// every keeps one of so many rows.
func (l log) every(n int) (kept log) {
	for i := 0; i < len(l.at); i += n {
		kept.at, kept.level = append(kept.at, l.at[i]), append(kept.level, l.level[i])
	}
	return kept
}

// without drops rows.
func (l log) without(from, until int) log {
	return log{slices.Delete(l.at, from, until), slices.Delete(l.level, from, until)}
}

func (l log) find(resolution float64) []Move {
	r := New(resolution)
	for i, at := range l.at {
		r.Add(at, l.level[i])
	}
	return r.Find()
}

// TestEdges: what a move is, a little below and at each limit, on still water whose variation within a day is a step.
func TestEdges(t *testing.T) {
	const n, from = 40 * perDay, 20*perDay + 100
	after := func(by float64) log { return days(40).raise(from, n, by) }
	recession := func(hours float64) log {
		l := days(40)
		for i := from; i < n; i++ {
			l.level[i] = 60 * step * math.Exp(-float64(i-from)/12/hours)
		}
		return l
	}
	many := func(moves int) log {
		l := days(40)
		for k := range moves {
			l.raise((4+4*k)*perDay+100, n, 20*step)
		}
		return l
	}
	slope := func(jump float64) log { // of 2 steps an hour over two days, on which a jump is 5 steps of noise
		l := days(40).scatter(0, n, 0, 1.5*step)
		for i := from - perDay; i < n; i++ {
			l.level[i] += float64(min(i-from+perDay, 2*perDay)) / 6 * step
		}
		l.level[from-1], l.level[from] = l.level[from-1]-2*step, l.level[from]+3*step
		return l.raise(from, n, jump)
	}
	for _, c := range []struct {
		name string
		log  log
		want []float64 // sizes in steps
	}{
		{"still water", days(40), nil},
		{"six times the variation", after(6 * step), []float64{6}},
		{"a little less", after(6*step - step/16), nil},
		{"down, a bed at another datum", after(-6 * step), []float64{-6}},
		{"down, a little less", after(-6*step + step/16), nil},
		{"below zero throughout", after(-30*step).raise(0, n, -1), []float64{-30}},
		{"as sharp as it must be", after(12*step).raise(from+2, from+3, 4*step), []float64{12}},
		{"less sharp", after(12*step).raise(from+2, from+3, 4.25*step), nil},
		{"beside changes further off", after(12*step).raise(from+6, from+7, 4.25*step), []float64{12}},
		{"a day after the beginning", days(40).raise(perDay+24, n, 30*step), []float64{30}},
		{"sooner", days(40).raise(perDay-1, n, 30*step), nil},
		{"a day before the end", days(40).raise(n-perDay-24, n, 30*step), []float64{30}},
		{"later", days(40).raise(n-perDay+1, n, 30*step), nil},
		{"a lone reading", days(40).raise(from, from+1, 60*step), nil},
		{"an hour", days(40).raise(from, from+12, 60*step), nil},
		{"a burst that recedes in hours", recession(4), nil},
		{"a burst that recedes in a day", recession(24), nil},
		{"a flow that comes back within three days", days(40).raise(from, from+3*perDay, 60*step), nil},
		{"a level that comes back after four", days(40).raise(from, from+4*perDay, 60*step), []float64{60, -60}},
		{"one that comes back in part", days(40).raise(from, n, 60*step).raise(from+5*perDay, n, -40*step),
			[]float64{60, -40}},
		{"three the same way", many(3), []float64{20, 20, 20}},
		{"a gap of an hour", after(30*step).without(from-12, from), []float64{30}},
		{"a gap of five days", after(30*step).without(from-5*perDay, from), []float64{30}},
		{"out of place for three hours", after(-30*step).raise(from-36, from, -500*step), []float64{-30}},
		{"out of place for two days", after(-30*step).raise(from-2*perDay+20, from, -500*step), []float64{-30}},
		{"out of place, with less to come back than to go", after(30*step).raise(from-36, from, 50*step), []float64{30}},
		{"two stages an hour apart", after(20*step).raise(from+12, n, 20*step), []float64{40}},
		{"and a day", after(20*step).raise(from+perDay, n, 20*step), []float64{40}},
		{"and three days", after(20*step).raise(from+3*perDay, n, 20*step), []float64{20, 20}},
		{"back in part after an hour", after(30*step).raise(from+12, n, -10*step), []float64{20}},
		{"and after a day", after(40*step).raise(from+perDay, n, -15*step), []float64{25}},
		{"back after a day, every 15 minutes", days(40).raise(from, from+perDay+50, -150*step).every(3), nil},
		{"out of place with scattered readings", after(60*step).scatter(from-96, from, 100*step, 12*step),
			[]float64{60}},
		{"the same every 15 minutes", after(60*step).scatter(from-96, from, 100*step, 12*step).every(3),
			[]float64{60}},
		{"a slope with noise", slope(0), nil},
		{"a jump on it", slope(12 * step), []float64{12}},
		{"out of place, and back", days(40).raise(from-36, from, -500*step), nil},
	} {
		found := c.log.find(step)
		ok := len(found) == len(c.want)
		for i := range found {
			ok = ok && math.Abs(found[i].Size/step-c.want[i]) <= max(0.1, 2*found[i].Scatter/step)
		}
		if !ok {
			t.Errorf("%s: %+v, want %v steps", c.name, found, c.want)
		}
	}
}

// TestDates: a move lies between the last reading before it and the first after it, whatever was read while the sensor
// was out of its place.
func TestDates(t *testing.T) {
	const n, from = 40 * perDay, 20*perDay + 100
	for name, c := range map[string]struct {
		log         log
		first, last int
		out         bool
	}{
		"at once":      {days(40).raise(from, n, 30*step), from - 1, from, false},
		"over a gap":   {days(40).raise(from, n, 30*step).without(from-50, from), from - 51, from, false},
		"in stages":    {days(40).raise(from, n, 30*step).raise(from+12, n, 20*step), from - 1, from + 12, true},
		"out of place": {days(40).raise(from, n, -30*step).raise(from-36, from, -500*step), from - 37, from, true},
	} {
		at := days(40).at
		found := c.log.find(step)
		if len(found) != 1 || found[0].Before != at[c.first] || found[0].After != at[c.last] || found[0].Out != c.out {
			t.Errorf("%s: %+v, want %d to %d", name, found, at[c.first], at[c.last])
		}
	}
}

// TestScatter: a move among hours that differ by a little is told with how far they differ anyway.
func TestScatter(t *testing.T) {
	l := days(40).raise(20*perDay, 40*perDay, 0.5)
	for i := range l.level {
		l.level[i] += 0.004 * math.Sin(float64(i*i%1009))
	}
	found := l.find(step)
	if len(found) != 1 || math.Abs(found[0].Size-0.5) > 0.004 || found[0].Scatter <= 0 || found[0].Scatter > 0.004 {
		t.Errorf("%+v", found)
	}
}

// TestRests: a fall to the bottom of the record is told from others where water rests there.
func TestRests(t *testing.T) {
	const n, from = 40 * perDay, 20*perDay + 100
	wave := func(from, until int) log {
		l := days(40)
		for i := from; i < until; i++ {
			l.level[i] = 200*step + 10*step*math.Sin(2*math.Pi*float64(i)/perDay)
		}
		return l
	}
	for name, c := range map[string]struct {
		log  log
		want bool
	}{
		"shut off":                  {wave(0, from), true},
		"moved":                     {wave(0, n).raise(from, n, -200*step), false},
		"rests above the bottom":    {wave(0, from).raise(30*perDay, n, -20*step), false},
		"rises from where it rests": {wave(from, n), false},
	} {
		if found := c.log.find(step); len(found) == 0 || found[0].Rests != c.want {
			t.Errorf("%s: %+v", name, found)
		}
	}
}

// TestBadReadings: what is no number, and what is not later than the reading before, is passed over; so are records too
// short to tell anything.
func TestBadReadings(t *testing.T) {
	l := days(40).raise(20*perDay, 40*perDay, 30*step)
	want := fmt.Sprint(l.find(step))
	r := New(step)
	for i, at := range l.at {
		r.Add(at, l.level[i])
		r.Add(at, 99)
		r.Add(at-1, 99)
		r.Add(at+1, math.NaN())
		r.Add(at+1, math.Inf(-1))
	}
	if got := fmt.Sprint(r.Find()); got != want {
		t.Errorf("%v, want %v", got, want)
	}
	for n := range 60 {
		if found := (log{l.at[20*perDay-n/2:][:n], l.level[20*perDay-n/2:][:n]}).find(step); len(found) > 0 {
			t.Errorf("%d readings: %+v", n, found)
		}
	}
	old := New(0) // before 1970, without a step
	for i, at := range l.at {
		old.Add(at-100*365*24*int64(time.Hour), l.level[i])
	}
	if found := old.Find(); len(found) != 1 {
		t.Errorf("before 1970: %+v", found)
	}
}

// TestQuickMedian holds it to the median of the values in order, of lists of every length with many ties.
func TestQuickMedian(t *testing.T) {
	random := rand.New(rand.NewPCG(3, 9))
	for n := 1; n < 200; n++ {
		for range 20 {
			values := make([]float64, n)
			for i := range values {
				values[i] = float64(random.IntN(1 + random.IntN(40)))
			}
			if want, got := median(slices.Clone(values)), quickMedian(slices.Clone(values)); got != want {
				t.Fatalf("%v: %v, not %v", values, got, want)
			}
		}
	}
}
