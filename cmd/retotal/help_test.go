package main

import (
	"bytes"
	"cmp"
	"context"
	"fmt"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"retotal/ingest/site"
	"retotal/qa"
	"retotal/recompute/audit/cause"
	"retotal/recompute/device"
)

// helpWidth is what fits a terminal of 100 columns.
const helpWidth = 100

// columns lays a table out as text, indented as Markdown's code: every cell is folded to its column's width.
func columns(widths []int, rows [][]string) string {
	var b strings.Builder
	for _, row := range rows {
		folded, height := make([][]string, len(row)), 1
		for i, cell := range row {
			folded[i] = fold(cell, widths[i])
			height = max(height, len(folded[i]))
		}
		for line := range height {
			text := "  "
			for i := range row {
				cell := ""
				if line < len(folded[i]) {
					cell = folded[i][line]
				}
				text += fmt.Sprintf("  %-*s", widths[i], cell)
			}
			b.WriteString(strings.TrimRight(text, " ") + "\n")
		}
	}
	return b.String()
}

// fold breaks text at blanks into lines of a width; a longer word stands alone.
func fold(text string, width int) (lines []string) {
	for _, word := range strings.Fields(text) {
		if n := len(lines); n > 0 && len([]rune(lines[n-1]+" "+word)) <= width {
			lines[n-1] += " " + word
		} else {
			lines = append(lines, word)
		}
	}
	return lines
}

// keyTable is every key of the site file, from package site.
func keyTable() string {
	var b strings.Builder
	for _, table := range site.Tables {
		rows := [][]string{{"key", "type", "default", "meaning"}}
		for _, k := range table.Keys {
			rows = append(rows, []string{k.Name, k.Type, cmp.Or(k.Default, "-"), k.Meaning})
		}
		if b.Len() > 0 {
			b.WriteString("\n")
		}
		fmt.Fprintf(&b, "### %s\n\n%s", tableTitle(table.Heading), columns([]int{21, 18, 15, 36}, rows))
	}
	return b.String()
}

// tableTitle sets what stands in a site file as code.
func tableTitle(heading string) string {
	return regexp.MustCompile(`\[+[a-z_.]+\]+|\{ \.\.\. \}`).ReplaceAllString(heading, "`$0`")
}

// flagTable is every check of package qa with its action, from package site.
func flagTable() string {
	rows := [][]string{{"flag", "default", "or", "a reading that"}}
	for _, c := range qa.Checks {
		action, others := "missing", []string{"-"} // of a gap, which no site file sets
		for _, s := range site.Checks {
			if s.Name == c.Name {
				action, others = string(s.Default), nil
			}
		}
		if others == nil {
			for _, a := range site.ActionsOf(c.Name) {
				if string(a) != action {
					others = append(others, string(a))
				}
			}
		}
		rows = append(rows, []string{c.Name, action, strings.Join(others, ", "), c.Sentence})
	}
	return columns([]int{15, 9, 12, 52}, rows)
}

// causeTable is the catalogue of package cause.
func causeTable() string {
	rows := [][]string{{"cause", "free", "what it predicts", "cannot be told from"}}
	for _, h := range cause.Catalogue {
		rows = append(rows, []string{h.Name, cmp.Or(h.Free, "-"), h.Predicts, cmp.Or(h.Confounded, "-")})
	}
	return columns([]int{17, 10, 38, 23}, rows)
}

// kindTable is every kind of device with its keys, from package device.
func kindTable() string {
	rows := [][]string{{"kind", "what it is", "keys"}}
	for _, k := range device.All() {
		rows = append(rows, []string{k.Name, k.Sentence, strings.Join(k.Keys, ", ")})
	}
	return columns([]int{18, 29, 45}, rows)
}

// generated are the parts of help pages that come from the program, by the mark that they stand under.
var generated = map[string]struct {
	page  string
	table func() string
}{
	"keys": {"site-file", keyTable}, "kinds": {"devices", kindTable}, "flags": {"screening", flagTable},
	"causes": {"auditing", causeTable},
	"array":  {"cluster", indented("array.sh")}, "job": {"cluster", indented("job.yaml")},
	"container": {"cluster", indented("Containerfile")},
}

// indented is a file for clusters as a page shows it.
func indented(name string) func() string {
	return func() (text string) {
		content, err := os.ReadFile(filepath.Join("cluster", name))
		if err != nil {
			panic(err)
		}
		for line := range strings.Lines(string(content)) {
			text += strings.TrimRight("    "+line, " \n") + "\n"
		}
		return text
	}
}

