package fingerprint_test

import (
	"flag"
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"

	"retotal/ingest/problem"
	"retotal/ingest/quantity"
	"retotal/recompute/fingerprint"
	"retotal/testdata/effort"
	"retotal/testdata/mistakes"
)

var (
	seed  = flag.Uint64("seed", 1, "seed of the meters of BenchmarkSound")
	cases = flag.Int("cases", 600, "cases a set, of which those without a mistake are taken")
	one   = flag.String("case", "", "set, seed and number of the case that TestOne prints, as 2,1,33")
)

// print takes the fingerprint of a case.
func print(c *mistakes.Case) fingerprint.Print {
	r := &fingerprint.Record{Interval: c.Record.Interval, LevelStep: c.Record.LevelStep, FlowStep: c.Record.FlowStep}
	for _, p := range c.Record.Pairs {
		r.At, r.Level, r.Flow = append(r.At, p.At), append(r.Level, p.Head), append(r.Flow, p.Flow)
	}
	return fingerprint.Find(r)
}

// sizes are the dimensions by which the devices of the generators are known.
var sizes = map[string]string{"v-notch": "angle", "parshall": "throat", "h-flume": "depth", "rectangular": "width",
	"cipolletti": "width", "manning": "diameter"}

// right tells whether a device is that of a case: its kind, and its size to 3 % (common practice: half the way from one
// standard size to the next nearest is more), of a weir with a straight crest and of a pipe to 10 %, which its channel
// and its slope change as much. Of two names for one flume in feet and metres both are right, and of two kinds of
// straight crest, which differ by their width alone, either counts as alike.
func right(c *mistakes.Case, d fingerprint.Device) (exactly, alike bool) {
	kind := c.Record.Kind
	if kind == "power" {
		n := c.Record.Dimensions["exponent"].(float64)
		straight := n == 1.5 && (d.Kind == "rectangular" || d.Kind == "cipolletti")
		exactly = d.Kind == "power" && math.Abs(d.Exponent-n) < 0.05
		return exactly, exactly || straight
	}
	truth := size(c.Record.Dimensions[sizes[kind]].(string))
	slack := 0.03
	if kind == "rectangular" || kind == "cipolletti" || kind == "manning" {
		slack = 0.1
	}
	near := math.Abs(d.Value/truth-1) < slack
	crest := func(kind string) bool { return kind == "rectangular" || kind == "cipolletti" }
	return near && d.Kind == kind, near && (d.Kind == kind || crest(d.Kind) && crest(kind))
}

func size(text string) float64 {
	for _, dimension := range []quantity.Dimension{quantity.LengthDimension, quantity.AngleDimension} {
		if v, err := quantity.Parse(text, dimension); err == nil {
			return v.SI
		}
	}
	return 0
}

// tally is what came of some cases.
type tally struct {
	cases, first, three, alike, alikeThree int
	held, values                           int // intervals
	means, instants                        int // that were told to be
}

func (t tally) String() string {
	share := func(n, of int) string { return fmt.Sprintf("%3d/%3d %5.1f", n, of, 100*float64(n)/float64(max(of, 1))) }
	return fmt.Sprintf("first %s  three %s  alike first %s  alike three %s  interval %s  means %d, instants %d",
		share(t.first, t.cases), share(t.three, t.cases), share(t.alike, t.cases), share(t.alikeThree, t.cases),
		share(t.held, t.values), t.means, t.instants)
}

