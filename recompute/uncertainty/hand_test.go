package uncertainty

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"
	"time"

	"retotal/ingest/reading"
	"retotal/ingest/site"
	"retotal/qa"
	"retotal/recompute/block"
	"retotal/recompute/device"
	"retotal/recompute/settings"
	"retotal/recompute/total"
)

const minute = int64(time.Minute)

// start is the beginning of day 0 of the blocks below.
var start = time.Date(2031, 3, 1, 0, 0, 0, 0, time.UTC).UnixNano()

// tenth is a device that discharges 0.1 m³/s per metre of head.
const tenth = "kind = \"power\"\ncoefficient = 0.1\nexponent = 1\nhead_unit = \"m\"\nflow_unit = \"m3/s\"\n"

// load reads a site of a log of distances.
func load(t *testing.T, log, settingsKeys, dev, more string) (*site.Site, *settings.Lanes) {
	t.Helper()
	text := "id = \"hand\"\n[log]\nfiles = [\"log.csv\"]\ntime_zone = \"+00:00\"\n" + log +
		"[log.columns]\ntime = \"Time\"\ndistance = { name = \"D\", unit = \"m\" }\n[settings]\n" +
		"empty_distance = \"1 m\"\n" + settingsKeys + "[settings.device]\n" + dev + more
	s, err := site.Parse("site.toml", []byte(text))
	if err != nil {
		t.Fatal(err)
	}
	l, err := settings.NewLanes(s, nil)
	if err != nil {
		t.Fatal(err)
	}
	return s, l
}

// lane is a lane of one segment that shows the given flows.
func lane(flows ...float64) *block.Lane {
	return &block.Lane{
		Lane: &settings.Lane{Segments: []settings.Segment{{From: settings.Always, Until: settings.Never}}},
		Flow: flows,
	}
}

// hand is a block of one run of rows at minutes of day 0.
func hand(minutes, heads, flows []float64) *block.Block {
	b := &block.Block{Lanes: block.Lanes{Recorded: lane(slices.Clone(flows)...), Corrected: lane(flows...)}}
	b.Kept, b.Site = b.Recorded, &site.Site{}
	b.Log = &reading.Facts{Interval: time.Minute, GapLimit: 10 * time.Minute, Clock: time.UTC}
	b.From, b.Until, b.Calendar = math.MinInt64, math.MaxInt64, total.NewCalendar(time.UTC, 0, false, start)
	for _, m := range minutes {
		b.Time = append(b.Time, start+int64(m*float64(minute)))
	}
	b.High, b.Head, b.Figure = len(minutes), heads, heads
	b.Flags = block.Grow(b.Flags, b.High)
	b.Steps = []block.Step{{Kind: block.Run, Low: 1, High: b.High}}
	return b
}

func near(a, b float64) bool { return math.Abs(a-b) <= 1e-9*math.Max(1, math.Abs(b)) }

