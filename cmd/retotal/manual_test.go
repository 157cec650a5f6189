package main

import (
	"bytes"
	"context"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"

	"retotal/ingest/site"
)

// manual is README.md and the help pages, in the order in which they are read.
func manual(t *testing.T) (names, pages []string) {
	names = []string{filepath.Join("..", "..", "README.md")}
	for _, topic := range topics {
		names = append(names, filepath.Join("help", topic+".md"))
	}
	for _, name := range names {
		page, err := os.ReadFile(name)
		if err != nil {
			t.Fatal(err)
		}
		pages = append(pages, string(page))
	}
	return names, pages
}

// TestREADMEIsShort: what one reads first stays under 120 lines and 1,000 words.
func TestREADMEIsShort(t *testing.T) {
	_, pages := manual(t)
	if lines, words := strings.Count(pages[0], "\n"), len(strings.Fields(pages[0])); lines >= 120 || words >= 1000 {
		t.Errorf("README.md has %d lines and %d words", lines, words)
	}
}

// TestManual runs the commands of README and help pages, in their order, in one folder with the demo and a log of one's
// own, and holds the totals that README shows to what they make.
func TestManual(t *testing.T) {
	if testing.Short() {
		t.Skip("the plain run does it")
	}
	names, pages := manual(t)
	demo := filepath.Join("..", "..", "testdata", "quarry-lane")
	dir := t.TempDir()
	if err := os.CopyFS(filepath.Join(dir, "testdata", "quarry-lane"), os.DirFS(demo)); err != nil {
		t.Fatal(err)
	}
	t.Chdir(dir)
	copyFile(t, filepath.Join("testdata", "quarry-lane", "one-day.csv"), "log.csv")
	mustRun(t, "demo try")
	ran := 0
	for i, page := range pages {
		if names[i] == filepath.Join("help", "cases.md") { // whose commands TestCases runs
			continue
		}
		for _, line := range strings.Split(page, "\n") {
			args, ok := commandOf(line)
			if !ok {
				continue
			}
			ran++
			out := mustRun(t, args)
			if strings.Contains(args, "correct testdata") {
				holdTotals(t, page, out)
			}
			if _, file, saved := strings.Cut(args, " > "); saved {
				fillIn(t, file, out, page)
			}
		}
		if i == 0 && ran < 5 {
			t.Errorf("only %d commands were found in %s", ran, names[i])
		}
	}
	if ran < 12 {
		t.Errorf("only %d commands were found", ran)
	}
}

// commandOf returns the arguments of an indented line that calls the program.
func commandOf(line string) (args string, ok bool) {
	command, _, _ := strings.Cut(line, " #")
	for _, program := range []string{"    go run ./cmd/retotal ", "    retotal "} {
		if args, ok = strings.CutPrefix(command, program); ok {
			return strings.TrimSpace(args), true
		}
	}
	return "", false
}

// mustRun runs a command line, without what is behind >, and returns its standard output.
func mustRun(t *testing.T, args string) string {
	t.Helper()
	args, _, _ = strings.Cut(args, " > ")
	var out, problems bytes.Buffer
	if code := run(context.Background(), fields(args), &out, &problems); code != 0 {
		t.Errorf("retotal %s: exit status %d: %s", args, code, problems.String())
	}
	return out.String()
}

func copyFile(t *testing.T, from, to string) {
	t.Helper()
	content, err := os.ReadFile(from)
	if err == nil {
		err = os.WriteFile(to, content, 0o644)
	}
	if err != nil {
		t.Fatal(err)
	}
}

// fillIn does what README tells to do with a draft: its block of keys goes into the blanks, its correction to the end.
func fillIn(t *testing.T, file, draft, page string) {
	t.Helper()
	for _, block := range blocks(page) {
		if strings.HasPrefix(block, "name ") {
			for _, line := range strings.Split(strings.TrimSpace(block), "\n") {
				key, _, _ := strings.Cut(line, " ")
				blank := regexp.MustCompile(`(?m)^(# )?` + key + ` *= *"[^"]*"`)
				at := blank.FindStringIndex(draft)
				if at == nil {
					t.Fatalf("the draft has no place for %s", line)
				}
				draft = draft[:at[0]] + line + draft[at[1]:]
			}
		}
		if strings.HasPrefix(block, "[[correction]]") {
			draft += block
		}
	}
	if err := os.WriteFile(file, []byte(draft), 0o644); err != nil {
		t.Fatal(err)
	}
}

// holdTotals looks for the summary of a page in what the command prints.
func holdTotals(t *testing.T, page, out string) {
	t.Helper()
	found := 0
	for _, line := range strings.Split(page, "\n") {
		if strings.HasPrefix(line, "    Total ") || strings.HasPrefix(line, "    Difference ") {
			found++
			if !strings.Contains(out, strings.TrimSpace(line)+"\n") {
				t.Errorf("README shows %q, and the demo gives\n%.600s", line, out)
			}
		}
	}
	if found != 3 {
		t.Errorf("%d lines of a summary in README", found)
	}
}

// blocks are the indented parts of a page, without the indentation.
func blocks(page string) (list []string) {
	var now string
	for _, line := range append(strings.Split(page, "\n"), "") {
		if text, ok := strings.CutPrefix(line, "    "); ok {
			now += text + "\n"
		} else if now != "" {
			list, now = append(list, now), ""
		}
	}
	return list
}

// manualSite is a site file that the parts of one in help pages are read with.
const manualSite = `id = "a"
[log]
files = ["a.csv"]
time_zone = "+00:00"
[log.columns]
time = "T"
distance = "D"
counter = "C"
[settings]
empty_distance = "1.25 m"
[settings.device]
kind = "v-notch"
angle = "90 deg"
`

// TestManualSiteFiles reads the site files, and the parts of them, that README and help pages show.
func TestManualSiteFiles(t *testing.T) {
	names, pages := manual(t)
	read := 0
	for i, page := range pages {
		for _, block := range blocks(page) {
			text := block
			switch {
			case strings.HasPrefix(block, "["):
				text = manualSite + block
			case !strings.HasPrefix(block, "id "):
				continue
			}
			read++
			if s, err := site.Parse("site.toml", []byte(text)); err != nil || len(s.Warnings) > 0 {
				t.Errorf("%s shows a site file with problems: %v\n%s", names[i], err, block)
			}
		}
	}
	if read < 7 {
		t.Errorf("only %d site files were found", read)
	}
}

// TestManualNames holds `retotal COMMAND --flag` in the running text of README and help pages to the commands that
// there are.
func TestManualNames(t *testing.T) {
	names, pages := manual(t)
	call := regexp.MustCompile("`retotal ([a-z]+)([^`]*)`")
	for i, page := range pages {
		for _, m := range call.FindAllStringSubmatch(strings.ReplaceAll(page, "\n", " "), -1) {
			c, _, err := newRoot().Find([]string{m[1]})
			if err != nil {
				t.Errorf("%s: %s: there is no such command", names[i], m[0])
				continue
			}
			for _, flag := range regexp.MustCompile(`--([a-z-]+)`).FindAllStringSubmatch(m[2], -1) {
				if c.Flags().Lookup(flag[1]) == nil {
					t.Errorf("%s: %s: %s has no flag --%s", names[i], m[0], m[1], flag[1])
				}
			}
			known := append([]string{"", "TOPIC"}, topics...)
			if topic := strings.TrimSpace(m[2]); m[1] == "help" && !slices.Contains(known, topic) {
				t.Errorf("%s: %s: there is no such topic", names[i], m[0])
			}
		}
	}
}
