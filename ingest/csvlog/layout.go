package csvlog

import (
	"bytes"
	"fmt"
	"math"
	"slices"
	"strings"
	"unicode/utf8"

	"retotal/ingest/problem"
	"retotal/ingest/quantity"
	"retotal/ingest/reading"
	"retotal/ingest/site"
)

// Layout is how a CSV file is written: one decision for the whole file.
type Layout struct {
	delimiter, eol, decimal byte
	absolute                bool  // stamps carry an offset from UTC
	datesOnly               bool  // stamps have no time of day
	epoch                   int64 // stamps are a count of this many nanoseconds since 1970 UTC; 0 for dates
	order                   order
	Packing                 string // "plain", "gzip" or "zstd"
	UTF16                   bool
	OrderReason             string // what settled the order of day and month; "" for year first
	Header                  []string
	HeaderLine              int32
	headerEnd               int // bytes up to the first line after the header, in the decoded text
	plan                    []int
	Units                   [reading.Count]quantity.Unit
	Resolution              [reading.Count]float64 // SI, one step of the last decimal written; 0 when unknown
	crlf                    bool
	stamps                  []stamp // of the sample
	serial                  bool    // stamps are spreadsheet dates, local
	epochs                  []int64 // of the sample, when stamps are counts
}

// Delimiter names the delimiter for people.
func (l *Layout) Delimiter() string {
	switch l.delimiter {
	case '\t':
		return "tab"
	case ';':
		return "semicolon"
	case '|':
		return "bar"
	}
	return "comma"
}

// Start returns what the sample shows, once the order of the date is settled.
func (l *Layout) Start() reading.Start {
	start := reading.Start{Absolute: l.absolute, Resolution: l.Resolution}
	times := l.epochs
	for _, st := range l.stamps {
		if at, ok := st.local(l.order); ok {
			times = append(times, at-st.offset)
		}
	}
	if len(times) > 0 {
		start.First, start.Interval = times[0], reading.MedianStep(times)
	}
	return start
}

// Decimal names the decimal sign.
func (l *Layout) Decimal() string {
	if l.decimal == ',' {
		return "comma"
	}
	return "point"
}

// Terminator names the end of line.
func (l *Layout) Terminator() string {
	switch {
	case l.eol == '\r':
		return "CR"
	case l.crlf:
		return "CR LF"
	}
	return "LF"
}

// DateOrder names the order of the date's parts.
func (l *Layout) DateOrder() string {
	if l.serial {
		return "as spreadsheet days since 1899-12-30"
	}
	switch l.epoch {
	case 1e9:
		return "as seconds since 1970 UTC"
	case 1e6:
		return "as milliseconds since 1970 UTC"
	}
	return l.order.String()
}

// Absolute reports whether the stamps carry an offset from UTC.
func (l *Layout) Absolute() bool { return l.absolute }

// bom is the byte order mark that some programs write in front of UTF-8.
var bom = []byte("\xef\xbb\xbf")

// detect finds the layout from the beginning of a file's decoded text. The order of day and month may stay open: then
// ambiguous is true and the caller settles it from the whole file.
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
	l.findDecimal(rows)
	l.findResolution(rows)
	ambiguous, bad = l.findStamp(file, rows, log)
	return l, ambiguous, bad
}

