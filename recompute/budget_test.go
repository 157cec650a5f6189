package recompute_test

import (
	"context"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"retotal/ingest"
	"retotal/ingest/site"
	"retotal/recompute"
	"retotal/testdata/effort"
)

// withBudget runs a site with its uncertainty budget.
func withBudget(t testing.TB, file string) *recompute.Result { return withBudgetTo(t, file, nil) }

func withBudgetTo(t testing.TB, file string, sink func(*recompute.Rows) error) *recompute.Result {
	t.Helper()
	rows := func() (func(*recompute.Rows) error, error) { return sink, nil }
	return runWith(t, file, recompute.Options{Budget: true, Rows: rows})
}

// runWith runs a site with options.
func runWith(t testing.TB, file string, o recompute.Options) *recompute.Result {
	t.Helper()
	s, err := site.Load(file)
	if err != nil {
		t.Fatal(err)
	}
	l, err := ingest.Open(s)
	if err != nil {
		t.Fatal(err)
	}
	r, err := recompute.Run(context.Background(), l, l.Site, o)
	if err != nil {
		t.Fatal(err)
	}
	return r
}

// part returns what a source adds to a budget, as a share of a total.
func part(p *recompute.Period, name string) float64 {
	for _, x := range p.Budget.Parts {
		if x.Component.Name == name {
			return math.Abs(x.Effect) / p.After.M3()
		}
	}
	return math.NaN()
}

