package evidence

import (
	"math"
	"testing"
	"time"

	"retotal/ingest/reading"
	"retotal/ingest/site"
	"retotal/recompute/block"
	"retotal/recompute/settings"
	"retotal/recompute/total"
)

const minute = int64(time.Minute)

// start is the beginning of day 0 of the blocks below.
var start = time.Date(2031, 3, 1, 0, 0, 0, 0, time.UTC).UnixNano()

// at is an instant so many minutes later.
func at(minutes float64) int64 { return start + int64(minutes*float64(minute)) }

// hand is a block of figures of a log of levels at minutes of day 0, all decided, each its own head and its own flow
// under both lanes. Nothing is flagged.
func hand(minutes, figures []float64) *block.Block {
	lane := func() *block.Lane {
		return &block.Lane{
			Lane: &settings.Lane{Segments: []settings.Segment{{From: settings.Always, Until: settings.Never}}},
			Flow: append([]float64{}, figures...),
		}
	}
	b := &block.Block{Lanes: block.Lanes{Recorded: lane(), Corrected: lane()}}
	b.Site = &site.Site{}
	b.Site.Log.Primary = reading.Level
	b.Log = &reading.Facts{Interval: time.Minute, GapLimit: 10 * time.Minute, Clock: time.UTC}
	b.From, b.Until = math.MinInt64, math.MaxInt64
	b.Calendar = total.NewCalendar(time.UTC, 0, false, start)
	for _, m := range minutes {
		b.Time = append(b.Time, at(m))
	}
	b.High = len(minutes)
	b.Flags = block.Grow(b.Flags, b.High)
	b.Figure, b.Head = figures, append([]float64{}, figures...)
	return b
}

// lanes are those of a site with a device of Q = 0.1 m²/s × h and a log of distances.
func lanes(t *testing.T, keys, more string) (*site.Site, block.Lanes) {
	t.Helper()
	text := "id = \"hand\"\n[log]\nfiles = [\"log.csv\"]\ntime_zone = \"+00:00\"\n" +
		"[log.columns]\ntime = \"Time\"\ndistance = { name = \"D\", unit = \"m\" }\n[settings]\n" + keys +
		"[settings.device]\nkind = \"power\"\ncoefficient = 0.1\nexponent = 1\nhead_unit = \"m\"\n" +
		"flow_unit = \"m3/s\"\n" + more
	s, err := site.Parse("site.toml", []byte(text))
	if err != nil {
		t.Fatal(err)
	}
	l, err := settings.NewLanes(s, nil)
	if err != nil {
		t.Fatal(err)
	}
	return s, block.NewLanes(l, len(s.Corrections) > 0)
}

// near reports whether two numbers are the same but for rounding, or both none.
func near(a, b float64) bool { return math.Abs(a-b) <= 1e-9 || math.IsNaN(a) && math.IsNaN(b) }