// refuseBinary reports texts that cannot be a CSV log in UTF-8.
func refuseBinary(place problem.Place, text []byte) *problem.Problem {
	if len(bytes.TrimSpace(bytes.TrimPrefix(text, bom))) == 0 {
		return problem.At(place, "the log is empty", "a header and readings", "")
	}
	if i := bytes.IndexByte(text, 0); i >= 0 {
		place.Line = 1 + bytes.Count(text[:i], []byte("\n"))
		return problem.At(place, fmt.Sprintf("the log is not text: byte %d is NUL", i+1), "CSV text, .csv.gz, .csv.zst or .parquet", "export it from the logger again")
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

// findHeader looks for the first line that holds the name of the time column, under each delimiter, and takes
// the delimiter under which the most columns of the site file are found.
func (l *Layout) findHeader(file string, text []byte, log *site.Log) *problem.Problem {
	const preamble = 200 // lines; longer ones are not searched
	best, first := 0, [][]byte(nil)
	at := 0
	if bytes.HasPrefix(text, bom) {
		at = len(bom)
	}
	for number := int32(1); at < len(text) && number <= preamble; number++ {
		end := bytes.IndexByte(text[at:], l.eol)
		if end < 0 {
			end = len(text) - at
		}
		line := text[at : at+end]
		at = min(at+end+1, len(text))
		for _, delimiter := range []byte(",;\t|") {
			trial := Layout{delimiter: delimiter}
			fields, ok := trial.split(line)
			if ok && len(fields) > len(first) {
				first = fields
			}
			if !ok || len(fields) < 2 || !slices.ContainsFunc(fields, func(f []byte) bool { return matches(latin(f), log.Time.Name) }) {
				continue
			}
			if score := countMatches(fields, log); score > best {
				best, l.delimiter, l.HeaderLine, l.headerEnd = score, delimiter, number, at
				l.Header = l.Header[:0]
				for _, f := range fields {
					l.Header = append(l.Header, latin(f))
				}
			}
		}
		if best > 0 {
			l.takeUnitRows(text, log)
			return l.planColumns(file, log)
		}
	}
	names := toStrings(first)
	return problem.At(problem.Place{File: file}, fmt.Sprintf("no line has a column named %q", log.Time.Name),
		"the header as log.columns.time gives it", "the columns here seem to be: "+strings.Join(names, ", "))
}

// latin returns a text; bytes that are not UTF-8 are read as Windows-1252, of which the signs of units (° ² ³ µ) have their Unicode numbers.
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

// takeUnitRows takes up to three more header rows below the names: a row whose time column is no time and none of whose fields is a
// number. Units found there go behind the names that have none; what else the rows say (kind of statistic) is left.
func (l *Layout) takeUnitRows(text []byte, log *site.Log) {
	for range 3 {
		end := bytes.IndexByte(text[l.headerEnd:], l.eol)
		if end < 0 {
			return
		}
		fields, ok := l.split(text[l.headerEnd : l.headerEnd+end])
		if !ok || len(fields) != len(l.Header) || slices.ContainsFunc(fields, isData) || !slices.ContainsFunc(fields, isHeaderWord) {
			return
		}
		for i, f := range fields {
			unit := strings.Trim(latin(f), "()[] ")
			if _, has := splitUnit(l.Header[i]); has == "" && unit != "" {
				if _, err := quantity.LookUp(unit); err == nil {
					l.Header[i] += " (" + unit + ")"
				}
			}
		}
		l.headerEnd += end + 1
		l.HeaderLine++
	}
}

// statistics are the words by which header rows say what a value is over its interval.
var statistics = []string{"avg", "average", "mean", "min", "max", "smp", "sample", "inst", "instantaneous", "tot", "total", "std"}

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
	for _, c := range log.Columns {
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
	bare, unit := splitUnit(field)
	return unit != "" && strings.EqualFold(bare, name)
}

// splitUnit takes the unit off a header such as "Distance (m)", "Flow [L/s]" or "Level cm".
func splitUnit(field string) (bare, unit string) {
	if n := len(field); n > 0 && (field[n-1] == ')' || field[n-1] == ']') {
		if open := strings.LastIndexAny(field, "(["); open > 0 {
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
			return problem.At(problem.Place{File: file, Line: int(l.HeaderLine)}, fmt.Sprintf("columns %d and %d are both named %q", found+1, i+1, c.Name),
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
		if bare, _ := splitUnit(field); bare != "" {
			names = append(names, bare)
		}
	}
	return names
}

// columnUnit takes the unit from the site file or from the header.
func columnUnit(file string, line int32, field string, q reading.Quantity, c site.Column) (quantity.Unit, *problem.Problem) {
	if c.Unit != nil {
		return *c.Unit, nil
	}
	place := problem.Place{File: file, Line: int(line)}
	remedy := fmt.Sprintf("write log.columns.%s = { name = %q, unit = %q }", q, c.Name, unitExample(q))
	_, text := splitUnit(field)
	if text == "" {
		return quantity.Unit{}, problem.At(place, fmt.Sprintf("column %q names no unit", field), "a unit such as "+unitExample(q), remedy)
	}
	u, err := quantity.LookUp(text)
	if err != nil {
		return u, problem.At(place, fmt.Sprintf("column %q: %v", field, err), "", remedy)
	}
	if want := dimensionOf(q); u.Dimension != want {
		return u, problem.At(place, fmt.Sprintf("column %q: %q is %s, not %s", field, text, u.Dimension, want), "", remedy)
	}
	return u, nil
}

// dimensionOf returns what a quantity is measured in.
func dimensionOf(q reading.Quantity) quantity.Dimension {
	switch q {
	case reading.Flow:
		return quantity.FlowDimension
	case reading.Counter:
		return quantity.VolumeDimension
	case reading.Temperature:
		return quantity.TemperatureDimension
	}
	return quantity.LengthDimension
}

func unitExample(q reading.Quantity) string { return quantity.Unit1(dimensionOf(q)) }

// sampleRows splits the first rows below the header, those with as many fields as it.
func (l *Layout) sampleRows(text []byte) [][][]byte {
	const most = 2000
	var rows [][][]byte
	for _, line := range bytes.Split(text[l.headerEnd:], []byte{l.eol}) {
		if len(rows) == most {
			break
		}
		if fields, ok := l.split(line); ok && len(fields) >= len(l.plan) {
			rows = append(rows, fields)
		}
	}
	return rows
}

// findDecimal takes the comma when the numbers of the sample hold commas and no points, or where a number holds both and the comma comes
// last (1.234,5).
func (l *Layout) findDecimal(rows [][][]byte) {
	l.decimal = '.'
	if l.delimiter == ',' {
		return
	}
	commas, points, commaLast := 0, 0, 0
	for _, fields := range rows {
		for column, target := range l.plan {
			if target >= 0 {
				commas += bytes.Count(fields[column], []byte{','})
				points += bytes.Count(fields[column], []byte{'.'})
				if point := bytes.LastIndexByte(fields[column], '.'); point > 0 && bytes.IndexByte(fields[column], ',') > point {
					commaLast++
				}
			}
		}
	}
	if commas > 0 && points == 0 || commaLast > 0 {
		l.decimal = ','
	}
}

// findResolution takes the most decimals written in each column of the sample.
func (l *Layout) findResolution(rows [][][]byte) {
	for column, target := range l.plan {
		if target < 0 {
			continue
		}
		most := -1
		for _, fields := range rows {
			most = max(most, decimals(fields[column], l.decimal))
		}
		if most >= 0 && most < len(powersOfTen) {
			l.Resolution[target] = math.Abs(l.Units[target].Factor) / powersOfTen[most]
		}
	}
}

// stampOf returns the stamp of a row: one field, or date and time of day joined.
func (l *Layout) stampOf(fields [][]byte, column int) []byte {
	if k := slices.Index(l.plan, timeOfDay); k >= 0 {
		return slices.Concat(fields[column], []byte{' '}, fields[k])
	}
	return fields[column]
}

// findEpoch recognises stamps that count seconds (ten digits) or milliseconds (thirteen) since 1970: years 2001 to 2286.
func (l *Layout) findEpoch(rows [][][]byte, column int) bool {
	for _, fields := range rows {
		for digits, unit := range map[int]int64{10: 1e9, 13: 1e6} {
			if _, ok := parseEpoch(fields[column], unit); ok && len(fields[column]) == digits {
				l.epoch, l.absolute = unit, true
			}
		}
		if l.epoch == 0 {
			return false
		}
		at, ok := parseEpoch(fields[column], l.epoch)
		if ok {
			l.epochs = append(l.epochs, at)
		}
	}
	return l.epoch != 0
}

// findSerial recognises stamps that are spreadsheet dates: days since 1899-12-30 with a fraction, from 1954 to 2119.
func (l *Layout) findSerial(rows [][][]byte, column int) bool {
	for _, fields := range rows {
		at, ok := parseSerial(fields[column], l.decimal)
		if !ok {
			return false
		}
		l.epochs = append(l.epochs, at)
	}
	l.serial = true
	return true
}

// findStamp finds from the sample whether stamps carry an offset, and the order of the date.
func (l *Layout) findStamp(file string, rows [][][]byte, log *site.Log) (ambiguous bool, bad *problem.Problem) {
	column := slices.Index(l.plan, timeColumn)
	if l.findEpoch(rows, column) || l.findSerial(rows, column) {
		return false, nil
	}
	l.epochs = nil
	for _, fields := range rows {
		st, err := parseStamp(l.stampOf(fields, column))
		if err != nil {
			continue
		}
		l.stamps = append(l.stamps, st)
	}
	if len(l.stamps) > 0 {
		st := l.stamps[0]
		l.absolute, l.datesOnly = st.hasOffset, !st.hasTime
		switch {
		case st.yearFirst || st.named:
			l.order = yearFirst
		case log.DayFirst != nil:
			l.order, l.OrderReason = monthFirst, "set by log.date_order"
			if *log.DayFirst {
				l.order = dayFirst
			}
		default:
			return true, nil
		}
		return false, nil
	}
	return false, problem.At(problem.Place{File: file, Line: int(l.HeaderLine) + 1},
		fmt.Sprintf("no time stamp in column %q can be read; the first is %q", l.Header[column], shorten(rows[0][column])),
		"2031-04-02 10:30:00, 2031-04-02T10:30:00Z, 02/04/2031 10:30 or the like", "")
}
