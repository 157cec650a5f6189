package main

import (
	"bytes"
	"encoding/json"
	"errors"
	"io"
	"io/fs"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
)

// house is the import table: what every package may import beyond the standard library. Data flows one way; a package
// without a line, or an import without its word here, fails.
var house = map[string][]string{
	"retotal/cmd/retotal": {
		"retotal/ingest", "retotal/ingest/csvlog", "retotal/ingest/problem", "retotal/ingest/quantity",
		"retotal/ingest/reading", "retotal/ingest/roster", "retotal/ingest/site", "retotal/ingest/mirror",
		"retotal/recompute", "retotal/recompute/audit", "retotal/recompute/device", "retotal/recompute/fingerprint",
		"retotal/recompute/settings", "retotal/report", "retotal/report/lake", "retotal/report/picture",
		"retotal/report/results", "retotal/testdata/quarry-lane",
		"github.com/spf13/cobra", "github.com/spf13/pflag", "github.com/vbauerster/mpb/v8",
		"github.com/vbauerster/mpb/v8/decor", "golang.org/x/term",
	},
	"retotal/ingest": {
		"retotal/ingest/csvlog", "retotal/ingest/parquetlog", "retotal/ingest/problem", "retotal/ingest/quantity",
		"retotal/ingest/reading", "retotal/ingest/site",
	},
	"retotal/ingest/csvlog": {
		"retotal/ingest/problem", "retotal/ingest/quantity", "retotal/ingest/reading", "retotal/ingest/site",
		"github.com/klauspost/compress/gzip", "github.com/klauspost/compress/zstd",
		"golang.org/x/text/encoding/unicode", "golang.org/x/text/transform",
	},
	"retotal/ingest/parquetlog": {
		"retotal/ingest/problem", "retotal/ingest/quantity", "retotal/ingest/reading", "retotal/ingest/site",
		"github.com/apache/arrow/go/v15/arrow/memory", "github.com/apache/arrow/go/v15/parquet",
		"github.com/apache/arrow/go/v15/parquet/compress", "github.com/apache/arrow/go/v15/parquet/file",
		"github.com/apache/arrow/go/v15/parquet/metadata", "github.com/apache/arrow/go/v15/parquet/schema",
		// pages.go, footer.go
		"github.com/apache/thrift/lib/go/thrift", "github.com/klauspost/compress/gzip",
		"github.com/klauspost/compress/zstd", "github.com/pierrec/lz4/v4", "github.com/xitongsys/parquet-go/parquet",
	},
	"retotal/ingest/problem":  {},
	"retotal/ingest/quantity": {},
	"retotal/ingest/reading":  {"retotal/ingest/quantity"},
	"retotal/ingest/roster": {"retotal/ingest/problem", "retotal/ingest/quantity", "retotal/ingest/site",
		"github.com/pelletier/go-toml/v2"},
	"retotal/ingest/mirror": {"retotal/ingest/problem", "retotal/ingest/site", "github.com/pelletier/go-toml/v2"},
	"retotal/report/lake": {
		"retotal/ingest/problem", "retotal/recompute", "retotal/recompute/audit", "retotal/recompute/total",
		"retotal/report", "github.com/parquet-go/parquet-go",
	},
	"retotal/ingest/site": {"retotal/ingest/problem", "retotal/ingest/quantity", "retotal/ingest/reading",
		"github.com/pelletier/go-toml/v2", "github.com/pelletier/go-toml/v2/unstable"},
	"retotal/qa":         {"retotal/ingest/quantity", "retotal/recompute/stat"},
	"retotal/qa/moves":   {},
	"retotal/qa/odd":     {},
	"retotal/qa/profile": {},
	"retotal/qa/witness": {},
	"retotal/recompute": {
		"retotal/ingest/problem", "retotal/ingest/quantity", "retotal/ingest/reading", "retotal/ingest/site",
		"retotal/qa", "retotal/qa/moves", "retotal/qa/odd", "retotal/qa/profile", "retotal/qa/witness",
		"retotal/recompute/block", "retotal/recompute/effect", "retotal/recompute/evidence",
		"retotal/recompute/fill", "retotal/recompute/settings", "retotal/recompute/stage",
		"retotal/recompute/stat", "retotal/recompute/total", "retotal/recompute/uncertainty",
	},
	"retotal/recompute/audit": {
		"retotal/ingest/quantity", "retotal/ingest/reading", "retotal/ingest/site", "retotal/qa", "retotal/qa/odd",
		"retotal/recompute", "retotal/recompute/audit/cause", "retotal/recompute/audit/cause/alone",
		"retotal/recompute/audit/cause/figures",
		"retotal/recompute/evidence", "retotal/recompute/explain", "retotal/recompute/settings",
		"retotal/recompute/stat", "retotal/recompute/total", "retotal/recompute/uncertainty",
	},
	"retotal/recompute/audit/cause":         {"retotal/ingest/quantity"},
	"retotal/recompute/audit/cause/alone":   {"retotal/recompute/audit/cause", "retotal/recompute/stat"},
	"retotal/recompute/audit/cause/figures": {"retotal/recompute/audit/cause", "retotal/recompute/stat"},
	"retotal/recompute/block": {
		"retotal/ingest/reading", "retotal/ingest/site", "retotal/qa", "retotal/recompute/settings",
		"retotal/recompute/total",
	},
	"retotal/recompute/effect": {
		"retotal/ingest/reading", "retotal/ingest/site", "retotal/qa", "retotal/recompute/block",
		"retotal/recompute/settings", "retotal/recompute/stage", "retotal/recompute/total",
	},
	"retotal/recompute/evidence": {
		"retotal/ingest/problem", "retotal/ingest/quantity", "retotal/ingest/reading", "retotal/ingest/site",
		"retotal/qa", "retotal/qa/moves", "retotal/qa/odd",
		"retotal/recompute/block", "retotal/recompute/explain", "retotal/recompute/settings",
		"retotal/recompute/stat", "retotal/recompute/total",
	},
	"retotal/recompute/explain": {
		"retotal/ingest/quantity", "retotal/recompute/device", "retotal/recompute/explain/published",
		"retotal/recompute/explain/sample",
		"retotal/recompute/stat",
	},
	"retotal/recompute/explain/published": {"retotal/ingest/quantity", "retotal/recompute/device"},
	"retotal/recompute/explain/sample":    {"retotal/recompute/stat"},
	"retotal/recompute/fingerprint": {
		"retotal/ingest/quantity", "retotal/recompute/device", "retotal/recompute/explain/published",
		"retotal/recompute/explain/sample", "retotal/recompute/stat",
	},
	"retotal/recompute/fill": {"retotal/ingest/site", "retotal/recompute/block", "retotal/recompute/stat"},
	"retotal/recompute/stage": {
		"retotal/ingest/reading", "retotal/ingest/site", "retotal/qa", "retotal/recompute/block",
		"retotal/recompute/device", "retotal/recompute/fill", "retotal/recompute/settings", "retotal/recompute/total",
		"retotal/recompute/uncertainty",
	},
	"retotal/recompute/uncertainty": {
		"retotal/ingest/problem", "retotal/ingest/quantity", "retotal/ingest/site", "retotal/qa",
		"retotal/recompute/block", "retotal/recompute/device", "retotal/recompute/settings", "retotal/recompute/stat",
		"retotal/recompute/total",
	},
	"retotal/recompute/device": {"retotal/ingest/quantity"},
	"retotal/recompute/settings": {
		"retotal/ingest/problem", "retotal/ingest/quantity", "retotal/ingest/reading", "retotal/ingest/site",
		"retotal/qa", "retotal/recompute/device", "retotal/recompute/settings/chain", "retotal/recompute/stat",
		"retotal/recompute/total",
	},
	"retotal/recompute/settings/chain": {
		"retotal/ingest/reading", "retotal/ingest/site", "retotal/recompute/device", "retotal/recompute/stat",
	},
	"retotal/recompute/stat":  {},
	"retotal/recompute/total": {},
	"retotal/report": {
		"retotal/ingest", "retotal/ingest/problem", "retotal/ingest/quantity", "retotal/ingest/reading",
		"retotal/ingest/site", "retotal/qa",
		"retotal/recompute", "retotal/recompute/audit", "retotal/recompute/device", "retotal/recompute/effect",
		"retotal/recompute/evidence", "retotal/recompute/explain", "retotal/recompute/fingerprint",
		"retotal/recompute/settings", "retotal/recompute/total", "retotal/recompute/uncertainty",
		"github.com/klauspost/compress/zstd", "github.com/parquet-go/parquet-go",
		"github.com/parquet-go/parquet-go/compress",
		"github.com/parquet-go/parquet-go/format",
		"golang.org/x/sys/unix", // folder_linux.go
	},
	"retotal/report/explore": {
		"retotal/ingest", "retotal/ingest/quantity", "retotal/ingest/reading", "retotal/ingest/site", "retotal/qa",
		"retotal/recompute", "retotal/recompute/effect", "retotal/recompute/total", "retotal/report",
		"github.com/klauspost/compress/zlib",
	},
	"retotal/report/page": {"retotal/report", "retotal/report/explore", "retotal/report/picture"},
	"retotal/report/paper": {
		"retotal/report", "codeberg.org/go-fonts/liberation/liberationmonoregular",
		"codeberg.org/go-fonts/liberation/liberationsansbold", "codeberg.org/go-fonts/liberation/liberationsansregular",
		"codeberg.org/go-fonts/liberation/liberationserifbold",
		"codeberg.org/go-fonts/liberation/liberationserifregular", "codeberg.org/go-pdf/fpdf",
		"golang.org/x/image/font", "golang.org/x/image/font/sfnt", "gonum.org/v1/plot/font", "gonum.org/v1/plot/vg",
	},
	"retotal/report/picture": {
		"retotal/ingest/problem", "retotal/ingest/quantity", "retotal/ingest/reading", "retotal/ingest/site",
		"retotal/qa", "retotal/recompute", "retotal/recompute/audit", "retotal/recompute/device",
		"retotal/recompute/settings", "retotal/recompute/total", "retotal/recompute/uncertainty", "retotal/report",
		"codeberg.org/go-fonts/liberation/liberationsansbold", "codeberg.org/go-fonts/liberation/liberationsansregular",
		"codeberg.org/go-pdf/fpdf", "git.sr.ht/~sbinet/gg", "golang.org/x/image/font", "gonum.org/v1/plot/font",
		"gonum.org/v1/plot/font/liberation", "gonum.org/v1/plot/vg", "gonum.org/v1/plot/vg/vgimg",
	},
	"retotal/report/waterml": {"retotal/recompute", "retotal/recompute/total", "retotal/report"},
	"retotal/report/workbook": {
		"retotal/ingest/site", "retotal/qa", "retotal/recompute", "retotal/recompute/total", "retotal/report",
		"github.com/xuri/excelize/v2",
	},
	"retotal/report/results": {
		"retotal/ingest", "retotal/ingest/problem", "retotal/ingest/site", "retotal/recompute", "retotal/report",
		"retotal/report/explore",
		"retotal/report/page",
		"retotal/report/paper", "retotal/report/picture", "retotal/report/waterml",
		"retotal/report/workbook",
	},
	"retotal/testdata/quarry-lane": {},
}

