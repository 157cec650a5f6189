package csvlog

import (
	"bytes"
	"fmt"
	"slices"
	"strings"
	"unicode/utf8"

	"retotal/ingest/problem"
	"retotal/ingest/quantity"
	"retotal/ingest/reading"
	"retotal/ingest/site"
)

// findHeader looks for the first line that holds the name of the time column, under each delimiter, and takes
// the delimiter under which the most columns of the site file are found. What stands above it is kept as the preamble.
func (l *Layout) findHeader(file string, text []byte, log *site.Log) *problem.Problem {
	at := 0
	if bytes.HasPrefix(text, bom) {
		at = len(bom)
	}
	var widest [][]byte // the line of most fields, for the message
	for number := int32(1); at < len(text); number++ {
		end := bytes.IndexByte(text[at:], l.eol)
		if end < 0 {
			end = len(text) - at
		}
		line := text[at : at+end]
		at = min(at+end+1, len(text))
		fields := l.tryHeader(line, log)
		if l.Header != nil {
			l.HeaderLine, l.headerEnd = number, at
			l.notes.preambleLines = int(number) - 1
			l.takeUnitRows(text)
			return l.planColumns(file, log)
		}
		if len(fields) > len(widest) {
			widest = fields
		}
		if text := shorten(line); len(l.Preamble) < preambleKept && text != "" {
			l.Preamble = append(l.Preamble, text)
		}
	}
	return problem.At(problem.Place{File: file}, fmt.Sprintf("no line has a column named %q", log.Time.Name),
		"the header as log.columns.time gives it",
		"the columns here seem to be: "+strings.Join(toStrings(widest), ", "))
}

// preambleKept is how many lines above the header are kept: enough for a serial number, a place and a zone.
const preambleKept = 20

// tryHeader makes a line the header if it holds the time column under some delimiter, and returns its fields under the
// delimiter that gives the most.
func (l *Layout) tryHeader(line []byte, log *site.Log) (widest [][]byte) {
	best := 0
	var otherwise []string
	for _, delimiter := range []byte(",;\t|") {
		trial := Layout{delimiter: delimiter}
		fields, ok := trial.split(line)
		if ok && len(fields) > len(widest) {
			widest = fields
		}
		if !ok || len(fields) < 2 {
			continue
		}
		if n := len(fields); n > 1 && len(fields[n-1]) == 0 {
			fields = fields[:n-1] // a trailing delimiter
		}
		if !slices.ContainsFunc(fields, func(f []byte) bool { return matches(latin(f), log.Time.Name) }) {
			otherwise = append(otherwise, fmt.Sprintf("%s: the time column is not found", delimiterName(delimiter)))
			continue
		}
		if score := countMatches(fields, log); score > best {
			best, l.delimiter = score, delimiter
			l.Header = l.Header[:0]
			for _, f := range fields {
				l.Header = append(l.Header, latin(f))
			}
		}
	}
	if best > 0 {
		l.notes.windows1252 = !utf8.Valid(line)
		l.notes.delimiter = reading.Decision{
			Subject:   "fields",
			Found:     "ended by " + delimiterName(l.delimiter),
			Because:   fmt.Sprintf("%d of the %d columns of the site file stand in the header", best, wanted(log)),
			Otherwise: strings.Join(otherwise, "; "),
		}
	}
	return widest
}

