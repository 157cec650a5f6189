package site

import (
	"bytes"
	"crypto/sha256"
	"encoding/csv"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"maps"
	"path/filepath"
	"regexp"
	"slices"
	"strings"

	"retotal/ingest/problem"
	"retotal/ingest/quantity"
)

// periodPattern is what a reported figure is named by: a month or a day.
var periodPattern = regexp.MustCompile(`^\d{4}-(0[1-9]|1[0-2])(-(0[1-9]|[12]\d|3[01]))?$`)

// Beside is a file that is read beside site file and logs: its path, its size in bytes and the SHA-256 of what was
// read, in hexadecimal.
type Beside struct {
	File   string
	Size   int64
	SHA256 string
}

// NewBeside returns what the record says of a file with this text.
func NewBeside(file string, text []byte) Beside {
	hash := sha256.Sum256(text)
	return Beside{file, int64(len(text)), hex.EncodeToString(hash[:])}
}

// readSubmitted reads what was reported of months and days: "2031-03" = "45123 m3", an average "2031-03" = "16.8 L/s",
// or file = "reported.csv".
func (s *Site) readSubmitted(t *table) {
	s.Report.Reported = map[string]Reported{}
	s.Report.ReportedFile = t.text("file", "")
	t.refuseEscapes("file", s.Report.ReportedFile)
	for _, period := range slices.Sorted(maps.Keys(t.values)) {
		if !periodPattern.MatchString(period) {
			continue // close reports it
		}
		dimension := quantity.VolumeDimension
		if text, isText := t.values[period].(string); isText {
			dimension = reportedDimension(text)
		}
		if v := t.quantity(period, dimension); v != nil {
			s.Report.Reported[period] = Reported{*v, t.at(period)}
		}
	}
	if len(s.Report.Reported) == 0 {
		t.known = append(t.known, "2031-03") // what a key here looks like, for the message of close
	}
	t.close()
}

// reportedDimension is volume, or flow of an average.
func reportedDimension(text string) quantity.Dimension {
	if _, err := quantity.Parse(text, quantity.FlowDimension); err == nil {
		return quantity.FlowDimension
	}
	return quantity.VolumeDimension
}

// readReportedFile reads the file that [reported] names.
func (s *Site) readReportedFile() error {
	name := filepath.Join(s.Folder, filepath.FromSlash(s.Report.ReportedFile))
	text, err := ReadPlain(name, mostText)
	if err != nil {
		bad := unreadable(name, err)
		bad.Place = s.Places["reported.file"]
		bad.Found = fmt.Sprintf("reported.file %q: %s", s.Report.ReportedFile, bad.Found)
		bad.Expected = "a CSV file with a month or a day and a figure in each row"
		bad.Remedy = "give its path relative to the site file"
		return bad
	}
	s.Beside = append(s.Beside, NewBeside(name, text))
	return s.parseReported(name, text).Err()
}

// parseReported reads a header, and in each row a month or day and its figure, with its unit there or in the header.
func (s *Site) parseReported(name string, text []byte) (problems problem.List) {
	rows := csv.NewReader(bytes.NewReader(bytes.TrimPrefix(text, []byte("\xef\xbb\xbf"))))
	rows.FieldsPerRecord, rows.TrimLeadingSpace = 2, true
	unit := ""
	for first := true; ; first = false {
		row, err := rows.Read()
		if errors.Is(err, io.EOF) {
			return problems
		}
		var slip *csv.ParseError
		if errors.As(err, &slip) {
			return append(problems, problem.At(problem.Place{File: name, Line: slip.Line, Column: slip.Column},
				"the row cannot be read: "+slip.Err.Error(), "two columns, a month or day and a figure", ""))
		} else if err != nil {
			return append(problems,
				problem.At(problem.Place{File: name}, "the file cannot be read: "+err.Error(), "", ""))
		}
		if first {
			if _, in, found := strings.Cut(row[1], "("); found {
				unit = " " + strings.TrimSuffix(strings.TrimSpace(in), ")")
			}
			continue
		}
		if bad := s.addReported(row[0], row[1], unit); bad != nil {
			line, column := rows.FieldPos(1)
			bad.Place = problem.Place{File: name, Line: line, Column: column}
			problems = append(problems, bad)
		}
	}
}

// addReported takes in one row of the file; unit is that of the header.
func (s *Site) addReported(period, figure, unit string) *problem.Problem {
	period, figure = strings.TrimSpace(period), strings.TrimSpace(figure)
	if !periodPattern.MatchString(period) {
		return problem.At(problem.Place{}, fmt.Sprintf("%q is not a month or a day", period),
			"as in 2031-03 or 2031-03-17", "")
	}
	if _, twice := s.Report.Reported[period]; twice {
		return problem.At(problem.Place{}, period+" was reported already", "one figure of each period", "")
	}
	if figure == "" {
		return nil // nothing was reported of it
	}
	if _, err := quantity.Parse(figure, quantity.None); err == nil {
		figure += unit
	}
	v, err := quantity.Parse(figure, reportedDimension(figure))
	if err != nil {
		return problem.At(problem.Place{}, err.Error(), "",
			`write a volume or an average flow, as "45123 m3", or the unit in the header: total (m3)`)
	}
	s.Report.Reported[period] = Reported{v, problem.Place{}}
	return nil
}
