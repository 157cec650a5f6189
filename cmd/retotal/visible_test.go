package main

import (
	"bytes"
	"context"
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"testing"

	"retotal/ingest/problem"
)

// TestVisible: what steers is shown, in whatever pieces it is written, and all else passes.
func TestVisible(t *testing.T) {
	const text = "Höhe µ\t1 m³\n\x1b[2Jred\r\u202egnp.exe\u0085\xff\x00 日本"
	const want = "Höhe µ\t1 m³\n\\u001b[2Jred\\u000d\\u202egnp.exe\\u0085\\xff\\u0000 日本"
	for size := 1; size <= len(text); size++ {
		var out bytes.Buffer
		v := &visible{Writer: &out}
		for low := 0; low < len(text); low += size {
			part := text[low:min(low+size, len(text))]
			if n, err := v.Write([]byte(part)); n != len(part) || err != nil {
				t.Fatal(n, err)
			}
		}
		if out.String() != want {
			t.Errorf("in pieces of %d: %q", size, out.String())
		}
	}
}

// TestNothingSteers: a header, a site's name and a file's name with escape and direction characters come out shown,
// from every command that prints them.
func TestNothingSteers(t *testing.T) {
	dir := t.TempDir()
	write := func(name, text string) string {
		file := filepath.Join(dir, name)
		if err := os.WriteFile(file, []byte(text), 0o644); err != nil {
			t.Skip(err)
		}
		return file
	}
	log := write("a\x1b[2J.csv",
		"Time,Le\u202evel (m)\n2031-03-01 00:00,0.1\n2031-03-01 00:01,0.1\nwet\x1b]0;x\x07,0.1\n")
	site := write("s.toml", "id = \"s\"\nname = \"S\\u001b[31m\"\n[log]\nfiles = [\"*.csv\"]\ntime_zone = \"+00:00\"\n"+
		"[log.columns]\ntime = \"Time\"\nlevel = { name = \"Le\\u202Evel\", unit = \"m\" }\n[settings.device]\n"+
		"kind = \"v-notch\"\nangle = \"90 deg\"\n")
	for _, args := range [][]string{
		{"draft", log}, {"check", site}, {"correct", "--out", filepath.Join(dir, "out"), site},
		{"correct", "--json", "--out", filepath.Join(dir, "out"), site}, {"check", log},
		{"check", dir + "/none\x1b[2J.toml"},
	} {
		var out, errs bytes.Buffer
		run(context.Background(), args, &out, &errs)
		if all := out.String() + errs.String(); strings.ContainsAny(all, "\x1b\x07\u202e") || len(all) < 40 {
			t.Errorf("%q: %q", args, all)
		}
	}
}

// full is a disk without room.
type full struct{}

func (full) Write([]byte) (int, error) { return 0, syscall.ENOSPC }

// TestOutputThatCannotBeWritten: every command that prints says so, with status 1.
func TestOutputThatCannotBeWritten(t *testing.T) {
	day := filepath.Join("..", "..", "testdata", "quarry-lane", "one-day.toml")
	for _, args := range [][]string{
		{"devices"}, {"help", "logs"}, {"check", day}, {"rate", day, "--head", "0.1 m"}, {"--version"},
		{"correct", "--out", t.TempDir(), day}, {"correct", "--json", "--out", t.TempDir(), day},
	} {
		var errs bytes.Buffer
		code := run(context.Background(), args, full{}, &errs)
		if code != failed || !strings.Contains(errs.String(), "no space left on device") {
			t.Errorf("%q: exit status %d, %s", args, code, errs.String())
		}
	}
}

// TestFaultOfOneSite: a fault of the program is one line that says what to send, with status 1.
func TestFaultOfOneSite(t *testing.T) {
	var errs bytes.Buffer
	fault := problem.Guard("mill.toml", func() error { panic("index out of range") })
	if code := exitCode(fault, &errs); code != failed || strings.Count(errs.String(), "\n") != 1 ||
		!strings.Contains(errs.String(), "mill.toml: this is a fault of the program, not of the input: index out") {
		t.Errorf("%d, %s", code, errs.String())
	}
}
