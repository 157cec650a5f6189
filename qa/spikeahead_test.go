package qa

import (
	"slices"
	"testing"
	"time"
)

// TestStepWithSpikeAhead: a level that stays elsewhere, with one spike in the step window after it. The spike stands
// aside (steps looks at values "spikes aside"), so the step is told, however the log is cut into batches.
func TestStepWithSpikeAhead(t *testing.T) {
	heads := slices.Concat(levels(40, 0.25), levels(40, 0.5))
	heads[50] = 0.9
	limits := Limits{
		StepLimit:      24 * mm,
		StepWindow:     6 * time.Hour,
		GapLimit:       20 * time.Minute,
		SpikeThreshold: 3,
		SpikeFloor:     4 * mm,
		SpikeWindow:    105 * time.Minute,
		StuckDuration:  1000 * time.Hour,
		RatePer:        time.Hour,
		RateUp:         1,
		RateDown:       1,
		FlatRange:      mm,
		FlatWindow:     100 * time.Hour,
		NoiseLimit:     1,
		BelowZero:      mm,
		SensorMost:     9,
		UserMost:       9,
	}
	for cut := 41; cut <= 80; cut++ {
		w := window(15*time.Minute, heads)
		s := Screener{Limits: limits}
		first := *w
		first.Time, first.Value = w.Time[:cut], w.Value[:cut]
		first.Figure, first.Head, first.Flags = w.Value[:cut], w.Head[:cut], w.Flags[:cut]
		done := s.Flag(&first, 0, false)
		s.Flag(w, done, true)
		if got := w.flagged(Step); !slices.Equal(got, []int{40}) {
			t.Errorf("cut after %d rows, %d decided: steps at %v, want 40", cut, done, got)
		}
	}
}
