package csvlog

import (
	"fmt"
	"slices"
	"strings"
	"unicode/utf8"

	"retotal/ingest/problem"
	"retotal/ingest/quantity"
	"retotal/ingest/reading"
	"retotal/ingest/site"
)

// findHeader looks for the line with the names of the columns, or, where the site file gives numbers alone, for the
// first reading. What stands above it is kept as the preamble.
func (l *Layout) findHeader(file string, text []byte, log *site.Log) *problem.Problem {
	lines, starts := linesOf(text, l.eol)
	p, ok := findFor(lines, log)
	if !ok {
		return l.noHeader(file, lines, log)
	}
	l.delimiter, l.blank, l.bare = p.delimiter, p.blank, p.bare
	for _, f := range p.fields {
		if p.bare {
			f = nil
		}
		l.Header = append(l.Header, latin(f))
	}
	l.HeaderLine, l.notes.preambleLines = int32(p.line), p.line
	for _, line := range lines[:p.line] {
		if text := shorten(line); len(l.Preamble) < preambleKept && text != "" {
			l.Preamble = append(l.Preamble, text)
		}
	}
	l.notes.windows1252 = !utf8.Valid(lines[p.line])
	l.notes.delimiter = l.delimiterDecision(lines[p.line], &p, log)
	l.notes.header = "the first line with the name of the time column"
	if _, byNumber := log.Numbers(); byNumber {
		l.notes.header = "the line of names above the first times"
	} else if p.passed {
		l.notes.header = "of the lines with the name of the time column, the one with times below and most other names"
	}
	if !p.bare {
		l.HeaderLine++
		l.takeUnitRows(lines)
	}
	l.headerEnd = starts[l.HeaderLine]
	return l.planColumns(file, log)
}

// findFor finds the table of a log in the lines of a text: by the names of its columns, or by their numbers where the
// site file names none.
func findFor(lines [][]byte, log *site.Log) (place, bool) {
	most, byNumber := log.Numbers()
	if !byNumber {
		return find(lines, named(log))
	}
	if p, ok := find(lines, unnamed); ok && p.stamped && p.time == log.Time.Number-1 && len(p.fields)+p.blank >= most {
		return p, true
	}
	return findBare(lines, log.Time.Number-1, most)
}

// noHeader words that no line can be the header.
func (l *Layout) noHeader(file string, lines [][]byte, log *site.Log) *problem.Problem {
	if most, byNumber := log.Numbers(); byNumber {
		return problem.At(problem.Place{File: file},
			fmt.Sprintf("no line has a time in column %d, and %d columns", log.Time.Number, most),
			"a date, or a count since 1970, and no number in [log.columns] above that of the last column", "")
	}
	var widest [][]byte
	for _, line := range lines {
		for _, delimiter := range []byte(delimiters) {
			trial := Layout{delimiter: delimiter}
			if fields, ok := trial.split(line); ok && len(fields) > len(widest) {
				widest = fields
			}
		}
	}
	remedy := "the columns here seem to be: " + strings.Join(toStrings(widest), ", ")
	if _, bare := findBare(lines, -1, 2); bare {
		if _, header := find(lines, unnamed); !header {
			remedy = "it seems to have no header: give the numbers of its columns, as in time = 1"
		}
	}
	return problem.At(problem.Place{File: file}, fmt.Sprintf("no line has a %s", log.Time.Words()),
		"the header as log.columns.time gives it", remedy)
}

// preambleKept is how many lines above the header are kept: enough for a serial number, a place and a zone.
const preambleKept = 20

// delimiterDecision says why fields are ended by what.
func (l *Layout) delimiterDecision(line []byte, p *place, log *site.Log) reading.Decision {
	d := reading.Decision{Subject: "fields", Found: "ended by " + delimiterName(l.delimiter)}
	if _, byNumber := log.Numbers(); byNumber {
		d.Because = fmt.Sprintf("%d fields with a time in column %d", len(p.fields)+p.blank, p.time+1)
		return d
	}
	d.Because = fmt.Sprintf("%d of the %d columns of the site file stand in the header", p.agreement, wanted(log))
	var otherwise []string
	for _, delimiter := range []byte(delimiters) {
		trial := Layout{delimiter: delimiter}
		if fields, ok := trial.split(line); delimiter != l.delimiter && ok && len(fields) > 1 {
			otherwise = append(otherwise, fmt.Sprintf("%s: the time column is not found", delimiterName(delimiter)))
		}
	}
	d.Otherwise = strings.Join(otherwise, "; ")
	return d
}

// wanted counts the columns that the site file names.
func wanted(log *site.Log) int {
	n := 0
	for _, c := range append(log.Columns[:], log.Time, log.TimeOfDay) {
		if c.Name != "" {
			n++
		}
	}
	return n
}

// delimiterName names a delimiter for people.
func delimiterName(delimiter byte) string {
	switch delimiter {
	case '\t':
		return "tab"
	case ';':
		return "semicolon"
	case '|':
		return "bar"
	}
	return "comma"
}

// latin returns a text; bytes that are not UTF-8 are read as Windows-1252, of which the signs of units (° ² ³ µ) have
// their Unicode numbers.
func latin(text []byte) string {
	if utf8.Valid(text) {
		return string(text)
	}
	var out []rune
	for _, b := range text {
		out = append(out, rune(b))
	}
	return string(out)
}

