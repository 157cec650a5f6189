package audit_test

import (
	"context"
	"flag"
	"fmt"
	"os"
	"path/filepath"
	"testing"

	"retotal/ingest"
	"retotal/ingest/problem"
	"retotal/ingest/site"
	"retotal/recompute"
	"retotal/recompute/audit"
	"retotal/testdata/effort"
	"retotal/testdata/mistakes"
)

var (
	seed  = flag.Uint64("seed", 1, "seed of the sites of BenchmarkPlots")
	cases = flag.Int("cases", 240, "sites a topic of BenchmarkPlots")
	noisy = flag.Int("noise", int(mistakes.Clean), "their noise: 0 none, 3 coarse figures, 4 a reading an hour")
)

// heard audits the files of a plot.
func heard(dir string, p *mistakes.Plot) (list []mistakes.Said, err error) {
	for name, text := range map[string]string{"site.toml": p.Site, "log.csv": p.Log} {
		if err := os.WriteFile(filepath.Join(dir, name), []byte(text), 0o644); err != nil {
			return nil, err
		}
	}
	s, err := site.Load(filepath.Join(dir, "site.toml"))
	if err != nil {
		return nil, err
	}
	s.Log.WantAir()
	log, err := ingest.Open(s)
	if err != nil {
		return nil, err
	}
	r, err := recompute.Run(context.Background(), log, s, recompute.Options{Pairs: 1 << 17, Hours: true})
	if err != nil {
		return nil, err
	}
	for _, c := range audit.Causes(audit.Findings(r, nil)) {
		list = append(list, mistakes.Said{
			Topic: c.Topic, Name: c.Name, Value: c.Value, Low: c.Low, High: c.High, Since: c.Since, AsWell: c.AsWell,
			Cannot: c.Cannot,
		})
	}
	return list, nil
}

// plots audits so many of each topic.
func plots(t testing.TB, seed uint64, n int, noise mistakes.Noise) mistakes.Plots {
	out := make(mistakes.Plots, n*len(mistakes.Cards))
	dir := t.TempDir()
	problem.Beside(len(out), func(i int) {
		own := filepath.Join(dir, fmt.Sprint(i))
		if err := os.Mkdir(own, 0o755); err != nil {
			t.Error(err)
			return
		}
		p := mistakes.MakePlot(seed, mistakes.Cards[i/n].Topic, i%n, noise)
		said, err := heard(own, p)
		if err != nil {
			t.Errorf("%v: %v", p, err)
		}
		out[i] = mistakes.JudgePlot(p, said)
		p.Log, p.Site = "", ""
		os.RemoveAll(own)
	})
	return out
}

// BenchmarkPlots prints the table of so many sites a topic.
func BenchmarkPlots(b *testing.B) {
	for range b.N {
		fmt.Printf("\n%v", plots(b, *seed, *cases, mistakes.Noise(*noisy)))
	}
}

// TestPlots holds what is said of sites with one known mistake, and of right ones, to what is asked of it. With few
// cases one that goes wrong is worth much: of a share so many may be missed that chance would miss in one run of a
// thousand.
func TestPlots(t *testing.T) {
	if testing.Short() {
		t.Skip("audits many sites")
	}
	list := plots(t, 1, effort.Rounds(24, 240), mistakes.Clean)
	for _, asked := range []struct {
		topic, card string
		share       float64
	}{
		{"counter", "", 0.98}, {"reported", "", 0.98}, {"clock", "", 0.98}, {"level", "", 0.79},
		{"level", "stuck", 0.92}, {"level", "sound", 0.92}, {"level", "step", 0.67}, {"level", "ponding", 0.5},
		{"right", "", 0.98},
	} {
		right, _, of, _ := list.Of(asked.topic, asked.card)
		if chance := mistakes.AtMost(right, of, asked.share); of == 0 || chance < 0.001 {
			t.Errorf("%s %s: %d of %d are right, %.0f %% are asked", asked.topic, asked.card, right, of,
				100*asked.share)
		}
	}
	if t.Failed() {
		t.Logf("\n%v", list)
	}
}
