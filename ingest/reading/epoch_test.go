package reading

import (
	"math"
	"testing"
)

// TestEpochOf: by hand. 1930089600 s is 2031-03-01 00:00 UTC (22339 days of 86400 s).
func TestEpochOf(t *testing.T) {
	for _, c := range []struct {
		counts []int64
		want   string
	}{
		{[]int64{1930089600}, "seconds"},
		{[]int64{1930089600_000}, "milliseconds"},
		{[]int64{1930089600_000_000}, "microseconds"},
		{[]int64{1930089600_000_000_000}, "nanoseconds"},
		{[]int64{1e9, 1e10 - 1}, "seconds"}, // 2001-09-09 to 2286-11-20
		{[]int64{1e9 - 1}, ""},
		{[]int64{1e10}, ""},
		{[]int64{1e12 - 1}, ""},
		{[]int64{math.MaxInt64}, "nanoseconds"},
		{[]int64{0, 1930089600, 1930089660}, "seconds"}, // a clock that was not set yet
		{[]int64{0, 1930089600}, ""},
		{[]int64{-1930089600, 47908, math.MinInt64}, ""},
		{nil, ""},
	} {
		if got := EpochOf(c.counts); got.Name != c.want || (got.Unit == 0) != (c.want == "") {
			t.Errorf("%v: %+v, want %q", c.counts, got, c.want)
		}
	}
}
