package cause

import (
	"testing"
	"time"
)

// TestChangeDates: in 2031 clocks of the European Union change on 30 March and 26 October (Directive 2000/84/EC: last
// Sundays), those of the United States on 9 March and 2 November (15 U.S.C. 260a: second Sunday, first Sunday), and
// those of Lord Howe Island, by half an hour, are none of an hour.
func TestChangeDates(t *testing.T) {
	for date, want := range map[string]bool{
		"2031-03-30": true, "2031-10-26": true, "2031-03-09": true, "2031-11-02": true,
		"2031-03-29": false, "2031-03-31": false, "2031-04-06": false, "2031-07-01": false,
	} {
		day, err := time.Parse(time.DateOnly, date)
		if err != nil {
			t.Fatal(err)
		}
		if got := ChangesAt(day.UnixNano(), day.Add(24*time.Hour).UnixNano(), time.UTC); got != want {
			t.Errorf("%s: %v", date, got)
		}
	}
	// Of Australia, 2031: first Sunday of April, first of October (by the zone's own rules).
	sydney, err := time.LoadLocation("Australia/Sydney")
	if err != nil {
		t.Skip(err)
	}
	day := time.Date(2031, 4, 6, 0, 0, 0, 0, sydney)
	if !ChangesAt(day.UnixNano(), day.Add(25*time.Hour).UnixNano(), sydney) {
		t.Error("6 April in Sydney")
	}
}

// TestVolumes: hours of 1, 2, none and 4 m³ add up between instants, evenly within an hour, and not over the hour that
// is missing.
func TestVolumes(t *testing.T) {
	hours := []Hour{{At: 0, Flow: 1}, {At: HourNs, Flow: 2}, {At: 3 * HourNs, Flow: 4}}
	v := NewVolumes(hours, func(h *Hour) float64 { return h.Flow })
	for _, c := range []struct{ from, until, want float64 }{
		{0, 2, 3}, {0.5, 1.5, 1.5}, {3, 4, 4}, {3.25, 3.5, 1},
	} {
		if got := v.Between(int64(c.from*float64(HourNs)), int64(c.until*float64(HourNs))); got != c.want {
			t.Errorf("%v to %v: %v, want %v", c.from, c.until, got, c.want)
		}
	}
	for _, c := range [][2]int64{{HourNs, 4 * HourNs}, {-1, HourNs}, {3 * HourNs, 5 * HourNs}, {HourNs, HourNs}} {
		if got := v.Between(c[0], c[1]); got == got {
			t.Errorf("%v: %v", c, got)
		}
	}
}

// TestWords: values and times as people read them.
func TestWords(t *testing.T) {
	at := time.Date(2031, 3, 3, 7, 0, 0, 0, time.UTC).UnixNano()
	for _, c := range []struct {
		name, unit, taken string
		value             float64
		since, until      int64
		want, began       string
	}{
		{"counter multiplier", "x", "a tenth", 0.1, at, 0, "x 0.1 (a tenth)", "since 2031-03-03 07:00 UTC"},
		{"reported day bound", "h", "", -1, 0, at, "-1.00 h", "up to 2031-03-03 07:00 UTC"},
		{"sensor stuck", "h", "", 30, at, at + 30*HourNs, "1 d 6 h",
			"from 2031-03-03 07:00 UTC to 2031-03-04 13:00 UTC"},
		{"datum step", "mm", "", 12.34, 0, 0, "+12.3 mm", ""},
		{"clock drift", "s/d", "", -61.6, 0, 0, "-62 s/d", ""},
	} {
		x := Named(c.name)
		x.Value, x.Unit, x.Taken, x.Since, x.Until = c.value, c.unit, c.taken, c.since, c.until
		if got := x.Valued(x.Value); got != c.want {
			t.Errorf("%s: %q, want %q", c.name, got, c.want)
		}
		if got := x.Began(); got != c.began {
			t.Errorf("%s: %q, want %q", c.name, got, c.began)
		}
	}
}

// TestCatalogue: every row says what it is, and no name stands twice.
func TestCatalogue(t *testing.T) {
	seen := map[string]bool{}
	for _, h := range Catalogue {
		if h.Topic == "" || h.Name == "" || h.Predicts == "" || h.Settles == "" || seen[h.Name] {
			t.Errorf("%+v", h)
		}
		seen[h.Name] = true
	}
}
