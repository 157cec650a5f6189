package explain

import (
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"retotal/recompute/stat"
	"retotal/testdata/effort"
)

// outcome counts what became of the cases of one noise.
type outcome struct {
	cases, first, three int
	correct, claims     int
	values, held        int
	onsets, dated       int
	totals, off         []float64
	slowest             time.Duration
}

// right reports whether an explanation is that of a truth.
func (x truth) right(e Explanation) bool {
	names := slices.Clone(e.Names)
	if x.since != (e.Since != 0) {
		return false
	}
	if x.pair[0] != "" {
		return len(names) == 2 && slices.Contains(names, x.pair[0]) &&
			(slices.Contains(x.names, names[0]) || slices.Contains(x.names, names[1]))
	}
	return len(names) == 1 && slices.Contains(x.names, names[0])
}

// chosen reports whether a word is in a list of the environment, or the list is empty.
func chosen(variable, word string) bool {
	list := os.Getenv(variable)
	return list == "" || slices.Contains(strings.Split(list, ","), word)
}

// TestCases holds answers on drawn cases to their truth: in the plain run some sites for each fault and noise, with the
// tag slow all of them. EXPLAIN_ROUNDS and EXPLAIN_FIRST draw others, EXPLAIN_NOISE, EXPLAIN_KIND and EXPLAIN_FAULT
// choose; EXPLAIN_ENDS gives every meter a cap and a cut-off that are on record.
func TestCases(t *testing.T) {
	rounds, every := effort.Rounds(1, 4), effort.Rounds(10, 1)
	if n, err := strconv.Atoi(os.Getenv("EXPLAIN_ROUNDS")); err == nil {
		rounds, every = n, 1
	}
	first, _ := strconv.Atoi(os.Getenv("EXPLAIN_FIRST"))
	for n, kind := range noises {
		o := &outcome{}
		for round := range rounds {
			for k, s := range sites {
				for f, fault := range faults {
					if (k+f+2*n)%every == 0 && chosen("EXPLAIN_NOISE", string(kind)) &&
						chosen("EXPLAIN_KIND", s.kind) && chosen("EXPLAIN_FAULT", fault.name) {
						o.try(t, uint64((round+first)*1_000_000+k*1000+f*10), kind, k, fault)
					}
				}
			}
		}
		slices.Sort(o.totals)
		slices.Sort(o.off)
		part := func(values []float64, p float64) float64 {
			if len(values) == 0 {
				return 0
			}
			return stat.Percentile(values, p)
		}
		t.Logf("%-16s first %d, three %d of %d; claims %d of %d; intervals %d of %d (off by %.2f, %.2f of half, "+
			"median and p95), onsets %d of %d, total off by %.2f %% (p95), slowest %v", kind, o.first, o.three, o.cases,
			o.claims, o.correct, o.held, o.values, part(o.off, 0.5), part(o.off, 0.95), o.dated, o.onsets,
			100*part(o.totals, 0.95), o.slowest.Round(time.Millisecond))
		if need := least[kind]; float64(o.first) < need*float64(o.cases)-1 || 50*o.claims > o.correct+50 ||
			float64(o.held) < 0.93*float64(o.values)-1 || float64(o.dated) < 0.93*float64(o.onsets)-1 {
			t.Errorf("%s: fewer right than %.0f %%, or more claims, or fewer intervals that hold", kind, 100*need)
		}
	}
}

// least is the part of first answers that must be right.
var least = map[noise]float64{clean: 0.97, equated: 0.97, delayed: 0.94, rough: 0.85, averaged: 0.92}

// try makes a case and counts it.
func (o *outcome) try(t *testing.T, seed uint64, kind noise, k int, fault fault) {
	s := sites[k]
	r := rand.New(rand.NewPCG(seed, uint64(len(kind))))
	rate := rated(s, kind, r.IntN(2))
	meter, truth := fault.make(r, s, rate(s.keys), rate)
	if os.Getenv("EXPLAIN_ENDS") != "" && truth.top == 0 {
		plain, base := meter, rate(s.keys)
		truth.top, truth.least = base(0.7*s.high), base(0.2*s.high)
		meter = func(i int, h float64) float64 {
			if q := plain(i, h); q >= truth.least {
				return min(q, truth.top)
			}
			return 0
		}
	}
	rec := log(r, s, kind, meter)
	if rec.CutOff = truth.least; truth.top > 0 {
		rec.MaximumFlow = truth.top
	}
	start := time.Now()
	found := Explain(rec)
	o.slowest = max(o.slowest, time.Since(start))
	o.add(t, fmt.Sprintf("%s, %s %d, %s", kind, s.kind, k, fault.name), truth, found, rec)
}

// add counts a case.
func (o *outcome) add(t *testing.T, label string, truth truth, found Finding, rec *Record) {
	if truth.names[0] == "same" {
		o.correct++
		if found.Verdict == SettingDiffers {
			o.claims++
			t.Logf("%s: claimed %v", label, found.Best[0])
		}
		return
	}
	o.cases++
	first, three := false, false
	const start = 1_600_000_000e9
	for i, e := range found.Best {
		if truth.right(e) {
			if i == 0 && truth.since {
				o.onsets++
				span := float64(rec.Pairs[len(rec.Pairs)-1].At + rec.Interval - start)
				if at := start + int64(truth.from*span); e.SinceLow <= at && at <= e.SinceHigh ||
					math.Abs(float64(e.Since-at)) <= float64(rec.Interval) {
					o.dated++
				} else {
					t.Logf("%s: onset off by %v", label, time.Duration(e.Since-at))
				}
			}
			first = first || i < 1
			three = three || i < 3
			if i == 0 && !math.IsNaN(truth.value) && e.Names[0] == truth.names[0] {
				o.values++
				if half := (e.High[0] - e.Low[0]) / 2; half > 0 {
					o.off = append(o.off, math.Abs(e.Values[0]-truth.value)/half)
				}
				if e.Low[0] <= truth.value && truth.value <= e.High[0] {
					o.held++
				}
			}
		}
	}
	if first {
		o.first++
	}
	if three {
		o.three++
	}
	if !first {
		text := fmt.Sprintf("%s (%.4g): %v lag %.0f;", label, truth.value, found.Verdict, found.Lag)
		for _, e := range found.Best[:min(3, len(found.Best))] {
			text += fmt.Sprintf(" %v [%.3f]", e, e.Score)
		}
		t.Log(text, found.Why)
	}
	if len(found.Best) > 0 {
		logged, made := 0.0, 0.0
		for _, p := range rec.Pairs {
			if found.Best[0].Since == 0 || p.At >= found.Best[0].Since {
				logged, made = logged+p.Flow, made+found.Best[0].Flow(p.Head)
			}
		}
		o.totals = append(o.totals, math.Abs(made/logged-1))
	}
}
