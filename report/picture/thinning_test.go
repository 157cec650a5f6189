package picture

import (
	"math"
	"testing"
)

// TestTrackKeepsPeaks: however long the log, no peak is lost.
func TestTrackKeepsPeaks(t *testing.T) {
	var k track
	for i := range 1000000 {
		v := 1.0
		if i == 777777 {
			v = 50
		}
		if i == 333333 {
			v = -3
		}
		k.add(int64(i)*60e9, v)
	}
	low, high, points := 0.0, 0.0, 0
	for _, line := range k.lines(180e9) {
		for _, p := range line {
			points++
			if p.v == 50 && p.at != 777777*60e9 || p.v == -3 && p.at != 333333*60e9 {
				t.Errorf("a peak has moved to %d", p.at)
			}
			low, high = math.Min(low, p.v), math.Max(high, p.v)
		}
	}
	if low != -3 || high != 50 || points > 2*slots {
		t.Errorf("from %v to %v in %d points", low, high, points)
	}
}