// TestSources: the sources of a site with their standard uncertainties, half of what is stated or usual.
func TestSources(t *testing.T) {
	const survey = "[[correction]]\nreason = \"x\"\nfrom = 2031-03-01T00:00:00\nempty_distance = \"1.1 m\"\n" +
		"uncertainty = \"10 mm\"\n"
	const cipolletti = "kind = \"cipolletti\"\nwidth = \"1 m\"\n"
	for _, c := range []struct {
		name, log, dev, more string
		want                 []string
	}{
		{"usual", "", tenth, "", []string{
			"datum 1.5 mm", "single readings 1 mm", "bridged flow 10 %", "estimated flow 10 %", "filled flow 25 %",
			"sampling interval 0 ",
		}},
		{"means", "values = \"means\"\n", tenth, "", []string{
			"datum 1.5 mm", "single readings 1 mm", "bridged flow 10 %", "estimated flow 10 %", "filled flow 25 %",
		}},
		{"stated", "", tenth, "[uncertainty]\ndatum = \"8 mm\"\nreading = \"6 mm\"\n" +
			"bridged = \"30 %\"\nfilled = \"70 %\"\ncoefficient = \"4 %\"\n", []string{
			"datum 4 mm", "coefficient 2 %", "single readings 3 mm", "bridged flow 15 %", "estimated flow 10 %",
			"filled flow 35 %", "sampling interval 0 ",
		}},
		{"a coefficient that its source knows to 5 %, and a survey", "", cipolletti, survey,
			[]string{
				"datum 1.5 mm", "survey of the first correction 5 mm", "coefficient 2.5 %", "single readings 1 mm",
				"bridged flow 10 %", "estimated flow 10 %", "filled flow 25 %", "sampling interval 0 ",
				"joins over changes 0 ",
			}},
	} {
		s, l := load(t, c.log, "", c.dev, c.more)
		sources, err := NewComponents(s, l.Recorded)
		if err != nil {
			t.Fatal(err)
		}
		var got []string
		for _, x := range sources.List {
			got = append(got, fmt.Sprintf("%s %.9g %s", x.Name, x.Input, x.Unit))
			if percent := x.Unit == "%"; percent != (x.share > 0) || percent && !near(x.share, x.Input/100) {
				t.Errorf("%s: %s has a share of %g", c.name, x.Name, x.share)
			}
			if x.Unit == "mm" && !strings.HasPrefix(x.Text, fmt.Sprintf("%.9g mm", 2*x.Input)) {
				t.Errorf("%s: %s is %s", c.name, x.Name, x.Text)
			}
			if x.Unit == "%" && !strings.HasPrefix(x.Text, fmt.Sprintf("%.9g %%", 2*x.Input)) {
				t.Errorf("%s: %s is %s", c.name, x.Name, x.Text)
			}
		}
		if !slices.Equal(got, c.want) {
			t.Errorf("%s: %q, want %q", c.name, got, c.want)
		}
	}
}

// TestLanesOfSources: each source moves its lane by a tenth of its standard uncertainty: the datum everywhere but where
// a survey of its own stands for it, and the recorded lane alike; the survey in the span of its correction alone, and
// the recorded lane not.
func TestLanesOfSources(t *testing.T) {
	s, l := load(t, "", "", tenth, "[[correction]]\nreason = \"x\"\nfrom = 2031-03-02T00:00:00\n"+
		"until = 2031-03-03T00:00:00\nempty_distance = \"1.1 m\"\nuncertainty = \"10 mm\"\n")
	sources, err := NewComponents(s, l.Recorded)
	if err != nil {
		t.Fatal(err)
	}
	if len(sources.After) != 2 || len(sources.Before) != 2 || sources.Before[1] != nil {
		t.Fatalf("%d lanes", len(sources.After))
	}
	for day, want := range [][3]float64{{0.15e-3, 0, 0.15e-3}, {0, 0.5e-3, 0}, {0.15e-3, 0, 0.15e-3}} {
		at := start + int64(day)*1440*minute + 1
		head := func(l *settings.Lane) float64 { return l.Segments[l.At(at)].Head(at, 0.9, 293.15) }
		got := [3]float64{
			head(sources.After[0]) - head(l.Corrected), head(sources.After[1]) - head(l.Corrected),
			head(sources.Before[0]) - head(l.Recorded),
		}
		for k := range got {
			if math.Abs(got[k]-want[k]) > 1e-12 {
				t.Errorf("day %d: moved by %v m, want %v", day, got, want)
			}
		}
		segment := &l.Corrected.Segments[l.Corrected.At(at)]
		raiser, name := sources.raiser(segment), "datum"
		if day == 1 {
			name = "survey of the first correction"
		}
		if raiser == nil || raiser.Name != name {
			t.Errorf("day %d is raised by %+v", day, raiser)
		}
	}
	sources.Drowned(0.08)
	for _, x := range sources.List {
		if x.Kind == OfClass && (x.Class == total.Estimated) != near(x.Input, 4) {
			t.Errorf("after drowning: %+v", x)
		}
	}
}

// moves is a list with one source that raises heads by 0.2 mm (a tenth of 2), and a block whose lanes it moves.
func moves(b *block.Block, after, before float64) *Components {
	m := block.Moved{After: lane(slices.Clone(b.Corrected.Flow)...), Before: lane(slices.Clone(b.Recorded.Flow)...)}
	for i := range m.After.Flow {
		m.After.Flow[i] += after * 0.0002
		m.Before.Flow[i] += before * 0.0002
	}
	b.Moved = []block.Moved{m}
	return &Components{List: []Component{{Kind: OfShare, share: 0.03}, {Kind: OfAll, Unit: "mm", Input: 2}}}
}

