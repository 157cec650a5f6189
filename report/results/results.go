// Package results writes every file of a site's result folder.
package results

import (
	"errors"

	"retotal/ingest"
	"retotal/recompute"
	"retotal/report"
	"retotal/report/page"
	"retotal/report/paper"
	"retotal/report/picture"
)

// Writer gathers the rows of one pass over a log and writes what is made of them.
type Writer struct {
	folder   *report.Folder
	report   *report.Report
	pictures *picture.Gatherer
}

// New begins the results of one pass; the folder is the caller's to commit or discard. A pass that has to begin again
// takes new ones.
func New(folder *report.Folder, l *ingest.Log) (*Writer, error) {
	r, err := report.New(folder, l)
	if err != nil {
		return nil, err
	}
	return &Writer{folder: folder, report: r, pictures: picture.New()}, nil
}

// Rows takes in a stretch of decided readings.
func (w *Writer) Rows(rows *recompute.Rows) error {
	w.pictures.Rows(rows)
	return w.report.Rows(rows)
}

// Close releases the files without finishing them.
func (w *Writer) Close() { w.report.Close() }

// Write writes all files.
func (w *Writer) Write(run *report.Run) error {
	if err := w.report.Write(run); err != nil {
		return err
	}
	pictures, err := w.pictures.Draw(run, w.folder.Write)
	if err != nil {
		return err
	}
	html, err := page.HTML(run, pictures)
	if err != nil {
		return err
	}
	pdf, err := paper.PDF(run, nil)
	if err != nil {
		return err
	}
	return errors.Join(w.folder.Write("report.html", html), w.folder.Write("report.pdf", pdf))
}
