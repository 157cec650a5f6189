package moves

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"
	"time"

	"retotal/testdata/effort"
	"retotal/testdata/records"
)

// look takes in a record, but for readings from one row to the one before another.
func look(r *records.Record, from, until int) []Move {
	m := New(r.Resolution)
	for i, x := range r.Level {
		if i < from || i >= until {
			m.Add(r.At[i], x)
		}
	}
	return m.Find()
}

// daily is the variation of a record within a day: 1.4826 times the median distance of the readings of a day from their
// median (a standard deviation, of normal scatter), in the median of all days, and one step of the log at least.
func daily(r *records.Record) float64 {
	per := int(24 * time.Hour / r.Interval)
	middle := func(values []float64) float64 {
		slices.Sort(values)
		return values[len(values)/2]
	}
	var days []float64
	for i := 0; i+per <= len(r.Sound); i += per {
		day := slices.Clone(r.Sound[i : i+per])
		m := middle(day)
		for k := range day {
			day[k] = math.Abs(day[k] - m)
		}
		days = append(days, 1.4826*middle(day))
	}
	return max(r.Resolution, middle(days))
}

// sizes are the bounds of the rows of the table, in times the daily variation.
var sizes = []float64{5, 10, 20, 40, 80}

// share is a count of a count.
type share struct{ n, of int }

func (s share) percent() float64 { return 100 * float64(s.n) / float64(max(s.of, 1)) }

// place is a cell of the table: how far readings lie apart, what was at the move, and its size.
type place struct {
	coarse bool
	at     string
	size   int
}

// The places of a move.
const (
	atOnce     = "at once"
	overHour   = "over a gap of 1 to 12 h"
	overDays   = "over a gap of 1 to 5 d"
	outOfPlace = "out of place for 1 to 12 h"
)

// harms is what was measured.
type harms struct {
	clean share // records without a fault of which a move is told
	where []string
	found map[place]share
	byWay map[string]share // over ten times the daily variation, at once, by kind of water and way
	extra share            // further moves told of records with one
	sized map[string]share // of those found, of ten times the daily variation or more: within 30 % of their size
}

var (
	intervals   = []time.Duration{1, 2, 5, 6, 15, 30, 60} // minutes
	resolutions = []float64{0.0001, 0.0002, 0.0005, 0.001, 0.002, 0.005, 0.01}
)

// measureHarm makes so many rounds of years, one of each kind and interval a round, and looks at each as it is and with
// moves in it.
func measureHarm(seed uint64, rounds, moves int) *harms {
	random := rand.New(rand.NewPCG(seed, 14))
	h := &harms{found: map[place]share{}, byWay: map[string]share{}, sized: map[string]share{}}
	for range rounds {
		for _, kind := range records.Kinds() {
			for _, minutes := range intervals {
				h.one(random, kind, minutes*time.Minute, moves)
			}
		}
	}
	return h
}

func (h *harms) one(random *rand.Rand, kind records.Kind, interval time.Duration, moves int) {
	resolution := resolutions[random.IntN(len(resolutions))]
	r := records.Make(random, kind, interval, resolution, 365*24*time.Hour)
	h.clean.of++
	if found := look(r, 0, 0); len(found) > 0 {
		h.clean.n++
		h.where = append(h.where, fmt.Sprintf("%v, %v, %v m: %+.4v", kind, interval, resolution, found))
	}
	noise := daily(r)
	for range moves {
		for _, at := range []string{atOnce, overHour, overDays, outOfPlace} {
			h.move(random, r, noise, at)
		}
	}
}

