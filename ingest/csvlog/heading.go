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
	lines, _ := linesOf(text, terminator(text))
	p, ok := find(lines, unnamed)
	if !ok || !p.stamped {
		if bare, found := findBare(lines, -1, 2); found {
			p, ok = bare, true
		}
	}
	if !ok {
		return nil, problem.At(problem.Place{File: file},
			"no line with a time stamp stands below a line of column names, or above others with one",
			"a CSV log with readings", "write the site file by hand; retotal demo DIR writes an example")
	}
	l := Layout{delimiter: p.delimiter, blank: p.blank, HeaderLine: int32(p.line) + 1}
	for _, f := range p.fields {
		l.Header = append(l.Header, latin(f))
	}
	h := &reading.Heading{Time: p.time, TimeOfDay: -1}
	if p.bare {
		clear(l.Header)
		l.HeaderLine--
	}
	h.Names = slices.Clone(l.Header)
	if !p.bare {
		l.takeUnitRows(lines)
	}
	for _, name := range l.Header {
		_, unit := reading.SplitUnit(name)
		h.Units = append(h.Units, unit)
	}
	l.findTimes(h, lines[l.HeaderLine:])
	return h, nil
}

// isStamp reports whether a field is a time as loggers write it: a date, or a count since 1970.
func isStamp(f []byte) bool {
	if isDate(f) {
		return true
	}
	count, _ := parseEpoch(f, 1)
	return reading.EpochOf([]int64{count}).Unit > 0
}

// isDate reports whether a field is a date, with or without a time of day.
func isDate(f []byte) bool {
	_, err := parseStamp(f)
	return err == nil
}

// isClock reports whether a field is a time of day alone.
func isClock(f []byte) bool {
	s := scanner{text: trim(f)}
	return s.timeOfDay(&stamp{}) && s.done()
}

// findTimes tells which columns are those of the times, from the first row that has one.
func (l *Layout) findTimes(h *reading.Heading, rows [][]byte) {
	for _, line := range rows {
		row, ok := l.split(line)
		row = l.withoutTrailer(row)
		i := slices.IndexFunc(row, isStamp)
		if !ok || i < 0 || len(row) != len(l.Header) {
			continue
		}
		st, err := parseStamp(row[i])
		h.Time, h.First, h.Zoned = i, string(row[i]), err != nil || st.hasOffset
		if err == nil && !st.hasTime && i+1 < len(row) && isClock(row[i+1]) {
			h.TimeOfDay = i + 1
			h.First += " " + string(row[i+1])
		}
		return
	}
}