// TestTallyOfReadings: flows of h², whose slope is 2h and whose bend is 2, in minutes: squares of slope times time, of
// after and of its difference from a slope before of 0.25 m²/s; noise of 1 mm in the second differences of the head
// lifts the total by half the bend times its variance.
func TestTallyOfReadings(t *testing.T) {
	heads := []float64{0.5, 0.5, 0.501, 0.501, 0.5, 0.5, 0.501}
	b := hand([]float64{0, 1, 2, 3, 4, 5, 6}, heads, make([]float64, 7))
	for i := range heads {
		b.Corrected.Flow[i], b.Recorded.Flow[i] = 0.25, 0.1
	}
	b.Head = heads
	l := moves(b, 1, 0.25) // as at 0.5 m
	x := NewTallies(l)
	x.Add(b)
	day := x.Day(0)
	if !near(day.Squares[0], 6*60*60) || !near(day.Squares[1], 6*45*45) {
		t.Errorf("squares %v", day.Squares)
	}
	// slope/h × (slope h/q − 1) s: 2 where h is 0.5, else 1/0.501 × (2.004 − 1)
	volume := 60 * (3*2.0 + 3*(1.004/0.501))
	noise := 0.001 / (0.6745 * math.Sqrt(6)) // the histogram is an eighth of an octave wide
	if want := volume * noise * noise / 2; math.Abs(day.Lift-want) > 0.1*want {
		t.Errorf("lift %g, want %g", day.Lift, want)
	}
	if !near(x.readings.curves[0].volume, volume) {
		t.Errorf("bend %g, want %g", x.readings.curves[0].volume, volume)
	}
	if x.Day(1) != (Tally{}) || x.Day(9) != (Tally{}) {
		t.Error("another day")
	}
	b.Corrected.Flow[1] = 0 // no flow and no head have no bend
	b.Head = slices.Clone(heads)
	b.Head[2] = 0
	x = NewTallies(moves(b, 1, 0.25))
	x.Add(b)
	if v := x.readings.curves[0].volume; !near(v, 60*(2*2.0+2*(1.004/0.501))) {
		t.Errorf("bend with dry readings %g", v)
	}
}

// TestScatterOfNeighbours: second differences are taken of three readings within three intervals, and not of means.
func TestScatterOfNeighbours(t *testing.T) {
	for _, c := range []struct {
		last  float64
		means bool
		noisy bool
	}{{2, false, true}, {3, false, true}, {3.01, false, false}, {2, true, false}} {
		b := hand([]float64{0, 1, c.last}, []float64{0.5, 0.51, 0.5}, []float64{0.25, 0.25, 0.25})
		b.Means = c.means
		x := NewTallies(moves(b, 1, 0))
		x.Add(b)
		if noisy := x.readings.curves[0].scatter.Deviation() > 0; noisy != c.noisy {
			t.Errorf("%+v: noise %v", c, noisy)
		}
		if b.Means && x.Day(0).Bends != [2]float64{} {
			t.Errorf("bends of means: %v", x.Day(0).Bends)
		}
	}
}

// TestU95ByHand: a source that moves all by 0.0002 m at a slope of 1 m²/s is worth 0.002 m³/s, single readings of 3 mm
// 0.003, a share of 3 % of 0.25 m³/s 0.0075; classes are none of it. Twice the root of the squares.
func TestU95ByHand(t *testing.T) {
	b := hand([]float64{0}, []float64{0.5}, []float64{0.25})
	l := moves(b, 1, 0)
	l.List = append(l.List, Component{Kind: OfReading, Unit: "mm", Input: 3}, Component{Kind: OfClass, share: 9})
	if got, want := l.U95(b, 0), 2*math.Sqrt(0.002*0.002+0.003*0.003+0.0075*0.0075); !near(got, want) {
		t.Errorf("%g, want %g", got, want)
	}
	b.Moved[0].Before = nil
	if after, before := l.slope(b, 0); !near(after, 1) || before != 0 {
		t.Errorf("slopes %g and %g", after, before)
	}
}

