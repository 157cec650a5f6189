package evidence

import (
	"testing"

	"retotal/ingest/reading"
	"retotal/qa"
)

// TestHoursByHand: readings at 0, 30, 90 and 150 min; the flow is the head in m³/s and goes along straight lines
// between them: 1, 3, 5 and 5. Hour 0 has (1+3)/2 × 1800 s + (3+4)/2 × 1800 s, hour 1 (4+5)/2 × 1800 s + 5 × 1800 s.
// The counter rises by 6 m³ from minute 0 to 90, of which two thirds are in hour 0, and falls then.
func TestHoursByHand(t *testing.T) {
	b := hand([]float64{0, 30, 90, 150}, []float64{1, 3, 5, 5})
	b.Shown = b.Time
	b.Counter = []float64{100, 0, 106, 3}
	b.CounterState = []reading.State{reading.Present, reading.Empty, reading.Present, reading.Present}
	var h Hours
	h.Add(b)
	if len(h.List) != 3 {
		t.Fatalf("%d hours", len(h.List))
	}
	for i, want := range []struct {
		flow, counted, least, most, jump float64
		covered                          int64
	}{
		{9900, 4, 1, 3, 2, hourNs}, {17100, 2, 5, 5, 2, hourNs}, {9000, 0, 5, 5, 0, hourNs / 2},
	} {
		x := &h.List[i]
		if !near(x.Flow.M3, want.flow) || x.Flow.Covered != want.covered || !near(x.Counted.M3, want.counted) ||
			x.Least != want.least || x.Most != want.most || x.Jump != want.jump {
			t.Errorf("hour %d: %+v, want %+v", i, x, want)
		}
	}
	b.Flags[2] = qa.Gap
	h = Hours{}
	h.Add(b)
	if len(h.List) != 3 || h.List[0].Flow.Covered != hourNs/2 || h.List[1].Flow.Covered != hourNs/2 {
		t.Errorf("over a gap: %+v", h.List)
	}
}

// TestStampsByHand: of readings a minute apart, a gap of an hour and a minute is told, one of ten minutes or of two
// hours is not; and a spell of readings whose times stand twice.
func TestStampsByHand(t *testing.T) {
	b := hand([]float64{0, 1, 62, 63, 73, 194, 195, 196, 197}, make([]float64, 9))
	b.Shown = b.Time
	b.Flags[6], b.Flags[7] = qa.Conflict, qa.Conflict
	var s Stamps
	s.Add(b)
	if len(s.Gaps) != 1 || s.Gaps[0].From != at(1) || s.Gaps[0].Until != at(62) {
		t.Errorf("gaps %+v", s.Gaps)
	}
	if len(s.Doubles) != 1 || s.Doubles[0] != (StampSpan{at(195), at(196), 2}) {
		t.Errorf("doubles %+v", s.Doubles)
	}
}