// takeUnitRows takes up to three more header rows below the names: a row whose time column is no time and none of whose
// fields is a number. Units found there go behind the names that have none; what else the rows say (kind of statistic)
// is left.
func (l *Layout) takeUnitRows(lines [][]byte) {
	for range 3 {
		if int(l.HeaderLine) == len(lines) {
			return
		}
		fields, ok := l.split(lines[l.HeaderLine])
		if fields = l.withoutTrailer(fields); !ok || len(fields) != len(l.Header) || !isUnitRow(fields) {
			return
		}
		for i, f := range fields {
			unit := strings.Trim(latin(f), "()[] ")
			if slices.Contains(statistics, strings.ToLower(unit)) {
				bare, _ := reading.SplitUnit(l.Header[i])
				l.notes.statistics = append(l.notes.statistics, bare+" "+unit)
			}
			if _, has := reading.SplitUnit(l.Header[i]); has == "" && unit != "" {
				if _, err := quantity.LookUp(unit); err == nil {
					l.Header[i] += " (" + unit + ")"
				}
			}
		}
		l.HeaderLine++
	}
}

// isUnitRow reports whether a row is one of units or statistics, and no reading.
func isUnitRow(fields [][]byte) bool {
	return !slices.ContainsFunc(fields, isData) && slices.ContainsFunc(fields, isHeaderWord)
}

// withoutTrailer takes off fields beyond the header: blank ones, and those below names that are blank.
func (l *Layout) withoutTrailer(fields [][]byte) [][]byte {
	return withoutTrailer(fields, len(l.Header), l.blank)
}

// withoutTrailer takes off fields beyond n: blank ones, and all of the next few.
func withoutTrailer(fields [][]byte, n, few int) [][]byte {
	for len(fields) > n && (len(fields[len(fields)-1]) == 0 || len(fields) <= n+few) {
		fields = fields[:len(fields)-1]
	}
	return fields
}

// statistics are the words by which header rows say what a value is over its interval.
var statistics = []string{
	"avg", "average", "mean", "min", "max", "smp", "sample", "inst", "instantaneous", "tot", "total", "std",
}

// isHeaderWord reports whether a field is a unit or a kind of statistic: what a header row below the names holds.
func isHeaderWord(f []byte) bool {
	word := strings.Trim(latin(f), "()[] ")
	_, err := quantity.LookUp(word)
	return err == nil || slices.Contains(statistics, strings.ToLower(word))
}

// isData reports whether a field is a number or a time.
func isData(f []byte) bool {
	if _, err := parseStamp(f); err == nil {
		return true
	}
	_, point := slowNumber(f, '.')
	_, comma := slowNumber(f, ',')
	return point || comma
}

func toStrings(fields [][]byte) []string {
	var out []string
	for _, f := range fields {
		if len(f) > 0 {
			out = append(out, fmt.Sprintf("%q", shorten(f)))
		}
	}
	return out
}

// countMatches counts the columns that the site file names and a header line holds.
func countMatches(fields [][]byte, log *site.Log) int {
	n := 0
	for _, c := range append(log.Columns[:], log.Time, log.TimeOfDay) {
		if c.Name != "" && slices.ContainsFunc(fields, func(f []byte) bool { return c.Called(latin(f)) }) {
			n++
		}
	}
	return n
}

// planColumns assigns the columns of the file and their units.
func (l *Layout) planColumns(file string, log *site.Log) *problem.Problem {
	l.plan = make([]int, len(l.Header))
	for i := range l.plan {
		l.plan[i] = skipColumn
	}
	if bad := l.assign(file, log.Time, timeColumn); bad != nil {
		return bad
	}
	if log.TimeOfDay.Given() {
		if bad := l.assign(file, log.TimeOfDay, timeOfDay); bad != nil {
			return bad
		}
	}
	for q, c := range log.Columns {
		if !c.Given() {
			continue
		}
		if bad := l.assign(file, c, q); bad != nil {
			return bad
		}
		place := problem.Place{File: file, Line: int(l.HeaderLine)}
		unit, bad := c.UnitIn(place, l.Header[slices.Index(l.plan, q)], reading.Quantity(q))
		if bad != nil {
			return bad
		}
		l.Units[q] = unit
		if odd := c.Contradicts(l.Header[slices.Index(l.plan, q)], reading.Quantity(q)); odd != "" {
			l.Odd = append(l.Odd, odd)
		}
	}
	return nil
}

// assign finds the one column that the site file means.
func (l *Layout) assign(file string, c site.Column, target int) *problem.Problem {
	found := c.Find(len(l.Header)+l.blank, l.name)
	switch {
	case len(found) > 1:
		return problem.At(problem.Place{File: file, Line: int(l.HeaderLine)},
			fmt.Sprintf("columns %d and %d are both named %q", found[0]+1, found[1]+1, c.Name),
			"one column of that name", "write the whole header text in the site file, or number = "+
				fmt.Sprint(found[0]+1))
	case len(found) == 0 && c.Number > 0:
		return problem.At(c.Place, fmt.Sprintf("%s has no %s", file, c.Words()),
			fmt.Sprintf("a number from 1 to %d", len(l.Header)), "")
	case len(found) == 0:
		return problem.At(c.Place, fmt.Sprintf("%s has no %s", file, c.Words()), "a column of its header",
			problem.Suggest(c.Name, l.bareNames()))
	}
	for len(l.Header) <= found[0] { // a column without a name, at the end
		l.Header, l.plan, l.blank = append(l.Header, ""), append(l.plan, skipColumn), l.blank-1
	}
	if l.plan[found[0]] != skipColumn {
		return problem.At(c.Place, c.Words()+" is given two meanings", "one meaning a column", "")
	}
	l.plan[found[0]] = target
	return nil
}

// name is the header of a column; "" for one that has none.
func (l *Layout) name(i int) string {
	if i < len(l.Header) {
		return l.Header[i]
	}
	return ""
}

// bareNames lists the columns without their units, for suggestions.
func (l *Layout) bareNames() (names []string) {
	for _, field := range l.Header {
		if bare, _ := reading.SplitUnit(field); bare != "" {
			names = append(names, bare)
		}
	}
	return names
}
