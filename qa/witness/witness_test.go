package witness

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"testing"
	"time"

	"retotal/testdata/effort"
	"retotal/testdata/records"
)

// The rating of the generated records is a V-notch's form: Q = 1.38 h^2.5.
func flowOf(head float64) float64 { return 1.38 * math.Pow(max(head, 0), 2.5) }

func headOf(_ int64, flow, _ float64) float64 {
	if flow <= 0 {
		return math.NaN()
	}
	return math.Pow(flow/1.38, 0.4)
}

func same(_ int64, head, _ float64) float64 { return head }

// a kind of witness, and what it says of a record whose sensor is sound.
type kind struct {
	name   string
	make   func(random *rand.Rand, r *records.Record) []float64
	step   float64
	counts bool
	head   func(int64, float64, float64) float64
}

func round(x, step float64) float64 { return math.Round(x/step) * step }

var kinds = []kind{
	{"second sensor", second, 0.001, false, same},
	{"logged flow", flow, 1e-5, false, headOf},
	{"counter", counter, 0.1, true, headOf},
}

// second is another sensor: 12 mm off, with noise of its own and the heat of the day.
func second(random *rand.Rand, r *records.Record) []float64 {
	list, heat := make([]float64, len(r.Sound)), random.Float64()*0.004
	for i, x := range r.Sound {
		hour := float64(r.At[i]-r.At[0]) / 3600e9
		list[i] = round(x+0.012+float64(0.002*random.NormFloat64())+float64(heat*math.Sin(hour*2*math.Pi/24)), 0.001)
	}
	return list
}

// flow is the meter's own, with a time constant of two minutes to half an hour, by a rating that is 7 % off.
func flow(random *rand.Rand, r *records.Record) []float64 {
	list, shown := make([]float64, len(r.Sound)), flowOf(r.Sound[0])
	share := 1 - math.Exp(-r.Interval.Minutes()/(2*math.Pow(15, random.Float64())))
	for i, x := range r.Sound {
		shown += float64(share * (1.07*flowOf(x) - shown))
		list[i] = round(shown, 1e-5)
	}
	return list
}

// counter adds that flow up.
func counter(random *rand.Rand, r *records.Record) []float64 {
	list, total := flow(random, r), 0.0
	for i, q := range list {
		total += float64(q * r.Interval.Seconds())
		list[i] = math.Floor(total/0.1) * 0.1
	}
	return list
}

func look(r *records.Record, k *kind, says []float64) ([]Verdict, bool) {
	w := New(Settings{Interval: r.Interval, Step: r.Resolution, OtherStep: k.step, Counts: k.counts, Head: k.head})
	for i, x := range r.Level {
		other := says[i]
		if x <= 0 {
			other = math.NaN()
		}
		w.Add(r.At[i], x, x, other)
	}
	return w.Finish()
}

// found counts spells.
type found struct{ of, flagged, removed int }

// table is what was measured of a kind of witness: of clean records how many spells were told; of stuck spells of 6 h
// and more, by how many times the record's noise they hide, how many were flagged and removed; and of the spells that
// are removed, how many are not stuck.
type table struct {
	clean, told, apart int
	spells             [4]found
	wrong, right       int
}

var sizes = [4]float64{10, 30, 100, math.Inf(1)}

func (t *table) look(random *rand.Rand, r *records.Record, k *kind) {
	list, apart := look(r, k, k.make(random, r))
	if len(r.Injected) == 0 {
		t.clean++
		t.told += len(list)
		if apart {
			t.apart++
		}
	}
	stuck := map[int64]*records.Fault{}
	for i := range r.Injected {
		for row := r.Injected[i].From; row < r.Injected[i].Until; row++ {
			stuck[r.At[row]] = &r.Injected[i]
		}
	}
	hit := map[*records.Fault]bool{}
	for _, v := range list {
		f := stuck[v.From+(v.Until-v.From)/2/int64(r.Interval)*int64(r.Interval)]
		if f == nil && v.Remove {
			t.wrong++
		} else if v.Remove {
			t.right++
		}
		if f != nil && (v.Remove || !hit[f]) {
			hit[f] = v.Remove
		}
	}
	noise := r.Noise()
	for i := range r.Injected {
		f := &r.Injected[i]
		for n := range sizes {
			if f.Hidden/noise >= sizes[n] {
				continue
			}
			t.spells[n].of++
			if removed, ok := hit[f]; ok {
				t.spells[n].flagged++
				if removed {
					t.spells[n].removed++
				}
			}
			break
		}
	}
}