// score takes the fingerprints of the sound meters among so many cases of both sets, but for rating tables.
func score(seed uint64, n int) (rows map[string]*tally, wrong []string) {
	type outcome struct {
		c *mistakes.Case
		p fingerprint.Print
	}
	all := make([]outcome, 2*n)
	problem.Beside(len(all), func(i int) {
		c := mistakes.Make(1+i/n, seed, i%n)
		if len(c.Truth.Names) == 0 && c.Record.Kind != "table" {
			all[i] = outcome{c, print(c)}
			c.Record.Pairs = nil
		}
	})
	rows = map[string]*tally{}
	for _, o := range all {
		if o.c == nil {
			continue
		}
		var x tally
		x.cases = 1
		for i, d := range o.p.Devices[:min(3, len(o.p.Devices))] {
			exactly, alike := right(o.c, d)
			count := func(to *int, yes bool) {
				if yes {
					*to = 1
				}
			}
			count(&x.first, exactly && i == 0)
			count(&x.three, exactly)
			count(&x.alike, alike && i == 0)
			count(&x.alikeThree, alike)
			if exactly && x.values == 0 && o.c.Record.Kind != "power" {
				truth := size(o.c.Record.Dimensions[sizes[o.c.Record.Kind]].(string))
				x.values = 1
				count(&x.held, truth >= d.Low*0.9999 && truth <= d.High*1.0001)
			}
		}
		for _, key := range []string{fmt.Sprintf("%v", o.c.Noise), "of " + o.c.Record.Kind, "~ all"} {
			if rows[key] == nil {
				rows[key] = &tally{}
			}
			t := rows[key]
			t.cases, t.first, t.three, t.alike = t.cases+1, t.first+x.first, t.three+x.three, t.alike+x.alike
			switch o.p.Means {
			case fingerprint.OfMeans:
				t.means++
			case fingerprint.OfInstants:
				t.instants++
			}
			t.alikeThree, t.held, t.values = t.alikeThree+x.alikeThree, t.held+x.held, t.values+x.values
		}
		if x.first == 0 {
			wrong = append(wrong, fmt.Sprintf("%v %v: %s", o.c, o.c.Record.Dimensions, said(o.p)))
		}
	}
	return rows, wrong
}

// said is a print in a few words.
func said(p fingerprint.Print) string {
	var words []string
	if p.Why != "" {
		words = append(words, p.Why)
	}
	for _, d := range p.Devices[:min(4, len(p.Devices))] {
		words = append(words, fmt.Sprintf("%s %s %.4f (%.4f to %.4f) x %.4f zero %.1f mm, %.3f %%, %.4f", d.Kind,
			d.Size, d.Value, d.Low, d.High, d.Factor, 1000*d.Zero, 100*d.Unlike, d.Score))
	}
	return strings.Join(words, "; ")
}

// TestSound holds what is found of generated meters to what was measured of many (BenchmarkSound): no share may lie so
// low that chance would make it so in one run of a thousand.
func TestSound(t *testing.T) {
	if testing.Short() {
		t.Skip("takes the fingerprints of many records")
	}
	rows, wrong := score(2, effort.Rounds(25, 400))
	all := rows["~ all"]
	for _, c := range []struct {
		what     string
		good, of int
		share    float64
	}{
		{"first, of its kind or one that is alike", all.alike, all.cases, 0.85},
		{"one of three", all.three, all.cases, 0.88},
		{"intervals that hold the size", all.held, all.values, 0.95},
	} {
		if c.of == 0 || mistakes.AtMost(c.good, c.of, c.share) < 0.001 {
			t.Errorf("%s: %d of %d, and %.0f %% are wanted\n%s", c.what, c.good, c.of, 100*c.share,
				strings.Join(wrong, "\n"))
		}
	}
}

// BenchmarkSound prints how often device and size are found.
func BenchmarkSound(b *testing.B) {
	for range b.N {
		rows, wrong := score(*seed, *cases)
		var keys []string
		for key := range rows {
			keys = append(keys, key)
		}
		slices.Sort(keys)
		for _, key := range keys {
			fmt.Printf("%-18s %v\n", key, rows[key])
		}
		fmt.Println(strings.Join(wrong, "\n"))
	}
}

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
	p := print(c)
	t.Logf("%v %v\n%s\n%+v", c, c.Record.Dimensions, strings.ReplaceAll(said(p), "; ", "\n"), p)
}
