package csvlog

import (
	"bytes"
	"fmt"

	"retotal/ingest/problem"
	"retotal/ingest/quantity"
	"retotal/ingest/reading"
	"retotal/ingest/site"
)

// Layout is how a CSV file is written: one decision for the whole file, a field each, as the certificate lists them.
type Layout struct {
	delimiter, eol, decimal byte
	absolute                bool          // stamps carry an offset from UTC
	datesOnly               bool          // stamps have no time of day
	midnightEnds            bool          // 0:00 ends the date it is written with
	epoch                   reading.Epoch // what stamps count since 1970 UTC; none for dates
	order                   order
	Header                  []string
	HeaderLine              int32 // the last line of the header
	headerEnd               int   // bytes up to the first line after the header, in the decoded text
	plan                    []int
	blank                   int  // fields of the header that are blank, at its end
	bare                    bool // there is no header: columns are told by number
	Units                   [reading.Count]quantity.Unit
	Resolution              [reading.Count]float64 // SI, one step of the last decimal written; 0 when unknown
	Preamble                []string               // the first lines above the header, shortened
	Odd                     []string               // what the header contradicts
	Settled                 bool                   // decided from all rows, not from the first ones
	crlf                    bool
	serial                  bool    // stamps are spreadsheet dates, local
	stamps                  []stamp // of the sample
	epochs                  []int64 // of the sample, when stamps are counts
	source                  sourceKind
	notes                   notes
}

// notes are the reasons of the decisions, for the certificate.
type notes struct {
	delimiter, decimal, order, midnight reading.Decision
	header                              string
	statistics                          []string // "Distance: Avg"
	windows1252                         bool
	preambleLines                       int
}

// Start returns what the sample shows, once the order of the date is settled.
func (l *Layout) Start() reading.Start {
	start := reading.Start{Absolute: l.absolute, Resolution: l.Resolution}
	times := l.epochs
	for _, st := range l.stamps {
		if at, ok := l.meaning(st); ok {
			times = append(times, at)
		}
	}
	start.Look(times)
	return start
}

// meaning gives a stamp its meaning in this file: nanoseconds since 1970, local where stamps have no offset.
func (l *Layout) meaning(st stamp) (int64, bool) {
	at, ok := st.local(l.order)
	if l.midnightEnds && st.hasTime && st.nanosecond == 0 {
		at += 24 * hour
	}
	return at - st.offset, ok
}

// Absolute reports whether the stamps carry an offset from UTC.
func (l *Layout) Absolute() bool { return l.absolute }

// bom is the byte order mark that some programs write in front of UTF-8.
var bom = []byte("\xef\xbb\xbf")

// detect finds the layout from the beginning of a file's decoded text. The decimal sign or the order of day and month
// may stay open: then ambiguous is true and the caller settles it from the whole file.
func detect(file string, text []byte, log *site.Log) (l *Layout, ambiguous bool, bad *problem.Problem) {
	place := problem.Place{File: file}
	if bad := refuseBinary(place, text); bad != nil {
		return nil, false, bad
	}
	l = &Layout{eol: terminator(text)}
	l.crlf = bytes.Contains(text, []byte("\r\n"))
	if bad := l.findHeader(file, text, log); bad != nil {
		return nil, false, bad
	}
	rows := l.sampleRows(text)
	if len(rows) == 0 {
		found := "the log has a header and no row below it"
		if len(bytes.TrimSpace(text[l.headerEnd:])) > 0 {
			place.Line = int(l.HeaderLine)
			found = fmt.Sprintf("no row has the %d fields of the header", len(l.plan))
		}
		return nil, false, problem.At(place, found, "at least one reading", "")
	}
	ambiguous, bad = l.decide(file, rows, log)
	return l, ambiguous, bad
}

// refuseBinary reports texts that cannot be a CSV log in UTF-8.
func refuseBinary(place problem.Place, text []byte) *problem.Problem {
	if len(bytes.TrimSpace(bytes.TrimPrefix(text, bom))) == 0 {
		return problem.At(place, "the log is empty", "a header and readings", "")
	}
	if i := bytes.IndexByte(text, 0); i >= 0 {
		place.Line = 1 + bytes.Count(text[:i], []byte("\n"))
		return problem.At(place, fmt.Sprintf("the log is not text: byte %d is NUL", i+1),
			"CSV text, .csv.gz, .csv.zst or .parquet", "export it from the logger again")
	}
	return nil
}

// terminator finds how lines end: LF (also CR LF), or bare CR when there is no LF at all.
func terminator(text []byte) byte {
	if bytes.IndexByte(text, '\n') < 0 && bytes.IndexByte(text, '\r') >= 0 {
		return '\r'
	}
	return '\n'
}

// sampleRow is a row of the sample.
type sampleRow struct {
	line   int32
	fields [][]byte
}

// sampleRows splits the first rows below the header, those with as many fields as it.
func (l *Layout) sampleRows(text []byte) (rows []sampleRow) {
	const most = 2000
	line := l.HeaderLine
	for _, text := range bytes.Split(text[l.headerEnd:], []byte{l.eol}) {
		if len(rows) == most {
			break
		}
		line++
		if fields, ok := l.split(text); ok && len(fields) >= len(l.plan) {
			rows = append(rows, sampleRow{line, fields})
		}
	}
	return rows
}
