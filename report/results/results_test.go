package results

import (
	"context"
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"retotal/ingest"
	"retotal/ingest/site"
	"retotal/recompute"
	"retotal/recompute/audit"
	"retotal/report"
)

// correct runs one of the demo's site files and returns the run and the folder of its results.
func correct(t *testing.T, file string) (*report.Run, string) {
	t.Helper()
	s, err := site.Load(filepath.Join("..", "..", "testdata", "quarry-lane", file))
	if err != nil {
		t.Fatal(err)
	}
	log, err := ingest.Open(s)
	if err != nil {
		t.Fatal(err)
	}
	log.Hashed = true
	folder, bad := report.NewFolder(t.TempDir(), log)
	if bad != nil {
		t.Fatal(bad)
	}
	w, err := New(folder, log)
	if err != nil {
		t.Fatal(err)
	}
	result, err := recompute.Run(context.Background(), log, log.Site, recompute.Options{
		Budget: true,
		Rows:   func() (func(*recompute.Rows) error, error) { return w.Rows, nil },
	})
	if err != nil {
		t.Fatal(err)
	}
	run := &report.Run{
		Result: result, Log: log, Findings: audit.Findings(result, nil), Over: audit.DailyLimit(result),
		Limits: audit.Limits(result), Version: "test",
	}
	if err := errors.Join(w.Write(run), folder.Commit("")); err != nil {
		t.Fatal(err)
	}
	return run, folder.Path()
}

func TestPage(t *testing.T) {
	_, dir := correct(t, "site.toml")
	text, err := os.ReadFile(filepath.Join(dir, "report.html"))
	if err != nil {
		t.Fatal(err)
	}
	checkPage(t, string(text))
}

// checkPage: one file, nothing fetched from elsewhere, the cautions and all pictures in it.
func checkPage(t *testing.T, page string) {
	t.Helper()
	if n := strings.Count(page, "<svg"); n < 7 {
		t.Errorf("%d pictures in the page", n)
	}
	for _, never := range []string{"src=\"http", "href=\"http", "@import", "ZgotmplZ", "NaN", "<no value>"} {
		if strings.Contains(page, never) {
			t.Errorf("the page holds %q", never)
		}
	}
	for _, always := range []string{"competent person", "confined spaces", "Tape survey of 2 April"} {
		if !strings.Contains(page, always) {
			t.Errorf("the page lacks %q", always)
		}
	}
}
