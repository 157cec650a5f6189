package picture

import (
	"bytes"
	"context"
	"encoding/xml"
	"errors"
	"fmt"
	"image/png"
	"io"
	"math"
	"os"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"
	"time"

	"retotal/ingest"
	"retotal/ingest/site"
	"retotal/recompute"
	"retotal/recompute/audit"
	"retotal/report"
)

// passed runs a site file and returns what is drawn of it.
func passed(t testing.TB, file string) (*Gatherer, *report.Run) {
	t.Helper()
	s, err := site.Load(file)
	if err != nil {
		t.Fatal(err)
	}
	log, err := ingest.Open(s)
	if err != nil {
		t.Fatal(err)
	}
	var g *Gatherer
	result, err := recompute.Run(context.Background(), log, log.Site, recompute.Options{
		Budget: true, Rows: func() (func(*recompute.Rows) error, error) {
			g = New(s)
			return func(rows *recompute.Rows) error { g.Rows(rows); return nil }, nil
		},
	})
	if err != nil {
		t.Fatal(err)
	}
	return g, &report.Run{
		Result: result, Log: log, Findings: audit.Findings(result, nil), Over: audit.DailyLimit(result),
		Limits: audit.Limits(result), Version: "test",
	}
}

// made writes a site file and its log into a folder and runs them. Distances are those of a notch whose vertex lies
// 1.5 m below the sensor; of a head of NaN there is no row.
func made(t testing.TB, toml string, start time.Time, step time.Duration, heads []float64) (*Gatherer, *report.Run) {
	t.Helper()
	dir := t.TempDir()
	var log strings.Builder
	log.WriteString("Time,Distance\n")
	for i, h := range heads {
		if !math.IsNaN(h) {
			fmt.Fprintf(&log, "%s,%.4f\n", start.Add(time.Duration(i)*step).Format("2006-01-02 15:04:05"), 1.5-h)
		}
	}
	top, rest := "", toml
	if strings.HasPrefix(toml, "name") {
		top, rest, _ = strings.Cut(toml, "\n")
	}
	text := top + `
id = "made"
[log]
files = ["log.csv"]
time_zone = "+00:00"
[log.columns]
time = "Time"
distance = { name = "Distance", unit = "m" }
[settings]
empty_distance = "1.5 m"
[settings.device]
kind = "power"
coefficient = 1.38
exponent = 2.5
head_unit = "m"
flow_unit = "m3/s"
` + rest
	name := filepath.Join(dir, "site.toml")
	err := errors.Join(os.WriteFile(name, []byte(text), 0o644),
		os.WriteFile(filepath.Join(dir, "log.csv"), []byte(log.String()), 0o644))
	if err != nil {
		t.Fatal(err)
	}
	return passed(t, name)
}

// waves are heads of so many steps with a daily course.
func waves(days int, step time.Duration) []float64 {
	heads := make([]float64, int(time.Duration(days)*24*time.Hour/step))
	for i := range heads {
		at := float64(i) * step.Hours() / 24
		heads[i] = 0.15 + 0.05*math.Sin(2*math.Pi*at) + 0.01*math.Sin(float64(i))
	}
	return heads
}

var june = time.Date(2031, 6, 1, 0, 0, 0, 0, time.UTC)

