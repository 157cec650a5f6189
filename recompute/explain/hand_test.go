package explain

import (
	"math"
	"slices"
	"strings"
	"testing"

	"retotal/recompute/device"
	"retotal/recompute/explain/sample"
)

// notch is a record of a power law Q = 1.4 h^2.5 (m, m³/s) whose meter makes of a head what a function says: heads
// from 50 to 300 mm and back, two readings a millimetre, as exact as numbers are.
func notch(meter func(i int, head float64) float64) *Record {
	r := &Record{Interval: 60e9, Kind: "power", Dimensions: map[string]any{"coefficient": 1.4, "exponent": 2.5,
		"head_unit": "m", "flow_unit": "m3/s"}, MaximumHead: math.Inf(1), MaximumFlow: math.Inf(1), FlowFactor: 1}
	for i := range 3000 {
		h := 0.175 - 0.125*math.Cos(float64(i)*2*math.Pi/1000)
		r.Pairs = append(r.Pairs, Pair{int64(i) * 60e9, h, meter(i, h)})
	}
	return r
}

func law25(head float64) float64 { return 1.4 * math.Pow(math.Max(head, 0), 2.5) }

// TestByHand: answers to records whose one fault is known exactly.
func TestByHand(t *testing.T) {
	for _, c := range []struct {
		name    string
		meter   func(i int, head float64) float64
		verdict Verdict
		names   string // of any explanation that is as good as the first
		value   float64
	}{
		{"nothing", func(_ int, h float64) float64 { return law25(h) }, Same, "same", 1},
		{"coefficient 1.1 % greater", func(_ int, h float64) float64 { return 1.011 * law25(h) }, AnotherEquation,
			"equation", 1.011},
		{"datum 10 mm off", func(_ int, h float64) float64 { return law25(h - 0.01) }, SettingDiffers, "datum", 0.01},
		{"US for imperial gallons", func(_ int, h float64) float64 { return 4.54609 / 3.785411784 * law25(h) },
			SettingDiffers, "flow factor", 1.20095},
		{"the same as a head factor, to the power 1/2.5", func(_ int, h float64) float64 {
			return 1.20095 * law25(h)
		}, SettingDiffers, "head factor", math.Pow(1.20095, 0.4)},
		{"span 6:5", func(_ int, h float64) float64 { return law25(1.2 * h) }, SettingDiffers, "head factor", 1.2},
		{"exponent 2.3", func(_ int, h float64) float64 { return 1.4 * math.Pow(h, 2.3) }, SettingDiffers, "exponent",
			2.3},
		{"cap", func(_ int, h float64) float64 { return math.Min(law25(h), 0.04) }, SettingDiffers, "cap", 0.04},
		{"level shown as flow", func(_ int, h float64) float64 { return 0.3 * h }, SettingDiffers, "linear", 0.3},
		{"0-20 read as 4-20 mA, span 0.4 m", func(_ int, h float64) float64 { return law25(0.8*h + 0.08) },
			SettingDiffers, "span offset", 0.08},
	} {
		t.Run(c.name, func(t *testing.T) {
			f := Explain(notch(c.meter))
			if f.Verdict != c.verdict || f.Lag != 0 {
				t.Fatalf("%v (%s), lag %v, best %v", f.Verdict, f.Why, f.Lag, f.Best)
			}
			named := func(e Explanation) bool { return strings.Join(e.Names, "+") == c.names }
			i := slices.IndexFunc(f.Best[:f.Twins], named)
			if i < 0 {
				t.Fatalf("%s is not among %v", c.names, f.Best[:f.Twins])
			}
			if e := f.Best[i]; math.Abs(e.Values[0]/c.value-1) > 2e-3 || e.Low[0] > c.value || e.High[0] < c.value {
				t.Errorf("%v, %v to %v, want %v", e, e.Low, e.High, c.value)
			}
		})
	}
}

// TestOnset: a datum that moves at reading 1700 is dated to it, by the volume that the meter then missed.
func TestOnset(t *testing.T) {
	r := notch(func(i int, h float64) float64 {
		if i >= 1700 {
			h -= 0.02
		}
		return law25(h)
	})
	f := Explain(r)
	e := f.Best[0]
	if f.Verdict != SettingDiffers || e.Names[0] != "datum" || e.Since != r.Pairs[1700].At ||
		math.Abs(e.Values[0]-0.02) > 2e-4 || e.SinceLow > e.Since || e.SinceHigh < e.Since {
		t.Fatalf("%v: %v since %d, want 0.02 since %d", f.Verdict, e, e.Since, r.Pairs[1700].At)
	}
	want := 0.0
	for _, p := range r.Pairs {
		want += (p.Flow - law25(p.Head)) * 60
	}
	if math.Abs(e.Worth/want-1) > 1e-3 || e.WorthLow > want+1e-9 || e.WorthHigh < want-1e-9 {
		t.Errorf("worth %v (%v to %v), want %v", e.Worth, e.WorthLow, e.WorthHigh, want)
	}
	if math.Abs(e.Volume/want-1) > 1e-9 || f.Unlike > 1e-3 {
		t.Errorf("volume %v, want %v; %v is left", e.Volume, want, f.Unlike)
	}
}

