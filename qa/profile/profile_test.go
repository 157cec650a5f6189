package profile

import (
	"math"
	"math/rand/v2"
	"runtime"
	"slices"
	"testing"
	"time"
	"unsafe"

	"retotal/testdata/effort"
	"retotal/testdata/records"
)

// TestAnyBeginning: where the readings at hand end decides nothing. A record that begins later, by any number of
// readings, has the same verdicts on the large faults after that.
func TestAnyBeginning(t *testing.T) {
	random := rand.New(rand.NewPCG(21, 14))
	for _, kind := range []records.Kind{records.Stream, records.Tide, records.Sewage} {
		r := records.Make(random, kind, 5*time.Minute, 0.001, 60*24*time.Hour)
		r.Spikes(random, 20, 10)
		r.Stick(random, 3)
		noise := r.Noise()
		large := func(from int) (list []Verdict) {
			p := New(Settings{Resolution: r.Resolution, Interval: r.Interval})
			for i := from; i < len(r.Level); i++ {
				p.Add(r.At[i], r.Level[i], true)
			}
			for _, v := range p.Finish().Verdicts {
				if v.From > r.At[2*block] && math.Abs(v.Size) > 25*noise {
					list = append(list, v)
				}
			}
			return list
		}
		want := large(0)
		if len(want) < 6 {
			t.Fatalf("%v: %d verdicts", kind, len(want))
		}
		for range effort.Rounds(5, 100) {
			from := 1 + random.IntN(block)
			got := large(from)
			if len(got) != len(want) {
				t.Errorf("%v from reading %d: %d verdicts, wanted %d", kind, from, len(got), len(want))
				continue
			}
			for i, v := range want {
				// what a stuck spell would do hangs on the lowest level of a week, which may have been cut off
				w := got[i]
				if v.From != w.From || v.Until != w.Until || v.Kind == Spike && v.Remove != w.Remove {
					t.Errorf("%v from reading %d: %+v, wanted %+v", kind, from, w, v)
				}
			}
		}
	}
}

// TestTwoAtOnce: two records that are taken in turn about, in any portions, have the results of one after the other.
func TestTwoAtOnce(t *testing.T) {
	random := rand.New(rand.NewPCG(22, 14))
	var list [2]*records.Record
	var profiles [2]*Profile
	for i, kind := range []records.Kind{records.Stream, records.DryBed} {
		list[i] = records.Make(random, kind, 5*time.Minute, 0.001, 40*24*time.Hour)
		list[i].Spikes(random, 10, 5)
		profiles[i] = New(Settings{Resolution: 0.001, Interval: 5 * time.Minute})
	}
	for next := [2]int{}; next[0] < len(list[0].Level) || next[1] < len(list[1].Level); {
		i := random.IntN(2)
		for range 1 + random.IntN(3000) {
			if k := next[i]; k < len(list[i].Level) {
				profiles[i].Add(list[i].At[k], list[i].Level[k], true)
				next[i]++
			}
		}
	}
	for i, p := range profiles {
		got, want := p.Finish(), look(list[i])
		if !slices.Equal(got.Verdicts, want.Verdicts) || !slices.Equal(got.Bands, want.Bands) ||
			len(want.Verdicts) == 0 {
			t.Errorf("record %d: %d verdicts, wanted %d", i, len(got.Verdicts), len(want.Verdicts))
		}
	}
}

// mostBytes is what a profile holds at the most: all buckets, candidates and runs, and the readings at hand. Lists that
// grow have a quarter to spare.
const mostBytes = 9_000_000

// TestSizes adds up what a profile holds at the most.
func TestSizes(t *testing.T) {
	lists := classes*mostCandidates*unsafe.Sizeof(candidate{}) + mostRuns*unsafe.Sizeof(stand{})
	total := unsafe.Sizeof(Profile{}) + 16*block + mostBuckets*unsafe.Sizeof(bucket{}) + lists + lists/4
	if total > mostBytes {
		t.Errorf("%d bytes", total)
	}
}