// writeMonth writes the invented month as a log of levels, with a site file.
func writeMonth(t testing.TB, m *month, more string) string {
	t.Helper()
	dir := t.TempDir()
	var b strings.Builder
	b.WriteString("Time,Level\n")
	at, _ := time.Parse("2006-01-02 15:04:05", begin)
	for i, h := range m.head {
		fmt.Fprintf(&b, "%s,%.17g\n", at.Add(time.Duration(i)*step15).Format("2006-01-02 15:04:05"), h)
	}
	text := "id = \"month\"\n" +
		"[log]\nfiles = [\"log.csv\"]\ntime_zone = \"+00:00\"\n" +
		"[log.columns]\ntime = \"Time\"\nlevel = { name = \"Level\", unit = \"m\" }\n" +
		"[screening]\nspike = \"keep\"\nstuck = \"keep\"\n" + settings("", notch90) + more
	for name, content := range map[string]string{"log.csv": b.String(), "site.toml": text} {
		if err := os.WriteFile(filepath.Join(dir, name), []byte(content), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	return filepath.Join(dir, "site.toml")
}

// TestBudgetOfMonth: SIM-39 of the reference, worked out apart from this program. One millimetre (standard) of head is
// 1.8973 % of the month's total when it is the same for all readings, and 0.03772 % when it is independent in each.
func TestBudgetOfMonth(t *testing.T) {
	m := loadMonth(t)
	stated := "[uncertainty]\ndatum = \"2 mm\"\nreading = \"2 mm\"\ncoefficient = \"3 %\"\n"
	r := withBudget(t, writeMonth(t, &m, stated))
	if got := 100 * part(&r.Total, "datum"); math.Abs(got-1.8973) > 0.002 { // moved by a tenth of a millimetre
		t.Errorf("datum: %.4f %%, want 1.8973", got)
	}
	if got := 100 * part(&r.Total, "single readings"); math.Abs(got-0.03772) > 0.00005 {
		t.Errorf("single readings: %.5f %%, want 0.03772", got)
	}
	if got := 100 * part(&r.Total, "coefficient"); math.Abs(got-1.5) > 1e-9 {
		t.Errorf("coefficient: %.4f %%, want 1.5", got)
	}
	// The parts add in squares, and the datum to be known for half of it follows from them.
	b := r.Total.Budget
	sum := 0.0
	for _, p := range b.Parts {
		sum += p.Effect * p.Effect
	}
	near(t, "combined", b.Standard, math.Sqrt(sum))
	if _, _, ok := b.Halve(); ok {
		t.Error("1.9 % of datum beside 1.5 % of coefficient cannot be halved by the datum alone")
	}
	// Days hold their own: the datum's share of a day is that of the day's heads, and the sum of its parts over days is
	// that of the month.
	days := 0.0
	for i := range r.Days {
		days += part(&r.Days[i], "datum") * r.Days[i].After.M3()
	}
	near(t, "datum over days", days, part(&r.Total, "datum")*r.Total.After.M3())
}

// TestBudgetOfGeometry: half a degree (95 %) of a notch of 90 degrees is tan(45.125°)/tan(45°) − 1 of the total for a
// standard uncertainty of a quarter of a degree, worked out by hand; coefficient and head correction depend a little on
// the angle, too.
func TestBudgetOfGeometry(t *testing.T) {
	m := loadMonth(t)
	file := writeMonth(t, &m, "")
	text, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	shen := "kind = \"v-notch\"\nangle = \"90 deg\"\nequation = \"kindsvater-shen\"\n"
	notch := strings.Replace(string(text), notch90, shen, 1) + "[uncertainty.device]\nangle = \"0.5 deg\"\n"
	if err := os.WriteFile(file, []byte(notch), 0o644); err != nil {
		t.Fatal(err)
	}
	r := withBudget(t, file)
	want := math.Tan(45.125*math.Pi/180) - 1
	if got := part(&r.Total, "device angle"); math.Abs(got/want-1) > 0.03 {
		t.Errorf("angle: %.6f, want %.6f", got, want)
	}
}

// TestSurveyOfCorrection: the uncertainty of the survey behind a correction stands for the datum of its span, and the
// usual one for the rest.
func TestSurveyOfCorrection(t *testing.T) {
	file := simple(t, minutes(0.9, 0.9, 0.9, 0.9, 0.9), `
[screening]
stuck = "keep"
[uncertainty]
datum = "4 mm"
[[correction]]
until = 2031-03-01T00:02:00
reason = "by hand"
empty_distance = "1.1 m"
uncertainty = "10 mm"
`)
	r := withBudget(t, file)
	// Q = 0.1 m²/s × h: a standard uncertainty of 5 mm at the readings of minutes 0 and 1, and of 2 mm at the other
	// three; between readings straight lines.
	for name, want := range map[string]float64{
		"survey of the first correction": 0.1 * 0.005 * 90,
		"datum":                          0.1 * 0.002 * 150,
	} {
		near(t, name, part(&r.Total, name)*r.Total.After.M3(), want)
	}
}

// TestU95OfReading: of one reading of Q = 0.1 m²/s × h, worked out by hand: 2 mm and 1.5 mm (standard) of head by
// 0.1 m²/s, and 1 % of the flow, in squares, twice.
func TestU95OfReading(t *testing.T) {
	file := simple(t, minutes(0.9, 0.8, 0.7, 0.95, 0.9), `
[screening]
stuck = "keep"
spike = "keep"
[uncertainty]
datum = "4 mm"
reading = "3 mm"
coefficient = "2 %"
`)
	rows := 0
	withBudgetTo(t, file, func(r *recompute.Rows) error {
		for i, q := range r.After {
			got, ok := r.U95(i)
			want := 2 * math.Sqrt(0.0002*0.0002+0.00015*0.00015+0.01*0.01*q*q)
			if rows++; !ok || math.Abs(got/want-1) > 1e-6 {
				t.Errorf("row %d of %.3f m3/s: %.7f, %v, want %.7f", i, q, got, ok, want)
			}
		}
		return nil
	})
	if rows != 5 {
		t.Errorf("%d rows", rows)
	}
}

// TestIntervalHoldsTruth: in 1,000 generated sites with errors drawn from the stated uncertainties, the interval of
// 95 % holds the true total in 93 to 97 %.
func TestIntervalHoldsTruth(t *testing.T) {
	skipLong(t)
	random := rand.New(rand.NewPCG(51, 52))
	var table [3][4]int // by mean head: sites, and those off by no more than one, two and three standard uncertainties

	dir := t.TempDir()
	sites := effort.Rounds(100, 1000)
	for range sites {
		base, wave := 0.08+0.1*random.Float64(), 0.02+0.03*random.Float64()
		datum, coefficient := 0.002*random.NormFloat64(), 0.01*random.NormFloat64()
		truth := make([]float64, 97)
		var log strings.Builder
		log.WriteString("Time,Level\n")
		at, _ := time.Parse("2006-01-02 15:04:05", begin)
		for i := range truth {
			h := base + wave*math.Sin(float64(i)/15)
			truth[i] = notch(h, 90) * (1 + coefficient)
			stamp := at.Add(time.Duration(i) * step15).Format("2006-01-02 15:04:05")
			fmt.Fprintf(&log, "%s,%.6f\n", stamp, h+datum+0.001*random.NormFloat64())
		}
		text := "id = \"s\"\n" +
			"[log]\nfiles = [\"log.csv\"]\ntime_zone = \"+00:00\"\n" +
			"[log.columns]\ntime = \"Time\"\nlevel = { name = \"Level\", unit = \"m\" }\n" +
			"[screening]\nspike = \"keep\"\nstuck = \"keep\"\n" + settings("", notch90) +
			"[uncertainty]\ndatum = \"4 mm\"\nreading = \"2 mm\"\ncoefficient = \"2 %\"\n"
		for name, content := range map[string]string{"log.csv": log.String(), "site.toml": text} {
			if err := os.WriteFile(filepath.Join(dir, name), []byte(content), 0o644); err != nil {
				t.Fatal(err)
			}
		}
		r := withBudget(t, filepath.Join(dir, "site.toml"))
		off := math.Abs(r.Total.After.M3()-cubicMetres(truth)) / r.Total.Budget.Standard
		row := &table[min(int((base-0.08)/0.1*3), 2)]
		row[0]++
		for k := 1; k <= 3; k++ {
			if off <= float64(k) {
				row[k]++
			}
		}
	}
	held := 0
	t.Log("mean head   sites   within u      2 u      3 u   (of a normal distribution 68.3, 95.4 and 99.7 %)")
	for i, row := range table {
		held += row[2]
		share := func(k int) float64 { return 100 * float64(row[k]) / float64(row[0]) }
		t.Logf("%3.0f-%3.0f mm  %6d  %6.1f %%  %5.1f %%  %5.1f %%",
			80+100*float64(i)/3, 80+100*float64(i+1)/3, row[0], share(1), share(2), share(3))
	}
	t.Logf("%d of %d intervals of 95 %% hold the true total", held, sites)
	slack := 2 * math.Sqrt(0.95*0.05/float64(sites)) * float64(1000-sites) / 1000 // of a share of few sites
	if share := float64(held) / float64(sites); share < 0.93-slack || share > 0.97+slack {
		t.Errorf("%d of %d intervals hold the truth", held, sites)
	}
}

// TestMonteCarlo: draws through the ratings agree with the budget within 3 % of the uncertainty, in three sites whose
// sources weigh differently, and the same seed gives the same draws.
func TestMonteCarlo(t *testing.T) {
	m := loadMonth(t)
	for _, more := range []string{
		"[uncertainty]\ndatum = \"2 mm\"\nreading = \"2 mm\"\ncoefficient = \"2 %\"\n",
		"[uncertainty]\ndatum = \"0.2 mm\"\nreading = \"20 mm\"\ncoefficient = \"0.01 %\"\n",
		"[uncertainty]\ndatum = \"1 mm\"\ncoefficient = \"4 %\"\n" +
			"[[correction]]\nuntil = 2031-03-16T00:00:00\nreason = \"x\"\nlevel_of_zero_flow = \"1 mm\"\n" +
			"uncertainty = \"4 mm\"\n",
	} {
		file := writeMonth(t, &m, more)
		r := runWith(t, file, recompute.Options{Draws: 1000})
		d := *r.Draws
		if again := runWith(t, file, recompute.Options{Draws: 1000}).Draws; d != *again {
			t.Fatalf("%+v, %+v", d, again)
		}
		if ratio := d.Standard / r.Total.Budget.Standard; math.Abs(ratio-1) > 0.03 {
			t.Errorf("%s: draws %.3f m3, budget %.3f m3", more, d.Standard, r.Total.Budget.Standard)
		}
		t.Logf("budget %.3f m3, draws %.3f m3, mean off by %+.4f %%",
			r.Total.Budget.Standard, d.Standard, 100*(d.Mean/r.Total.After.M3()-1))
	}
}

// BenchmarkMonteCarlo runs a month of one-minute readings and draws it 1,000 times.
func BenchmarkMonteCarlo(b *testing.B) {
	dir := b.TempDir()
	writeLong(b, dir, 44_640)
	file := filepath.Join(dir, "site.toml")
	if err := os.WriteFile(file, []byte(longSite), 0o644); err != nil {
		b.Fatal(err)
	}
	for b.Loop() {
		runWith(b, file, recompute.Options{Draws: 1000})
	}
}

// TestBudgetOfMeansWithGaps: hourly mean flows of 20 L/s, four hours on and five off, of which a tenth is taken off.
// Over Q = 1.4 h^2.5 the corrected 18 L/s stand at (0.018 / 1.4)^0.4 = 0.17520 m, so that 3 mm of datum are 2.5 × 3 /
// 175.20 = 4.281 % of the total, in every interval: those after gaps too. Draws through the rating agree.
func TestBudgetOfMeansWithGaps(t *testing.T) {
	dir := t.TempDir()
	var log strings.Builder
	log.WriteString("Time,Flow\n")
	at := time.Date(2031, 1, 1, 1, 0, 0, 0, time.UTC)
	for i := range 900 {
		if i%9 < 4 {
			fmt.Fprintf(&log, "%s,%.3f\n", at.Add(time.Duration(i)*time.Hour).Format("2006-01-02 15:04:05"), 20.0)
		}
	}
	text := "id = \"gaps\"\n[log]\nfiles = [\"log.csv\"]\ntime_zone = \"+00:00\"\nvalues = \"means\"\n[log.columns]\n" +
		"time = \"Time\"\nflow = { name = \"Flow\", unit = \"L/s\" }\n[settings.device]\nkind = \"power\"\n" +
		"coefficient = 1.4\nexponent = 2.5\nhead_unit = \"m\"\nflow_unit = \"m3/s\"\n[[correction]]\n" +
		"reason = \"scaled\"\nlogged_factor = 0.9\n"
	file := filepath.Join(dir, "site.toml")
	for name, content := range map[string]string{"log.csv": log.String(), "site.toml": text} {
		if err := os.WriteFile(filepath.Join(dir, name), []byte(content), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	r := runWith(t, file, recompute.Options{Budget: true, Draws: 200})
	head := math.Pow(0.018/1.4, 0.4)
	want := 2.5 * 0.003 / head
	if got := 2 * part(&r.Total, "datum"); math.Abs(got-want) > 0.002*want {
		t.Errorf("the datum is %.5f of the total, want %.5f", got, want)
	}
	d, after, standard := r.Draws, r.Total.After.M3(), r.Total.Budget.Standard
	if math.Abs(d.Mean/after-1) > 0.005 || math.Abs(d.Standard/standard-1) > 0.1 {
		t.Errorf("draws: %.0f +/- %.0f m3, the budget has %.0f +/- %.0f", d.Mean, d.Standard, after, standard)
	}
}

// TestEveryReadingHasItsUncertainty: one that counts as it was read has an uncertainty, the first after a gap too; the
// first of all stands for nothing before it, and has one as well.
func TestEveryReadingHasItsUncertainty(t *testing.T) {
	log := "Time,Distance (m)\n"
	for i := range 120 {
		if i < 50 || i > 80 {
			log += fmt.Sprintf("2031-03-01 %02d:%02d:00,%.3f\n", i/60, i%60, 0.8-0.001*float64(i%7))
		}
	}
	rows := 0
	withBudgetTo(t, simple(t, log, ""), func(r *recompute.Rows) error {
		for i := range r.Time {
			rows++
			if u95, known := r.U95(i); r.Used[i] != known || known && !(u95 > 0) {
				t.Errorf("row %d: used %v, uncertainty %v (%v)", i, r.Used[i], u95, known)
			}
		}
		return nil
	})
	if rows != 89 {
		t.Errorf("%d rows", rows)
	}
}
