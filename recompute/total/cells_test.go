package total

import (
	"testing"
	"time"
)

// TestCells: cells divide days of 23, 24 and 25 hours from their start on, and the last one ends with its day. In
// Dublin the clock goes on an hour on 30 March 2031 and back on 26 October; on Lord Howe Island by half an hour on
// 6 April 2031, so that a day of cells of an hour ends with one of half an hour.
func TestCells(t *testing.T) {
	for _, c := range []struct {
		zone   string
		first  time.Time
		length time.Duration
		cells  []int // by day
		last   time.Duration
	}{
		{"Europe/Dublin", time.Date(2031, 3, 29, 12, 0, 0, 0, time.UTC), 20 * time.Minute, []int{72, 69, 72}, 0},
		{"Europe/Dublin", time.Date(2031, 10, 25, 12, 0, 0, 0, time.UTC), 6 * time.Hour, []int{4, 5, 4}, time.Hour},
		{"Australia/Lord_Howe", time.Date(2031, 4, 5, 0, 0, 0, 0, time.UTC), time.Hour, []int{24, 25, 24},
			30 * time.Minute},
	} {
		days := calendar(t, c.zone, 0, c.first)
		cells := days.Cells(c.length)
		n := 0
		for day, want := range c.cells {
			days.Day(c.first.UnixNano() + int64(day)*int64(24*time.Hour))
			start, end := days.Bounds(day)
			if got, _ := cells.Bounds(cells.Day(start)); got != start || cells.Day(start) != n {
				t.Errorf("%s: day %d begins at %d, its first cell, number %d, at %d", c.zone, day,
					start, cells.Day(start), got)
			}
			low, high := cells.Bounds(cells.Day(end - 1))
			length := c.length
			if day == 1 && c.last > 0 {
				length = c.last
			}
			if high != end || high-low != int64(length) || cells.Day(end-1) != n+want-1 {
				t.Errorf("%s: day %d ends at %d with cell %d, from %d to %d", c.zone, day, end,
					cells.Day(end-1), low, high)
			}
			n += want
		}
	}
}

// TestCellLength: by hand, a year of minutes in at most 180,000 cells takes 3 minutes, twenty years an hour; no cell is
// shorter than the interval, and none longer than half a day.
func TestCellLength(t *testing.T) {
	const year = 365 * 24 * time.Hour
	for _, c := range []struct{ interval, span, want time.Duration }{
		{time.Minute, year, 3 * time.Minute},
		{time.Minute, 20 * year, time.Hour},
		{7 * time.Minute, 24 * time.Hour, 10 * time.Minute},
		{2 * time.Minute, 90 * 24 * time.Hour, 2 * time.Minute},
		{30 * 24 * time.Hour, year, 12 * time.Hour},
		{0, time.Hour, time.Second},
		{time.Minute, 180000 * time.Minute, 2 * time.Minute},
		{time.Minute, 180000*time.Minute - 1, time.Minute},
	} {
		if got := CellLength(c.interval, c.span, 180000); got != c.want {
			t.Errorf("%v over %v: %v, want %v", c.interval, c.span, got, c.want)
		}
	}
}
