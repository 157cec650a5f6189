package profile

import (
	"math/rand/v2"
	"testing"
	"time"

	"retotal/testdata/records"
)

// TestFastest: hardly a reading of clean records, at most one in a thousand of any, goes by more from the one before
// than a record tells of its water; a jump of half a metre of quiet water does. A record of few readings does not tell.
func TestFastest(t *testing.T) {
	random := rand.New(rand.NewPCG(5, 14))
	for _, kind := range records.Kinds() {
		for _, minutes := range intervals {
			r := records.Make(random, kind, minutes*time.Minute, 0.001, 60*24*time.Hour)
			found, beyond := look(r), 0
			for i := 1; i < len(r.Level); i++ {
				if c := r.Level[i] - r.Level[i-1]; c > found.Rise || -c > found.Fall {
					beyond++
				}
			}
			if found.Rise <= 0 || found.Fall <= 0 || beyond*1000 > len(r.Level) {
				t.Errorf("%v, %v min: %d of %d readings go by more than %v m up, %v m down", kind, minutes, beyond,
					len(r.Level), found.Rise, found.Fall)
			}
			if kind == records.Damped && found.Rise >= 0.5 {
				t.Errorf("%v, %v min: %v m", kind, minutes, found.Rise)
			}
			r.At, r.Level = r.At[:fewestChanges], r.Level[:fewestChanges]
			if few := look(r); few.Rise != 0 || few.Fall != 0 {
				t.Errorf("%v: %v and %v m of %d readings", kind, few.Rise, few.Fall, len(r.Level))
			}
		}
	}
}