// TestBendByHand: readings of 1, 3, 2 m³/s after one and two minutes: without the middle one the trapezoids hold
// 3 × 90 − 1 × 60 − 2 × 30 m³ less (half of either step, by the flows at its ends).
func TestBendByHand(t *testing.T) {
	b := hand([]float64{0, 1, 3, 4}, make([]float64, 4), []float64{1, 3, 2, 7})
	b.Recorded.Flow = []float64{1, 1, 1, 1}
	var x sampling
	x.add(b)
	if !near(x.days[0][0], 3*90-1*60-2*30) || !near(x.days[0][1], 2*90-0*60-1*30) {
		t.Errorf("%v", x.days)
	}
	tallies := Tallies{sampling: x}
	if day := tallies.Day(0); !near(day.Bends[0], 150*150/3.0) || !near(day.Bends[1], 150*150/3.0) {
		t.Errorf("%v", day.Bends)
	}
	b.Steps[0].Low = 3 // goes on from minute 3
	x.add(b)
	if x.points != 2 || !near(x.days[0][0], 150) {
		t.Errorf("%+v", x)
	}
}

// TestJoinsByHand: 0.9 m at minute 0 and 0.7 at minute 4; the empty distance is 1 m, 1.1 from minute 1 on and 1.3 from
// minute 3: along a line of distance 0.0125 × 60 + 0.03 × 120 + 0.0575 × 60 m³, along one of flow 0.035 × 240: 0.6
// less.
func TestJoinsByHand(t *testing.T) {
	change := func(at, d string) string {
		return "[[settings.change]]\nat = 2031-03-01T" + at + "\nempty_distance = \"" + d + "\"\nmoved = false\n"
	}
	_, l := load(t, "", "", tenth, change("00:01:00", "1.1 m")+change("00:03:00", "1.3 m"))
	b := hand([]float64{0, 4}, []float64{0.9, 0.7}, []float64{0.01, 0.06})
	b.Lanes.Corrected.Lane = l.Corrected
	from := b.EndAt(0, 0.01)
	s := block.Step{Kind: block.Counts, Low: 1, High: 2, Fate: block.Joined, From: from.At}
	s.Last.End = from
	lost := s
	lost.Fate = block.Lost
	for _, c := range []struct {
		name     string
		recorded *settings.Lane
		step     block.Step
		want     [2]float64
	}{
		{"both", l.Recorded, s, [2]float64{0.36 / 3, 0}}, {"after alone", lane().Lane, s, [2]float64{0.36 / 3, 0.36 / 3}},
		{"lost", l.Recorded, lost, [2]float64{}},
	} {
		b.Recorded.Lane = c.recorded
		b.Steps = []block.Step{{Kind: block.Counts, Low: 0, High: 1, Fate: block.Begins}, c.step}
		var x Tallies
		x.joins.add(b)
		if got := x.Day(0).Joins; !near(got[0], c.want[0]) || math.Abs(got[1]-c.want[1]) > 1e-9 {
			t.Errorf("%s: %v, want %v", c.name, got, c.want)
		}
	}
}

// limited is a device of flows of h² that is valid up to 0.4 m.
type limited struct{ device.Rating }

func (limited) Limits() device.Limits { return device.Limits{High: 0.4} }

// TestBeyondByHand: at 0.5 m, a quarter above the limit, the coefficient is known 1.5 times as badly: half of the
// volume counts; readings that are not flagged do not.
func TestBeyondByHand(t *testing.T) {
	b := hand([]float64{0, 1, 3, 4, 5}, []float64{0.5, 0.5, 0.5, 0.5, 0.4}, []float64{1, 2, 3, 4, 5})
	b.Corrected.Segments[0].Rating = limited{}
	b.Flags = []qa.Flags{qa.Validity, qa.Validity, qa.Validity, 0, qa.Validity}
	var x Tallies
	x.beyond.add(b)
	if got := x.Day(0).Beyond; !near(got, 0.5*(2*60+3*120)) {
		t.Errorf("%g", got)
	}
	sum := Tally{Squares: [2]float64{1, 2}, Bends: [2]float64{3, 4}, Joins: [2]float64{5, 6}, Beyond: 7, Lift: 8}
	sum.Merge(&Tally{
		Squares: [2]float64{10, 20}, Bends: [2]float64{30, 40}, Joins: [2]float64{50, 60}, Beyond: 70, Lift: 80,
	})
	want := Tally{
		Squares: [2]float64{11, 22}, Bends: [2]float64{33, 44}, Joins: [2]float64{55, 66}, Beyond: 77, Lift: 88,
	}
	if sum != want {
		t.Errorf("%+v", sum)
	}
}

// volume is so many m³.
func volume(m3 float64) (v total.Volume) {
	v.Sum.Add(m3)
	v.Covered = 1
	return v
}

