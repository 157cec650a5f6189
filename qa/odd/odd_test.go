package odd

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"
	"time"

	"retotal/testdata/effort"
	"retotal/testdata/records"
)

// flow is of a rating like a V-notch's.
func flow(head float64) float64 {
	head = max(head, 0)
	return 1.38 * head * head * math.Sqrt(head)
}

// look takes in a record, whose levels are heads.
func look(r *records.Record) Result {
	o := New(r.Resolution, r.Interval)
	o.Rating(flow)
	for i, x := range r.Level {
		o.Add(Reading{At: r.At[i], Level: x, Head: x, Flow: flow(x)})
	}
	return o.Finish()
}

// told lists the kinds that were found.
func (r *Result) told() (list []string) {
	for _, x := range []struct {
		name string
		yes  bool
	}{
		{"drop-outs", len(r.DropOuts) > 0}, {"fade", len(r.Fades) > 0}, {"pond", len(r.Ponds) > 0},
		{"echo", len(r.Echoes) > 0}, {"noise", r.Noise != nil},
	} {
		if x.yes {
			list = append(list, x.name)
		}
	}
	return list
}

// overlaps reports whether a span meets a fault.
func (s *Span) overlaps(r *records.Record, f *records.Fault) bool {
	return s.From < r.At[f.Until-1] && s.Until > r.At[f.From]
}

// finds reports whether a fault was found, as what it is and at its time.
func (r *Result) finds(of *records.Record, f *records.Fault) bool {
	var spans []Span
	for _, x := range r.DropOuts {
		spans = append(spans, x.Span)
	}
	switch f.Cause {
	case records.Fading:
		spans = nil
		for _, x := range r.Fades {
			spans = append(spans, x.Span)
		}
	case records.Ponded:
		spans = nil
		for _, x := range r.Ponds {
			spans = append(spans, x.Span)
		}
	case records.TwoSurfaces:
		spans = nil
		for _, x := range r.Echoes {
			spans = append(spans, x.Span)
		}
	case records.Noisier:
		spans = nil
		if r.Noise != nil {
			spans = append(spans, r.Noise.Span)
		}
	}
	return slices.ContainsFunc(spans, func(s Span) bool { return s.overlaps(of, f) })
}

// kinds are what faults are told as.
var kinds = map[records.Cause]string{
	records.Flickering: "drop-outs", records.Fading: "fade", records.Ponded: "pond", records.TwoSurfaces: "echo",
	records.Noisier: "noise",
}

// odds is what was measured.
type odds struct {
	sites  int
	alarms []string
	found  map[string]*[3]int // of a row of the table: found, how many there were, told as what they are not
	names  []string
}

var (
	intervals   = []time.Duration{1, 2, 5, 6, 15, 30, 60} // minutes
	resolutions = []float64{0.0001, 0.0002, 0.0005, 0.001, 0.002, 0.005, 0.01}
)

const year = 365 * 24 * time.Hour

// clean looks at a year of a site without faults.
func (o *odds) clean(random *rand.Rand, kind records.Kind, interval time.Duration) *records.Record {
	resolution := resolutions[random.IntN(len(resolutions))]
	r := records.Make(random, kind, interval, resolution, year)
	found := look(r)
	o.sites++
	if found.Any() {
		o.alarms = append(o.alarms, fmt.Sprintf("%v, %v, %v m: %s", kind, interval, resolution,
			strings.Join(found.told(), ", ")))
	}
	return r
}

