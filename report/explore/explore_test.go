package explore

import (
	"encoding/json"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"retotal/recompute"
)

// sample is a reading of a made log.
type sample struct{ at, flow float64 } // s since 1970, m³/s

// spiky writes a site whose log of a few weeks is quiet but for spikes of one reading, up and down, with gaps, and
// returns its file and what the meter showed: Q = 1.38 h^2.5 with h = 1.5 m less the distance, here as the log has it.
func spiky(t testing.TB, round int) (file string, truth []sample) {
	t.Helper()
	random := rand.New(rand.NewPCG(5, uint64(round)))
	var log strings.Builder
	log.WriteString("Time,Distance (m)\n")
	at := time.Date(2031, 3, 20, 7, 0, 0, 0, time.UTC)
	for range 20000 + 9000*round {
		at = at.Add(time.Minute)
		h := 0.2
		switch k := random.IntN(3000); {
		case k == 0:
			h = 0.2 + 0.3*random.Float64()
		case k == 1:
			h = 0.2 * random.Float64()
		case k == 2:
			at = at.Add(time.Duration(random.IntN(3000)) * time.Minute)
		}
		distance := math.Round((1.5-h)*1000) / 1000
		fmt.Fprintf(&log, "%s,%.3f\n", at.Format("2006-01-02 15:04:05"), distance)
		truth = append(truth, sample{float64(at.Unix()), 1.38 * math.Pow(1.5-distance, 2.5)})
	}
	return writeSite(t, "spiky", "", log.String()), truth
}

// hostileName would end the script and load a picture if it were not escaped.
const hostileName = `</script><img src=x onerror=window.broken=1><!-- & "`

// hostileSite is a site with such a name.
func hostileSite(t testing.TB) string {
	return writeSite(t, "hostile", "name = '"+hostileName+"'\n",
		"Time,Distance (m)\n2031-03-01 00:00:00,1.3\n2031-03-01 00:10:00,1.31\n2031-03-01 00:20:00,1.3\n")
}

