package main

import (
	"context"
	"crypto/sha256"
	"errors"
	"flag"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/rogpeppe/go-internal/testscript"

	"retotal/testdata/mistakes"
	quarrylane "retotal/testdata/quarry-lane"
	"retotal/testdata/records"
)

// update renews golden text: go test ./... -update.
var update = flag.Bool("update", false, "renew golden files")

func TestMain(m *testing.M) {
	testscript.Main(m, map[string]func(){
		"retotal": func() { os.Exit(run(context.Background(), os.Args[1:], os.Stdout, os.Stderr)) },
	})
}

// TestScripts runs the command-line stories. Commands of their own make input: damage FILE KIND spoils a file, oddlog
// FILE FAULT and weirlog FILE KIND write logs, below TO FILE... joins files, and plot FOLDER TOPIC NUMBER [CAUSE]
// writes a site of package mistakes, of which somebody accepts the cause.
func TestScripts(t *testing.T) {
	t.Cleanup(func() {
		if n := recordsHeld.Load(); !t.Failed() && n == 0 {
			t.Error("no record was held to the schema")
		}
	})
	testscript.Run(t, testscript.Params{
		Dir:           filepath.Join("..", "..", "testdata", "script"),
		UpdateScripts: *update,
		Setup: func(e *testscript.Env) error {
			site := os.DirFS(filepath.Join("..", "..", "testdata", "quarry-lane"))
			logs := os.DirFS(filepath.Join("..", "..", "testdata", "log", "parquet"))
			cases := os.DirFS(filepath.Join("..", "..", "testdata", "cases"))
			e.Defer(func() { holdRecords(t, e.WorkDir) })
			return errors.Join(os.CopyFS(filepath.Join(e.WorkDir, "quarry-lane"), site),
				os.CopyFS(filepath.Join(e.WorkDir, "cases"), cases),
				os.CopyFS(filepath.Join(e.WorkDir, "parquet"), logs))
		},
		Cmds: map[string]func(*testscript.TestScript, bool, []string){
			"damage": damage, "exits": exits, "oddlog": oddlog, "supersede": supersede, "below": below,
			"weirlog": weirlog, "plot": plot,
		},
	})
}

// supersede RECORD SITE puts the hash of a record into the [record] table at the end of a site file, as a user does who
// makes a new version.
func supersede(ts *testscript.TestScript, _ bool, args []string) {
	sum := sha256.Sum256([]byte(ts.ReadFile(args[0])))
	text := ts.ReadFile(args[1]) + fmt.Sprintf("supersedes = \"%x\"\n", sum)
	ts.Check(os.WriteFile(ts.MkAbs(args[1]), []byte(text), 0o644))
}

// below TO FILE... writes files one below the other, an empty line between them.
func below(ts *testscript.TestScript, _ bool, args []string) {
	var texts []string
	for _, file := range args[1:] {
		texts = append(texts, ts.ReadFile(file))
	}
	ts.Check(os.WriteFile(ts.MkAbs(args[0]), []byte(strings.Join(texts, "\n")), 0o644))
}

// weirlog FILE KIND writes a log of which nothing is on file: 240 days of 15 min at a Parshall flume of 2 ft, in feet
// Q = 8 h^1.55 (USBR Water Measurement Manual, from memory). Kinds: plain; bare (a header without units); shifted (the
// level is that above the bed, 30 mm more than the head); capped (no more than 80 L/s, and nothing below 40); summer
// (local time of Berlin); noise (a flow that has nothing to do with the level).
func weirlog(ts *testscript.TestScript, _ bool, args []string) {
	header, kind := "Time,Level (mm),Flow (L/s)\n", args[1]
	if kind == "bare" {
		header = "Time,Level,Flow\n"
	}
	zone := time.UTC
	if kind == "summer" {
		var err error
		zone, err = time.LoadLocation("Europe/Berlin")
		ts.Check(err)
	}
	random := rand.New(rand.NewPCG(3, 15))
	var b strings.Builder
	b.WriteString(header)
	begin := time.Date(2031, time.March, 10, 0, 0, 0, 0, time.UTC)
	for i := range 240 * 96 {
		x := float64(i)
		mm := math.Round(140 + 40*math.Sin(x/53) + 30*math.Sin(x/311.7) + 60*math.Pow(math.Max(0, math.Sin(x/729)), 8))
		flow := 8 * math.Pow(mm/304.8, 1.55) * 28.316846592
		switch {
		case kind == "shifted":
			mm += 30
		case kind == "noise":
			flow = 10 + 40*random.Float64()
		case kind == "capped" && flow < 40:
			flow = 0
		case kind == "capped":
			flow = math.Min(flow, 80)
		}
		at := begin.Add(time.Duration(i) * 15 * time.Minute).In(zone)
		fmt.Fprintf(&b, "%s,%.0f,%.2f\n", at.Format("2006-01-02 15:04"), mm, flow)
	}
	ts.Check(os.WriteFile(ts.MkAbs(args[0]), []byte(b.String()), 0o644))
}

