// Package report turns results into the output folder, whole or not at all; it computes nothing but rounding and
// layout.
package report

import (
	"errors"

	"retotal/ingest"
	"retotal/recompute"
)

// Report gathers the rows of a run and writes the output folder of a site.
type Report struct {
	folder   *Folder
	log      *ingest.Log
	readings *readingsWriter
}

// New begins the report of one pass over a log; the folder is the caller's to commit or discard. A pass that has to
// begin again takes a new report.
func New(folder *Folder, l *ingest.Log) (*Report, error) {
	w, err := newReadingsWriter(folder, l)
	if err != nil {
		return nil, err
	}
	return &Report{folder: folder, log: l, readings: w}, nil
}

// Rows takes in a stretch of decided readings.
func (r *Report) Rows(rows *recompute.Rows) error {
	return r.readings.add(rows)
}

// Close releases the report's files without finishing them.
func (r *Report) Close() { r.readings.abandon() }

// Write finishes the readings and writes record and tables.
func (r *Report) Write(run *Run) error {
	if err := r.readings.close(); err != nil {
		return err
	}
	record, err := recordJSON(run)
	if err != nil {
		return err
	}
	return errors.Join(
		r.folder.Write("totals.csv", totalsCSV(run)),
		r.folder.Write("events.csv", asCSV(run.events())),
		r.folder.Write(marker, record))
}
