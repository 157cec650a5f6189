package picture

import (
	"image/color"
	"maps"
	"math"
	"math/rand/v2"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"gonum.org/v1/gonum/stat"
	"gonum.org/v1/plot/font"
	"gonum.org/v1/plot/vg"

	"retotal/ingest/site"
	"retotal/recompute"
)

// TestQuartiles: least, quartiles and greatest beside those of gonum/stat, which sorts: exactly as long as all values
// are kept, to 0.4 % of themselves beyond. Values repeat, are zero and below it.
func TestQuartiles(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 2))
	for _, n := range []int{1, 2, 3, 4, 5, 7, 100, 1001, mostExact - 1, mostExact, 3*mostExact + 5} {
		for _, draw := range []func() float64{
			r.Float64, r.NormFloat64, func() float64 { return math.Exp(8 * r.NormFloat64()) },
			func() float64 { return float64(r.IntN(3)) }, func() float64 { return 0 },
		} {
			var s spreading
			values := make([]float64, n)
			for i := range values {
				values[i] = draw()
				s.add(values[i])
			}
			got := s.finish()
			slices.Sort(values)
			if got.n != n || got.low != values[0] || got.high != values[n-1] {
				t.Fatalf("%d values from %g to %g: %+v", n, values[0], values[n-1], got)
			}
			for i, v := range []float64{got.quarter, got.middle, got.threeQuarters} {
				want := stat.Quantile(float64(i+1)/4, stat.Empirical, values, nil)
				if off := math.Abs(v - want); off > 0 && (n < mostExact || off > 0.004*math.Abs(want)) {
					t.Errorf("quartile %d of %d values: %g, want %g", i+1, n, v, want)
				}
			}
			if s.n != 0 || len(s.values) != 0 {
				t.Error("the next stretch does not begin empty")
			}
		}
	}
}

// fed hands rows of flows to a gatherer, in blocks.
func fed(location *time.Location, from int64, step time.Duration, before, after []float64) *Gatherer {
	g := New(&site.Site{Report: site.Report{Clock: site.Clock{Location: location}}})
	for low := 0; low < len(after); low += 1000 {
		high := min(low+1000, len(after))
		rows := &recompute.Rows{Before: before[low:high], After: after[low:high]}
		for i := low; i < high; i++ {
			rows.Time = append(rows.Time, from+int64(i)*int64(step))
			rows.Used, rows.Head = append(rows.Used, after[i] >= 0), append(rows.Head, 0.1)
		}
		g.Rows(rows)
	}
	return g
}

// TestNoSpikeIsLost: in random flows with random spikes, every spike is the end of the day, the week and the month that
// hold it, and of the slot of a line and the step of a month that do, where these are kept; nothing else is higher or
// lower. Readings that do not count are in none.
func TestNoSpikeIsLost(t *testing.T) {
	location, err := time.LoadLocation("America/Havana")
	if err != nil {
		t.Fatal(err)
	}
	r := rand.New(rand.NewPCG(3, 4))
	start := time.Date(2031, 2, 20, 13, 7, 0, 0, time.UTC).UnixNano()
	for _, step := range []time.Duration{7 * time.Second, time.Minute, 15 * time.Minute, 5 * time.Hour} {
		const n = 30000
		before, after := make([]float64, n), make([]float64, n)
		for i := range after {
			before[i], after[i] = r.Float64(), 1+r.Float64()
			switch r.IntN(500) {
			case 0:
				after[i] = 10 + 100*r.Float64()
			case 1:
				before[i] = 10 + 100*r.Float64()
			case 2:
				after[i] = -1 // does not count
			case 3:
				after[i] = 0
			}
		}
		g := fed(location, start, step, before, after)
		g.finish()
		for _, bars := range [][]bar{g.days, g.weeks, g.months} {
			checkBars(t, bars, start, step, before, after)
		}
		checkSlots(t, g.fine.list(), g.fine.width, start, step, before, after)
		checkSlots(t, g.steps.list(), g.steps.width, start, step, before, after)
		if len(g.fine.slots) > mostSlots || len(g.steps.slots) > mostSteps {
			t.Errorf("%d slots and %d steps are kept", len(g.fine.slots), len(g.steps.slots))
		}
	}
}

