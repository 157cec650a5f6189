package profile

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

// look profiles a record.
func look(r *records.Record) Result {
	p := New(Settings{Resolution: r.Resolution, Interval: r.Interval})
	for i, x := range r.Level {
		p.Add(r.At[i], x, true)
	}
	return p.Finish()
}

// rows turns the times of a verdict into rows of a record.
func rows(r *records.Record, v *Verdict) (from, until int) {
	row := func(at int64) int { return int((at - r.At[0]) / int64(r.Interval)) }
	return row(v.From), row(v.Until) + 1
}

// flow is of a rating like a V-notch's.
func flow(level float64) float64 { return 1.38 * math.Pow(max(level, 0), 2.5) }

// harm is by what share the total of a record changes when what is to be removed is bridged.
func harm(r *records.Record, found *Result) float64 {
	out := make([]bool, len(r.Level))
	for i := range found.Verdicts {
		if v := &found.Verdicts[i]; v.Remove {
			from, until := rows(r, v)
			for k := from; k < until; k++ {
				out[k] = true
			}
		}
	}
	all, kept, last := 0.0, 0.0, 0
	for i := 1; i < len(r.Level); i++ {
		all += (flow(r.Level[i-1]) + flow(r.Level[i])) / 2
		if !out[i] {
			kept += (flow(r.Level[last]) + flow(r.Level[i])) / 2 * float64(i-last)
			last = i
		}
	}
	if all == 0 {
		return 0
	}
	return kept/all - 1
}

// share is a count of a count.
type share struct{ n, of int }

func (s *share) add(yes bool) {
	s.of++
	if yes {
		s.n++
	}
}

func (s share) percent() float64 { return 100 * float64(s.n) / float64(max(s.of, 1)) }

// sized is how many faults of a size were flagged and removed.
type sized struct{ flagged, removed share }

// harms is what was measured.
type harms struct {
	effects     []float64 // of clean records, shares of their totals
	falseShares []float64 // of the readings of clean records
	where       []string
	falseFlags  share // readings that are flagged wrongly, of all, of clean and of spoilt records
	right       map[Kind]*share
	rightFlags  map[Kind]*share
	found       map[string]*sized
	names       []string
}

// sizes are the bounds of the rows of the table, in units of noise.
var sizes = []float64{0, 5, 10, 20, 30, math.Inf(1)}

const (
	coarseGroup = "15 min or more"
	allQuick    = "all of 6 min or less"
)

// name is the row of the table that a fault belongs to.
func name(r *records.Record, cause string, size float64) string {
	group := "6 min or less"
	switch {
	case r.Interval > 6*time.Minute:
		group = coarseGroup
	case r.Kind == records.Pumped || r.Kind == records.DryBed:
		group = "pumped, dry bed"
	}
	for i := 1; i < len(sizes); i++ {
		if size < sizes[i] {
			return fmt.Sprintf("%-18s %-16s %2.0f to %2.0f", cause, group, sizes[i-1], sizes[i])
		}
	}
	return ""
}

// wrong says of every reading what is wrong with it, -1 for nothing. Readings beside a stuck spell that have its value
// are part of it. What a drift does is within the water's own noise for long: it counts as sound.
func wrong(r *records.Record) []records.Cause {
	list := make([]records.Cause, len(r.Level))
	for i := range list {
		list[i] = -1
	}
	for _, f := range r.Injected {
		if f.Cause == records.Drift {
			continue
		}
		from, until := f.From, f.Until
		for f.Cause == records.Stuck && from > 0 && r.Level[from-1] == r.Level[f.From] {
			from--
		}
		for f.Cause == records.Stuck && until < len(list) && r.Level[until] == r.Level[f.From] {
			until++
		}
		for k := from; k < until; k++ {
			list[k] = f.Cause
		}
	}
	return list
}

// right says that a verdict of a kind is right of a reading. A spell of standing water that begins with a move of the
// sensor begins with a jump that no water made.
func right(kind Kind, cause records.Cause) bool {
	switch cause {
	case records.Stuck:
		return true
	case records.Step:
		return kind == Stuck
	}
	return cause >= 0 && kind == Spike
}

