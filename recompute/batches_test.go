package recompute_test

import (
	"context"
	"fmt"
	"iter"
	"math/rand/v2"
	"testing"

	"retotal/ingest"
	"retotal/ingest/reading"
	"retotal/ingest/site"
	"retotal/recompute"
)

// inPieces is a log whose batches come in pieces of any size.
type inPieces struct {
	recompute.Log
	random *rand.Rand
}

func (l inPieces) Batches(ctx context.Context) iter.Seq2[*reading.Batch, error] {
	return func(yield func(*reading.Batch, error) bool) {
		for b, err := range l.Log.Batches(ctx) {
			if err != nil {
				yield(b, err)
				return
			}
			for low := 0; low < b.Len(); {
				part := *b
				high := min(b.Len(), low+1+l.random.IntN(200))
				part.Slice(low, high)
				if low = high; !yield(&part, nil) {
					return
				}
			}
		}
	}
}

// TestAnyBatchGivesOneResult hands the same rows over in batches of any size.
func TestAnyBatchGivesOneResult(t *testing.T) {
	s, err := site.Load("../testdata/quarry-lane/one-day.toml")
	if err != nil {
		t.Fatal(err)
	}
	var want string
	for round := range 40 {
		whole, err := ingest.Open(s)
		if err != nil {
			t.Fatal(err)
		}
		var log recompute.Log = whole
		if round > 0 {
			log = inPieces{whole, rand.New(rand.NewPCG(15, uint64(round)))}
		}
		r, err := recompute.Run(context.Background(), log, s, recompute.Options{Draws: 20})
		if err != nil {
			t.Fatal(err)
		}
		p := &r.Total
		got := fmt.Sprintf("%.9f %.9f %.9f %v %.9f %.9f %.9f %.9f %v %v %d %.9f",
			p.Budget.Standard, p.Budget.Difference, p.Tally.Lift, p.Split(),
			p.Before.M3(), p.After.M3(), p.Logged.M3(), p.Counted.M3(),
			r.Flags, r.FlowCheck.Recorded.Within, len(r.Events), r.Draws.Standard)
		if round == 0 {
			want = got
		} else if got != want {
			t.Fatalf("round %d: %s, whole batches %s", round, got, want)
		}
	}
}
