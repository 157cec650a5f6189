package csvlog

import (
	"bytes"
	"slices"

	"retotal/ingest/problem"
	"retotal/ingest/reading"
)

// Heading looks for a header line above a line that begins to look like readings.
func Heading(file string) (*reading.Heading, *problem.Problem) {
	src, err := openSource(file, nil, false)
	if err != nil {
		return nil, readProblem(file, 0, err)
	}
	defer src.Close()
	sample := make([]byte, 1<<16)
	n, _ := readFull(src, sample)
	text := bytes.TrimPrefix(sample[:n], bom)
	if bad := refuseBinary(problem.Place{File: file}, text); bad != nil {
		return nil, bad
	}
	lines := bytes.Split(text, []byte{terminator(text)})
	for i := range lines {
		for _, delimiter := range []byte(";\t|,") {
			l := Layout{delimiter: delimiter}
			if header, row := l.headerAbove(lines, i); header != nil {
				return heading(header, row), nil
			}
		}
	}
	return nil, problem.At(problem.Place{File: file}, "no line with a time stamp stands below a line of column names",
		"a CSV log with a header", "write the site file by hand; retotal demo DIR writes an example")
}

// headerAbove returns the fields of line i when it is a header: as many fields as the first line of readings below it,
// which has a time, and no time of its own.
func (l *Layout) headerAbove(lines [][]byte, i int) (header, row [][]byte) {
	header, ok := l.split(lines[i])
	if !ok || len(header) < 2 || slices.ContainsFunc(header, isStamp) {
		return nil, nil
	}
	for k := i + 1; k < len(lines) && k <= i+4; k++ {
		row, ok := l.split(lines[k])
		if ok && len(row) == len(header) && slices.ContainsFunc(row, isStamp) {
			return header, row
		}
	}
	return nil, nil
}

// isStamp reports whether a field is a time as loggers write it: a date, or a count since 1970.
func isStamp(f []byte) bool {
	if _, err := parseStamp(f); err == nil {
		return true
	}
	count, _ := parseEpoch(f, 1)
	return reading.EpochOf([]int64{count}).Unit > 0
}

// isClock reports whether a field is a time of day alone.
func isClock(f []byte) bool {
	s := scanner{text: trim(f)}
	return s.timeOfDay(&stamp{}) && s.done()
}

func heading(header, row [][]byte) *reading.Heading {
	h := &reading.Heading{Time: -1, TimeOfDay: -1}
	for i, f := range header {
		h.Names = append(h.Names, latin(f))
		switch {
		case h.Time < 0 && isStamp(row[i]):
			st, err := parseStamp(row[i])
			h.Time, h.First, h.Zoned = i, string(row[i]), err != nil || st.hasOffset
			if err == nil && !st.hasTime && i+1 < len(row) && isClock(row[i+1]) {
				h.TimeOfDay = i + 1
				h.First += " " + string(row[i+1])
			}
		}
	}
	return h
}
