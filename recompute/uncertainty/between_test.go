package uncertainty

import (
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"retotal/recompute/block"
	"retotal/recompute/total"
)

// TestSamplingInterval: over 2,000 days whose flow wanders like a Brownian path of 1-minute steps and is read every 15
// minutes, the error of the day's total, known from the path itself, is as large as the budget says, within 7 %. A flow
// that is smooth errs by less.
func TestSamplingInterval(t *testing.T) {
	random := rand.New(rand.NewPCG(91, 92))
	first := time.Date(2031, 3, 1, 0, 0, 0, 0, time.UTC)
	const every, minutes = 15, 1440
	for name, next := range map[string]func(q float64, i int) float64{
		"rough":  func(q float64, _ int) float64 { return q + random.NormFloat64() },
		"smooth": func(_ float64, i int) float64 { return 50 + 20*math.Sin(float64(i)/60) },
	} {
		errors, said := 0.0, 0.0
		for range 2000 {
			b := &block.Block{Lanes: block.Lanes{Recorded: &block.Lane{}, Corrected: &block.Lane{}}}
			b.From, b.Calendar = math.MinInt64, total.NewCalendar(time.UTC, 0, false, first.UnixNano())
			q, truth, read := next(50, 0), 0.0, 0.0
			for i := 0; i <= minutes; i++ {
				if i > 0 {
					last := q
					q = next(q, i)
					truth += (last + q) / 2 * 60
				}
				if i%every == 0 {
					flows := b.Corrected.Flow
					if n := len(flows); n > 0 {
						read += (flows[n-1] + q) / 2 * 60 * every
					}
					b.Time = append(b.Time, first.Add(time.Duration(i)*time.Minute).UnixNano())
					b.Corrected.Flow, b.Recorded.Flow = append(flows, q), append(b.Recorded.Flow, q)
				}
			}
			b.Steps = []block.Step{{Kind: block.Run, Low: 1, High: len(b.Time)}}
			var x sampling
			x.add(b)
			errors, said = errors+(read-truth)*(read-truth), said+x.days[0][0]*x.days[0][0]/3
		}
		ratio := math.Sqrt(errors / said)
		t.Logf("%s: the error is %.3f of what the budget says", name, ratio)
		if name == "rough" && (ratio < 0.93 || ratio > 1.07) || ratio > 1.07 {
			t.Errorf("%s: the error is %.3f of what the budget says", name, ratio)
		}
	}
}