// move puts in one move, up or down.
func (h *harms) move(random *rand.Rand, r *records.Record, noise float64, at string) {
	one := *r
	one.Level, one.Injected = slices.Clone(r.Sound), nil
	times := 5 * math.Pow(16, random.Float64())
	size := times * noise
	if random.IntN(2) == 0 {
		size = -size
	}
	one.Move(random, size)
	until := one.Injected[0].From
	from := until
	span := func(least, most float64) int {
		hours := least * math.Pow(most/least, random.Float64())
		return max(int(hours*float64(time.Hour)/float64(r.Interval)), 1)
	}
	cut := false
	switch at {
	case overHour:
		from, cut = until-span(1, 12), true
	case overDays:
		from, cut = until-span(24, 120), true
	case outOfPlace:
		from = until - span(1, 12)
		level := slices.Min(r.Sound) - 20*noise - 2*math.Abs(size) // the sensor hangs elsewhere
		for i := from; i < until; i++ {
			one.Level[i] = math.Round((level+noise*random.NormFloat64()/10)/r.Resolution) * r.Resolution
		}
	}
	var found []Move
	if cut {
		found = look(&one, from, until)
	} else {
		found = look(&one, 0, 0)
	}
	sized := false
	hit := slices.ContainsFunc(found, func(m Move) bool {
		sized = sized || math.Abs(m.Size-size) <= 0.3*math.Abs(size)
		return m.Before >= one.At[from-1]-int64(24*time.Hour) && m.After <= one.At[until]+int64(24*time.Hour) &&
			m.Before < one.At[until] && m.After > one.At[from-1] && m.Size*size > 0
	})
	h.extra.of++
	if len(found) > 1 || len(found) == 1 && !hit {
		h.extra.n++
	}
	i, _ := slices.BinarySearch(sizes, times)
	count := func(s share) share {
		s.of++
		if hit {
			s.n++
		}
		return s
	}
	if hit && times >= 10 {
		s := h.sized[at]
		if s.of++; sized {
			s.n++
		}
		h.sized[at] = s
	}
	p := place{r.Interval > 6*time.Minute, at, i}
	h.found[p] = count(h.found[p])
	if at == atOnce && times >= 10 {
		way := fmt.Sprintf("%v, up %v, coarse %v", r.Kind, size > 0, p.coarse)
		h.byWay[way] = count(h.byWay[way])
	}
}

// over adds up what was found of moves of ten times the daily variation or more.
func (h *harms) over(coarse bool, at string) (s share) {
	for p, one := range h.found {
		if p.coarse == coarse && p.at == at && sizes[p.size-1] >= 10 {
			s = share{s.n + one.n, s.of + one.of}
		}
	}
	return s
}

// table prints what was measured.
func (h *harms) table() string {
	var b strings.Builder
	fmt.Fprintf(&b, "clean records with a move: %d of %d\n", h.clean.n, h.clean.of)
	for _, where := range h.where {
		fmt.Fprintf(&b, "    %s\n", where)
	}
	fmt.Fprintf(&b, "records with one move in which another is told: %d of %d\n", h.extra.n, h.extra.of)
	for _, coarse := range []bool{false, true} {
		fmt.Fprintf(&b, "%-40s", map[bool]string{false: "6 min or less", true: "15 min or more"}[coarse])
		for k := 1; k < len(sizes); k++ {
			fmt.Fprintf(&b, "  %2.0f to %2.0f      ", sizes[k-1], sizes[k])
		}
		fmt.Fprintln(&b, " 10 and more")
		for _, at := range []string{atOnce, overHour, overDays, outOfPlace} {
			fmt.Fprintf(&b, "    %-36s", at)
			for k := 1; k < len(sizes); k++ {
				s := h.found[place{coarse, at, k}]
				fmt.Fprintf(&b, "  %5.1f (%4d)  ", s.percent(), s.of)
			}
			s := h.over(coarse, at)
			fmt.Fprintf(&b, "  %5.1f (%4d)\n", s.percent(), s.of)
		}
	}
	for _, at := range []string{atOnce, overHour, overDays, outOfPlace} {
		s := h.sized[at]
		fmt.Fprintf(&b, "    told within 30 %% of the size, %s: %.1f %% of %d found\n", at, s.percent(), s.of)
	}
	var ways []string
	for way := range h.byWay {
		ways = append(ways, way)
	}
	slices.Sort(ways)
	for _, way := range ways {
		s := h.byWay[way]
		fmt.Fprintf(&b, "    %-36s  %5.1f (%4d)\n", way, s.percent(), s.of)
	}
	return b.String()
}

// TestHarm holds what the package promises on generated years: hardly a move is told of sound ones, and those of ten
// times the variation within a day or more are found where readings are 6 minutes apart or less, dated within a day,
// nine in ten of them to 30 % of their size.
func TestHarm(t *testing.T) {
	if testing.Short() {
		t.Skip("it is statistics, of many years")
	}
	h := measureHarm(1, 1, effort.Rounds(2, 8))
	t.Log("\n" + h.table())
	if h.clean.n*100 > max(h.clean.of, 100) {
		t.Errorf("moves are told of %d of %d clean records", h.clean.n, h.clean.of)
	}
	if s := h.over(false, atOnce); s.of < 20 || s.percent() < 95 {
		t.Errorf("%.1f %% of %d moves are found", s.percent(), s.of)
	}
	if s := h.sized[atOnce]; s.percent() < 90 {
		t.Errorf("%.1f %% of %d moves are told to 30 %% of their size", s.percent(), s.of)
	}
}

// BenchmarkHarm prints the whole table, of records that no test has.
func BenchmarkHarm(b *testing.B) {
	var h *harms
	for b.Loop() {
		h = measureHarm(2, 4, 3)
	}
	fmt.Println(h.table())
}
