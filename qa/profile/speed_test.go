package profile

import (
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"retotal/testdata/records"
)

// BenchmarkProfile tells what a reading costs, by kind of record without faults, a year of minutes each: in the mean,
// and at best, which is what it costs where nothing else runs.
func BenchmarkProfile(b *testing.B) {
	for _, kind := range records.Kinds() {
		r := records.Make(rand.New(rand.NewPCG(7, 14)), kind, time.Minute, 0.0005, 365*24*time.Hour)
		b.Run(kind.String(), func(b *testing.B) {
			best := math.Inf(1)
			for b.Loop() {
				begin := time.Now()
				look(r)
				best = min(best, float64(time.Since(begin))/float64(len(r.Level)))
			}
			b.ReportMetric(best, "ns/reading-at-best")
			b.ReportMetric(float64(b.Elapsed())/float64(b.N)/float64(len(r.Level)), "ns/reading")
		})
	}
}
