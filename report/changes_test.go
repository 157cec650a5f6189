package report

import (
	"slices"
	"testing"
	"time"

	"retotal/ingest/quantity"
	"retotal/ingest/reading"
	"retotal/ingest/site"
	"retotal/qa/moves"
	"retotal/recompute"
	"retotal/recompute/evidence"
)

// TestChangesInWords: a move is told with both readings, its size and what the level does anyway; a change with the p
// of the test that it has.
func TestChangesInWords(t *testing.T) {
	clock, err := site.ParseClock("+10:00")
	if err != nil {
		t.Fatal(err)
	}
	s := &site.Site{}
	s.Log.Clock, s.Report.Clock = site.Clock{Location: time.UTC}, clock
	at := time.Date(2031, 3, 21, 4, 45, 0, 0, time.UTC).UnixNano()
	move := func(size, scatter float64) moves.Move {
		return moves.Move{Before: at, After: at + int64(75*time.Minute), Size: size, Scatter: scatter}
	}
	out, rests := move(-0.5123, 0.0204), move(-0.2, 0.001)
	out.Out, rests.Rests = true, true
	r := &Run{Result: &recompute.Result{Site: s, Evidence: recompute.Evidence{
		Moves: []evidence.Move{{Move: out}, {Move: rests},
			{Move: move(-0.202, 0.0022), Entered: at + int64(30*time.Minute), Entry: 0.4}},
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
		"between 2031-03-21 14:45:00 and 2031-03-21 16:00:00 what the sensor measured moves by " +
			quantity.Signed(-200, 3) + " mm of level, and stays (the level goes by 1 mm over such a time anyway): a " +
			"sensor that moved or was set anew, or a setting that changed, or the flow was shut off",
		"between 2031-03-21 14:45:00 and 2031-03-21 16:00:00 what the sensor measured moves by " +
			quantity.Signed(-202, 3) + " mm of level, and stays (the level goes by 2.2 mm over such a time anyway); " +
			"the setting entered at 2031-03-21 15:15:00 makes +400 mm of it; +198 mm of head stay unexplained: a " +
			"sensor that moved or was set anew, or a setting that changed",
		"2031-04-02: the counter over logged flow goes by +5 % (p < 0.0001 by Pettitt's test, autocorrelation " +
			"allowed for)",
		"the night minimum of the head drifts by +15 mm over the log (p 0.0004 by Mann-Kendall's test, " +
			"autocorrelation allowed for): a sensor that moves, or the season",
	}
	if got := r.changeSentences(); !slices.Equal(got, want) {
		t.Errorf("%q\nwant %q", got, want)
	}
	if zone := r.changesZone(); zone != "; times in +10:00" {
		t.Errorf("%q", zone)
	}
	s.Log.Primary = reading.Flow
	s.Corrections = []site.Correction{{From: &site.Instant{UTC: at}}, {}, {From: &site.Instant{UTC: at + 1e9}},
		{From: &site.Instant{UTC: at + int64(75*time.Minute) + 1}}}
	r.Result.Moves = r.Result.Moves[1:2]
	want = []string{"between 2031-03-21 14:45:00 and 2031-03-21 16:00:00 the head by the settings moves by " +
		quantity.Signed(-200, 3) + " mm, and stays (the level goes by 1 mm over such a time anyway): a sensor that " +
		"moved or was set anew, or a setting that changed, or the flow was shut off; the correction from 2031-03-21 " +
		"14:45:01 begins there"}
	if got := r.moveSentences(); !slices.Equal(got, want) {
		t.Errorf("%q\nwant %q", got, want)
	}
}