// hostile are sites that ask much of a picture.
var hostile = []struct {
	name, toml string
	start      time.Time
	step       time.Duration
	heads      func() []float64
}{
	{"dry", "", june, time.Hour, func() []float64 { return make([]float64, 24*30) }},
	{"two readings", "", june, time.Hour, func() []float64 { return []float64{0.1, 0.2} }},
	{"one day", "", june, 5 * time.Minute, func() []float64 { return waves(1, 5*time.Minute) }},
	{"nothing counts", "[[ruling]]\nfrom = 2031-06-01T00:00:00\nuntil = 2031-08-01T00:00:00\naction = \"leave-out\"\n" +
		"reason = \"x\"\nby = \"y\"\n", june, time.Hour, func() []float64 { return waves(30, time.Hour) }},
	{"limits far above", "[report.limits]\ndaily_volume = \"9000 ML\"\npeak = \"9000 m3/s\"\n", june, time.Hour,
		func() []float64 { return waves(30, time.Hour) }},
	{"a monthly limit", "[report.limits]\nmonthly_average = \"10 L/s\"\n", june, time.Hour,
		func() []float64 { return waves(900, time.Hour) }},
	{"a tiny unit", "[report]\nvolume_unit = \"L\"\nflow_unit = \"L/d\"\n", june, time.Hour,
		func() []float64 { return waves(90, time.Hour) }},
	{"a huge unit", "[report]\nvolume_unit = \"ML\"\nflow_unit = \"ML/d\"\n", june, time.Hour, func() []float64 {
		heads := waves(90, time.Hour)
		for i := range heads {
			heads[i] /= 20
		}
		return heads
	}},
	{"a name from a file", "name = \"<b>\\\"A & B\\\" " + strings.Repeat("very long ", 30) + "下水 ☃\"\n",
		june, time.Hour, func() []float64 { return waves(30, time.Hour) }},
	{"many corrections", manyCorrections(), june, time.Hour, func() []float64 { return waves(90, time.Hour) }},
	{"an onset that is not sure", "[[correction]]\nreason = \"x\"\nfrom = 2031-06-20T00:00:00\n" +
		"until = 2031-07-10T00:00:00\nempty_distance = \"1.52 m\"\n" +
		"onset = { last_good_check = 2031-06-05T00:00:00 }\n", june, time.Hour,
		func() []float64 { return waves(60, time.Hour) }},
	{"visits a minute apart", manyVisits(), june, time.Hour, func() []float64 { return waves(60, time.Hour) }},
	{"a clock that jumps", "[report]\ntime_zone = \"America/Havana\"\n", time.Date(2031, 10, 25, 0, 0, 0, 0, time.UTC),
		30 * time.Minute, func() []float64 { return waves(14, 30*time.Minute) }},
	{"gaps everywhere", "", june, time.Hour, func() []float64 {
		heads := waves(400, time.Hour)
		for i := range heads {
			if i%7 > 3 || i > 3000 && i < 5000 {
				heads[i] = math.NaN()
			}
		}
		return heads
	}},
	{"twenty years", "", time.Date(2011, 1, 1, 0, 0, 0, 0, time.UTC), 6 * time.Hour,
		func() []float64 { return waves(7300, 6*time.Hour) }},
	{"sixty years", "", time.Date(1960, 1, 1, 0, 0, 0, 0, time.UTC), 24 * time.Hour,
		func() []float64 { return waves(21900, 24*time.Hour) }},
}

func manyCorrections() string {
	var b strings.Builder
	add := func(month, from, until int, set string) {
		fmt.Fprintf(&b, "[[correction]]\nreason = \"x\"\nfrom = 2031-%02d-%02dT00:00:00\n", month, from)
		fmt.Fprintf(&b, "until = 2031-%02d-%02dT00:00:00\n%s\n", month, until, set)
	}
	for i := range 12 { // one after the other
		add(6, 1+2*i, 3+2*i, fmt.Sprintf("empty_distance = \"1.5%02d m\"", i+1))
	}
	for i, set := range []string{ // above each other
		"empty_distance = \"1.52 m\"", "distance_factor = 1.01", "head_factor = 1.02", "level_of_zero_flow = \"5 mm\"",
		"maximum_head = \"0.4 m\"",
	} {
		add(7, 1+i, 25+i, set)
	}
	return b.String()
}

func manyVisits() string {
	var b strings.Builder
	for i := range 40 {
		fmt.Fprintf(&b, "[[visit]]\nat = 2031-06-10T10:%02d:00\nhead = \"%.3f m\"\n", i, 0.1+0.01*float64(i%5))
	}
	return b.String()
}

