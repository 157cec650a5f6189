package evidence

import (
	"fmt"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"
	"time"

	"retotal/qa/moves"
	"retotal/recompute/block"
	"retotal/recompute/total"
	"retotal/testdata/effort"
	"retotal/testdata/records"
)

// alarms is what is told of clean records.
type alarms struct {
	sites, any, moves, changes, drifts, unlike int
	where                                      []string
	turned, found                              int // days whose halves were exchanged, and those that were told
}

// coursesOf gathers the days of a record.
func coursesOf(r *records.Record) (c *Courses, days []Day) {
	b := hand(nil, nil)
	b.Time, b.Head, b.High = r.At, r.Level, len(r.Level)
	b.Flags = block.Grow(b.Flags, b.High)
	b.From = r.At[0]
	b.Calendar = total.NewCalendar(time.UTC, 0, false, r.At[0])
	c = &Courses{}
	c.Add(b)
	for i := range c.days {
		start, _ := b.Calendar.Bounds(i)
		days = append(days, Day{Label: fmt.Sprint(i), Start: start})
	}
	return c, days
}

// look looks at a clean record in all ways.
func (a *alarms) look(random *rand.Rand, kind records.Kind, interval time.Duration) {
	resolutions := []float64{0.0001, 0.0002, 0.0005, 0.001, 0.002, 0.005, 0.01}
	r := records.Make(random, kind, interval, resolutions[random.IntN(len(resolutions))], 365*24*time.Hour)
	m := moves.New(r.Resolution)
	for i, at := range r.At {
		m.Add(at, r.Level[i])
	}
	c, days := coursesOf(r)
	var told []string
	note := func(what string, of *int) { *of++; told = append(told, what) }
	if found := m.Find(); len(found) > 0 {
		note(fmt.Sprintf("moves %+.4v", found), &a.moves)
	}
	for _, x := range c.ChangePoints(days, true) {
		if x.Drift {
			note(fmt.Sprintf("drift %.1f", x.Size), &a.drifts)
		} else {
			note(fmt.Sprintf("change %.1f", x.Size), &a.changes)
		}
	}
	if n := len(c.Pattern(days, 0).Broken); n > 0 {
		note(fmt.Sprintf("%d days unlike", n), &a.unlike)
	}
	a.sites++
	if len(told) > 0 {
		a.any++
		what := strings.Join(told, ", ")
		a.where = append(a.where, fmt.Sprintf("%v, %v, %v m: %s", kind, interval, r.Resolution, what))
	}
	a.turn(random, r)
}

// turn exchanges the halves of a day, as a clock does that is twelve hours wrong.
func (a *alarms) turn(random *rand.Rand, r *records.Record) {
	if r.Kind != records.Sewage && r.Kind != records.Snowmelt && r.Kind != records.Pumped {
		return
	}
	per := int(24 * time.Hour / r.Interval)
	day := 10 + random.IntN(300)
	one := *r
	one.Level = slices.Clone(r.Level)
	noon := day*per + per/2
	copy(one.Level[day*per:], r.Level[noon:(day+1)*per])
	copy(one.Level[noon:], r.Level[day*per:noon])
	c, days := coursesOf(&one)
	a.turned++
	if slices.Contains(c.Pattern(days, 0).Broken, fmt.Sprint(day)) {
		a.found++
	}
}

func measureAlarms(seed uint64, rounds int) *alarms {
	random := rand.New(rand.NewPCG(seed, 15))
	a := &alarms{}
	for range rounds {
		for _, kind := range records.Kinds() {
			for _, minutes := range []time.Duration{1, 5, 6, 15, 30, 60} {
				a.look(random, kind, minutes*time.Minute)
			}
		}
	}
	return a
}

func (a *alarms) table() string {
	return fmt.Sprintf("%d clean years; something is told of %d: moves %d, change points %d, drifts %d, "+
		"days unlike %d\n    %s\nof %d days whose halves were exchanged %d are told\n", a.sites, a.any, a.moves,
		a.changes, a.drifts, a.unlike, strings.Join(a.where, "\n    "), a.turned, a.found)
}

// TestHarm: of clean generated years with seasons and storms, moves of the sensor, change points and drifts of the
// night minimum, and days unlike those before them are told together in at most 2 of 100.
func TestHarm(t *testing.T) {
	if testing.Short() {
		t.Skip("it is statistics, of many years")
	}
	a := measureAlarms(1, effort.Rounds(2, 8))
	t.Log("\n" + a.table())
	if a.any*50 > max(a.sites, 50) {
		t.Error("too many")
	}
}

// BenchmarkHarm prints the same of records that no test has.
func BenchmarkHarm(b *testing.B) {
	var a *alarms
	for b.Loop() {
		a = measureAlarms(2, 10)
	}
	fmt.Println(a.table())
}
