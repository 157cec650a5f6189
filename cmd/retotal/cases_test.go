package main

import (
	"bytes"
	"context"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
)

// TestCases runs the commands of the worked cases and holds what the page shows of their output to it, line by line,
// whatever the spaces between words.
func TestCases(t *testing.T) {
	cases := filepath.Join("..", "..", "testdata", "cases")
	page := topicText("cases")
	dir := t.TempDir()
	if err := os.CopyFS(filepath.Join(dir, "testdata", "cases"), os.DirFS(cases)); err != nil {
		t.Fatal(err)
	}
	t.Chdir(dir)
	ran, held := 0, 0
	plain := func(text string) string { return strings.Join(strings.Fields(text), " ") }
	for _, block := range blocks(page) {
		command, shown, _ := strings.Cut(block, "\n")
		args, ok := commandOf("    " + command)
		if !ok {
			continue
		}
		ran++
		want := 0
		if _, status, ok := strings.Cut(command, "# exit status "); ok {
			want, _ = strconv.Atoi(status)
		}
		var out, problems bytes.Buffer
		if code := run(context.Background(), fields(args), &out, &problems); code != want {
			t.Errorf("retotal %s: exit status %d, want %d: %s", args, code, want, problems.String())
		}
		printed := plain(out.String())
		for _, line := range strings.Split(strings.TrimSpace(shown), "\n") {
			if held++; !strings.Contains(printed, plain(line)) {
				t.Errorf("retotal %s does not print %q:\n%s", args, plain(line), out.String())
			}
		}
	}
	if ran < 9 || held < 25 {
		t.Errorf("only %d commands with %d lines were found", ran, held)
	}
}
