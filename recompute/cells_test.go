package recompute_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"strings"
	"testing"
	"time"

	"retotal/qa"
	"retotal/recompute"
	"retotal/recompute/total"
)

// aDay is longer than any day before or after a log that its first and last cell may reach into, ns.
const aDay = int64(24 * time.Hour)

// byCells adds up the cells that lie in a span.
func byCells(r *recompute.Result, of func(i int) total.Volume, from, until int64) (v total.Volume) {
	c := r.Cells.Calendar
	for i := range c.Days() {
		if start, end := c.Bounds(i); start >= from && end <= until {
			v.Merge(of(i))
		}
	}
	return v
}

// nearly reports whether two volumes are the same to 0.001 m³ and cover the same time.
func nearly(a, b total.Volume) bool {
	return math.Abs(a.M3()-b.M3()) <= 0.001 && a.Covered == b.Covered
}

// TestCellsOfDays: in logs full of trouble, of levels and of means, with rulings, filling and bounded readings, in a
// zone whose clock goes an hour on within them, the cells of every day and month add up to its volumes, of before,
// after and counter, and a site file that reports a span of cells gives what the cells in it add up to, where both
// runs flag the same: a shorter record tells less of what is normal in it.
func TestCellsOfDays(t *testing.T) {
	compared := 0
	for round := range 8 {
		random := rand.New(rand.NewPCG(41, uint64(round)))
		log, rulings := troubled(random, 2400), ruled(random)
		more := "time_zone = \"Europe/Dublin\"\nday_starts = \"06:30\"\n"
		filling := []string{"", "[filling]\nrule = \"linear\"\nlimit = \"40 min\"\n"}[round/4]
		log = strings.NewReplacer("2031-03-01", "2031-03-29", "2031-03-02", "2031-03-30").Replace(log)
		write := func(from, until string) string {
			file := troubledSite(t, round, log, "", more+rulings+filling)
			text, err := os.ReadFile(file)
			if err != nil {
				t.Fatal(err)
			}
			moved := strings.NewReplacer(
				"[report]\nfrom = 2031-03-01T01:00:30\nuntil = 2031-03-02T12:00:20",
				"[report]\nfrom = "+from+"\nuntil = "+until,
				"2031-03-01", "2031-03-29", "2031-03-02", "2031-03-30").Replace(string(text))
			if err := os.WriteFile(file, []byte(moved), 0o644); err != nil {
				t.Fatal(err)
			}
			return file
		}
		o := recompute.Options{Cells: []int{10000, 700, 30}[round%3]}
		r, flags := withFlags(t, write("2031-03-29T01:00:30", "2031-03-30T12:00:20"), o)
		checkCells(t, fmt.Sprint("round ", round), r)
		first, _ := r.Cells.Calendar.Bounds(r.Cells.Calendar.Days() / 2)
		last, _ := r.Cells.Calendar.Bounds(r.Cells.Calendar.Days() / 4 * 3)
		utc := func(at int64) string { return time.Unix(0, at).UTC().Format(time.RFC3339) }
		part, fewer := withFlags(t, write(utc(first), utc(last)), recompute.Options{})
		before := byCells(r, r.Cells.Before.Volume, first, last)
		after := byCells(r, r.Cells.After.Volume, first, last)
		same := true
		for at, f := range fewer {
			same = same && (at < first || at > last || flags[at] == f)
		}
		if !same {
			continue
		}
		compared++
		if !nearly(before, part.Total.Before) || !nearly(after, part.Total.After) {
			t.Errorf("round %d: %v and %v in cells, %v and %v of the part", round, before, after, part.Total.Before,
				part.Total.After)
		}
		if after.Missing() || before.Missing() {
			t.Errorf("round %d: nothing flows", round)
		}
	}
	if compared < 4 {
		t.Errorf("only %d parts could be compared", compared)
	}
}

// withFlags is runWith with the flags of all readings by their time.
func withFlags(t *testing.T, file string, o recompute.Options) (*recompute.Result, map[int64]qa.Flags) {
	t.Helper()
	flags := map[int64]qa.Flags{}
	o.Rows = func() (func(*recompute.Rows) error, error) {
		return func(rows *recompute.Rows) error {
			for i, at := range rows.Time {
				flags[at] = rows.Flags[i]
			}
			return nil
		}, nil
	}
	return runWith(t, file, o), flags
}

// checkCells holds the cells of a result to its days and months.
func checkCells(t *testing.T, name string, r *recompute.Result) {
	t.Helper()
	c := r.Cells.Calendar
	for i := range c.Days() {
		if start, end := c.Bounds(i); start >= end {
			t.Fatalf("%s: cell %d is from %d to %d", name, i, start, end)
		}
	}
	for _, list := range [][]recompute.Period{r.Days, r.Months} {
		for k := range list {
			p := &list[k]
			start, end := p.From, p.Until
			if k == 0 {
				start -= aDay // the first cell begins with its day
			}
			if k == len(list)-1 {
				end += aDay
			}
			before, after := byCells(r, r.Cells.Before.Volume, start, end), byCells(r, r.Cells.After.Volume, start, end)
			counted := byCells(r, r.Cells.Counter.Volume, start, end)
			if !nearly(before, p.Before) || !nearly(after, p.After) || !nearly(counted, p.Counted) {
				t.Errorf("%s, %s: cells %v, %v, %v; period %v, %v, %v", name, p.Label, before, after, counted,
					p.Before, p.After, p.Counted)
			}
		}
	}
}
