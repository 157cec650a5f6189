package fingerprint

import (
	"testing"
	"time"
)

// TestSundays: the days on which summer time began and ended in 2024 by the rules of the European Union (Directive
// 2000/84/EC: last Sundays of March and October) and of the United States (Energy Policy Act of 2005: second Sunday of
// March, first of November).
func TestSundays(t *testing.T) {
	var got []string
	for _, at := range switchDays(time.Date(2024, 1, 1, 0, 0, 0, 0, time.UTC).UnixNano(),
		time.Date(2024, 12, 31, 0, 0, 0, 0, time.UTC).UnixNano()) {
		got = append(got, time.Unix(0, at).UTC().Format("01-02"))
	}
	want := [...]string{"03-10", "03-31", "10-27", "11-03"}
	if len(got) != len(want) {
		t.Fatalf("%v, want %v", got, want)
	}
	for i := range want {
		if got[i] != want[i] {
			t.Errorf("%v, want %v", got, want)
		}
	}
}

// TestClock: stamps of the zones database over a year, each hour that stands twice handed over as the reader does.
func TestClock(t *testing.T) {
	const step = 15 * time.Minute
	for _, c := range []struct {
		zone             string
		missing, doubled string // the first of each
		steady           bool
	}{
		{"Europe/Berlin", "2024-03-31 01:45", "2024-10-27 02:00", false},
		{"America/New_York", "2024-03-10 01:45", "2024-11-03 01:00", false},
		{"America/Bogota", "", "", true},
	} {
		zone, err := time.LoadLocation(c.zone)
		if err != nil {
			t.Fatal(err)
		}
		seen := map[int64]bool{}
		var at, doubled []int64
		begin := time.Date(2024, 1, 10, 0, 0, 0, 0, time.UTC)
		for x := begin; x.Before(begin.AddDate(0, 11, 0)); x = x.Add(step) {
			_, offset := x.In(zone).Zone()
			local := x.UnixNano() + int64(offset)*1e9
			if seen[local] {
				doubled = append(doubled, local)
				continue
			}
			seen[local] = true
			at = append(at, local)
		}
		s := Clock(at, doubled, int64(step))
		first := func(list []int64) string {
			if len(list) == 0 {
				return ""
			}
			return time.Unix(0, list[0]).UTC().Format("2006-01-02 15:04")
		}
		if first(s.Missing) != c.missing || first(s.Doubled) != c.doubled || (len(s.Steady) > 0) != c.steady {
			t.Errorf("%s: missing %q, doubled %q, %d steady", c.zone, first(s.Missing), first(s.Doubled), len(s.Steady))
		}
	}
	// A gap of an hour on a Sunday afternoon is none of a clock.
	at := []int64{0}
	for x := time.Date(2024, 3, 31, 10, 0, 0, 0, time.UTC); len(at) < 40; x = x.Add(step) {
		if len(at) == 20 {
			x = x.Add(time.Hour)
		}
		at = append(at, x.UnixNano())
	}
	if s := Clock(at[1:], nil, int64(step)); len(s.Missing) > 0 {
		t.Errorf("a gap in the afternoon passes for summer time: %v", s)
	}
}
