package recompute

import (
	"context"
	"fmt"
	"math/rand/v2"
	"testing"

	"retotal/ingest"
	"retotal/ingest/site"
)

// TestAnyBatchGivesOneResult hands the same rows over in batches of any size.
func TestAnyBatchGivesOneResult(t *testing.T) {
	s, problems := site.Load("../testdata/quarry-lane/one-day.toml")
	if err := problems.Err(); err != nil {
		t.Fatal(err)
	}
	plan, _ := newPlan(s, nil, true)
	log, problems := ingest.Open(s)
	if err := problems.Err(); err != nil {
		t.Fatal(err)
	}
	random := rand.New(rand.NewPCG(15, 16))
	var want string
	for round := range 40 {
		engine := newEngine(log.Known(), s, plan, nil)
		for b, err := range log.Batches(context.Background()) {
			if err != nil {
				t.Fatal(err)
			}
			for low := 0; low < b.Len(); {
				high := b.Len()
				if round > 0 {
					high = min(high, low+1+random.IntN(200))
				}
				part := *b
				part.Slice(low, high)
				if err := engine.add(&part); err != nil {
					t.Fatal(err)
				}
				low = high
			}
		}
		r, err := engine.finish()
		if err != nil {
			t.Fatal(err)
		}
		got := fmt.Sprintf("%.9f %.9f %.9f %v %.9f %.9f %.9f %.9f %v %v %d", r.Total.Budget.Standard, r.Total.Budget.Difference, r.Total.Lift, r.Total.Split(), r.Total.Before.M3(), r.Total.After.M3(), r.Total.Logged.M3(), r.Total.Counted.M3(), r.Flags, r.Witness.Recorded.Within, len(r.Events))
		if round == 0 {
			want = got
		} else if got != want {
			t.Fatalf("round %d: %s, whole batches %s", round, got, want)
		}
	}
}