// everyPicture draws all that can be drawn of a run.
func everyPicture(t *testing.T, g *Gatherer, run *report.Run) (list []*Picture) {
	t.Helper()
	for _, name := range Names() {
		if pages, err := g.Pages(run, name, Options{}); err == nil {
			list = append(list, pages...)
		} else if !strings.HasPrefix(err.Error(), "there is nothing to show in "+name) {
			t.Error(err)
		}
	}
	return append(list, Phone(run)...)
}

// TestHostile: whatever a site holds, every picture is well-formed XML without a number that is none, with its text in
// sight, and makes a raster and a page of its size. PICTURES=FOLDER keeps the rasters.
func TestHostile(t *testing.T) {
	for _, c := range hostile {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			g, run := made(t, c.toml, c.start, c.step, c.heads())
			for i, p := range everyPicture(t, g, run) {
				checkSVG(t, p, p.SVG(), Margin)
				checkSVG(t, p, p.Inline(), 0)
				if i > 8 && i%8 > 0 || testing.Short() { // of hundreds of months some
					continue
				}
				raster, err := p.PNG()
				if err != nil {
					t.Fatal(err)
				}
				keep(t, c.name+" "+p.Name+".png", raster)
				size, err := png.DecodeConfig(bytes.NewReader(raster))
				if want := int(math.Round((p.Width + 2*Margin) * dotsPerInch / 96)); err != nil || size.Width != want {
					t.Errorf("%s: %d dots wide, want %d (%v)", p.Name, size.Width, want, err)
				}
				if page, err := p.PDF(); err != nil || !bytes.HasPrefix(page, []byte("%PDF-")) {
					t.Errorf("%s: no page: %v", p.Name, err)
				}
			}
		})
	}
}

// keep writes a raster into the folder that PICTURES names, for who wants to look at it.
func keep(t *testing.T, name string, raster []byte) {
	t.Helper()
	if dir := os.Getenv("PICTURES"); dir != "" {
		if err := os.WriteFile(filepath.Join(dir, strings.ReplaceAll(name, " ", "-")), raster, 0o644); err != nil {
			t.Error(err)
		}
	}
}

var numbers = regexp.MustCompile(`NaN|Inf|e[+-]?\d\d`)

// checkSVG holds a file to its form.
func checkSVG(t *testing.T, p *Picture, svg []byte, margin float64) {
	t.Helper()
	text := 0
	for d := xml.NewDecoder(bytes.NewReader(svg)); ; {
		token, err := d.Token()
		if err == io.EOF {
			break
		}
		if err != nil {
			t.Fatalf("%s: %v", p.Name, err)
		}
		e, is := token.(xml.StartElement)
		if !is {
			continue
		}
		at := map[string]float64{}
		for _, a := range e.Attr {
			if a.Name.Local == "d" && numbers.MatchString(a.Value) {
				t.Fatalf("%s: path %s", p.Name, a.Value)
			}
			if v, err := strconv.ParseFloat(a.Value, 64); err == nil {
				at[a.Name.Local] = v
			}
		}
		if e.Name.Local != "text" {
			continue
		}
		text++
		if at["x"] < -margin || at["x"] > p.Width+margin || at["y"] < 0 || at["y"] > p.Height+margin {
			t.Errorf("%s: text at %g, %g of %g x %g", p.Name, at["x"], at["y"], p.Width, p.Height)
		}
	}
	if bytes.Count(svg, []byte("<title>")) != 1 || bytes.Contains(svg, []byte("<title></title>")) || text == 0 {
		t.Errorf("%s has no title, or no text", p.Name)
	}
}

