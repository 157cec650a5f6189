package explain_test

import (
	"flag"
	"fmt"
	"testing"

	"retotal/ingest/problem"
	"retotal/recompute/explain"
	"retotal/testdata/effort"
	"retotal/testdata/mistakes"
)

// score explains, of every kind of noise, so many meters with a mistake and so many that are right, half of them of
// either set, and judges the answers.
func score(seed uint64, wrong, right int) mistakes.Table {
	type one struct{ set, number int }
	var list []one
	for _, noise := range mistakes.Noises() {
		if *only >= 0 && noise != mistakes.Noise(*only) {
			continue
		}
		for set := 1; set <= 2; set++ {
			for _, number := range mistakes.Numbers(seed, noise, (wrong+set-1)/2, (right+set-1)/2) {
				list = append(list, one{set, number})
			}
		}
	}
	t := make(mistakes.Table, len(list))
	problem.Beside(len(t), func(i int) {
		c := mistakes.Make(list[i].set, seed, list[i].number)
		t[i] = mistakes.Judge(c, explain.Explain(&c.Record))
		c.Record.Pairs = nil
	})
	return t
}

// TestMistakes holds the answers to what is asked of them. With few cases one that goes wrong is worth much: of a share
// a number of cases may be missed that chance would miss in one run of a thousand.
func TestMistakes(t *testing.T) {
	if testing.Short() {
		t.Skip("explains many records")
	}
	table := score(1, effort.Rounds(16, 160), effort.Rounds(4, 40))
	for noise, asked := range map[mistakes.Noise]struct{ first, topThree, claims float64 }{
		mistakes.Clean: {0.97, 0.99, 0.02}, mistakes.OtherFormula: {0.97, 0.99, 0.02},
		mistakes.NotOneTime: {0.94, 0.97, 0.02}, mistakes.Coarse: {0.92, 0.95, 0.02},
		mistakes.HourMeans: {0.92, 0.95, 0.04},
	} {
		y := table.Of(func(c *mistakes.Case) bool { return c.Noise == noise })
		least(t, noise, "first answers right", y.First, y.Wrong, asked.first)
		least(t, noise, "one of three right", y.TopThree, y.Wrong, asked.topThree)
		least(t, noise, "sound meters left alone", y.Sound-y.Claims, y.Sound, 1-asked.claims)
	}
	y := table.Of(func(*mistakes.Case) bool { return true })
	least(t, "all", "intervals that hold the truth", y.Held, y.Values, 0.93)
	least(t, "all", "onsets found", y.InTime, y.Onsets, 0.95)
	least(t, "all", "totals after undoing", y.Close, y.Undone, 0.95)
	if t.Failed() {
		t.Logf("\n%v", table)
	}
}

// least fails where so few good ones would come about by chance less than once in a thousand runs, were the share what
// is asked.
func least(t *testing.T, noise any, what string, good, of int, share float64) {
	t.Helper()
	if of == 0 {
		t.Errorf("%v: %s: there were none", noise, what)
		return
	}
	if chance := mistakes.AtMost(good, of, share); chance < 0.001 {
		t.Errorf("%v: %s: %d of %d, %.0f %% are asked", noise, what, good, of, 100*share)
	}
}

var (
	seed  = flag.Uint64("seed", 1, "seed of the cases of BenchmarkMistakes")
	cases = flag.Int("cases", 500, "meters with a mistake, of every kind of noise, of BenchmarkMistakes")
	right = flag.Int("right", 500, "meters that are right, of every kind of noise, of BenchmarkMistakes")
	only  = flag.Int("noise", -1, "the only kind of noise of BenchmarkMistakes; -1 for all")
	one   = flag.String("case", "", "set, seed and number of the case that TestOne prints, as 2,1,33")
)

// TestOne prints one case and what is found of it.
func TestOne(t *testing.T) {
	if *one == "" {
		t.Skip("no -case is given")
	}
	var set, number int
	var seed uint64
	if _, err := fmt.Sscanf(*one, "%d,%d,%d", &set, &seed, &number); err != nil {
		t.Fatal(err)
	}
	c := mistakes.Make(set, seed, number)
	t.Logf("\n%s", mistakes.Look(c, explain.Explain(&c.Record)))
}

// BenchmarkMistakes prints the table of so many cases.
func BenchmarkMistakes(b *testing.B) {
	for range b.N {
		fmt.Printf("\n%v", score(*seed, *cases, *right))
	}
}

// BenchmarkSiteYear explains a year of 5 min.
func BenchmarkSiteYear(b *testing.B) {
	for i := range 2 {
		c := mistakes.Year(i+1, 1)
		b.Run(c.Truth.String(), func(b *testing.B) {
			for range b.N {
				explain.Explain(&c.Record)
			}
			b.ReportMetric(float64(len(c.Record.Pairs)), "pairs")
		})
	}
}
