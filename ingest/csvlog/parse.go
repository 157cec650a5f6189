package csvlog

import (
	"bytes"
	"encoding/binary"
	"encoding/csv"
	"slices"
	"strings"
	"time"
	"unicode"

	"retotal/ingest/reading"
	"retotal/ingest/site"
)

// The reasons for which a row is rejected.
const (
	reasonTime   = "time stamp is not readable"
	reasonOffset = "time stamp has no offset from UTC, unlike the rows before it"
	reasonZone   = "time stamp has an offset from UTC, unlike the rows before it"
	reasonDate   = "time stamp has no time of day, unlike the rows before it"
	reasonFields = "row has not as many fields as the header"
	reasonQuote  = "quotes are not closed on the line"
	reasonHeader = "header written again"
)

// targets of a column beside the quantities.
const (
	skipColumn = -1
	timeColumn = -2
	timeOfDay  = -3 // the time of day, when timeColumn holds the date alone
)

// parser turns lines into readings. Each worker has its own, for the day that it remembers.
type parser struct {
	layout  *Layout
	columns []column
	has     [reading.Count]bool
	primary reading.Quantity

	rows     int      // of the batch, so far
	whole    bool     // no value of the batch is absent, so far
	day      [10]byte // the date text last met, and what it means
	dayStart int64
}

// column is one column of the file and where its values go.
type column struct {
	target         int // a quantity, timeColumn or skipColumn
	required       bool
	factor, offset float64      // to SI
	spec           *site.Column // what the site file says of it
	coded          bool         // some numbers stand for no value
	most           float64      // SI, greatest value of either sign that a cell may hold
	values         []float64
	states         []reading.State
}

// toSI converts a value of the column, as quantity.Unit.ToSI does.
func (c *column) toSI(v float64) float64 {
	if c.offset == 0 {
		return v * c.factor
	}
	return float64(v*c.factor) + c.offset
}

// parse reads a block of whole lines, each ended by the layout's terminator, into the batch. Lines count from 1.
func (p *parser) parse(text []byte, b *reading.Batch) (lines int32) {
	b.Reset(p.has)
	p.rows, p.whole = 0, true
	p.makeRoom(b, bytes.Count(text, []byte{p.layout.eol}))
	for pos := 0; pos < len(text); {
		lines++
		next, ok := p.fastLine(text, pos, b)
		if !ok {
			end := pos + bytes.IndexByte(text[pos:], p.layout.eol)
			ok = p.slowLine(text[pos:end], lines, b)
			next = end + 1
		}
		if ok {
			b.Line[p.rows] = lines
			p.rows++
		}
		pos = next
	}
	b.Slice(0, p.rows)
	b.Read = p.rows + len(b.Rejected)
	b.Whole = p.whole
	return lines
}

// makeRoom lengthens the columns to the number of lines; a row is written in place and counts once it is whole.
func (p *parser) makeRoom(b *reading.Batch, lines int) {
	b.Time, b.Line = slices.Grow(b.Time[:0], lines)[:lines], slices.Grow(b.Line[:0], lines)[:lines]
	for q := range p.has {
		if p.has[q] {
			b.Value[q] = slices.Grow(b.Value[q][:0], lines)[:lines]
			b.State[q] = slices.Grow(b.State[q][:0], lines)[:lines]
			clear(b.State[q])
		}
	}
	for i := range p.columns {
		if c := &p.columns[i]; c.target >= 0 {
			c.values, c.states = b.Value[c.target], b.State[c.target]
		}
	}
}

