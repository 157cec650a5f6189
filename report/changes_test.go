package report

import (
	"slices"
	"testing"
	"time"

	"retotal/ingest/quantity"
	"retotal/ingest/site"
	"retotal/qa/moves"
	"retotal/recompute"
	"retotal/recompute/evidence"
)

// TestChangesInWords: a move is told with both readings, its size and what the level does anyway; a change with the p
// of the test that it has.
func TestChangesInWords(t *testing.T) {
	s := &site.Site{}
	s.Log.Clock = site.Clock{Location: time.UTC}
	at := time.Date(2031, 3, 21, 14, 45, 0, 0, time.UTC).UnixNano()
	r := &Run{Result: &recompute.Result{Site: s, Evidence: recompute.Evidence{
		Moves: []moves.Move{{Before: at, After: at + int64(75*time.Minute), Size: -0.5123, Scatter: 0.0204, Out: true}},
		Changes: []evidence.ChangePoint{
			{Statistic: "counter over logged flow", Day: "2031-04-02", Size: 5, Unit: "%", P: 3e-9},
			{Statistic: "night minimum of the head", Day: "2031-03-01", Size: 15, Unit: "mm", P: 0.00042, Drift: true},
		},
	}}}
	want := []string{
		"between 2031-03-21 14:45:00 and 2031-03-21 16:00:00 what the sensor measured moves by " +
			quantity.Signed(-512.3, 3) + " mm of level, and stays (the level goes by 20 mm over such a time " +
			"anyway): a sensor that moved or was set anew, or a setting that changed; the readings in between are of " +
			"neither side",
		"2031-04-02: the counter over logged flow goes by +5 % (p < 0.0001 by Pettitt's test, autocorrelation " +
			"allowed for)",
		"the night minimum of the head drifts by +15 mm over the log (p 0.0004 by Mann-Kendall's test, " +
			"autocorrelation allowed for): a sensor that moves, or the season",
	}
	if got := r.changeSentences(); !slices.Equal(got, want) {
		t.Errorf("%q\nwant %q", got, want)
	}
}
