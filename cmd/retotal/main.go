package main

import (
	"context"
	"fmt"
	"os"
	"retotal/ingest"
	"retotal/ingest/reading"
	"retotal/ingest/site"
	"retotal/recompute"
	quarrylane "retotal/testdata/quarry-lane"
	"time"
)

func main() {
	if os.Args[1] == "gen" {
		fmt.Println(quarrylane.Write(os.Args[2]))
		return
	}
	s, p := site.Load(os.Args[1])
	if p.Err() != nil {
		fmt.Println(p)
		return
	}
	rec, cor, p := recompute.NewLanes(s)
	if p.Err() != nil {
		fmt.Println(p)
		return
	}
	l, p := ingest.Inspect(s)
	if p.Err() != nil {
		fmt.Println(p)
		return
	}
	t0 := time.Now()
	var e *recompute.Engine
	err := l.Each(context.Background(), func() func(*reading.Batch) error {
		e = recompute.NewEngine(l, rec, cor, nil)
		return e.Add
	})
	if err != nil {
		fmt.Println(err)
		return
	}
	r, err := e.Finish()
	fmt.Println(err, time.Since(t0), l.Account, l.Interval, l.GapLimit, l.Resolution)
	for _, m := range append(r.Months, r.Total) {
		fmt.Printf("%s before %.3f after %.3f (m %.1f br %.1f bd %.1f) logged %.3f counted %.3f cov %.5f\n", m.Label, m.Before.M3(), m.After.M3(), m.Classes[0].M3(), m.Classes[1].M3(), m.Classes[2].M3(), m.Logged.M3(), m.Counted.M3(), m.Coverage())
	}
	fmt.Printf("%+v\n%+v\nscreened %v roll %d falls %v\n", r.Witness.Recorded, r.Witness.Corrected, r.Screened, r.Rollovers, r.Falls)
	for _, f := range r.Flags {
		fmt.Printf("%-10s rows %d spans %d effect %.3f %s\n", f.Check, f.Rows, f.Spans, f.Effect, f.Limit)
	}
	_ = reading.Count
}