func writeSite(t testing.TB, id, more, log string) string {
	t.Helper()
	folder := t.TempDir()
	text := fmt.Sprintf(`id = %q
%s[log]
files = ["log.csv"]
time_zone = "+00:00"
[log.columns]
time = "Time"
distance = "Distance"
[settings]
empty_distance = "1.5 m"
[settings.device]
kind = "power"
coefficient = 1.38
exponent = 2.5
head_unit = "m"
flow_unit = "m3/s"
[report]
time_zone = "Europe/Dublin"
`, id, more)
	file := filepath.Join(folder, "site.toml")
	for name, content := range map[string]string{"site.toml": text, "log.csv": log} {
		if err := os.WriteFile(filepath.Join(folder, name), []byte(content), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	return file
}

// TestCellsHoldEverySpike: in cells of any length every cell has the least and the greatest of its readings, and all
// readings are in cells.
func TestCellsHoldEverySpike(t *testing.T) {
	for round := range 3 {
		file, truth := spiky(t, round)
		for _, most := range []int{MostCells, 2000, 60} {
			g, _ := gathered(t, file, most)
			next, rows := 0, 0
			for i := range g.cells {
				low, high, n := math.Inf(1), math.Inf(-1), int32(0)
				for end := g.startOf(i + 1); next < len(truth) && truth[next].at < end; next++ {
					low, high = min(low, truth[next].flow), max(high, truth[next].flow)
					n++
				}
				c := &g.cells[i]
				if c.rows != n || n > 0 && (math.Abs(float64(c.before.low)/low-1) > 1e-6 ||
					math.Abs(float64(c.before.high)/high-1) > 1e-6) {
					t.Fatalf("round %d, at most %d: cell %d is %+v, want %v to %v of %d", round, most, i, *c,
						low, high, n)
				}
				rows += int(c.rows)
			}
			if rows != len(truth) || len(g.cells) > most+24*60*2 && most == MostCells {
				t.Errorf("round %d: %d cells of %d readings", round, len(g.cells), rows)
			}
		}
	}
}

// TestPack: columns come back as they went in, read by a reader written out here; numbers up to 10^15 and both signs.
func TestPack(t *testing.T) {
	random := rand.New(rand.NewPCG(9, 9))
	var want []float64
	for k := range 500 {
		want = append(want, math.Round(random.NormFloat64()*math.Pow(10, float64(k%15))))
	}
	p := &packer{}
	p.column(len(want), func(i int) float64 { return want[i] })
	at, last := 0, int64(0)
	for i, v := range want {
		var x uint64
		for shift := 0; ; shift += 7 {
			b := p.bytes[at]
			at++
			x |= uint64(b&0x7f) << shift
			if b < 0x80 {
				break
			}
		}
		if x&1 == 1 {
			last -= int64(x/2) + 1
		} else {
			last += int64(x / 2)
		}
		if float64(last) != v {
			t.Fatalf("number %d: %v, want %v", i, last, v)
		}
	}
}

// TestSums: the sums that the page has of days and months of the demo are those of the result to 0.001 m³, whatever
// their rounding.
func TestSums(t *testing.T) {
	g, run := gathered(t, demo("site.toml"), MostCells)
	s := newSteps(g, run.Result)
	of := volumes(run.Result)
	if len(of) != 3 {
		t.Fatalf("%d kinds of volume", len(of))
	}
	g.grow(run.Result.Cells.Calendar.Days())
	for _, list := range [][]recompute.Period{run.Result.Days, run.Result.Months, {run.Result.Total}} {
		for i := range list {
			p := &list[i]
			for k, want := range []float64{p.Before.M3(), p.After.M3(), p.Counted.M3()} {
				sum, _ := sums(len(g.cells), s.Volume, of[k])
				upTo := func(at int64) float64 {
					n := run.Result.Cells.Calendar.Day(at)
					if start, _ := run.Result.Cells.Calendar.Bounds(n); start < at {
						n++
					}
					if n == 0 {
						return 0
					}
					return sum[min(n, len(sum))-1] * s.Volume
				}
				if got := upTo(p.Until) - upTo(p.From); math.Abs(got-want) > 0.001 {
					t.Errorf("%s, kind %d: %v, want %v", p.Label, k, got, want)
				}
			}
		}
	}
}

// TestSection: one file with nothing fetched, and a name that would break out of a script stays a string.
func TestSection(t *testing.T) {
	page, err := os.ReadFile(writePage(t, hostileSite(t)))
	if err != nil {
		t.Fatal(err)
	}
	text := string(page)
	for _, never := range []string{"<img", "src=\"", "@import", "ZgotmplZ", "url(", "//# sourceMappingURL"} {
		if strings.Contains(text, never) {
			t.Errorf("the page holds %q", never)
		}
	}
	block := regexp.MustCompile(`(?s)id="explorer-facts">(.*?)</script>`).FindStringSubmatch(text)
	var f facts
	if err := json.Unmarshal([]byte(block[1]), &f); err != nil || f.Site != hostileName {
		t.Errorf("%v: %q", err, f.Site)
	}
	if strings.Contains(block[1], "null") {
		t.Errorf("a list is null: %s", block[1])
	}
	if strings.Count(text, "<script") != 3 || strings.Count(text, "</script>") != 3 {
		t.Errorf("%d scripts begin, %d end", strings.Count(text, "<script"), strings.Count(text, "</script>"))
	}
	if !strings.Contains(text, "<noscript>") {
		t.Error("nothing is said to whom scripts are off")
	}
}

// TestNoCells: a run that was not asked for cells has no explorer.
func TestNoCells(t *testing.T) {
	g, run := gathered(t, hostileSite(t), 0)
	if s, err := g.Section(run); s != nil || err != nil {
		t.Errorf("%v, %v", s, err)
	}
}

// TestSize: the explorer of a year of minutes takes no more than 3 MB in the page, though its cells hold noise.
func TestSize(t *testing.T) {
	random := rand.New(rand.NewPCG(2, 3))
	var log strings.Builder
	log.WriteString("Time,Distance (m)\n")
	at := time.Date(2031, 1, 1, 0, 0, 0, 0, time.UTC)
	for i := range 365 * 1440 {
		h := 0.2 + 0.05*math.Sin(float64(i)/229) + 0.001*random.NormFloat64()
		fmt.Fprintf(&log, "%s,%.3f\n", at.Add(time.Duration(i)*time.Minute).Format("2006-01-02 15:04:05"), 1.5-h)
	}
	g, run := gathered(t, writeSite(t, "year", "", log.String()), MostCells)
	s, err := g.Section(run)
	if err != nil || len(s.HTML)+len(s.Script)+len(s.Style) > 3<<20 || len(s.HTML) < 100_000 {
		t.Errorf("%v, %d bytes of data, %d of script", err, len(s.HTML), len(s.Script))
	}
}

// TestZone: the clock of Dublin in a span of 2031 goes an hour on at 01:00 UTC on 30 March and back on 26 October (its
// rule: the last Sundays); a fixed offset stays.
func TestZone(t *testing.T) {
	g, run := gathered(t, demo("one-day.toml"), MostCells)
	f := newFacts(g, run, newSteps(g, run.Result))
	if len(f.LogZone.At) != 1 || f.LogZone.Offsets[0] != 0 {
		t.Errorf("%+v", f.LogZone)
	}
	c := run.Site().Report.Clock
	full, err := time.LoadLocation("Europe/Dublin")
	if err != nil {
		t.Fatal(err)
	}
	c.Location = full
	may := time.Date(2031, 5, 1, 0, 0, 0, 0, time.UTC)
	z := newZone(c, may.UnixNano(), may.AddDate(0, 1, 0).UnixNano())
	want := map[int64]int64{
		time.Date(2031, 3, 30, 1, 0, 0, 0, time.UTC).Unix():  3600,
		time.Date(2031, 10, 26, 1, 0, 0, 0, time.UTC).Unix(): 0,
	}
	found := 0
	for i, at := range z.At {
		if offset, is := want[at]; is && offset == z.Offsets[i] {
			found++
		}
	}
	if found != 2 {
		t.Errorf("%+v", z)
	}
}

// TestWorth: of the demo, the setting stands first with what it does, then the gap, then what screening did by size.
func TestWorth(t *testing.T) {
	_, run := gathered(t, demo("site.toml"), MostCells)
	list, rest := worthALook(run)
	if len(list) != mostWorth || list[0].Kind != "correction" || list[0].Volume != run.Result.Total.Split().Settings ||
		list[1].Known != "not known" || rest.Spans == 0 {
		t.Fatalf("%d listed, %d not; %+v", len(list), rest.Spans, list[:2])
	}
	for i := 3; i < len(list); i++ {
		if a, b := list[i-1], list[i]; a.rank == b.rank && a.size < b.size || a.rank > b.rank {
			t.Errorf("%+v stands before %+v", a, b)
		}
	}
}

// TestThinned: of many gaps three stand ahead of known effects, the others behind all.
func TestThinned(t *testing.T) {
	var list []worth
	for _, rank := range []int{0, unknown, unknown, unknown, unknown, unknown, atLeast, acted, kept} {
		list = append(list, worth{rank: rank})
	}
	var got []int
	for _, w := range thinned(list) {
		got = append(got, w.rank)
	}
	if want := []int{0, unknown, unknown, unknown, atLeast, acted, kept, unknown, unknown}; !slices.Equal(got, want) {
		t.Errorf("%v, want %v", got, want)
	}
}
