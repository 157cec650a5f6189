package settings

import (
	"math"
	"testing"
	"time"

	"retotal/ingest/quantity"
	"retotal/ingest/site"
)

// loop makes a loop setting in metres.
func loop(low, high, from, to float64) *site.Loop {
	return &site.Loop{Low: quantity.Value{SI: low}, High: quantity.Value{SI: high}, From: from, To: to}
}

// TestLoopChange: MA-1 of the reference, 0 to 0.400 m set for 0 to 0.300 m; and MA-2, 4 to 20 mA read as 0 to 20 mA: an
// empty channel was logged as 0.060 m.
func TestLoopChange(t *testing.T) {
	for _, c := range []struct {
		id           string
		was, is      *site.Loop
		logged, want float64
	}{
		{"MA-1", loop(0, 0.4, 4, 20), loop(0, 0.3, 4, 20), 0.2, 0.15},
		{"MA-2", loop(0, 0.3, 0, 20), loop(0, 0.3, 4, 20), 0.06, 0},
		{"the same", loop(0, 0.3, 4, 20), loop(0, 0.3, 4, 20), 0.1, 0.1},
		{"both moved, half", loop(0.1, 0.5, 4, 20), loop(0.05, 0.45, 4, 20), 0.3, 0.25},     // 12 mA
		{"both moved, a quarter", loop(0.1, 0.5, 4, 20), loop(0.05, 0.25, 4, 20), 0.2, 0.1}, // 8 mA
		{"other currents", loop(0.1, 0.5, 2, 18), loop(0.05, 0.25, 4, 20), 0.3, 0.125},      // 10 mA
		{"reversed", loop(0, 0.3, 4, 20), loop(0, 0.3, 20, 4), 0.1, 0.2},
	} {
		alpha, beta := loopChange(nil, c.was, c.is)
		if got := alpha + beta*c.logged; math.Abs(got-c.want) > 1e-12 {
			t.Errorf("%s: %.12f, want %g", c.id, got, c.want)
		}
	}
}

// TestOnsets: ONSET-1 and ONSET-2 of the reference, half the time since the last good check and the same with a cap of
// a year.
func TestOnsets(t *testing.T) {
	day := func(text string) *site.Instant {
		at, err := time.Parse("2006-01-02", text)
		if err != nil {
			t.Fatal(err)
		}
		return &site.Instant{UTC: at.UnixNano(), Text: text}
	}
	clock, err := site.ParseClock("+00:00")
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		id, good, found string
		cap             time.Duration
		want            string
	}{
		{"ONSET-1", "2024-03-01", "2024-05-01", 0, "2024-03-31 12:00:00"},
		{"ONSET-2", "2021-05-01", "2024-05-01", 366 * 24 * time.Hour, "2023-05-01 00:00:00"},
	} {
		s := &site.Site{Log: site.Log{Clock: clock}, Settings: []site.Change{{}}}
		list := onsets(s, &site.Correction{
			From:  day(c.found),
			Until: &site.Instant{UTC: day(c.found).UTC + 1},
			Onset: &site.Onset{LastGood: day(c.good), Cap: c.cap},
		}, nil)
		if len(list) != 2 || list[1].from.Text != c.want {
			t.Errorf("%s: %+v, want %s", c.id, list, c.want)
		}
	}
}
