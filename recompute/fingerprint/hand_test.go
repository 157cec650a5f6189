package fingerprint

import (
	"math"
	"strings"
	"testing"
)

// wave is a head between 60 and 200 mm at reading i, no two waves alike.
func wave(i int) float64 {
	x := float64(i)
	return 0.13 + 0.05*math.Sin(x/31.7) + 0.02*math.Sin(x/7.3+1)
}

// logged is 3,000 readings of 10 min: heads to 0.1 mm with something added, flows to six digits.
func logged(flow func(head float64) float64, level func(head float64) float64) *Record {
	r := &Record{Interval: 600e9}
	for i := range 3000 {
		h := math.Round(1e4*wave(i)) / 1e4
		r.At, r.Level, r.Flow = append(r.At, int64(i)*600e9), append(r.Level, level(h)), append(r.Flow, flow(h))
	}
	return r
}

// feetLaw is Q = c h^n in feet, in m³/s.
func feetLaw(c, n float64) func(float64) float64 {
	return func(h float64) float64 { return c * math.Pow(math.Max(h, 0)/feet, n) * feet * feet * feet }
}

// TestByHand: equations as they were published, whatever the level is counted from.
func TestByHand(t *testing.T) {
	head := func(h float64) float64 { return h }
	for _, c := range []struct {
		name       string
		flow       func(float64) float64
		level      func(float64) float64
		distance   bool
		kind, size string
		zero       float64 // m
	}{
		// USBR Water Measurement Manual eq. 7-6: Cone, 90 deg
		{"notch", feetLaw(2.49, 2.48), head, false, "v-notch", "90 deg", 0},
		{"notch, 20 mm too high", feetLaw(2.49, 2.48), func(h float64) float64 { return h + 0.02 }, false, "v-notch",
			"90 deg", 0.02},
		{"notch, above the sea", feetLaw(2.49, 2.48), func(h float64) float64 { return h + 431.2 }, false, "v-notch",
			"90 deg", 431.2},
		{"notch, from above", feetLaw(2.49, 2.48), func(h float64) float64 { return 1.1 - h }, true, "v-notch",
			"90 deg", 1.1},
		// Parshall 1950, from memory: 1 ft, 4 h^1.522; 9 in, 3.07 h^1.53; 3 in, 0.992 h^1.547
		{"flume", feetLaw(4, 1.522), head, false, "parshall", "1 ft", 0},
		{"small flume", feetLaw(3.07, 1.53), head, false, "parshall", "9 in", 0},
		{"smallest flume", feetLaw(0.992, 1.547), head, false, "parshall", "3 in", 0},
		// USBR eq. 7-7: Cipolletti of 2 ft, 3.367 b h^1.5
		{"weir", feetLaw(3.367*2, 1.5), head, false, "cipolletti", "2 ft", 0},
		// no device: an exponent between
		{"law", feetLaw(5, 1.9), head, false, "power", "", 0},
		{"line", func(h float64) float64 { return 0.3 * h }, head, false, "linear", "", 0},
	} {
		r := logged(c.flow, c.level)
		r.Distance = c.distance
		p := Find(r)
		if p.Why != "" || len(p.Devices) == 0 {
			t.Errorf("%s: %q", c.name, p.Why)
			continue
		}
		found := false
		for _, d := range p.Devices[:p.Twins] {
			found = found || d.Kind == c.kind && (d.Size == c.size || c.size == "")
		}
		d := p.Devices[0]
		if !found || math.Abs(d.Zero-c.zero) > 0.001 || d.Unlike > 0.01 || c.zero < d.ZeroLow || c.zero > d.ZeroHigh {
			t.Errorf("%s: %+v, want %s %s with no flow at %v m", c.name, d, c.kind, c.size, c.zero)
		}
		if q := d.Flow(c.level(0.15)); math.Abs(q/c.flow(0.15)-1) > 0.01 {
			t.Errorf("%s: %v m3/s at a head of 0.15 m, want %v", c.name, q, c.flow(0.15))
		}
	}
}

// TestBeside: a notch of 53.13 deg has half the flow of one of 90 deg (tan 26.57° = 0.5), and that of one of 60 deg
// with a factor; a level in cm for one in mm is told.
func TestBeside(t *testing.T) {
	half := func(h float64) float64 { return 1.382 * 0.5 * math.Pow(h, 2.5) }
	head := func(h float64) float64 { return h }
	p := Find(logged(half, head))
	text := strings.Join(p.Beside, "; ")
	if p.Devices[0].Size != "53.13 deg" || !strings.Contains(text, "60 deg with x 0.866") { // tan 26.57° / tan 30°
		t.Errorf("%+v, beside it %q", p.Devices[0], text)
	}
	r := logged(feetLaw(4, 1.522), func(h float64) float64 { return 10 * h })
	r.LevelUnits = []Unit{{"mm", 0.1}, {"m", 100}}
	p = Find(r)
	if text = strings.Join(p.Beside, "; "); !strings.Contains(text, "parshall 1 ft, if the level is in mm") ||
		strings.Contains(text, "in m;") {
		t.Errorf("beside %+v: %q", p.Devices[0], text)
	}
}

