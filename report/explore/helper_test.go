package explore

import (
	"bytes"
	"context"
	"html/template"
	"os"
	"path/filepath"
	"testing"

	"retotal/ingest"
	"retotal/ingest/site"
	"retotal/recompute"
	"retotal/report"
)

// gathered runs a site and returns what was gathered with the run.
func gathered(t testing.TB, file string, cells int) (*Gatherer, *report.Run) {
	t.Helper()
	s, err := site.Load(file)
	if err != nil {
		t.Fatal(err)
	}
	log, err := ingest.Open(s)
	if err != nil {
		t.Fatal(err)
	}
	var g *Gatherer
	result, err := recompute.Run(context.Background(), log, s, recompute.Options{
		Budget: true, Cells: cells,
		Rows: func() (func(*recompute.Rows) error, error) { g = New(log); return g.Rows, nil },
	})
	if err != nil {
		t.Fatal(err)
	}
	return g, &report.Run{Result: result, Log: log}
}

// around is a page with nothing but the explorer.
var around = template.Must(template.New("").Parse(`<!DOCTYPE html>
<html lang="en"><head><meta charset="utf-8"><title>Explorer</title>
<meta name="viewport" content="width=device-width, initial-scale=1">
<style>body { margin: 0; padding: 20px 16px; background: #fff } {{.Style}}
@media (prefers-color-scheme: dark) { :root:not([data-theme=light]) body { background: #12171c } }
:root[data-theme=dark] body { background: #12171c }</style></head>
<body><main><h1 hidden>Explorer</h1>{{.HTML}}</main><script>{{.Script}}</script></body></html>
`))

// writePage writes a page with the explorer of a site and returns its path.
func writePage(t testing.TB, file string) string {
	t.Helper()
	g, run := gathered(t, file, MostCells)
	section, err := g.Section(run)
	if err != nil {
		t.Fatal(err)
	}
	var b bytes.Buffer
	if err := around.Execute(&b, section); err != nil {
		t.Fatal(err)
	}
	path := filepath.Join(t.TempDir(), "page.html")
	if err := os.WriteFile(path, b.Bytes(), 0o644); err != nil {
		t.Fatal(err)
	}
	return path
}

// demo is one of the demo's site files.
func demo(file string) string { return filepath.Join("..", "..", "testdata", "quarry-lane", file) }
