//go:build pdftotext

package results

import (
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"retotal/report"
)

// TestPaperSaysWhatThePageSays: the text that pdftotext (Poppler) reads out of report.pdf has every word of page one's
// table and of every other table, a row after the other; every page has its foot line.
func TestPaperSaysWhatThePageSays(t *testing.T) {
	run, dir := correct(t, "site.toml")
	file := filepath.Join(dir, "report.pdf")
	out, err := exec.Command("pdftotext", "-layout", file, "-").Output()
	if err != nil {
		t.Fatal(err)
	}
	pages := strings.Split(strings.TrimRight(string(out), "\f"), "\f")
	for i, page := range pages {
		if !strings.Contains(page, "DRAFT") || !strings.Contains(page, "of "+strconv.Itoa(len(pages))) {
			t.Errorf("page %d has no foot line", i+1)
		}
	}
	text := bare(string(out))
	cells := 0
	for _, s := range report.Sections(run) {
		for _, b := range s.Blocks {
			if b.Table == nil || s.Part == report.PartDays {
				continue
			}
			for _, row := range b.Table.Rows {
				for _, c := range row {
					for _, word := range strings.Fields(bare(c.Text)) {
						cells++
						if !strings.Contains(text, word) {
							t.Errorf("%s: %q is not on paper", b.Table.Caption, word)
						}
					}
				}
			}
		}
	}
	letter := report.NewLetter(run)
	for _, m := range append(letter.Months, *letter.Total) {
		for _, word := range []string{m.Name, m.Before, m.After, m.Change, m.Covered} {
			cells++
			if !strings.Contains(text, bare(word)) {
				t.Errorf("page one: %q is not on paper", word)
			}
		}
	}
	if cells < 300 {
		t.Errorf("only %d words were looked for", cells)
	}
}

// bare writes all blanks as one kind.
func bare(text string) string { return strings.ReplaceAll(text, "\u00a0", " ") }
