package recompute_test

import (
	"context"
	"fmt"
	"iter"
	"strings"
	"testing"
	"time"

	"retotal/ingest"
	"retotal/ingest/reading"
	"retotal/ingest/site"
	"retotal/recompute"
)

// counted is a log that counts how often it is read.
type counted struct {
	*ingest.Log
	times int
}

func (c *counted) Batches(ctx context.Context) iter.Seq2[*reading.Batch, error] {
	c.times++
	return c.Log.Batches(ctx)
}

// TestRulingsAtOnce: what each of many rulings did, and how often the log is read for that. Q = 0.1 m²/s × h at 0.1 m
// is 0.01 m³/s; a ruling that leaves a reading out takes the two minutes beside it, 1.2 m³. Rulings days apart share a
// reading of the log, whatever their number; two of one day need one each, and of two over one reading the later one
// stands, so that without it the other does the same.
func TestRulingsAtOnce(t *testing.T) {
	var log, rulings strings.Builder
	log.WriteString("Time,Value (m)\n")
	at := time.Date(2031, 3, 1, 0, 0, 0, 0, time.UTC)
	for i := range 60 * 1440 {
		fmt.Fprintf(&log, "%s,0.1\n", at.Add(time.Duration(i)*time.Minute).Format("2006-01-02 15:04:05"))
	}
	rule := func(at time.Time) {
		fmt.Fprintf(&rulings,
			"[[ruling]]\nfrom = %s\nuntil = %s\naction = \"leave-out\"\nreason = \"by hand\"\nby = \"test\"\n",
			at.Add(-30*time.Second).Format("2006-01-02T15:04:05"), at.Add(30*time.Second).Format("2006-01-02T15:04:05"))
	}
	want := []float64{}
	for day := 2; day < 58; day += 5 {
		rule(at.AddDate(0, 0, day).Add(7 * time.Hour))
		want = append(want, -1.2)
	}
	count := func(more string) int {
		file := siteOf(t, "level", log.String(), "[screening]\nstuck = \"keep\"\n"+rulings.String()+more)
		s, err := site.Load(file)
		if err != nil {
			t.Fatal(err)
		}
		l, err := ingest.Open(s)
		if err != nil {
			t.Fatal(err)
		}
		c := &counted{Log: l}
		r, err := recompute.Run(context.Background(), c, s, recompute.Options{})
		if err != nil {
			t.Fatal(err)
		}
		for i, x := range r.Rulings {
			near(t, fmt.Sprintf("ruling %d of %d", i, len(r.Rulings)), x.Effect, want[i])
		}
		return c.times
	}
	some := count("")
	last := at.AddDate(0, 0, 52).Add(7 * time.Hour) // where the last but one ruling is
	rulings.Reset()
	want = []float64{-1.2}
	rule(last.AddDate(0, 0, -20))
	if one := count(""); some != one {
		t.Errorf("12 rulings take %d readings of the log, one takes %d", some, one)
	}
	rule(last)
	rule(last.Add(time.Hour))
	rule(last.Add(time.Hour))
	want = []float64{-1.2, -1.2, 0, 0}
	if four := count(""); four != some+2 {
		t.Errorf("three rulings of one day take %d readings of the log, want %d", four, some+2)
	}
}
