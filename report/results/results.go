// Package results writes every file of a site's result folder.
package results

import (
	"bufio"
	"errors"
	"io"
	"os"
	"path/filepath"
	"runtime"

	"retotal/ingest"
	"retotal/ingest/problem"
	"retotal/ingest/site"
	"retotal/recompute"
	"retotal/report"
	"retotal/report/explore"
	"retotal/report/page"
	"retotal/report/paper"
	"retotal/report/picture"
	"retotal/report/waterml"
	"retotal/report/workbook"
)

// Options are the files that are written on request.
type Options struct {
	WaterML  bool // flow.xml, mean flows of days
	Readings bool // in report.xlsx, a row each
}

// Requested returns what was asked for when a result folder was written, by the files in it.
func Requested(folder string) Options {
	_, err := os.Stat(filepath.Join(folder, "flow.xml"))
	return Options{WaterML: err == nil, Readings: workbook.HasReadings(filepath.Join(folder, "report.xlsx"))}
}

// Writer gathers the rows of one pass over a log and writes what is made of them.
type Writer struct {
	options  Options
	site     *site.Site
	large    bool // the log is so large that memory matters more than time
	folder   *report.Folder
	report   *report.Report
	pictures *picture.Gatherer
	explorer *explore.Gatherer
	book     *workbook.Book
}

// New begins the results of one pass; the folder is the caller's to commit or discard. A pass that has to begin again
// takes new ones.
func New(folder *report.Folder, l *ingest.Log, o Options) (*Writer, error) {
	r, err := report.New(folder, l)
	if err != nil {
		return nil, err
	}
	return &Writer{
		options: o, site: l.Site, large: l.Total() >= LargeLog, folder: folder, report: r,
		pictures: picture.New(l.Site),
		explorer: explore.New(l), book: workbook.New(o.Readings),
	}, nil
}

// Rows takes in a stretch of decided readings.
func (w *Writer) Rows(rows *recompute.Rows) error {
	w.pictures.Rows(rows)
	if err := errors.Join(w.explorer.Rows(rows), w.book.Rows(w.site, rows)); err != nil {
		return err
	}
	return w.report.Rows(rows)
}

// Close releases the files without finishing them.
func (w *Writer) Close() {
	w.report.Close()
	w.book.Close()
}

// Write writes all files.
func (w *Writer) Write(run *report.Run) error {
	if err := w.report.Write(run); err != nil {
		return err
	}
	pictures, err := w.pictures.Draw(run, w.folder.Write)
	if err != nil {
		return err
	}
	w.pictures = nil // the pictures have what they need of it
	drawn := map[string]paper.Picture{}
	for _, p := range pictures {
		drawn[p.Name] = p
	}
	if _, ok := drawn["totals"]; ok { // where page one has little room left
		drawn["totals-short"] = picture.Totals(run, picture.Options{Height: 210})
	}
	files := []file{
		{"report.html", whole(func() ([]byte, error) {
			explorer, err := w.explorer.Section(run)
			if err != nil {
				return nil, err
			}
			return page.HTML(run, pictures, explorer)
		})},
		{"report.xlsx", func(to io.Writer) error { return w.book.Write(to, run) }},
		{"report.pdf", whole(func() ([]byte, error) { return paper.PDF(run, drawn) })},
	}
	if w.options.WaterML {
		files = append(files, file{"flow.xml", whole(func() ([]byte, error) { return waterml.Daily(run) })})
	}
	return w.all(files)
}

// Cells is into how many cells a run divides the record at most for what is written here (recompute.Options.Cells).
const Cells = explore.MostCells

// file is a file that is made of a run alone.
type file struct {
	name string
	make func(io.Writer) error
}

// whole writes what is made at once.
func whole(make func() ([]byte, error)) func(io.Writer) error {
	return func(to io.Writer) error {
		content, err := make()
		if err == nil {
			_, err = to.Write(content)
		}
		return err
	}
}

// LargeLog is how many bytes a log has whose run takes memory: of one, files are made one after the other.
const LargeLog = 16 << 20

// all makes files and writes them, side by side where there is memory for it.
func (w *Writer) all(files []file) error {
	errs := make([]error, len(files))
	one := func(i int) { errs[i] = w.one(&files[i]) }
	if !w.large {
		problem.Beside(len(files), one)
		return errors.Join(errs...)
	}
	for i := range files {
		runtime.GC() // what the file before took is free for this one
		one(i)
	}
	return errors.Join(errs...)
}

// one makes a file and writes it.
func (w *Writer) one(f *file) error {
	to, err := w.folder.Create(f.name)
	if err != nil {
		return err
	}
	buffered := bufio.NewWriter(to)
	return errors.Join(f.make(buffered), buffered.Flush(), to.Sync(), to.Close())
}