// fastLine reads one clean line into the next row. For any line that is not clean it returns false; slowLine then
// writes the row anew or decides what else the line is.
func (p *parser) fastLine(text []byte, pos int, b *reading.Batch) (next int, ok bool) {
	delimiter, eol, decimal, row, last := p.layout.delimiter, p.layout.eol, p.layout.decimal, p.rows, len(p.columns)-1
	if decimal == delimiter { // quoted fields only
		return 0, false
	}
	for i := range p.columns {
		c := &p.columns[i]
		switch {
		case c.target >= 0:
			if text[pos] == delimiter && !c.required {
				c.values[row], c.states[row] = 0, reading.Empty
				p.whole = false
				break
			}
			var v float64
			if v, pos, ok = fastNumber(text, pos, decimal); !ok {
				return 0, false
			}
			if c.coded && (c.spec.Absent(v) || c.spec.IsSuspect(v)) {
				return 0, false // slowValue knows it
			}
			if v = c.toSI(v); v > c.most || v < -c.most {
				return 0, false
			}
			c.values[row] = v
		case c.target == timeOfDay:
			return 0, false // two columns take the slow way
		case c.target == timeColumn:
			if b.Time[row], pos, ok = p.fastStamp(text, pos); !ok {
				return 0, false
			}
		default:
			for x := text[pos]; x != delimiter && x != eol; x = text[pos] {
				if x == '"' {
					return 0, false
				}
				pos++
			}
			if text[pos] == '\n' && pos > 0 && text[pos-1] == '\r' {
				pos-- // leave CR LF to the end of the row
			}
		}
		if i < last {
			if text[pos] != delimiter {
				return 0, false
			}
			pos++
		}
	}
	for text[pos] == delimiter { // blank fields beyond the header
		pos++
	}
	if text[pos] == '\r' && eol == '\n' {
		pos++
	}
	if text[pos] != eol {
		return 0, false
	}
	return pos + 1, true
}

// fastStamp reads a stamp of fixed width: a date of ten bytes, a blank or T, hh:mm or hh:mm:ss, and Z where the file
// writes offsets. The date is looked up only when it differs from the last one.
func (p *parser) fastStamp(text []byte, pos int) (at int64, next int, ok bool) {
	if len(text)-pos < 20 {
		return 0, 0, false
	}
	if p.layout.epoch.Unit > 0 || p.layout.serial {
		return 0, 0, false
	}
	t := text[pos : pos+20 : pos+20]
	if binary.LittleEndian.Uint64(t) != binary.LittleEndian.Uint64(p.day[:]) || t[8] != p.day[8] || t[9] != p.day[9] {
		if !p.newDay(t[:10]) {
			return 0, 0, false
		}
	}
	h, m := 10*int64(t[11]-'0')+int64(t[12]-'0'), 10*int64(t[14]-'0')+int64(t[15]-'0')
	if t[10] != ' ' && t[10] != 'T' || t[13] != ':' ||
		!isDigit(t[11]) || !isDigit(t[12]) || !isDigit(t[14]) || !isDigit(t[15]) || h > 23 || m > 59 {
		return 0, 0, false
	}
	second := int64(0)
	next = pos + 16
	if t[16] == ':' {
		if !isDigit(t[17]) || !isDigit(t[18]) || t[17] > '5' {
			return 0, 0, false
		}
		second = 10*int64(t[17]-'0') + int64(t[18]-'0')
		next = pos + 19
	}
	if p.layout.absolute {
		if text[next] != 'Z' {
			return 0, 0, false
		}
		next++
	}
	at = p.dayStart + (h*3600+m*60+second)*int64(time.Second)
	return at, next, at != p.dayStart || !p.layout.midnightEnds
}

// newDay makes a date of ten bytes the remembered one.
func (p *parser) newDay(date []byte) bool {
	st, err := parseStamp(date)
	if err != nil || st.nanosecond != 0 {
		return false
	}
	start, ok := st.local(p.layout.order)
	if ok {
		copy(p.day[:], date)
		p.dayStart = start
	}
	return ok
}

// slowLine decides what one line is: a reading written in an unusual way, which it writes into the next row, or a row
// to reject, or blank.
func (p *parser) slowLine(line []byte, number int32, b *reading.Batch) bool {
	if len(trim(line)) == 0 {
		return false
	}
	reason := p.slowRow(line, b)
	if reason != "" {
		for q := range p.has { // the next row takes the place of this one
			if p.has[q] {
				b.State[q][p.rows] = reading.Present
			}
		}
		if b.Suspect != nil {
			b.Suspect[p.rows] = false
		}
		b.Rejected = append(b.Rejected, reading.Rejection{Line: number, Reason: reason, Text: shorten(line)})
	}
	return reason == ""
}

// slowRow writes a line into the next row and returns "", or the reason why it cannot.
func (p *parser) slowRow(line []byte, b *reading.Batch) (reason string) {
	fields, ok := p.layout.split(line)
	if !ok {
		return reasonQuote
	}
	if fields = p.layout.withoutTrailer(fields); len(fields) != len(p.columns) {
		return reasonFields
	}
	for i := range p.columns {
		c := &p.columns[i]
		switch {
		case c.target == timeColumn:
			b.Time[p.rows], reason = p.slowStamp(p.layout.stampOf(fields, i))
			if reason == reasonTime && p.layout.isHeader(fields) {
				return reasonHeader
			}
			if reason != "" {
				return reason
			}
		case c.target >= 0:
			v, state := p.slowValue(fields[i], c, b)
			c.values[p.rows], c.states[p.rows] = v, state
			p.whole = p.whole && state == reading.Present
		}
	}
	if state := b.State[p.primary][p.rows]; state != reading.Present {
		reason = p.primary.Reason(state)
	}
	return reason
}