func (h *harms) score(r *records.Record, clean, found *Result) {
	causesOf := wrong(r)
	flagged, removed := make([]bool, len(r.Level)), make([]bool, len(r.Level))
	for i := range found.Verdicts {
		v := &found.Verdicts[i]
		from, until := rows(r, v)
		good := true
		for k := from; k < until; k++ {
			flagged[k] = true
			removed[k] = removed[k] || v.Remove
			if !right(v.Kind, causesOf[k]) {
				good = false
				h.falseFlags.n++
			}
		}
		h.rightFlags[v.Kind].add(good)
		if v.Remove {
			h.right[v.Kind].add(good)
		}
	}
	h.falseFlags.of += len(r.Level)
	for _, f := range r.Injected {
		if f.Cause == records.Step || f.Cause == records.Drift {
			continue
		}
		noise := max(clean.Noise(r.Sound[f.From]), r.Resolution)
		all := func(list []bool) bool { return !slices.Contains(list[f.From:f.Until], false) }
		h.find(name(r, causes[f.Cause], f.Size/noise), all(flagged), all(removed))
		if f.Cause == records.Stuck {
			h.find(name(r, "stuck, at the most", f.Hidden/noise), all(flagged), all(removed))
		}
	}
}

var causes = map[records.Cause]string{
	records.LoneSpike: "lone spike", records.SpikeRun: "spike run", records.Stuck: "stuck, at its end",
}

func (h *harms) find(name string, flagged, removed bool) {
	if h.found[name] == nil {
		h.found[name] = &sized{}
		h.names = append(h.names, name)
	}
	h.found[name].flagged.add(flagged)
	h.found[name].removed.add(removed)
}

// sum adds the rows of the table of a cause in a group, or in all at 6 minutes or less, from a size on.
func (h *harms) sum(cause, group string, least float64) (s sized) {
	for name, one := range h.found {
		var low float64
		if _, err := fmt.Sscanf(name[36:], "%f", &low); err != nil {
			panic(err)
		}
		there := strings.TrimSpace(name[19:36])
		if strings.TrimSpace(name[:19]) == cause && low >= least &&
			(there == group || group == allQuick && there != coarseGroup) {
			s.flagged = share{s.flagged.n + one.flagged.n, s.flagged.of + one.flagged.of}
			s.removed = share{s.removed.n + one.removed.n, s.removed.of + one.removed.of}
		}
	}
	return s
}

var (
	intervals   = []time.Duration{1, 2, 5, 6, 15, 30, 60} // minutes
	resolutions = []float64{0.0001, 0.0002, 0.0005, 0.001, 0.002, 0.005, 0.01}
)

// measureHarm makes so many rounds of records, one of each kind and interval a round, and looks at each without faults
// and with each sort of them.
func measureHarm(seed uint64, rounds int) *harms {
	random := rand.New(rand.NewPCG(seed, 14))
	h := &harms{
		right: map[Kind]*share{Spike: {}, Stuck: {}}, rightFlags: map[Kind]*share{Spike: {}, Stuck: {}},
		found: map[string]*sized{},
	}
	for range rounds {
		for _, kind := range records.Kinds() {
			for _, minutes := range intervals {
				h.one(random, kind, minutes*time.Minute)
			}
		}
	}
	slices.Sort(h.names)
	return h
}

// one looks at one record: two months of minutes, or a year where readings are 15 minutes apart or more.
func (h *harms) one(random *rand.Rand, kind records.Kind, interval time.Duration) {
	length := 60 * 24 * time.Hour
	if interval >= 15*time.Minute {
		length = 365 * 24 * time.Hour
	}
	resolution := resolutions[random.IntN(len(resolutions))]
	r := records.Make(random, kind, interval, resolution, length)
	clean := look(r)
	h.effects = append(h.effects, harm(r, &clean))
	before := h.falseFlags
	h.score(r, &clean, &clean)
	flagged := h.falseFlags.n - before.n
	h.falseShares = append(h.falseShares, float64(flagged)/float64(len(r.Level)))
	h.where = append(h.where, fmt.Sprintf("%v, %v, %v m", kind, interval, resolution))
	spoil := func(put func(*records.Record)) {
		one := *r
		one.Level, one.Injected = slices.Clone(r.Sound), nil
		put(&one)
		found := look(&one)
		h.score(&one, &clean, &found)
	}
	spoil(func(r *records.Record) { r.Spikes(random, 20, 10) })
	spoil(func(r *records.Record) { r.Stick(random, 4) })
	spoil(func(r *records.Record) { r.Move(random, 20*r.Noise()) })
	spoil(func(r *records.Record) { r.Creep(random, 20*r.Noise()) })
}