// TestMeansOrInstants: over an hour in which the level goes up and down by a third, the mean of h^2.5 is more than that
// of the mean level; where the level hardly moves, nothing can be told.
func TestMeansOrInstants(t *testing.T) {
	flow := func(h float64) float64 { return 1.382 * math.Pow(h, 2.5) }
	level := func(hour, swing float64) float64 {
		return 0.15 + 0.02*math.Sin(hour/40) + swing*math.Sin(hour/1.9) + swing*math.Sin(hour/2.7)
	}
	for _, c := range []struct {
		name  string
		swing float64
		parts int // readings of which a mean is made
		want  Means
	}{
		{"means", 0.03, 60, OfMeans}, {"instants", 0.03, 1, OfInstants}, {"calm", 0.0003, 60, CannotTell},
	} {
		r := &Record{Interval: 3600e9}
		for i := range 2000 {
			h, q := 0.0, 0.0
			for k := range c.parts {
				x := level(float64(i)+float64(k)/60, c.swing)
				h, q = h+x/float64(c.parts), q+flow(x)/float64(c.parts)
			}
			r.At, r.Level, r.Flow = append(r.At, int64(i)*3600e9), append(r.Level, h), append(r.Flow, q)
		}
		if p := Find(r); p.Means != c.want || p.Devices[0].Size != "90 deg" {
			t.Errorf("%s: %v, want %v; %s %s", c.name, p.Means, c.want, p.Devices[0].Kind, p.Devices[0].Size)
		}
	}
}

// TestAbove: a notch of 90 deg that is 0.16 m high, with a crest of 1 m above: the flow is more from there on.
func TestAbove(t *testing.T) {
	p := Find(logged(func(h float64) float64 {
		return 1.382*math.Pow(h, 2.5) + 1.8*math.Pow(math.Max(h-0.16, 0), 1.5)
	}, func(h float64) float64 { return h }))
	if p.Devices[0].Size != "90 deg" || math.Abs(p.Above-0.16) > 0.006 || !p.More {
		t.Errorf("%s %s, other above %v, more %v", p.Devices[0].Kind, p.Devices[0].Size, p.Above, p.More)
	}
}

// TestSpells: a notch of 90 deg that was taken for one of 60 deg up to reading 400, tan 30° of the flow.
func TestSpells(t *testing.T) {
	r := logged(func(h float64) float64 { return 1.382 * math.Pow(h, 2.5) }, func(h float64) float64 { return h })
	if p := Find(r); p.Before != 0 || p.After != 0 {
		t.Errorf("before %v, after %v where nothing changed", p.Before, p.After)
	}
	for i := range 400 {
		r.Flow[i] *= math.Tan(math.Pi / 6)
	}
	if p := Find(r); p.Devices[0].Size != "90 deg" || p.Before != r.At[400] || p.After != 0 ||
		len(p.Others) != 1 || p.Others[0].Print.Devices[0].Size != "60 deg" || p.Others[0].Until != r.At[399] {
		t.Errorf("%s %s, before %v, after %v", p.Devices[0].Kind, p.Devices[0].Size, p.Before, p.After)
	}
}

// TestNothing: what has nothing to do with the level is told to be so, and so is a record that is too short or still.
func TestNothing(t *testing.T) {
	r := logged(func(float64) float64 { return 0 }, func(h float64) float64 { return h })
	for i := range r.Flow {
		r.Flow[i] = 0.02 + 0.015*math.Sin(float64(i)*2.399963)
	}
	if p := Find(r); p.Why == "" {
		t.Errorf("%+v makes a flow of chance", p.Devices[0])
	}
	for _, n := range []int{0, 1, 5} {
		if p := Find(&Record{At: r.At[:n], Level: r.Level[:n], Flow: r.Flow[:n]}); p.Why == "" || len(p.Devices) > 0 {
			t.Errorf("%d readings: %q, %v", n, p.Why, p.Devices)
		}
	}
	for i := range r.Level {
		r.Level[i] = 0.1
	}
	if p := Find(r); p.Why == "" {
		t.Error("a level that stands tells a device")
	}
}