// measure makes so many rounds of clean records and of records with stuck spells, of all kinds of water.
func measure(seed uint64, rounds int) (tables [3]table) {
	random := rand.New(rand.NewPCG(seed, 1))
	for range rounds {
		for _, water := range records.Kinds() {
			for _, interval := range []time.Duration{time.Minute, 5 * time.Minute, 15 * time.Minute} {
				resolution := []float64{0.0001, 0.001, 0.002, 0.01}[random.IntN(4)]
				length := time.Duration(30+random.IntN(60)) * 24 * time.Hour
				clean := records.Make(random, water, interval, resolution, length)
				spoilt := records.Make(random, water, interval, resolution, length)
				spoilt.Stick(random, 3)
				for k := range kinds {
					tables[k].look(random, clean, &kinds[k])
					tables[k].look(random, spoilt, &kinds[k])
				}
			}
		}
	}
	return tables
}

func (t *table) String() string {
	s := fmt.Sprintf("clean %d: told %d, apart %d; removed right %d, wrong %d;",
		t.clean, t.told, t.apart, t.right, t.wrong)
	for n, x := range t.spells {
		s += fmt.Sprintf("  under %.0f x: %d of %d flagged, %d removed;", sizes[n], x.flagged, x.of, x.removed)
	}
	return s
}

// TestHarm: nothing is told of clean records, all that is removed is stuck, and most of what hides 30 times the noise
// or more is found: 8 in 10 flagged, half removed.
func TestHarm(t *testing.T) {
	tables := measure(1, effort.Rounds(2, 6))
	for k := range tables {
		x := &tables[k]
		hides := found{x.spells[2].of + x.spells[3].of, x.spells[2].flagged + x.spells[3].flagged,
			x.spells[2].removed + x.spells[3].removed}
		if x.told > 0 || x.apart > 0 || x.wrong > 0 || x.right < 20 ||
			float64(hides.flagged) < 0.8*float64(hides.of) || float64(hides.removed) < 0.5*float64(hides.of) {
			t.Errorf("%s: %v", kinds[k].name, x)
		}
	}
}

// BenchmarkHarm prints the table, of records that no test has.
func BenchmarkHarm(b *testing.B) {
	for b.Loop() {
		tables := measure(2, 6)
		for k := range tables {
			b.Log(kinds[k].name, &tables[k])
		}
	}
}

// TestFaultsOfTheWitness: a second sensor that is fouled for hours and cleaned, or that hangs over other water, removes
// nothing of a sound record.
func TestFaultsOfTheWitness(t *testing.T) {
	random := rand.New(rand.NewPCG(3, 1))
	for _, water := range records.Kinds() {
		for _, resolution := range []float64{0.001, 0.01} {
			r := records.Make(random, water, 5*time.Minute, resolution, 60*24*time.Hour)
			fouled := second(random, r)
			for range 6 {
				from := random.IntN(len(fouled) - 300)
				for i := from; i < from+72+random.IntN(200); i++ {
					fouled[i] += 0.05
				}
			}
			other := records.Make(random, records.Stream, 5*time.Minute, resolution, 60*24*time.Hour)
			for name, says := range map[string][]float64{"fouled": fouled, "other water": other.Sound} {
				list, _ := look(r, &kinds[0], says)
				for _, v := range list {
					if v.Remove {
						t.Errorf("%v, steps of %v m, %s: %+v", water, resolution, name, v)
					}
				}
			}
		}
	}
}

// standing is a day of minutes around 100 mm that goes up and down by 3 mm every 20 minutes, four days long; it stands
// from the fortieth hour for ten hours, while the second sensor, exact, does what is told.
func standing(says func(hour float64) float64) *Witness {
	w := New(Settings{Interval: time.Minute, Step: 0.001, OtherStep: 0.001, Head: same})
	for i := range 10 * 24 * 60 {
		hour := float64(i) / 60
		level := round(0.1+float64(0.003*math.Sin(hour*3*2*math.Pi)), 0.001)
		other := level
		if hour >= 40 && hour < 50 {
			level, other = 0.1, 0.1+says((hour-40)/10)
		}
		w.Add(int64(i)*60e9, level, level, other)
	}
	return w
}