// TestLagTold: a flow that is 7 minutes late, of settings that are right, is a delay and no setting.
func TestLagTold(t *testing.T) {
	late := notch(none)
	for i := range late.Pairs {
		late.Pairs[i].Flow = law25(late.Pairs[max(i-7, 0)].Head)
	}
	f := Explain(late)
	if f.Verdict != CannotCompare || f.Best[0].Names[0] != "delay" || math.Abs(f.Lag-420) > 6 {
		t.Errorf("%v, lag %v, %v", f.Verdict, f.Lag, f.Best[0])
	}
}

func none(int, float64) float64 { return 0 }

// TestCoarse: of levels in steps of a centimetre a datum of 12 mm is found to a quarter of a millimetre where they are
// rounded; where they are cut down to the step, which looks like a datum of half of it, nothing is claimed.
func TestCoarse(t *testing.T) {
	for _, c := range []struct {
		datum   float64
		step    func(float64) float64
		verdict Verdict
	}{
		{0.012, math.Round, SettingDiffers}, {0, math.Round, Same}, {0, math.Floor, CannotCompare},
		{0, math.Ceil, CannotCompare},
	} {
		r := notch(func(_ int, h float64) float64 { return law25(h - c.datum) })
		for i := range r.Pairs {
			r.Pairs[i].Head = c.step(100*r.Pairs[i].Head) / 100
		}
		f := Explain(r)
		if f.Verdict != c.verdict {
			t.Errorf("datum %v: %v (%s), %v", c.datum, f.Verdict, f.Why, f.Best)
		}
		if e := f.Best[0]; c.datum != 0 && (e.Names[0] != "datum" || math.Abs(e.Values[0]-c.datum) > 0.00025) {
			t.Errorf("datum %v: %v", c.datum, e)
		}
	}
}

// TestCannot: what no pair can tell is not told.
func TestCannot(t *testing.T) {
	still := notch(func(_ int, h float64) float64 { return 0.01 })
	for i := range still.Pairs {
		still.Pairs[i].Head = 0.1
	}
	few := notch(func(_ int, h float64) float64 { return law25(h) })
	few.Pairs = few.Pairs[:29]
	unbuilt := notch(func(_ int, h float64) float64 { return law25(h) })
	unbuilt.Kind = "weir"
	state := uint64(1)
	noise := notch(func(_ int, _ float64) float64 { // flows that have nothing to do with the level
		state = state*6364136223846793005 + 1442695040888963407
		return float64(state>>40) / (1 << 24)
	})
	broken := notch(func(_ int, _ float64) float64 { return math.NaN() })
	for why, r := range map[string]*Record{"the level hardly moves": still, "too few pairs": few,
		"the device cannot be built": unbuilt, "no setting explains the flow": noise, "too few": broken, "too": {}} {
		if f := Explain(r); f.Verdict != CannotCompare || !strings.HasPrefix(f.Why, why) {
			t.Errorf("%v, %q, want %q", f.Verdict, f.Why, why)
		}
	}
}

// TestLossByHand: two readings, off by one and by three tolerances: (ln 2 + ln 10)/2.
func TestLossByHand(t *testing.T) {
	s := sample.Sample{Heads: []float64{1, 1}, Flows: []float64{3, 5}, Tolerances: []float64{1, 1},
		Pred: make([]float64, 2), Room: make([]float64, 2)}
	m := model{factor: 2, scale: 1, cap: math.Inf(1)}
	if got, want := m.loss(&s, 1), math.Log(20)/2; math.Abs(got-want) > 1e-12 {
		t.Errorf("%v, want %v", got, want)
	}
}

// TestEveryKind: with every kind of device the recorded settings are told from a datum that is off by a twentieth.
func TestEveryKind(t *testing.T) {
	for _, kind := range device.All() {
		limits := kind.Rating.Limits()
		high := min(limits.High, limits.End*0.8, 0.4)
		for _, part := range []float64{0, 0.05} {
			r := notch(none)
			r.Kind, r.Dimensions = kind.Name, kind.Example
			for i := range r.Pairs {
				p := &r.Pairs[i]
				p.Head = math.Round(1e4*p.Head/0.3*high) / 1e4
				p.Flow = math.Round(1e6*kind.Rating.Flow(p.Head-part*high)) / 1e6
			}
			f := Explain(r)
			e := f.Best[0]
			told := e.Names[0] == "datum" && len(e.Names) == 1 && math.Abs(e.Values[0]/(part*high)-1) < 0.02
			if part == 0 && f.Verdict != Same || part > 0 && !told {
				t.Errorf("%s, %v: %v %s %v", kind.Name, part*high, f.Verdict, f.Why, f.Best)
			}
		}
	}
}
