package main

import (
	"bytes"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
)

// goList runs go list on the program for a system and returns the lines that it prints. tags are build tags.
func goList(t *testing.T, system, format string, tags ...string) []string {
	t.Helper()
	command := exec.Command("go", "list", "-tags", strings.Join(tags, ","), "-deps", "-f", format, "./cmd/retotal")
	command.Dir = filepath.Join("..", "..")
	command.Env = append(os.Environ(), "GOOS="+system, "CGO_ENABLED=0")
	out, err := command.Output()
	if err != nil || len(out) == 0 {
		t.Fatal(err)
	}
	return strings.Split(strings.TrimSpace(string(out)), "\n")
}

// TestNotices: retotal licenses prints a licence of every module that a build for Linux, Windows or macOS links, in the
// version that is linked, and of no other.
func TestNotices(t *testing.T) {
	if cloudNotices != "" {
		t.Skip("the build has further notices, see TestCloudNotices")
	}
	holdNotices(t)
}

// scriptVersion is what the script in the pages says of itself.
func scriptVersion(t *testing.T) string {
	t.Helper()
	text, err := os.ReadFile(filepath.Join("..", "..", "report", "explore", "uplot", "uplot.min.js"))
	if err != nil {
		t.Fatal(err)
	}
	return regexp.MustCompile(`\bv\d+(\.\d+)+`).FindString(strings.SplitN(string(text), "\n", 2)[0])
}

// holdNotices holds what retotal licenses prints to what a build with tags links, and to the script in the pages.
func holdNotices(t *testing.T, tags ...string) {
	t.Helper()
	var out, errs bytes.Buffer
	if code := run(t.Context(), []string{"licenses"}, &out, &errs); code != success || errs.Len() > 0 {
		t.Fatalf("%d: %s", code, errs.String())
	}
	var linked []string
	for _, system := range []string{"linux", "windows", "darwin"} {
		linked = append(linked, goList(t, system,
			"{{with .Module}}{{if not .Main}}{{.Path}} {{.Version}}{{end}}{{end}}", tags...)...)
	}
	linked = append(linked, "The Go standard library", "uPlot "+scriptVersion(t))
	slices.Sort(linked)
	linked = slices.DeleteFunc(slices.Compact(linked), func(name string) bool { return name == "" })
	parts := strings.Split(out.String(), "\n"+strings.Repeat("=", 80)+"\n")
	words := regexp.MustCompile(`(?i)licen[cs]e|permission|redistribution|public domain`)
	var told []string
	for _, part := range parts[1:] {
		name, text, _ := strings.Cut(part, "\n")
		told = append(told, name)
		if len(text) < 300 || !words.MatchString(text) {
			t.Errorf("%s: %q is no licence", name, text)
		}
	}
	slices.Sort(told)
	if !slices.Equal(told, linked) {
		t.Errorf("the notices are not those of the linked modules; "+
			"run go run ./.ci/licenses > cmd/retotal/notices.txt\n"+
			"and go run ./.ci/licenses cloud > cmd/retotal/notices-cloud.txt\n"+
			"told   %q\nlinked %q", told, linked)
	}
	if code := run(t.Context(), []string{"licenses", "all"}, &out, &errs); code != badUse {
		t.Errorf("an argument gives %d", code)
	}
}

// TestNotLinked: what only tests and tools need is not in the program, and none of its own packages opens connections.
// One of its libraries, which reads the headers of Parquet files, brings packages for networks along without using
// them; that no command opens a socket is tested as such.
func TestNotLinked(t *testing.T) {
	testOnly := []string{
		"github.com/rogpeppe/go-internal", "golang.org/x/tools", "honnef.co/go/tools", "gonum.org/v1/gonum",
		"github.com/google/go-cmp", "github.com/chromedp/chromedp",
	}
	for _, line := range goList(t, "linux", `{{.ImportPath}}: {{join .Imports " "}}`) {
		name, imports, _ := strings.Cut(line, ": ")
		for _, tool := range testOnly {
			if name == tool || strings.HasPrefix(name, tool+"/") {
				t.Errorf("the program links %s, which is for tests and tools", name)
			}
		}
		if !strings.HasPrefix(name, "retotal/") {
			continue
		}
		for _, used := range strings.Fields(imports) {
			if used == "net" || strings.HasPrefix(used, "net/") || used == "os/exec" || used == "testing" {
				t.Errorf("%s imports %s", name, used)
			}
		}
	}
}