// TestEffects: what one standard uncertainty of each kind changes in a total of 100 m³, of which 10 are only known to
// be between 8 and 15, in its difference from before, and in the least and the most.
func TestEffects(t *testing.T) {
	f := &Figures{
		After: volume(100), Difference: 40,
		Bracket: total.Bracket{Counted: volume(10), Low: volume(8), High: volume(15)},
		Moved: []Moved{{
			After: volume(103), Bracket: total.Bracket{Counted: volume(11), Low: volume(9), High: volume(17)},
			Before: volume(61), Still: volume(60),
		}},
		Tally: Tally{Squares: [2]float64{16, 9}, Bends: [2]float64{25, 36}, Joins: [2]float64{49, 64}, Beyond: 20},
	}
	f.Classes[total.Filled] = volume(30)
	for _, c := range []struct {
		source Component
		want   effect
	}{
		// least 98 and 101, most 105 and 109
		{Component{Kind: OfAll}, effect{30, 20, 30, 40}},
		{Component{Kind: OfReading, Input: 500}, effect{2, 1.5, 2, 2}},
		{Component{Kind: Sampling}, effect{5, 6, 5, 5}},
		{Component{Kind: Joining}, effect{7, 8, 7, 7}},
		{Component{Kind: OfClass, Class: total.Filled, share: 0.5}, effect{15, 15, 15, 15}},
		{Component{Kind: OfShare, share: 0.1}, effect{12, 6, 11.8, 12.5}},
	} {
		got := c.source.effect(f)
		if !near(got.total, c.want.total) || !near(got.difference, c.want.difference) || !near(got.low, c.want.low) ||
			!near(got.high, c.want.high) {
			t.Errorf("kind %d: %+v, want %+v", c.source.Kind, got, c.want)
		}
	}
	l := Components{List: []Component{{Kind: Sampling}, {Kind: OfClass, Class: total.Filled, share: 0.4}}} // 5 and 12
	b := l.Budget(f)
	if !near(b.Standard, 13) || !near(b.Expanded(), 26) || !near(b.Low, 13) || !near(b.High, 13) ||
		!near(b.ExpandedDifference(), 2*math.Sqrt(36+144)) || len(b.Parts) != 2 || !near(b.Parts[1].Difference, 12) {
		t.Errorf("%+v", b)
	}
	if low, high := b.Without(total.Filled); !near(low, 10) || !near(high, 10) {
		t.Errorf("without what is filled: %g and %g", low, high)
	}
	if low, high := b.Without(total.Bridged); !near(low, 26) || !near(high, 26) {
		t.Errorf("without what is bridged: %g and %g", low, high)
	}
	var none *Budget
	if low, high := none.Without(total.Filled); low != 0 || high != 0 {
		t.Errorf("%g and %g", low, high)
	}
}

// TestHalveByHand: of effects 1 and −10 the second must come down to √(101/4 − 1); of 3 and 4 none can do it alone, and
// the larger is named.
func TestHalveByHand(t *testing.T) {
	budget := func(effects ...float64) *Budget {
		b, squares := &Budget{}, 0.0
		for _, e := range effects {
			b.Parts = append(b.Parts, Part{Component: &Component{Input: 20}, Effect: e})
			squares += e * e
		}
		b.Standard = math.Sqrt(squares)
		return b
	}
	b := budget(1, -10)
	part, input, ok := b.Halve()
	if !ok || part != &b.Parts[1] || !near(input, 20*math.Sqrt(24.25)/10) {
		t.Errorf("%+v, %g, %v", part, input, ok)
	}
	b = budget(4, 3)
	if part, input, ok = b.Halve(); ok || part != &b.Parts[0] || input != 0 {
		t.Errorf("%+v, %g, %v", part, input, ok)
	}
	for _, b := range []*Budget{budget(), budget(0, 0)} {
		if part, _, ok := b.Halve(); part != nil || ok {
			t.Errorf("%+v, %v", part, ok)
		}
	}
}