// noValue are the texts by which programs write that there is no value.
var noValue = []string{"nan", "na", "n/a", "null", "none", "-", "--", "---", "#n/a"}

// slowValue reads one field of a quantity.
func (p *parser) slowValue(field []byte, c *column, b *reading.Batch) (float64, reading.State) {
	if len(field) == 0 || slices.Contains(c.spec.Missing, string(field)) ||
		slices.Contains(noValue, strings.ToLower(string(field))) {
		return 0, reading.Empty
	}
	v, ok := slowNumber(field, p.layout.decimal)
	switch {
	case !ok:
		if _, otherwise := slowNumber(field, '.'+','-p.layout.decimal); otherwise {
			b.Misled++
		}
		return 0, reading.Illegible
	case c.spec.Absent(v):
		return 0, reading.Empty
	case c.required && c.spec.IsSuspect(v):
		b.MarkSuspect(p.rows, cap(b.Time))
	}
	v = c.toSI(v)
	if state := reading.Quantity(c.target).Check(v); state != reading.Present {
		return 0, state
	}
	return v, reading.Present
}

// slowStamp reads any stamp of the grammar, with the reason when it cannot be used.
func (p *parser) slowStamp(field []byte) (int64, string) {
	if p.layout.serial {
		if at, ok := parseSerial(field, p.layout.decimal); ok {
			return at, ""
		}
		return 0, reasonTime
	}
	if p.layout.epoch.Unit > 0 {
		if at, ok := parseEpoch(field, p.layout.epoch.Unit); ok {
			return at, ""
		}
		return 0, reasonTime
	}
	st, err := parseStamp(field)
	if err != nil {
		return 0, reasonTime
	}
	at, ok := p.layout.meaning(st)
	if !ok {
		other := dayFirst + monthFirst - p.layout.order
		if _, otherwise := st.local(other); otherwise && !st.yearFirst && !st.named && p.layout.order != yearFirst {
			return 0, reading.MixedDates
		}
		return 0, reasonTime
	}
	if !st.hasTime && !p.layout.datesOnly {
		return 0, reasonDate
	}
	if st.hasOffset != p.layout.absolute {
		if st.hasOffset {
			return 0, reasonZone
		}
		return 0, reasonOffset
	}
	return at, ""
}

// isHeader reports whether a row is the header, or one of its rows of units, written again.
func (l *Layout) isHeader(fields [][]byte) bool {
	column := slices.Index(l.plan, timeColumn)
	name, _ := reading.SplitUnit(l.Header[column])
	return site.Column{Name: name}.Called(latin(fields[column])) || isUnitRow(fields)
}

// split cuts a line into trimmed fields; lines with quotes go through encoding/csv.
func (l *Layout) split(line []byte) ([][]byte, bool) {
	var fields [][]byte
	if bytes.IndexByte(line, '"') >= 0 {
		r := csv.NewReader(bytes.NewReader(append(trimEnd(line), '\n')))
		r.Comma, r.FieldsPerRecord, r.TrimLeadingSpace = rune(l.delimiter), -1, l.delimiter != '\t'
		record, err := r.Read()
		if err != nil {
			return nil, false
		}
		for _, f := range record {
			fields = append(fields, trim([]byte(f)))
		}
		return fields, true
	}
	for _, f := range bytes.Split(line, []byte{l.delimiter}) {
		fields = append(fields, trim(f))
	}
	return fields, true
}

// trimEnd copies a line without the carriage return at its end.
func trimEnd(line []byte) []byte {
	return append([]byte(nil), bytes.TrimSuffix(line, []byte{'\r'})...)
}

// shorten makes a line fit for a message.
func shorten(line []byte) string {
	text := []rune(latin(trim(line)))
	for i, r := range text {
		if unicode.IsControl(r) {
			text[i] = '?'
		}
	}
	if len(text) > 60 {
		return string(text[:60]) + "…"
	}
	return string(text)
}
