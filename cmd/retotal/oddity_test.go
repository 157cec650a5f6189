package main

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"golang.org/x/text/encoding/charmap"
	"golang.org/x/text/encoding/unicode"
	"golang.org/x/tools/txtar"

	"retotal/ingest"
	"retotal/ingest/reading"
	"retotal/ingest/site"
	"retotal/report"
)

// TestOddities reads one small log for every way in which logs are odd and compares the import certificate, or the
// refusal, with the one that stands in the archive. Archives say on top what is odd and where that was seen; -update
// writes the certificates anew.
func TestOddities(t *testing.T) {
	names, err := filepath.Glob(filepath.Join("..", "..", "testdata", "log", "oddity", "*.txtar"))
	if err != nil || len(names) < 60 {
		t.Fatal(len(names), err)
	}
	for _, name := range names {
		name, err := filepath.Abs(name)
		if err != nil {
			t.Fatal(err)
		}
		t.Run(strings.TrimSuffix(filepath.Base(name), ".txtar"), func(t *testing.T) { oddity(t, name) })
	}
}

func oddity(t *testing.T, name string) {
	archive, err := txtar.ParseFile(name)
	if err != nil {
		t.Fatal(err)
	}
	t.Chdir(t.TempDir())
	var want *txtar.File
	for i, f := range archive.Files {
		if f.Name == "certificate" {
			want = &archive.Files[i]
			continue
		}
		if err := os.MkdirAll(filepath.Dir(f.Name), 0o755); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(f.Name, encoded(t, string(archive.Comment), f), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	got := understood(t)
	if *update {
		want.Data = []byte(got)
		if err := os.WriteFile(name, txtar.Format(archive), 0o644); err != nil {
			t.Fatal(err)
		}
		return
	}
	if got != string(want.Data) {
		t.Errorf("the certificate is now\n%s\nand was\n%s", got, want.Data)
	}
}

// encoded applies the archive's lines "encode FILE HOW" to a file.
func encoded(t *testing.T, comment string, f txtar.File) []byte {
	data := f.Data
	for line := range strings.Lines(comment) {
		words := strings.Fields(line)
		if len(words) != 3 || words[0] != "encode" || words[1] != f.Name {
			continue
		}
		var err error
		switch words[2] {
		case "utf-16le": // the text brings its own mark
			data, err = unicode.UTF16(unicode.LittleEndian, unicode.IgnoreBOM).NewEncoder().Bytes(data)
		case "utf-16be":
			data, err = unicode.UTF16(unicode.BigEndian, unicode.IgnoreBOM).NewEncoder().Bytes(data)
		case "windows-1252":
			data, err = charmap.Windows1252.NewEncoder().Bytes(data)
		case "crlf":
			data = bytes.ReplaceAll(data, []byte("\n"), []byte("\r\n"))
		case "cr":
			data = bytes.ReplaceAll(data, []byte("\n"), []byte("\r"))
		case "cut":
			data = bytes.TrimSuffix(data, []byte("\n"))
		default:
			t.Fatalf("unknown encoding %q", words[2])
		}
		if err != nil {
			t.Fatal(err)
		}
	}
	return data
}

// understood returns the certificate of site.toml in this folder, or why there is none.
func understood(t *testing.T) string {
	text, err := os.ReadFile("site.toml")
	if err != nil {
		t.Fatal(err)
	}
	text = []byte("id = \"odd\"\n" + string(text) + "[settings.device]\nkind = \"v-notch\"\nangle = \"90 deg\"\n")
	s, err := site.Parse("site.toml", text)
	if err != nil {
		t.Fatal(err)
	}
	l, err := ingest.Open(s)
	if err != nil {
		return fmt.Sprintf("refused: %v\n", err)
	}
	l.Hashed = true
	if err := readThrough(l); err != nil {
		return fmt.Sprintf("refused: %v\n", err)
	}
	var b strings.Builder
	report.WriteCertificate(&b, l)
	return b.String()
}

// readThrough reads a log to its end, again where it must be, and returns what is wrong with it.
func readThrough(l *ingest.Log) error {
	for {
		var err error
		for _, err = range l.Batches(context.Background()) { // an error is the last thing that comes
		}
		if !errors.Is(err, reading.ErrAgain) {
			return err
		}
	}
}