// TestImports compares the table with what the packages import.
func TestImports(t *testing.T) {
	command := exec.Command("go", "list", "-json=ImportPath,Imports", "./...", "./testdata/quarry-lane")
	command.Dir = filepath.Join("..", "..")
	out, err := command.Output()
	if err != nil {
		t.Fatal(err)
	}
	for d := json.NewDecoder(bytes.NewReader(out)); ; {
		var p struct {
			ImportPath string
			Imports    []string
		}
		if err := d.Decode(&p); errors.Is(err, io.EOF) {
			break
		} else if err != nil {
			t.Fatal(err)
		}
		allowed, ok := house[p.ImportPath]
		if !ok {
			t.Errorf("%s has no line in the table: what is its one sentence?", p.ImportPath)
		}
		for _, name := range p.Imports {
			first, _, _ := strings.Cut(name, "/")
			outside := strings.Contains(first, ".") || first == "retotal"
			if outside && !slices.Contains(allowed, name) {
				t.Errorf("%s imports %s, which the table does not allow", p.ImportPath, name)
			}
		}
	}
}

// TestNoExponents: people read plain digits (quantity.Digits), never 2.7e+02: no format of the program, tests and tools
// aside, writes a number with %g or %e.
func TestNoExponents(t *testing.T) {
	verb := regexp.MustCompile(`%[-+ 0]*(\d+|\*)?(\.\d+)?[geGE]\b`)
	looked := 0
	err := filepath.WalkDir(filepath.Join("..", ".."), func(path string, entry fs.DirEntry, err error) error {
		if err == nil && entry.IsDir() && entry.Name() != ".." && strings.HasPrefix(entry.Name(), ".") {
			return fs.SkipDir
		}
		if err != nil || !strings.HasSuffix(path, ".go") || strings.HasSuffix(path, "_test.go") {
			return err
		}
		text, err := os.ReadFile(path)
		looked++
		for i, line := range strings.Split(string(text), "\n") {
			code, _, _ := strings.Cut(line, "//")
			if found := verb.FindString(code); found != "" && strings.ContainsAny(code, "\"`") {
				t.Errorf("%s:%d: %s writes exponents", path, i+1, found)
			}
		}
		return err
	})
	if err != nil || looked < 100 {
		t.Errorf("%d files: %v", looked, err)
	}
}