// wanted counts the columns that the site file names.
func wanted(log *site.Log) int {
	n := 1
	for _, c := range append(log.Columns[:], log.TimeOfDay) {
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
func (l *Layout) takeUnitRows(text []byte) {
	for range 3 {
		end := bytes.IndexByte(text[l.headerEnd:], l.eol)
		if end < 0 {
			return
		}
		fields, ok := l.split(text[l.headerEnd : l.headerEnd+end])
		if fields = l.withoutTrailer(fields); !ok || len(fields) != len(l.Header) || !isUnitRow(fields) {
			return
		}
		for i, f := range fields {
			unit := strings.Trim(latin(f), "()[] ")
			if slices.Contains(statistics, strings.ToLower(unit)) {
				bare, _ := SplitUnit(l.Header[i])
				l.notes.statistics = append(l.notes.statistics, bare+" "+unit)
			}
			if _, has := SplitUnit(l.Header[i]); has == "" && unit != "" {
				if _, err := quantity.LookUp(unit); err == nil {
					l.Header[i] += " (" + unit + ")"
				}
			}
		}
		l.headerEnd += end + 1
		l.HeaderLine++
	}
}

// isUnitRow reports whether a row is one of units or statistics, and no reading.
func isUnitRow(fields [][]byte) bool {
	return !slices.ContainsFunc(fields, isData) && slices.ContainsFunc(fields, isHeaderWord)
}

// withoutTrailer takes off the empty field that a trailing delimiter makes.
func (l *Layout) withoutTrailer(fields [][]byte) [][]byte {
	if n := len(l.Header); len(fields) == n+1 && len(fields[n]) == 0 {
		return fields[:n]
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

// countMatches counts the columns of the site file that a header line holds.
func countMatches(fields [][]byte, log *site.Log) int {
	n := 1 // the time column
	for _, c := range append(log.Columns[:], log.TimeOfDay) {
		if c.Name != "" && slices.ContainsFunc(fields, func(f []byte) bool { return matches(latin(f), c.Name) }) {
			n++
		}
	}
	return n
}

// matches reports whether a header field is the column of that name: the same text, or the name followed by a unit.
func matches(field, name string) bool {
	if strings.EqualFold(field, name) {
		return true
	}
	bare, unit := SplitUnit(field)
	return unit != "" && strings.EqualFold(bare, name)
}

// SplitUnit takes the unit off a header such as "Distance (m)", "Flow [L/s]" or "Level cm".
func SplitUnit(field string) (bare, unit string) {
	if n := len(field); n > 0 && (field[n-1] == ')' || field[n-1] == ']') {
		if open := opening(field); open > 0 {
			return strings.TrimSpace(field[:open]), strings.TrimSpace(field[open+1 : n-1])
		}
	}
	if blank := strings.LastIndexByte(field, ' '); blank > 0 {
		if _, err := quantity.LookUp(field[blank+1:]); err == nil {
			return strings.TrimSpace(field[:blank]), field[blank+1:]
		}
	}
	return field, ""
}

// opening returns where the bracket opens that the last character closes; −1 when it does not.
func opening(field string) int {
	depth := 0
	for i := len(field) - 1; i >= 0; i-- {
		switch field[i] {
		case ')', ']':
			depth++
		case '(', '[':
			if depth--; depth == 0 {
				return i
			}
		}
	}
	return -1
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
	if log.TimeOfDay.Name != "" {
		if bad := l.assign(file, log.TimeOfDay, timeOfDay); bad != nil {
			return bad
		}
	}
	for q, c := range log.Columns {
		if c.Name == "" {
			continue
		}
		if bad := l.assign(file, c, q); bad != nil {
			return bad
		}
		unit, bad := columnUnit(file, l.HeaderLine, l.Header[slices.Index(l.plan, q)], reading.Quantity(q), c)
		if bad != nil {
			return bad
		}
		l.Units[q] = unit
	}
	return nil
}

// assign finds the one column of a name.
func (l *Layout) assign(file string, c site.Column, target int) *problem.Problem {
	found := -1
	for i, field := range l.Header {
		if !matches(field, c.Name) {
			continue
		}
		if found >= 0 {
			return problem.At(problem.Place{File: file, Line: int(l.HeaderLine)},
				fmt.Sprintf("columns %d and %d are both named %q", found+1, i+1, c.Name),
				"one column of that name", "write the whole header text in the site file")
		}
		found = i
	}
	if found < 0 {
		return problem.At(c.Place, fmt.Sprintf("%s has no column named %q", file, c.Name), "a column of its header",
			problem.Suggest(c.Name, l.bareNames()))
	}
	if l.plan[found] != skipColumn {
		return problem.At(c.Place, fmt.Sprintf("column %q is given two meanings", c.Name), "one meaning a column", "")
	}
	l.plan[found] = target
	return nil
}

// bareNames lists the columns without their units, for suggestions.
func (l *Layout) bareNames() (names []string) {
	for _, field := range l.Header {
		if bare, _ := SplitUnit(field); bare != "" {
			names = append(names, bare)
		}
	}
	return names
}

// columnUnit takes the unit from the site file or from the header.
func columnUnit(
	file string, line int32, field string, q reading.Quantity, c site.Column,
) (quantity.Unit, *problem.Problem) {
	if c.Unit != nil {
		return *c.Unit, nil
	}
	place := problem.Place{File: file, Line: int(line)}
	remedy := fmt.Sprintf("write log.columns.%s = { name = %q, unit = %q }", q, c.Name, unitExample(q))
	_, text := SplitUnit(field)
	if text == "" {
		return quantity.Unit{},
			problem.At(place, fmt.Sprintf("column %q names no unit", field), "a unit such as "+unitExample(q), remedy)
	}
	u, err := quantity.LookUp(text)
	if err != nil {
		return u, problem.At(place, fmt.Sprintf("column %q: %v", field, err), "", remedy)
	}
	if want := q.Dimension(); u.Dimension != want {
		return u,
			problem.At(place, fmt.Sprintf("column %q: %q is %s, not %s", field, text, u.Dimension, want), "", remedy)
	}
	return u, nil
}

func unitExample(q reading.Quantity) string { return quantity.Unit1(q.Dimension()) }