// TestEdges: three steps flag, six remove; what comes in the first half of a spell may be a figure that catches up; and
// what does not come back to agree is flagged alone.
func TestEdges(t *testing.T) {
	hill := func(height float64) func(float64) float64 {
		return func(x float64) float64 {
			if x > 0.6 && x < 0.9 {
				return height
			}
			return 0
		}
	}
	for _, c := range []struct {
		name         string
		says         func(float64) float64
		told, remove bool
	}{
		{"nothing", hill(0), false, false},
		{"two steps", hill(0.002), false, false},
		{"three steps", hill(0.003), true, false},
		{"five steps", hill(0.005), true, false},
		{"six steps", hill(0.006), true, true},
		{"six steps down", hill(-0.006), true, true},
		{"in the first half", func(x float64) float64 { return hill(0.05)(x + 0.5) }, false, false},
	} {
		list, apart := standing(c.says).Finish()
		if apart || len(list) != map[bool]int{true: 1}[c.told] || c.told && list[0].Remove != c.remove {
			t.Errorf("%s: %+v, %v", c.name, list, apart)
		}
		if c.told && (list[0].From > 40*3600e9 || list[0].From < 39.8*3600e9 || list[0].Until < 49.9*3600e9) {
			t.Errorf("%s: %+v", c.name, list)
		}
	}
}

// TestStays: a second sensor that stays where it went does not agree with the first afterwards: either may have moved.
func TestStays(t *testing.T) {
	w := New(Settings{Interval: time.Minute, Step: 0.001, OtherStep: 0.001, Head: same})
	for i := range 10 * 24 * 60 {
		hour := float64(i) / 60
		level := round(0.1+float64(0.003*math.Sin(hour*3*2*math.Pi)), 0.001)
		other := level
		if hour >= 40 && hour < 50 {
			level, other = 0.1, 0.1
		}
		if hour >= 47 {
			other += 0.05
		}
		w.Add(int64(i)*60e9, level, level, other)
	}
	if list, _ := w.Finish(); len(list) != 1 || list[0].Remove {
		t.Errorf("%+v", list)
	}
}

// TestConfirmed: water that is held at one level for ten hours, and let go to another, is confirmed by a second sensor
// that shows the same; not by the meter's own flow, which comes from the same level, nor by a second sensor that hangs
// too, or has gone elsewhere before or after.
func TestConfirmed(t *testing.T) {
	flicker := func(h float64) float64 { return 0.012 + 0.001*float64(int(h*60)%2) }
	for _, c := range []struct {
		name        string
		independent bool
		off         func(hour float64) float64
		want        bool
	}{
		{"both stand, but for noise", true, flicker, true},
		{"both hang", true, func(float64) float64 { return 0.012 }, false},
		{"of the same sensor", false, flicker, false},
		{"stuck, the other goes on", true, func(h float64) float64 { return 0.002 * max(0, min(h, 50)-40) }, false},
		{"comes in elsewhere", true, func(h float64) float64 { return map[bool]float64{h < 40: 0.05}[true] }, false},
		{"goes elsewhere", true, func(h float64) float64 { return map[bool]float64{h >= 50: 0.05}[true] }, false},
	} {
		w := New(Settings{Interval: time.Minute, Step: 0.001, OtherStep: 0.001, Head: same, Independent: c.independent})
		for i := range 10 * 24 * 60 {
			hour := float64(i) / 60
			level := round(0.1+float64(0.003*math.Sin(hour*3*2*math.Pi)), 0.001)
			if hour >= 40 && hour < 50 {
				level = 0.3
			}
			w.Add(int64(i)*60e9, level, level, level+c.off(hour))
		}
		list, _ := w.Finish()
		got := slices.ContainsFunc(list, func(v Verdict) bool { return v.Confirmed && v.From == 40*3600e9 })
		if got != c.want {
			t.Errorf("%s: %+v", c.name, list)
		}
	}
}

// TestCounterBegins: the rate of a window is that between the first and the last reading of the counter in it, whatever
// readings have none: 36 m3 an hour are 10 L/s.
func TestCounterBegins(t *testing.T) {
	for missing := range 4 {
		w := New(Settings{Interval: time.Minute, Step: 0.001, OtherStep: 0.1, Counts: true, Head: same})
		for i := range 30 {
			other := 100 + 0.6*float64(i)
			if i < missing {
				other = math.NaN()
			}
			w.Add(int64(30+i)*60e9, 0.1, 0.1, other)
		}
		if rate, _, ok := w.says(); !ok || math.Abs(rate-0.01) > 1e-12 {
			t.Errorf("%d without: %v, %v", missing, rate, ok)
		}
	}
}

// TestSample: a sample holds every value as long as they are few, every second or fourth one of many, and its quantiles
// are those of all to a hundredth.
func TestSample(t *testing.T) {
	for _, n := range []int{1, 100, sampleSize - 1, sampleSize, 3*sampleSize + 7, 20 * sampleSize} {
		var s sample
		for i := range n {
			s.add(float64(i))
		}
		got, want := s.quantile(0.9), 0.9*float64(n-1)
		if math.Abs(got-want) > 0.01*float64(n) || len(s.values) >= sampleSize {
			t.Errorf("%d: %v, want %v, of %d", n, got, want, len(s.values))
		}
	}
}