// oddlog FILE FAULT writes 60 days of a stream's levels every 5 minutes with a fault: none, flicker, fade, pond, echo
// or noise.
func oddlog(ts *testscript.TestScript, _ bool, args []string) {
	random := rand.New(rand.NewPCG(5, 14))
	r := records.Make(random, records.Stream, 5*time.Minute, 0.001, 60*24*time.Hour)
	switch args[1] {
	case "flicker":
		r.Flicker(random, 48, 20, false)
	case "fade":
		r.Fade(random, 48, true)
	case "pond":
		r.Pond(random, 15*24, 0.7)
	case "echo":
		r.TwoEchoes(random, 72, 0.2, 0.3, true)
	case "noise":
		r.Noisy(random, 120, 0.15)
	}
	var b strings.Builder
	b.WriteString("Time,Level\n")
	for i, x := range r.Level {
		fmt.Fprintf(&b, "%s,%.3f\n", time.Unix(0, r.At[i]).UTC().Format("2006-01-02 15:04"), x)
	}
	ts.Check(os.WriteFile(ts.MkAbs(args[0]), []byte(b.String()), 0o644))
}

// exits runs a command and checks its exit status: exits 2 retotal check site.toml.
func exits(ts *testscript.TestScript, _ bool, args []string) {
	want, err := strconv.Atoi(args[0])
	ts.Check(err)
	got := 0
	if err := ts.Exec(args[1], args[2:]...); err != nil {
		if _, scanError := fmt.Sscanf(err.Error(), "exit status %d", &got); scanError != nil {
			ts.Fatalf("%v", err)
		}
	}
	if got != want {
		ts.Fatalf("exit status %d, want %d", got, want)
	}
}

// damage spoils a file: cut N keeps its first N bytes, nul puts a NUL byte in its middle, long N writes one line of N
// bytes, flip N inverts byte N.
func damage(ts *testscript.TestScript, _ bool, args []string) {
	name := ts.MkAbs(args[0])
	content, err := os.ReadFile(name)
	if args[1] != "long" {
		ts.Check(err)
	}
	n := 0
	if len(args) > 2 {
		n, err = strconv.Atoi(args[2])
		ts.Check(err)
	}
	switch args[1] {
	case "cut":
		content = content[:n]
	case "nul":
		content[len(content)/2] = 0
	case "long":
		content = append(content, []byte(strings.Repeat("7", n))...)
	case "flip":
		content[n] ^= 0xff
	}
	ts.Check(os.WriteFile(name, content, 0o644))
}

// TestDemoIsGenerated holds the committed demo to its generator. With -update it is written anew.
func TestDemoIsGenerated(t *testing.T) {
	dir := filepath.Join("..", "..", "testdata", "quarry-lane")
	if *update {
		if err := quarrylane.Write(dir); err != nil {
			t.Fatal(err)
		}
	}
	files, err := quarrylane.Files()
	if err != nil {
		t.Fatal(err)
	}
	for name, want := range files {
		got, err := os.ReadFile(filepath.Join(dir, name))
		if err != nil {
			t.Error(err)
			continue
		}
		if unpacked(t, got) != unpacked(t, want) {
			t.Errorf("%s is not what the generator makes; run go test ./cmd/retotal -update", name)
		}
	}
}

// plot writes site file and log of a site with a known mistake, and who accepts a cause of it.
func plot(t *testscript.TestScript, _ bool, args []string) {
	if len(args) < 3 {
		t.Fatalf("usage: plot FOLDER TOPIC NUMBER [CAUSE]")
	}
	number, err := strconv.Atoi(args[2])
	t.Check(err)
	p := mistakes.MakePlot(21, args[1], number, mistakes.Clean)
	if len(args) > 3 {
		p.Site += fmt.Sprintf("[[audit.accepted]]\nfinding = %q\nreason = \"known\"\nby = \"AB\"\n", args[3])
	}
	t.Check(os.MkdirAll(t.MkAbs(args[0]), 0o755))
	t.Check(os.WriteFile(filepath.Join(t.MkAbs(args[0]), "site.toml"), []byte(p.Site), 0o644))
	t.Check(os.WriteFile(filepath.Join(t.MkAbs(args[0]), "log.csv"), []byte(p.Log), 0o644))
}