// TestTextsApart: no two names of one line meet: axes, keys and what stands above a plot, in the hostile sites with
// much to name.
func TestTextsApart(t *testing.T) {
	for _, c := range hostile {
		if !strings.HasPrefix(c.name, "many") && !strings.HasPrefix(c.name, "visits") && c.name != "twenty years" &&
			c.name != "gaps everywhere" && c.name != "a clock that jumps" {
			continue
		}
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			g, run := made(t, c.toml, c.start, c.step, c.heads())
			for _, p := range everyPicture(t, g, run) {
				checkApart(t, p)
			}
		})
	}
}

var texts = regexp.MustCompile(`<text x="([-.\d]+)" y="([-.\d]+)" font-size="([.\d]+)"[^>]*?( text-anchor="(\w+)")?` +
	`( font-weight="bold")?>([^<]*)<`)

func checkApart(t *testing.T, p *Picture) {
	t.Helper()
	type line struct {
		left, right, y float64
		text           string
	}
	var list []line
	for _, m := range texts.FindAllStringSubmatch(string(p.SVG()), -1) {
		x, _ := strconv.ParseFloat(m[1], 64)
		y, _ := strconv.ParseFloat(m[2], 64)
		size, _ := strconv.ParseFloat(m[3], 64)
		w := width(letters{size: size, bold: m[6] != ""}, m[7])
		x -= w * map[string]float64{"": 0, "middle": 0.5, "end": 1}[m[5]]
		if m[7] == "?" {
			continue // above its own bar
		}
		for _, o := range list {
			if math.Abs(o.y-y) < 8 && x < o.right-0.5 && o.left < x+w-0.5 {
				t.Errorf("%s: %q meets %q", p.Name, m[7], o.text)
			}
		}
		list = append(list, line{x, x + w, y, m[7]})
	}
	if len(list) < 3 {
		t.Errorf("%s: only %d texts", p.Name, len(list))
	}
}

// TestSameBytes: a picture of one run is the same every time, and from every pass.
func TestSameBytes(t *testing.T) {
	heads := waves(40, time.Hour)
	var first [][]byte
	for pass := range 2 {
		g, run := made(t, "", june, time.Hour, heads)
		for i, p := range everyPicture(t, g, run) {
			raster, err := p.PNG()
			page, bad := p.PDF()
			if err != nil || bad != nil {
				t.Fatal(err, bad)
			}
			all := bytes.Join([][]byte{raster, page, p.SVG(), p.Inline()}, nil)
			if pass == 0 {
				first = append(first, all)
			} else if !bytes.Equal(first[i], all) {
				t.Errorf("%s has changed", p.Name)
			}
		}
	}
}

// TestSizes: a picture keeps to the size that is asked for, and draws less where there is hardly any room.
func TestSizes(t *testing.T) {
	g, run := made(t, "[report.limits]\ndaily_volume = \"1000 m3\"\n", june, time.Hour, waves(60, time.Hour))
	for _, size := range [][2]float64{{135, 135}, {358, 150}, {760, 200}, {3000, 2000}} {
		for _, name := range Names() {
			pages, err := g.Pages(run, name, Options{Width: size[0], Height: size[1]})
			if err != nil {
				continue // without visits
			}
			p := pages[0]
			if name != "months" && p.Height != size[1] || p.Width != size[0] || p.Height > size[1] {
				t.Errorf("%s is %g x %g, want %v", name, p.Width, p.Height, size)
			}
			p.SVG()
		}
	}
}

// TestVariables: in a page every colour goes by its name, with its value on white paper behind it; a file has none.
func TestVariables(t *testing.T) {
	_, run := made(t, "", june, time.Hour, waves(10, time.Hour))
	p := Totals(run, Options{})
	if inline := string(p.Inline()); !strings.Contains(inline, `style="fill:var(--after,#1D4F7C)"`) ||
		strings.Contains(inline, `fill="#`) || strings.Contains(inline, `stroke="#`) {
		t.Error("a colour of the page has no name")
	}
	if strings.Contains(string(p.SVG()), "var(") {
		t.Error("a file depends on a page")
	}
}