// TestSampleByHand: every reading stands for half of the steps beside it; a stretch goes on over blocks and begins anew
// where readings do not follow each other.
func TestSampleByHand(t *testing.T) {
	b := hand([]float64{0, 1, 3, 4, 9, 10}, []float64{0.1, 0.2, 0.3, 0.4, 0.5, 0.6}, make([]float64, 6))
	var s Sample
	for _, r := range [][2]int{{1, 3}, {3, 4}, {5, 6}} {
		b.Steps = []block.Step{{Kind: block.Run, Low: r[0], High: r[1]}, {Kind: block.Counts, Low: 4, High: 5}}
		s.Add(b)
	}
	seconds := []float64{30, 90, 90, 30, 30, 30}
	if !slices.EqualFunc(s.seconds, seconds, near) || !slices.Equal(s.heads, b.Head) ||
		!slices.Equal(s.starts, []int{0, 4}) {
		t.Errorf("%v, %v, %v", s.heads, s.seconds, s.starts)
	}
}

// TestChances: every draw lies in its own part of the normal distribution.
func TestChances(t *testing.T) {
	for _, list := range chances(3, 50, 7) {
		slices.Sort(list)
		for k, v := range list {
			if p := 50 * (1 + math.Erf(v/math.Sqrt2)) / 2; p < float64(k)-1e-9 || p > float64(k+1)+1e-9 {
				t.Errorf("draw %d lies at %g of 50", k, p)
			}
		}
	}
}

// TestDrawByHand: totals of 6,000 readings of a meter of 0.1 m²/s × h, drawn again by a plain loop: a share that scales
// all, a class that adds, a datum that is known to 20 mm, and the random part of each reading.
func TestDrawByHand(t *testing.T) {
	stated, l := load(t, "", "", tenth, "[uncertainty]\ndatum = \"40 mm\"\n")
	sources, err := NewComponents(stated, l.Recorded)
	if err != nil {
		t.Fatal(err)
	}
	segment := &l.Corrected.Segments[0]
	s := &Sample{starts: []int{0, 4000}, segments: []*settings.Segment{segment, segment}}
	volumeOf := 0.0
	for i := range 6000 {
		s.heads, s.seconds = append(s.heads, 0.3+float64(i)*1e-5), append(s.seconds, 60)
		volumeOf += 0.1 * (0.3 + float64(i)*1e-5) * 60
	}
	list := Components{After: sources.After, List: []Component{
		{Kind: OfShare}, {Kind: OfClass}, {Kind: OfReading, Input: 400, Unit: "mm"}, sources.List[0],
	}}
	f := &Figures{After: volume(volumeOf + 500)}
	f.Classes[total.Measured] = volume(volumeOf)
	b := &Budget{Parts: []Part{
		{Component: &list.List[0], Effect: 300}, {Component: &list.List[1], Effect: 40}, {Component: &list.List[2]},
		{Component: &list.List[3]},
	}}
	const count, seed = 40, 5
	chance := chances(4, count, seed)
	var totals []float64
	mean, squares := 0.0, 0.0
	for k := range count {
		random, measured := rand.New(rand.NewPCG(seed, uint64(k))), 0.0
		for _, h := range s.heads {
			measured += 0.1 * math.Max(0, h+0.020*chance[3][k]+0.4*random.NormFloat64()) * 60
		}
		v := (1+chance[0][k]*300/(volumeOf+500))*(measured+500) + chance[1][k]*40
		totals, mean = append(totals, v), mean+v/count
	}
	for _, v := range totals {
		squares += (v - mean) * (v - mean)
	}
	slices.Sort(totals)
	standard := math.Sqrt(squares / (count - 1))
	d, ok := s.Draw(&list, b, f, count, seed)
	if !ok || d.Count != count || d.Seed != seed || !near(d.Mean, mean) || !near(d.Standard, standard) ||
		!near(d.Low, totals[1]) || !near(d.High, totals[39]) {
		t.Errorf("%+v, want mean %g, standard %g, %g to %g", d, mean, standard, totals[1], totals[39])
	}
	if _, ok := s.Draw(&list, b, f, 2, seed); !ok {
		t.Error("two draws")
	}
	for name, none := range map[string]bool{
		"one draw": second(s.Draw(&list, b, f, 1, seed)), "no budget": second(s.Draw(&list, nil, f, 9, seed)),
		"no sample": second(new(Sample).Draw(&list, b, f, 9, seed)),
		"too many":  second((&Sample{full: true, heads: s.heads}).Draw(&list, b, f, 9, seed)),
	} {
		if none {
			t.Error(name)
		}
	}
}

func second(_ Draws, ok bool) bool { return ok }