// TestWithoutArrow: arithmetic and screening link neither Parquet nor what it is built on, in any depth.
func TestWithoutArrow(t *testing.T) {
	command := exec.Command("go", "list", "-deps", "./qa/...", "./recompute/...")
	command.Dir = filepath.Join("..", "..")
	out, err := command.Output()
	if err != nil || len(out) == 0 {
		t.Fatal(err)
	}
	for _, name := range strings.Fields(string(out)) {
		if strings.Contains(name, "arrow") || strings.Contains(name, "parquet") || strings.Contains(name, "thrift") {
			t.Errorf("arithmetic links %s", name)
		}
	}
}

// TestKeys: the keys of what programs read stand in report, and nowhere else.
func TestKeys(t *testing.T) {
	root, seen := filepath.Join("..", ".."), 0
	err := filepath.WalkDir(root, func(path string, entry fs.DirEntry, err error) error {
		if err != nil || !strings.HasSuffix(path, ".go") || strings.HasSuffix(path, "_test.go") {
			return err
		}
		text, err := os.ReadFile(path)
		tags := strings.Count(string(text), "`json:")
		if inside := strings.HasPrefix(path, filepath.Join(root, "report")); tags > 0 && !inside {
			t.Errorf("%s has %d JSON keys", path, tags)
		}
		seen += tags
		return err
	})
	if err != nil || seen < 100 {
		t.Errorf("%d keys were found, %v", seen, err)
	}
}

// fields splits a command line at blanks outside double quotes.
func fields(line string) (out []string) {
	for i, part := range strings.Split(line, `"`) {
		if i%2 == 1 {
			out = append(out, part)
			continue
		}
		out = append(out, strings.Fields(part)...)
	}
	return out
}