// ends are the least and the greatest after and the greatest before of a stretch, by looking at every reading.
func ends(start, from, until int64, step time.Duration, before, after []float64) (low, high, was float64, n int) {
	low, high, was = math.Inf(1), math.Inf(-1), math.Inf(-1)
	for i := range after {
		if at := start + int64(i)*int64(step); at >= from && at < until {
			if was = math.Max(was, before[i]); after[i] >= 0 {
				low, high, n = math.Min(low, after[i]), math.Max(high, after[i]), n+1
			}
		}
	}
	return low, high, was, n
}

func checkBars(t *testing.T, bars []bar, start int64, step time.Duration, before, after []float64) {
	t.Helper()
	all := 0
	for i, b := range bars {
		low, high, was, n := ends(start, b.from, b.until, step, before, after)
		if n != b.n || n > 0 && (low != b.low || high != b.high) || was != b.was {
			t.Fatalf("bar %d from %v: %+v, want %g to %g of %d, %g before", i, time.Unix(0, b.from), b, low, high, n,
				was)
		}
		if i > 0 && b.from != bars[i-1].until {
			t.Fatalf("bar %d does not begin where the one before it ends", i)
		}
		all += n
	}
	if _, _, _, n := ends(start, math.MinInt64, math.MaxInt64, step, before, after); n != all {
		t.Errorf("bars hold %d readings of %d", all, n)
	}
}

func checkSlots(t *testing.T, slots []slot, width, start int64, step time.Duration, before, after []float64) {
	t.Helper()
	for i := range slots {
		if len(slots) > 3000 && i%37 > 0 {
			continue // of many some
		}
		s := &slots[i]
		low, high, was, n := ends(start, s.at*width, (s.at+1)*width, step, before, after)
		if n != s.n || n > 0 && (low != s.low || high != s.high) || was != s.was {
			t.Fatalf("slot %d of %v: %+v, want %g to %g of %d, %g before", i, time.Duration(width), s, low, high, n,
				was)
		}
		if n > 0 && (s.mean() < low-1e-12 || s.mean() > high+1e-12) {
			t.Fatalf("slot %d has a mean of %g", i, s.mean())
		}
	}
}

// TestSpikeIsDrawn: the highest end of a bar or band stands where the names of the value axis have the flow of the
// spike, over stretches of every kind of bar.
func TestSpikeIsDrawn(t *testing.T) {
	for _, days := range []int{6, 40, 400, 2000} {
		heads := waves(days, time.Hour)
		heads[len(heads)/3] = 0.9
		g, run := made(t, "[screening]\nspike = \"keep\"\n", june, time.Hour, heads)
		want := run.Site().Report.FlowUnit.FromSI(1.38 * math.Pow(0.9, 2.5))
		p := g.Hydrograph(run, Options{})
		r := &recorder{tints: []Tint{After, Middle, Range}, top: math.Inf(-1), names: map[float64]float64{}}
		p.Draw(r)
		if got := r.value(); math.Abs(got-want) > 0.01*want {
			t.Errorf("%d days: the highest end stands at %g, want %g", days, got, want)
		}
	}
}

// recorder is a canvas that keeps the highest place of some tints above the key, and the values named along the axis,
// in points from the bottom.
type recorder struct {
	vg.Canvas
	tints []Tint
	now   color.Color
	top   float64
	names map[float64]float64 // values by height
}

func (r *recorder) SetLineWidth(vg.Length)             {}
func (r *recorder) SetLineDash([]vg.Length, vg.Length) {}
func (r *recorder) SetColor(c color.Color)             { r.now = c }
func (r *recorder) Stroke(p vg.Path)                   { r.Fill(p) }
func (r *recorder) FillString(f font.Face, at vg.Point, text string) {
	if v, err := strconv.ParseFloat(strings.ReplaceAll(text, ",", ""), 64); err == nil && r.now == Second {
		r.names[float64(at.Y)+4*float64(unit)] = v
	}
}

func (r *recorder) Fill(p vg.Path) {
	if t, is := r.now.(Tint); !is || !slices.Contains(r.tints, t) || len(r.names) == 0 { // the key comes first
		return
	}
	for _, c := range p {
		r.top = math.Max(r.top, float64(c.Pos.Y))
	}
}

// value is where the highest place stands on the axis.
func (r *recorder) value() float64 {
	heights := slices.Sorted(maps.Keys(r.names))
	if len(heights) < 2 {
		return math.NaN()
	}
	low, high := heights[0], heights[len(heights)-1]
	return r.names[low] + (r.top-low)/(high-low)*(r.names[high]-r.names[low])
}