// table prints what was measured.
func (h *harms) table() string {
	var b strings.Builder
	most := 0.0
	for i, e := range h.effects {
		most = max(most, math.Abs(e))
		if math.Abs(e) > 0.0002 || h.falseShares[i] > 0.001 {
			fmt.Fprintf(&b, "worse than promised: %s: effect %+.4f %%, %.4f %% flagged\n", h.where[i], 100*e,
				100*h.falseShares[i])
		}
	}
	fmt.Fprintf(&b, "clean records %d: effect at most %.4f %%, median %.4f %%; flagged at most %.4f %% of a record\n",
		len(h.effects), 100*most, 100*middle(h.effects), 100*slices.Max(h.falseShares))
	fmt.Fprintf(&b, "readings flagged wrongly: %.5f %% of %d\n", h.falseFlags.percent(), h.falseFlags.of)
	for _, k := range []Kind{Spike, Stuck} {
		fmt.Fprintf(&b, "%-5v flags right %.2f %% of %d; removed right %.2f %% of %d\n", k, h.rightFlags[k].percent(),
			h.rightFlags[k].of, h.right[k].percent(), h.right[k].of)
	}
	fmt.Fprintf(&b, "%-46s %6s %9s %9s\n", "", "faults", "flagged %", "removed %")
	for _, name := range h.names {
		one := h.found[name]
		fmt.Fprintf(&b, "%-46s %6d %9.1f %9.1f\n", name, one.flagged.of, one.flagged.percent(), one.removed.percent())
	}
	return b.String()
}

func middle(values []float64) float64 {
	all := make([]float64, len(values))
	for i, x := range values {
		all[i] = math.Abs(x)
	}
	return median(all)
}

// TestHarm holds what the package promises, on generated records: what it does to sound ones, and what it finds.
func TestHarm(t *testing.T) {
	h := measureHarm(1, effort.Rounds(1, 6))
	t.Log("\n" + h.table())
	for i, e := range h.effects {
		if math.Abs(e) > 0.0002 || h.falseShares[i] > 0.001 {
			t.Errorf("%s, clean: effect %+.4f %%, %.4f %% flagged", h.where[i], 100*e, 100*h.falseShares[i])
		}
	}
	if m := middle(h.effects); m != 0 {
		t.Errorf("median effect on clean records %v", m)
	}
	for _, k := range []Kind{Spike, Stuck} {
		if s := h.right[k]; s.of < 50 || s.percent() < 99 {
			t.Errorf("%v: %.2f %% of %d removals are right", k, s.percent(), s.of)
		}
	}
	for _, want := range []struct {
		cause, group     string
		least            float64
		flagged, removed float64
	}{
		{"lone spike", "6 min or less", 5, 95, 0},
		{"lone spike", "6 min or less", 10, 95, 92},
		{"lone spike", "pumped, dry bed", 10, 75, 75},
		{"spike run", "6 min or less", 20, 80, 80},
		{"stuck, at its end", allQuick, 30, 90, 80},
	} {
		s := h.sum(want.cause, want.group, want.least)
		if s.flagged.of < 10 || s.flagged.percent() < want.flagged || s.removed.percent() < want.removed {
			t.Errorf("%s, %s, over %v: %.1f %% of %d flagged, wanted %v; %.1f %% removed, wanted %v", want.cause,
				want.group, want.least, s.flagged.percent(), s.flagged.of, want.flagged,
				s.removed.percent(), want.removed)
		}
	}
}

// BenchmarkHarm prints the whole table, of records that no test has.
func BenchmarkHarm(b *testing.B) {
	var h *harms
	for b.Loop() {
		h = measureHarm(2, 4)
	}
	fmt.Println(h.table())
}
