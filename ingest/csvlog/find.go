package csvlog

import (
	"bytes"
	"slices"

	"retotal/ingest/reading"
	"retotal/ingest/site"
)

// delimiters are what fields may be ended by.
const delimiters = ",;\t|"

// place is where a table stands in the lines of a text.
type place struct {
	delimiter byte
	line      int      // number of its first line, from 0: names, or readings where there are none
	fields    [][]byte // of that line, without what is blank at its end
	blank     int      // how many blank fields stand at its end
	time      int      // number of the column with the times, from 0
	bare      bool     // the line is a reading: there are no names
	stamped   bool     // more than half of the first lines below have a time there
	first     int      // the first of those, counted from the first line below
	agreement int      // how much else speaks for it
	passed    bool     // another line before it has less for it
}

// better reports whether a place has more for it than one before it, or as much and stands between it and its readings;
// the one that comes first is kept else.
func (p *place) better(other *place) bool {
	switch {
	case other.fields == nil || p.stamped != other.stamped:
		return p.stamped || other.fields == nil
	case p.agreement == other.agreement:
		return p.stamped && p.line > other.line && p.line <= other.line+other.first &&
			!p.repeats(other)
	}
	return p.agreement > other.agreement
}

// repeats reports whether a line is another one written again, or its beginning.
func (p *place) repeats(other *place) bool {
	n := len(p.fields)
	return n <= len(other.fields) && slices.EqualFunc(p.fields, other.fields[:n], bytes.Equal)
}

// judge tells of a line whether it may hold the names of the columns: the column of the times, −1 for no, and how much
// speaks for it, up to most.
type judge struct {
	most int
	look func(l *Layout, fields [][]byte, blank int, below [][]byte) (time, agreement int)
}

// find looks for the line with the names of the columns, under every delimiter. It is the one way to find it, whether a
// site file says what the columns are called or not. What stands in a preamble may look like names; those of a log have
// times below them.
func find(lines [][]byte, j judge) (best place, ok bool) {
	for i, line := range lines {
		for _, delimiter := range []byte(delimiters) {
			l := Layout{delimiter: delimiter}
			fields, whole := l.split(line)
			named := withoutBlanks(fields)
			if !whole || len(fields) < 2 || len(named) == 0 {
				continue
			}
			p := place{delimiter: delimiter, line: i, fields: named, blank: len(fields) - len(named)}
			if p.time, p.agreement = j.look(&l, named, p.blank, lines[i+1:]); p.time < 0 {
				continue
			}
			if p.first, p.stamped = l.stamped(lines[i+1:], p.time); p.better(&best) {
				p.passed = best.fields != nil && best.line < i
				best = p
			}
		}
		if best.stamped && best.agreement == j.most && i > best.line+best.first {
			break // its readings have begun
		}
	}
	return best, best.fields != nil
}

// withoutBlanks takes off the blank fields at the end of a line.
func withoutBlanks(fields [][]byte) [][]byte {
	for len(fields) > 0 && len(fields[len(fields)-1]) == 0 {
		fields = fields[:len(fields)-1]
	}
	return fields
}

// judgedLines is how many lines tell whether readings begin.
const judgedLines = 20

// stamped reports whether more than half of the first lines have a time in a column, but for blank ones and at most
// four that stand before the first time, units and the like, and which of the lines is the first that has.
func (l *Layout) stamped(lines [][]byte, column int) (first int, most bool) {
	before, seen, times := 0, 0, 0
	for i, line := range lines {
		fields, ok := l.split(line)
		stamp := ok && column < len(fields) && isStamp(fields[column])
		switch {
		case len(trim(line)) == 0:
			continue
		case stamp:
			if times++; times == 1 {
				first = i
			}
		case times == 0 && before < 4:
			before++
			continue
		}
		if seen++; seen == judgedLines {
			break
		}
	}
	return first, 2*times > seen
}

// named judges a line by the columns of a site file: that of the times must be there.
func named(log *site.Log) judge {
	return judge{wanted(log), func(_ *Layout, fields [][]byte, _ int, _ [][]byte) (time, agreement int) {
		time = slices.IndexFunc(fields, func(f []byte) bool { return log.Time.Called(latin(f)) })
		if log.Time.Number > 0 && log.Time.Number <= len(fields) {
			time = log.Time.Number - 1
		}
		return time, countMatches(fields, log)
	}}
}

// unnamed judges a line by what stands below it, when nothing is known of its names: a line of as many fields with a
// time, and at most three between. Of several such lines the names are the one that calls the column of the times so,
// and the lowest of those that are none of units.
var unnamed = judge{3, func(l *Layout, fields [][]byte, blank int, below [][]byte) (time, agreement int) {
	if slices.ContainsFunc(fields, isDate) {
		return -1, 0
	}
	agreement = 1
	for _, line := range below[:min(len(below), 4)] {
		row, ok := l.split(line)
		if len(trim(line)) == 0 {
			continue
		}
		if row = withoutTrailer(row, len(fields), blank); !ok || len(row) != len(fields) {
			agreement = 0
			continue
		}
		if time = slices.IndexFunc(row, isStamp); time < 0 {
			if !isUnitRow(row) {
				agreement = 0
			}
			continue
		}
		if isStamp(fields[time]) { // a reading itself
			return -1, 0
		}
		if reading.IsTimeWord(latin(fields[time])) {
			return time, agreement + 2
		}
		if agreement == 0 || isUnitRow(fields) {
			break
		}
		return time, agreement
	}
	return -1, 0
}}

// findBare looks for the first line of readings of a log without names: it and most lines below have a time in a
// column, −1 for any, and at least so many fields. Of several delimiters the one with the most fields is taken.
func findBare(lines [][]byte, column, least int) (best place, ok bool) {
	for i, line := range lines {
		for _, delimiter := range []byte(delimiters) {
			l := Layout{delimiter: delimiter}
			fields, whole := l.split(line)
			time := column
			if column < 0 {
				time = slices.IndexFunc(fields, isStamp)
			}
			if !whole || len(fields) < max(least, 2) || time < 0 || time >= len(fields) || !isStamp(fields[time]) ||
				len(fields) <= len(best.fields) {
				continue
			}
			if _, most := l.stamped(lines[i:], time); most {
				row := l.widest(lines[i:], fields)
				best = place{delimiter: delimiter, line: i, fields: row, time: time, bare: true, stamped: true}
			}
		}
		if best.fields != nil {
			return best, true
		}
	}
	return best, false
}

// widest is the row of the most fields among some lines: blank fields at the end of the first may hold values below.
func (l *Layout) widest(lines [][]byte, fields [][]byte) [][]byte {
	fields = withoutBlanks(fields)
	for _, line := range lines[:min(len(lines), judgedLines)] {
		if row, ok := l.split(line); ok && len(withoutBlanks(row)) > len(fields) {
			fields = withoutBlanks(row)
		}
	}
	return fields
}

// linesOf cuts a text into lines, without the mark of its encoding, and says where each begins.
func linesOf(text []byte, eol byte) (lines [][]byte, starts []int) {
	at := 0
	if bytes.HasPrefix(text, bom) {
		at = len(bom)
	}
	for at < len(text) {
		end := bytes.IndexByte(text[at:], eol)
		if end < 0 {
			end = len(text) - at
		}
		lines, starts = append(lines, text[at:at+end]), append(starts, at)
		at += end + 1
	}
	return lines, append(starts, min(at, len(text)))
}