// TestMemory: memory does not grow with the record, however many readings it has and however wild they are.
func TestMemory(t *testing.T) {
	random := rand.New(rand.NewPCG(23, 14))
	calm := func(i int) float64 {
		return 0.3 + 0.1*math.Sin(float64(i)/1e4) + 0.002*random.NormFloat64()
	}
	wild := func(i int) float64 {
		x := calm(i)
		if i%20 == 0 {
			x += 3 * random.NormFloat64()
		}
		if i%1000 > 900 {
			x = float64(i%1000000) / 1e4
		}
		return x
	}
	for name, level := range map[string]func(int) float64{"calm": calm, "wild": wild} {
		before := heap()
		p := New(Settings{Resolution: 0.0001, Interval: time.Minute})
		rows, early := effort.Rounds(2_000_000, 20_000_000), uint64(0)
		for i := range rows {
			p.Add(int64(i)*int64(time.Minute), level(i), true)
			if i == rows/2 {
				early = heap() - before
			}
		}
		late := heap() - before
		t.Logf("%s: %d bytes after %d readings, %d after half", name, late, rows, early)
		if late > mostBytes || late > early+early/2 {
			t.Errorf("%s: %d bytes after %d readings, %d after half", name, late, rows, early)
		}
		found := p.Finish()
		if len(found.Verdicts) > classes*mostCandidates+mostRuns {
			t.Errorf("%s: %d verdicts", name, len(found.Verdicts))
		}
		own := slices.ContainsFunc(found.Notes, func(n Note) bool {
			return n.Kind == OwnPulses && n.Count > mostCandidates
		})
		if own != (name == "wild") {
			t.Errorf("%s: %+v", name, found.Notes)
		}
	}
}

func heap() uint64 {
	var m runtime.MemStats
	runtime.GC()
	runtime.ReadMemStats(&m)
	return m.HeapAlloc
}

// TestBreaks: nothing is judged across a gap, a doubted reading, or what is no level.
func TestBreaks(t *testing.T) {
	const interval = 5 * time.Minute
	for _, c := range []struct {
		name  string
		add   func(p *Profile, at int64, level float64)
		flags int
	}{
		{"as it is", func(p *Profile, at int64, level float64) { p.Add(at, level, true) }, 1},
		{"doubted", func(p *Profile, at int64, level float64) { p.Add(at, level, false) }, 0},
		{"missing", func(*Profile, int64, float64) {}, 0},
		{"no number", func(p *Profile, at int64, _ float64) { p.Add(at, math.NaN(), true) }, 0},
		{"without end", func(p *Profile, at int64, _ float64) { p.Add(at, math.Inf(1), true) }, 0},
		{"time stands", func(p *Profile, at int64, level float64) { p.Add(at-int64(interval), level, true) }, 0},
		{"time goes back", func(p *Profile, at int64, level float64) { p.Add(at-int64(time.Hour), level, true) }, 0},
		{"half a step late", func(p *Profile, at int64, level float64) { p.Add(at+int64(interval)/2-1, level, true) }, 1},
		{"later", func(p *Profile, at int64, level float64) { p.Add(at+int64(interval)/2, level, true) }, 0},
	} {
		for beside := -3; beside <= 3; beside++ {
			if beside == 0 {
				continue
			}
			p := New(Settings{Resolution: 0.001, Interval: interval})
			for i, n := range calm(4000) {
				at, level := int64(i)*int64(interval), float64(n)/1000
				if i == 2005 {
					level += 0.05
				}
				if i == 2005+beside {
					c.add(p, at, level)
					continue
				}
				p.Add(at, level, true)
			}
			want := c.flags
			if c.name == "later" && beside == -3 {
				want = 1 // the gap is before the reading: the window is whole
			}
			if found := p.Finish(); len(found.Verdicts) != want {
				t.Errorf("%s, %d beside: %+v", c.name, beside, found.Verdicts)
			}
		}
	}
}

// TestSampling: where interval or step of the log change, nothing is judged across it, and both sides are judged.
func TestSampling(t *testing.T) {
	p := New(Settings{Resolution: 0.001, Interval: time.Minute})
	at := int64(0)
	put := func(interval time.Duration, off map[int]float64) {
		p.Sampling(Settings{Resolution: 0.001, Interval: interval})
		for i, n := range calm(3000) {
			at += int64(interval)
			p.Add(at, float64(n)/1000+off[i], true)
		}
	}
	put(time.Minute, map[int]float64{1505: 0.05, 2999: 0.05})
	put(5*time.Minute, map[int]float64{0: 0.05, 1505: 0.05})
	found := p.Finish()
	if len(found.Verdicts) != 2 || !found.Verdicts[0].Remove || !found.Verdicts[1].Remove {
		t.Errorf("%+v", found.Verdicts)
	}
	// what may be removed hangs on the interval at that time
	for _, first := range []time.Duration{5 * time.Minute, 15 * time.Minute} {
		p = New(Settings{Resolution: 0.001, Interval: first})
		put(first, map[int]float64{1505: 0.05})
		put(20*time.Minute-first, map[int]float64{1505: 0.05})
		found = p.Finish()
		if v := found.Verdicts; len(v) != 2 || v[0].Remove == v[1].Remove || v[0].Remove != (first == 5*time.Minute) {
			t.Errorf("%v first: %+v", first, found.Verdicts)
		}
	}
}

