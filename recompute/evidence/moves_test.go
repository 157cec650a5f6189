package evidence

import (
	"math"
	"testing"
	"time"

	"retotal/ingest/reading"
	"retotal/qa"
	"retotal/recompute/block"
	"retotal/recompute/total"
)

// TestMoves: 20 days of a distance to quiet water, a reading every 5 minutes. A sensor that moves by 60 mm is told with
// the two readings and its size, whatever a correction says; not a number that is entered anew, whether the sensor
// moved with it or not, nor readings that say nothing of the water.
func TestMoves(t *testing.T) {
	const n, moved = 20 * 288, 11 * 288
	began := time.Date(2031, 3, 1, 0, 0, 0, 0, time.UTC)
	const keys, raised = "empty_distance = \"1.2 m\"\n", "[[settings.change]]\nat = 2031-03-12T00:00:00\n" +
		"empty_distance = \"1.26 m\"\n"
	const wrong = "[[correction]]\nfrom = 2031-03-08T00:00:00\nreason = \"test\"\nempty_distance = \"1.26 m\"\n"
	const other = "[[settings.change]]\nat = 2031-03-12T00:00:00\nmaximum_head = \"0.8 m\"\n"
	for _, c := range []struct {
		name, more string
		by         float64 // m, of the distance, from row moved on
		flags      qa.Flags
		want       float64 // m of level; 0 for no move
		entry      float64 // m, what a number entered there makes of the head
	}{
		{"nothing", "", 0, 0, 0, 0},
		{"a sensor that rises", "", 0.06, 0, -0.06, 0},
		{"a sensor that sinks to where the meter shows less than nothing", "", 0.5, 0, -0.5, 0},
		{"with a correction from another day", wrong, 0.06, 0, -0.06, 0},
		{"a correction alone", wrong, 0, 0, 0, 0},
		{"a number that was wrong is put right", raised, 0, 0, 0, 0},
		{"a sensor that rises, and the meter is told", raised, 0.06, 0, 0, 0},
		{"a sensor that rises by twice what the meter is told", raised, 0.12, 0, -0.12, 0.06},
		{"one that rises by a third of it", raised, 0.02, 0, -0.02, 0.06},
		{"one that rises by two thirds of it", raised, 0.04, 0, -0.04, 0.06},
		{"one that sinks, and the meter is told the contrary", raised, -0.06, 0, 0.06, 0.06},
		{"another number is entered", other, 0.06, 0, -0.06, 0},
		{"readings in blanking", "", -0.06, qa.Blanking, 0, 0},
	} {
		s, l := lanes(t, keys, c.more)
		b := &block.Block{Lanes: l}
		b.Site, b.Log = s, &reading.Facts{Interval: 5 * time.Minute, GapLimit: time.Hour, Clock: time.UTC}
		b.From, b.Until = math.MinInt64, math.MaxInt64
		b.Calendar = total.NewCalendar(time.UTC, 0, false, began.UnixNano())
		b.Flags = make([]qa.Flags, n)
		for i := range n {
			d := 1 + 0.005*math.Sin(float64(i)/40) + 0.001*float64(i*7919%5-2)
			if i >= moved {
				d += c.by
				b.Flags[i] = c.flags
			}
			b.Time = append(b.Time, began.Add(time.Duration(i)*5*time.Minute).UnixNano())
			b.Figure = append(b.Figure, d)
		}
		m := NewMoves(b)
		for b.High = 700; b.Low < n; b.Low, b.High = b.High, min(b.High+700, n) {
			m.Add(b)
		}
		found := m.Find()
		switch {
		case c.want == 0 && len(found) > 0:
			t.Errorf("%s: %+v", c.name, found)
		case c.want != 0 && (len(found) != 1 || found[0].Before != b.Time[moved-1] || found[0].After != b.Time[moved] ||
			math.Abs(found[0].Size-c.want) > 0.004 || math.Abs(found[0].Entry-c.entry) > 1e-9 || found[0].Out ||
			math.Abs(found[0].Unexplained()-c.want-c.entry) > 0.004 ||
			(found[0].Entered != 0) != (c.entry != 0)):
			t.Errorf("%s: %+v, want %v m between %d and %d", c.name, found, c.want, b.Time[moved-1], b.Time[moved])
		}
	}
}
