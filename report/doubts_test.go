package report

import (
	"strings"
	"testing"
	"time"

	"retotal/recompute"
	"retotal/recompute/total"
	"retotal/recompute/uncertainty"
)

// TestTotalReasons: a total that screening changes by more than 5 %, or that is known to more than half of itself, is
// for a person; at the limit it is not. Before is 100 m³; nothing was corrected, so what is left of the difference is
// screening.
func TestTotalReasons(t *testing.T) {
	volume := func(m3 float64) (v total.Volume) {
		v.Covered = int64(time.Hour)
		v.Sum.Add(m3)
		return v
	}
	for _, c := range []struct {
		after, u float64 // m³, standard uncertainty
		want     string
	}{
		{100, 1, ""}, {95, 1, ""}, {94.9, 1, "screening alone changes the total by -5.1 %"},
		{105, 1, ""}, {105.1, 1, "screening alone changes the total by +5.1 %"},
		{100, 25, ""}, {100, 25.1, "the total is known to +/- 50 % only"},
	} {
		p := recompute.Period{Before: volume(100), Kept: volume(100), After: volume(c.after)}
		p.Budget = &uncertainty.Budget{Low: c.u, High: c.u}
		r := &Run{Result: &recompute.Result{Total: p}}
		if got := strings.Join(r.totalReasons(), "; "); got != c.want {
			t.Errorf("after %g, u %g: %q, want %q", c.after, c.u, got, c.want)
		}
	}
}