// TestNothing: records of nothing, of one value, and of garbage have no verdicts or few, and break nothing.
func TestNothing(t *testing.T) {
	if found := New(Settings{Interval: time.Minute}).Finish(); len(found.Verdicts) > 0 || found.Noise(0) != 0 {
		t.Errorf("%+v", found)
	}
	one := New(Settings{Interval: time.Minute})
	for i := range 10000 {
		one.Add(int64(i)*int64(time.Minute), 0.2, true)
	}
	if found := one.Finish(); len(found.Verdicts) > 0 {
		t.Errorf("%+v", found.Verdicts)
	}
	far := New(Settings{Interval: time.Minute})
	for i := range 10000 {
		far.Add(int64(i)*int64(time.Minute), float64(i/1000%2)*1e6, true)
	}
	if found := far.Finish(); len(found.Verdicts) > 0 {
		t.Errorf("%+v", found.Verdicts)
	}
	without := New(Settings{})
	for i, n := range calm(10000) {
		without.Add(int64(i), float64(n)+float64(i%17), true)
	}
	if found := without.Finish(); len(found.Verdicts) > 0 {
		t.Errorf("no interval: %+v", found.Verdicts)
	}
	random := rand.New(rand.NewPCG(24, 14))
	for range effort.Rounds(20, 500) {
		garbage(random)
	}
}

// garbage hands in figures and times of any size and order.
func garbage(random *rand.Rand) {
	p := New(Settings{Resolution: random.Float64() * 0.01, Interval: time.Minute, Tolerance: random.Float64() * 0.01})
	at := int64(random.Uint64())
	for range random.IntN(20000) {
		at += int64(time.Minute)
		switch random.IntN(200) {
		case 0:
			at = int64(random.Uint64())
		case 1:
			p.Sampling(Settings{Resolution: random.Float64(), Interval: time.Duration(random.IntN(1e11))})
		}
		level := random.NormFloat64()
		if random.IntN(50) == 0 {
			level = math.Float64frombits(random.Uint64())
		}
		p.Add(at, level, random.IntN(100) > 0)
	}
	p.Finish()
}

// TestStillWater: records that stand for hours, as they should, have no stuck spell: a slow recession and a damped
// meter at whole millimetres, and a bed that is dry between floods.
func TestStillWater(t *testing.T) {
	day := func(i int, interval time.Duration) float64 { return float64(i) * interval.Hours() / 24 }
	for _, c := range []struct {
		name     string
		interval time.Duration
		level    func(day float64) float64
	}{
		{"slow recession", 5 * time.Minute, func(day float64) float64 { return 0.3 * math.Exp(-day/40) }},
		{"2 mm a day", time.Minute, func(day float64) float64 { return 0.2 + 0.002*math.Sin(2*math.Pi*day) }},
		{"5 mm a day", time.Minute, func(day float64) float64 { return 0.2 + 0.005*math.Sin(2*math.Pi*day) }},
		{"floods in a dry bed", time.Minute, func(day float64) float64 {
			return max(0, 0.4*math.Exp(-3*math.Mod(day, 9))-0.02)
		}},
		{"a pond that is filled at once", 5 * time.Minute, func(day float64) float64 {
			return max(0.1, 0.5*math.Exp(-math.Mod(day, 12)))
		}},
	} {
		for _, step := range []float64{0.0001, 0.001, 0.002, 0.01} {
			p := New(Settings{Resolution: step, Interval: c.interval})
			for i := range int(100 * 24 * time.Hour / c.interval) {
				level := math.Round(c.level(day(i, c.interval))/step) * step
				p.Add(int64(i)*int64(c.interval), level, true)
			}
			for _, v := range p.Finish().Verdicts {
				t.Errorf("%s, %v m: %+v", c.name, step, v)
			}
		}
	}
}