// spoil puts one fault after the other into a site and counts which are found.
func (o *odds) spoil(random *rand.Rand, r *records.Record) {
	group := "6 min or less"
	if r.Interval > 6*time.Minute {
		group = "15 min or more"
	}
	noise := r.Noise()
	put := func(name string, fault func(*records.Record)) {
		one := *r
		one.Level, one.Injected = slices.Clone(r.Sound), nil
		fault(&one)
		if len(one.Injected) == 0 {
			return
		}
		f := &one.Injected[0]
		if f.Size < 5*noise {
			return // next to nothing was changed
		}
		name = fmt.Sprintf("%-34s %s", name, group)
		found := look(&one)
		if o.found[name] == nil {
			o.found[name] = new([3]int)
			o.names = append(o.names, name)
		}
		o.found[name][1]++
		if slices.ContainsFunc(found.told(), func(kind string) bool { return kind != kinds[f.Cause] }) {
			o.found[name][2]++
		}
		if found.finds(&one, f) {
			o.found[name][0]++
		}
	}
	high := random.IntN(2) == 0
	for _, times := range []int{8, 20, 80} {
		put(fmt.Sprintf("%3d drop-outs", times), func(r *records.Record) {
			r.Flicker(random, max(48, 10*float64(times)*r.Interval.Hours()), times, high)
		})
	}
	for _, hours := range []float64{24, 96} {
		put(fmt.Sprintf("fade, %v h, low", hours), func(r *records.Record) { r.Fade(random, hours, false) })
		put(fmt.Sprintf("fade, %v h, high", hours), func(r *records.Record) { r.Fade(random, hours, true) })
	}
	for _, days := range []float64{4, 10, 30} {
		put(fmt.Sprintf("pond, %2v days", days), func(r *records.Record) { r.Pond(random, days*24, 0.7) })
	}
	for _, size := range []float64{10, 30, 100} {
		put(fmt.Sprintf("second surface, moving, %3v noise", size), func(r *records.Record) {
			r.TwoEchoes(random, 72, size*noise, random.Float64()*0.4+0.2, false)
		})
		put(fmt.Sprintf("second surface, still, %3v noise", size), func(r *records.Record) {
			r.TwoEchoes(random, 72, size*noise, random.Float64()*0.4+0.2, true)
		})
	}
	for _, share := range []float64{0.05, 0.1, 0.2} {
		put(fmt.Sprintf("noise of %2.0f %% of the head, 5 days", 100*share), func(r *records.Record) {
			r.Noisy(random, 120, share)
		})
	}
}

// measure makes so many rounds of sites, one of each kind and interval a round.
func measure(seed uint64, rounds int, faults bool, intervals ...time.Duration) *odds {
	random := rand.New(rand.NewPCG(seed, 14))
	o := &odds{found: map[string]*[3]int{}}
	for range rounds {
		for _, kind := range records.Kinds() {
			for _, minutes := range intervals {
				r := o.clean(random, kind, minutes*time.Minute)
				if faults {
					o.spoil(random, r)
				}
			}
		}
	}
	slices.Sort(o.names)
	return o
}

func (o *odds) table() string {
	var b strings.Builder
	fmt.Fprintf(&b, "clean sites %d, with a finding %d\n", o.sites, len(o.alarms))
	for _, a := range o.alarms {
		fmt.Fprintf(&b, "  %s\n", a)
	}
	for _, name := range o.names {
		x := o.found[name]
		fmt.Fprintf(&b, "%-50s %4d of %4d  %3.0f %%  as something else %d\n", name, x[0], x[1],
			100*float64(x[0])/float64(x[1]), x[2])
	}
	return b.String()
}

// TestOdd holds what the package promises of sound records of a year: at most 1 of 100 has a finding.
func TestOdd(t *testing.T) {
	o := measure(1, effort.Rounds(1, 6), false, intervals...)
	t.Log("\n" + o.table())
	if len(o.alarms)*100 > o.sites {
		t.Errorf("%d of %d clean sites have a finding", len(o.alarms), o.sites)
	}
}

// TestFound holds what it finds of faults, at 5 minutes.
func TestFound(t *testing.T) {
	o := measure(8, effort.Rounds(2, 10), true, 5)
	t.Log("\n" + o.table())
	for name, least := range map[string]float64{
		" 20 drop-outs": 0.85, "fade, 96 h, high": 0.85, "fade, 96 h, low": 0.5, "pond, 30 days": 0.4,
		"second surface, moving, 100 noise": 0.85, "second surface, still, 100 noise": 0.85,
		"noise of 20 % of the head, 5 days": 0.8,
	} {
		x := o.found[fmt.Sprintf("%-34s 6 min or less", name)]
		if x == nil || x[1] < 5 || float64(x[0]) < least*float64(x[1]) {
			t.Errorf("%s: found and put in %v, want %v of them", name, x, least)
		}
	}
}

// BenchmarkOdd prints the whole table, of records that no test has.
func BenchmarkOdd(b *testing.B) {
	var clean, spoilt *odds
	for b.Loop() {
		clean, spoilt = measure(41, 10, false, intervals...), measure(42, 3, true, intervals...)
	}
	fmt.Println(clean.table() + spoilt.table())
}
