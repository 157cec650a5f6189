package main

import (
	"bytes"
	"compress/gzip"
	"context"
	"io"
	"math"
	"path/filepath"
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
		want := map[string]bool{
			"spike": true, "stuck": true, "below_zero": true, "validity": true, "gap": true,
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