// TestOwnPulses: what a site does thirty times a day is its own, and told; what is three times as large is not.
func TestOwnPulses(t *testing.T) {
	steps := calm(288 * 60)
	for i := 48; i+48 < len(steps); i += 10 {
		if i/10%5 == 0 {
			steps[i+5] += 40 + i%7
		}
	}
	steps[8005] += 300
	found := profiled(5*time.Minute, steps)
	if len(found.Verdicts) != 1 || found.Verdicts[0].Size < 0.29 {
		t.Errorf("%d verdicts", len(found.Verdicts))
	}
	found.Notes = slices.DeleteFunc(found.Notes, func(n Note) bool { return n.Check == Stuck })
	if len(found.Notes) != 1 || found.Notes[0].Kind != OwnPulses || !found.Notes[0].Rising ||
		math.Abs(found.Notes[0].Low-0.04) > 0.002 || math.Abs(found.Notes[0].High-0.046) > 0.002 {
		t.Errorf("%+v", found.Notes)
	}
}

// TestCounts: where nothing is a fault, the profile holds every reading, every change and every distance of a reading
// from the middle of its neighbours once, whatever was set aside for a while; and of zeros in a row the first three.
func TestCounts(t *testing.T) {
	random := rand.New(rand.NewPCG(25, 14))
	judged := 0
	for range effort.Rounds(30, 300) {
		p := New(Settings{Interval: time.Minute})
		var rise, fall, off histogram
		var x []float64
		aside := 0
		for i := range 5000 {
			x = append(x, 0.3+0.05*math.Sin(float64(i)/3000)+0.001*random.NormFloat64())
			p.Add(int64(i)*int64(time.Minute), x[i], true)
			if i > 0 && x[i] >= x[i-1] {
				rise.add(x[i] - x[i-1])
			} else if i > 0 {
				fall.add(x[i-1] - x[i])
			}
			if i > 1 {
				off.add(math.Abs(x[i-1] - (x[i]+x[i-2])/2))
			}
		}
		found := p.Finish()
		if len(found.Verdicts) > 0 {
			continue // by chance; it stays aside
		}
		var all bucket
		for _, b := range p.habits.list {
			all.merge(b)
		}
		for k := range p.spikes {
			aside += len(p.spikes[k].list)
		}
		if aside > 0 {
			judged++
		}
		// two of them may be the same to a nanometre
		if int(all.readings) != len(x) || all.runs.count() > len(x) || all.runs.count() < len(x)-1 {
			t.Errorf("%d aside, %d readings, %d runs, of %d", aside, all.readings, all.runs.count(), len(x))
		}
		near := func(a, b *histogram) bool { // arithmetic may put a size into the bin beside
			moved := 0
			for k := range a {
				moved += int(math.Abs(float64(a[k]) - float64(b[k])))
			}
			return moved < 10 && a.count() == b.count()
		}
		if !near(&all.rise, &rise) || !near(&all.fall, &fall) || !near(&all.off, &off) {
			t.Errorf("rises %d of %d, falls %d of %d, distances %d of %d", all.rise.count(), rise.count(),
				all.fall.count(), fall.count(), all.off.count(), off.count())
		}
	}
	if judged < 8 {
		t.Errorf("%d records with something aside", judged)
	}
	p := New(Settings{Interval: time.Minute, Resolution: 0.001})
	for i, n := range calm(1000) {
		p.Add(int64(i)*int64(time.Minute), float64(n)/1000, true)
	}
	p.Finish()
	var all bucket
	for _, b := range p.habits.list {
		all.merge(b)
	}
	zeros, others := all.rise[0], all.rise.count()+all.fall.count()-int(all.rise[0])
	if zeros != 300 || others != 99 {
		t.Errorf("%d zeros and %d other changes, wanted 300 and 99", zeros, others)
	}
}

// TestQuietAfterNoise: a spike in calm water is flagged soon after a month of waves.
func TestQuietAfterNoise(t *testing.T) {
	random := rand.New(rand.NewPCG(26, 14))
	p := New(Settings{Interval: 5 * time.Minute, Resolution: 0.0001})
	const month = 30 * 288
	for i := range 4 * month {
		level := 0.3 + 0.0005*random.NormFloat64()
		if i < month {
			level = 0.3 + 0.01*random.NormFloat64()
		}
		if i == month+month/2 {
			level += 0.01
		}
		p.Add(int64(i)*int64(5*time.Minute), level, true)
	}
	found := slices.ContainsFunc(p.Finish().Verdicts, func(v Verdict) bool {
		return v.From == (month+month/2)*int64(5*time.Minute)
	})
	if !found {
		t.Error("not found")
	}
}
