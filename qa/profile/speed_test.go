package profile

import (
	"math/rand/v2"
	"testing"
	"time"
	"syscall"

	"retotal/testdata/records"
)

// BenchmarkProfile tells what a reading costs, by kind of record without faults.
func BenchmarkProfile(b *testing.B) {
	for _, kind := range records.Kinds() {
		r := records.Make(rand.New(rand.NewPCG(7, 14)), kind, time.Minute, 0.0005, 365*24*time.Hour)
		b.Run(kind.String(), func(b *testing.B) {
			var a, z syscall.Rusage
			syscall.Getrusage(0, &a)
			for b.Loop() {
				look(r)
			}
			syscall.Getrusage(0, &z)
			b.ReportMetric(float64(z.Utime.Nano()-a.Utime.Nano())/float64(b.N)/float64(len(r.Level)), "cpu-ns/reading")
			b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/float64(len(r.Level)), "ns/reading")
		})
	}
}