// TestHelpTables holds the tables of the help pages to the program. With -update they are written anew.
func TestHelpTables(t *testing.T) {
	for mark, g := range generated {
		name := filepath.Join("help", g.page+".md")
		page, err := os.ReadFile(name)
		if err != nil {
			t.Fatal(err)
		}
		begin, end := "<!-- "+mark+" -->\n", "<!-- end -->\n"
		before, rest, ok := strings.Cut(string(page), begin)
		table, after, ended := strings.Cut(rest, end)
		if !ok || !ended {
			t.Errorf("%s has no place for %s", name, mark)
			continue
		}
		want := g.table()
		switch {
		case table == want:
		case *update:
			if err := os.WriteFile(name, []byte(before+begin+want+end+after), 0o644); err != nil {
				t.Fatal(err)
			}
		default:
			t.Errorf("the table in %s is not what the program makes; run go test ./cmd/retotal -update", name)
		}
	}
}

// TestHelpPages prints every topic: a page for each and no page beside them, a title, and lines that fit.
func TestHelpPages(t *testing.T) {
	pages, err := filepath.Glob(filepath.Join("help", "*.md"))
	if err != nil || len(pages) != len(topics) {
		t.Errorf("%d pages of help for %d topics, %v", len(pages), len(topics), err)
	}
	for _, topic := range topics {
		var out, problems bytes.Buffer
		if code := run(context.Background(), []string{"help", topic}, &out, &problems); code != 0 ||
			topicTitle(topic) == "" {
			t.Errorf("help %s: exit status %d, title %q: %s", topic, code, topicTitle(topic), problems.String())
		}
		if !strings.HasPrefix(out.String(), "# ") || strings.Contains(out.String(), "<!--") {
			t.Errorf("help %s begins with %.40q", topic, out.String())
		}
		for i, line := range strings.Split(topicText(topic), "\n") {
			if len([]rune(line)) > helpWidth {
				t.Errorf("help %s, line %d is %d wide: %s", topic, i+1, len([]rune(line)), line)
			}
		}
	}
}

// TestDefaultsOfLimits holds the defaults that the key table states in words to the limits of package qa, for a log of
// a reading a minute in steps of 2 mm and of one an hour in steps of 0.1 mm.
func TestDefaultsOfLimits(t *testing.T) {
	minute := qa.NewLimits(qa.Stated{}, time.Minute, 3*time.Minute, 0.002)
	hour := qa.NewLimits(qa.Stated{}, time.Hour, 3*time.Hour, 0.0001)
	stated := map[string]string{}
	for _, table := range site.Tables {
		if table.Heading == "[screening]" {
			for _, k := range table.Keys {
				stated[k.Name] = k.Default
			}
		}
	}
	for _, c := range []struct {
		key, words string
		holds      bool
	}{
		{"spike.window", "7 intervals", minute.SpikeWindow == 7*time.Minute && hour.SpikeWindow == 7*time.Hour},
		{"spike.threshold", "the record tells", minute.SpikeThreshold == 0},
		{"spike.floor", "3 mm or 2 steps", minute.SpikeFloor == 0.004 && hour.SpikeFloor == 0.003},
		{"stuck.duration", "the record tells", minute.StuckDuration == 0},
		{"stuck.tolerance", "0 m", minute.StuckTolerance == 0},
		{"below_zero.tolerance", "half a step", minute.BelowZero == 0.001 && hour.BelowZero == 0.00005},
		{"rate_of_change.up", "half the highest head, or the record tells", minute.RateUp == 0},
		{"rate_of_change.down", "half the highest head, or the record tells", minute.RateDown == 0},
		{"rate_of_change.per", "1 interval", minute.RatePer == time.Minute && hour.RatePer == time.Hour},
		{"step.limit", "the record tells", minute.StepLimit == 0 && hour.StepLimit == 0},
		{"step.window", "6 h or 24 intervals", minute.StepWindow == 6*time.Hour && hour.StepWindow == 24*time.Hour},
		{"attenuated.range", "1 step, at least 1 mm", minute.FlatRange == 0.002 && hour.FlatRange == 0.001},
		{"attenuated.window", "24 h", minute.FlatWindow == 24*time.Hour},
		{"noise.limit", "5 x spike.floor", minute.NoiseLimit == 0.02 && hour.NoiseLimit == 0.015},
		{"second_sensor.limit", "20 mm", minute.SecondLimit == 0.02},
		{"bridge_limit", "4 h", minute.BridgeLimit == 4*time.Hour && hour.BridgeLimit == 4*time.Hour},
		{"largest_correction", "", minute.TooLarge == 0},
	} {
		if stated[c.key] != c.words || !c.holds {
			t.Errorf("%s: the table says %q, and package qa has %+v and %+v", c.key, stated[c.key], minute, hour)
		}
	}
}
