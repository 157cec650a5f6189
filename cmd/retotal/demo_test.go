package main

import (
	"bytes"
	"compress/gzip"
	"context"
	"io"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	quarrylane "retotal/testdata/quarry-lane"
)

// unpacked returns text, decompressed where it is gzip.
func unpacked(t *testing.T, content []byte) string {
	t.Helper()
	if !bytes.HasPrefix(content, []byte{0x1f, 0x8b}) {
		return string(content)
	}
	r, err := gzip.NewReader(bytes.NewReader(content))
	if err != nil {
		t.Fatal(err)
	}
	text, err := io.ReadAll(r)
	if err != nil {
		t.Fatal(err)
	}
	return string(text)
}

// TestDemoAgainstTruth holds the corrected totals of the demo to the generator's true flow, month by month, within
// 0.2 %; and the recorded lane to the logged flow, within its rounding, on every reading.
func TestDemoAgainstTruth(t *testing.T) {
	j, err := prepare(filepath.Join("..", "..", "testdata", "quarry-lane", "site.toml"))
	if err != nil {
		t.Fatal(err)
	}
	run, err := j.compute(context.Background(), nil)
	if err != nil {
		t.Fatal(err)
	}
	if len(run.Result.Months) != 3 {
		t.Fatalf("%d months", len(run.Result.Months))
	}
	for i := range run.Result.Months {
		m := &run.Result.Months[i]
		truth := quarrylane.TrueVolume(time.Unix(0, m.From).UTC(), time.Unix(0, m.Until).UTC())
		if off := m.After.M3()/truth - 1; math.Abs(off) > 0.002 {
			t.Errorf("%s: corrected %.1f m3, truth %.1f m3 (%+.3f %%)", m.Label, m.After.M3(), truth, 100*off)
		}
	}
	if m := run.Result.Months[0]; math.Abs(m.Before.M3()/m.After.M3()-1) < 0.2 {
		t.Errorf("the error of March is not there to be corrected: before %.1f, after %.1f m3",
			m.Before.M3(), m.After.M3())
	}
	w := run.Result.FlowCheck.Recorded
	if w.Readings != run.Log.Account.Used || w.Within != w.Readings || w.Largest > 0.005e-3*(1+1e-9) {
		t.Errorf("recorded lane against logged flow: %+v", w)
	}
	for _, f := range run.Result.Flags {
		// The hour in which the sensor repeats a value hides less than its noise: standing water, and nothing lost.
		want := map[string]bool{
			"spike": true, "odd_peak": true, "below_zero": true, "validity": true, "gap": true,
		}[f.Check]
		if (f.Rows > 0) != want {
			t.Errorf("check %s flagged %d readings", f.Check, f.Rows)
		}
	}
}

// BenchmarkCorrectDemo is the whole of correct on the demo, all outputs.
func BenchmarkCorrectDemo(b *testing.B) {
	out := b.TempDir()
	for b.Loop() {
		var text bytes.Buffer
		if code := run(context.Background(),
			[]string{"correct", "--out", out, filepath.Join("..", "..", "testdata", "quarry-lane", "site.toml")},
			&text, &text); code != 0 {
			b.Fatalf("exit status %d: %s", code, text.String())
		}
	}
}

// TestDemoOfOneMonth: the demo's site file, asked for May alone, reports May as the whole run does (within 0.1 m3, as
// the month has no reading before it to begin from) and says nothing of the correction of March.
func TestDemoOfOneMonth(t *testing.T) {
	dir := t.TempDir()
	if err := quarrylane.Write(dir); err != nil {
		t.Fatal(err)
	}
	file := filepath.Join(dir, "site.toml")
	after := func() (float64, []string) {
		j, err := prepare(file)
		if err != nil {
			t.Fatal(err)
		}
		run, err := j.compute(context.Background(), nil)
		if err != nil {
			t.Fatal(err)
		}
		var said []string
		for _, f := range run.Findings {
			said = append(said, f.Topic)
		}
		for _, p := range run.Warnings {
			said = append(said, p.Error())
		}
		months := run.Result.Months
		return months[len(months)-1].After.M3(), said
	}
	whole, said := after()
	if !slices.ContainsFunc(said, func(s string) bool { return strings.HasPrefix(s, "The first correction") }) {
		t.Errorf("the whole log says nothing of the correction: %q", said)
	}
	text, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	may := strings.Replace(string(text), "\n[report]\n",
		"\n[report]\nfrom = 2031-05-01T00:00:00\nuntil = 2031-06-01T00:00:00\n", 1)
	if err := os.WriteFile(file, []byte(may), 0o644); err != nil {
		t.Fatal(err)
	}
	alone, said := after()
	if math.Abs(alone-whole) > 0.1 {
		t.Errorf("May alone is %.3f m3, in the whole log %.3f", alone, whole)
	}
	if slices.ContainsFunc(said, func(s string) bool { return strings.Contains(s, "correction") }) {
		t.Errorf("May alone says %q", said)
	}
}
