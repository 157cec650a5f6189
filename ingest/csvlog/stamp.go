package csvlog

import (
	"bytes"
	"errors"
	"math"
	"strings"
	"time"
)

// order is the order of year, month and day in the dates of a file.
type order int

const (
	yearFirst order = iota
	dayFirst
	monthFirst
)

func (o order) String() string {
	return [...]string{"year-month-day", "day first", "month first"}[o]
}

// stamp is a time as it is written: its parts in writing order, not yet given a meaning.
type stamp struct {
	a, b, c    int // the three numbers of the date
	yearFirst  bool
	shortYear  bool  // the year has two digits, in first or last place
	named      bool  // the month has a name, so the order of day and month is not in question
	half       bool  // the clock counts twelve hours, with AM or PM
	nanosecond int64 // of the day
	hasTime    bool
	hasOffset  bool
	offset     int64 // nanoseconds east of UTC
}

var errStamp = errors.New("not a time")

// parseStamp reads the grammar of time stamps: a date, then, after blanks or T, h:mm, h:mm:ss or h:mm:ss.fraction, with
// AM or PM for a clock of twelve hours, or hhmm or hhmmss; then Z or an offset. 24:00 ends the day. Without a time the
// stamp is midnight.
func parseStamp(text []byte) (stamp, error) {
	s := scanner{text: trim(text)}
	var st stamp
	if !s.date(&st) {
		return st, errStamp
	}
	if s.done() {
		return st, nil
	}
	if !s.skip('T') && !s.skip(' ') && !s.skip(',') && !(st.compact() && isDigit(s.text[s.at])) {
		return st, errStamp
	}
	for s.skip(' ') {
	}
	if !s.timeOfDay(&st) || !s.zone(&st) || !s.done() {
		return st, errStamp
	}
	return st, nil
}

// compact reports whether the date was written without separators, so that the time may follow at once.
func (st *stamp) compact() bool { return st.yearFirst && !st.shortYear }

// date reads a date of three parts with one separator (- / . or a blank before a named month), the year of four digits
// first or last or all parts of two; yyyymmdd; or a named month in front, as in Apr 2, 2031.
func (s *scanner) date(st *stamp) bool {
	if n := s.leading(); n == 8 || n == 12 || n == 14 {
		date, _ := s.number(8)
		st.a, st.b, st.c, st.yearFirst = date/10000, date/100%100, date%100, true
		return true
	}
	if st.b, _ = s.month(); st.b > 0 {
		st.named = true
		s.skip('.')
		digits := 0
		if !s.skip(' ') {
			return false
		}
		if st.a, digits = s.number(2); digits == 0 {
			return false
		}
		s.skip(',')
		if !s.skip(' ') {
			return false
		}
		st.c, digits = s.number(4)
		return digits == 4
	}
	var digits [3]int
	st.a, digits[0] = s.number(4)
	separator := s.next()
	if st.b, digits[1] = s.number(2); digits[1] == 0 {
		st.b, digits[1] = s.month()
		st.named = digits[1] > 0
	}
	if separator != '-' && separator != '/' && separator != '.' && !(st.named && separator == ' ') ||
		s.next() != separator {
		return false
	}
	st.c, digits[2] = s.number(4)
	st.yearFirst = digits[0] == 4
	st.shortYear = digits[0] == 2 && digits[2] == 2 && !st.named
	switch {
	case digits[1] == 0, digits[0] == 0, digits[2] == 0, digits[0] == 3, digits[2] == 3:
		return false
	case st.yearFirst:
		return digits[2] <= 2
	}
	return st.shortYear || digits[2] == 4
}

// timeOfDay reads h:mm[:ss[.fraction]], hhmm or hhmmss.
func (s *scanner) timeOfDay(st *stamp) bool {
	compact := s.leading()
	h, digits := s.number(2)
	if digits == 0 || compact < 4 && !s.skip(':') {
		return false
	}
	m, digits := s.number(2)
	second, fraction := 0, int64(0)
	if digits != 2 || compact > 2 && compact != 4 && compact != 6 {
		return false
	}
	if s.skip(':') || compact == 6 {
		if second, digits = s.number(2); digits != 2 {
			return false
		}
		if s.skip('.') || s.skip(',') {
			scale := int64(time.Second)
			for !s.done() && isDigit(s.text[s.at]) {
				scale /= 10 // digits beyond nanoseconds add nothing
				fraction += int64(s.next()-'0') * scale
			}
		}
	}
	st.hasTime = true
	if half := s.halfOfDay(); half != 0 {
		if st.half = true; h < 1 || h > 12 {
			return false
		}
		if h %= 12; half == 'p' {
			h += 12
		}
	}
	endOfDay := h == 24 && m == 0 && second == 0 && fraction == 0
	if (h > 23 && !endOfDay) || m > 59 || second > 59 {
		return false
	}
	st.nanosecond = (int64(h)*3600+int64(m)*60+int64(second))*int64(time.Second) + fraction
	return true
}

// halfOfDay reads AM or PM, in either case, after blanks; it returns 'a', 'p' or 0.
func (s *scanner) halfOfDay() byte {
	at := s.at
	for s.skip(' ') {
	}
	if len(s.text)-s.at >= 2 {
		if half, m := s.text[s.at]|0x20, s.text[s.at+1]|0x20; m == 'm' && (half == 'a' || half == 'p') {
			s.at += 2
			return half
		}
	}
	s.at = at
	return 0
}

// monthNames are the names of months beside the English ones, and their usual short forms, by their first letters:
// German, French, Spanish, Italian, Portuguese, Dutch (common practice). A name means the month of the longest
// beginning that fits.
var monthNames = map[string]time.Month{
	"januar": 1, "jänner": 1, "jän": 1, "janv": 1, "enero": 1, "ene": 1, "genn": 1, "gen": 1,
	"februar": 2, "févr": 2, "fév": 2, "fevr": 2, "febr": 2, "fev": 2,
	"märz": 3, "mär": 3, "mrz": 3, "mars": 3, "mrt": 3, "maart": 3, "marzo": 3, "março": 3,
	"avr": 4, "abr": 4, "mai": 5, "mayo": 5, "mag": 5, "maio": 5, "mei": 5,
	"juin": 6, "giu": 6, "juil": 7, "lug": 7, "août": 8, "aout": 8, "ago": 8,
	"set": 9, "okt": 10, "out": 10, "ott": 10, "dez": 12, "déc": 12, "dic": 12,
}

// month reads the name of a month, whole or a short form of three letters or more.
func (s *scanner) month() (number, letters int) {
	start := s.at
	for !s.done() && (s.text[s.at]|0x20 >= 'a' && s.text[s.at]|0x20 <= 'z' || s.text[s.at] >= 0x80) {
		s.at++
	}
	name := strings.ToLower(latin(s.text[start:s.at]))
	for m := time.January; m <= time.December && len(name) >= 3; m++ {
		if full := strings.ToLower(m.String()); name == full ||
			name == full[:3] || name == "sept" && m == time.September {
			return int(m), len(name)
		}
	}
	for n := len(name); n >= 3; n-- {
		if m, ok := monthNames[name[:n]]; ok {
			return int(m), len(name)
		}
	}
	s.at = start
	return 0, 0
}

// zone reads nothing, Z, +hh:mm, +hhmm or +hh.
func (s *scanner) zone(st *stamp) bool {
	for s.skip(' ') {
	}
	if s.done() {
		return true
	}
	st.hasOffset = true
	if s.skip('Z') {
		return true
	}
	sign := int64(1)
	if s.skip('-') {
		sign = -1
	} else if !s.skip('+') {
		return false
	}
	h, digits := s.number(2)
	if digits != 2 || h > 15 {
		return false
	}
	s.skip(':')
	m, digits := s.number(2)
	if digits == 1 || m > 59 {
		return false
	}
	st.offset = sign * int64(h*60+m) * int64(time.Minute)
	return true
}

// parseEpoch reads a number of units of so many nanoseconds since 1970; digits beyond nanoseconds add nothing.
func parseEpoch(text []byte, unit int64) (int64, bool) {
	s := scanner{text: trim(text)}
	v, digits := s.number(19)
	if digits < 9 || v < 0 || int64(v) > math.MaxInt64/unit-1 {
		return 0, false
	}
	at := int64(v) * unit
	if s.skip('.') || s.skip(',') {
		for scale := unit / 10; !s.done() && isDigit(s.text[s.at]); scale /= 10 {
			at += int64(s.next()-'0') * scale
		}
	}
	return at, s.done()
}

// parseSerial reads a spreadsheet date, to the nearest millisecond: as local nanoseconds since 1970.
func parseSerial(text []byte, decimal byte) (int64, bool) {
	v, ok := slowNumber(trim(text), decimal)
	if bytes.ContainsAny(text, "eE") { // a spreadsheet rounded it
		return 0, false
	}
	if !ok || v < 20000 || v > 80000 {
		return 0, false
	}
	const day1970 = 25569 // 1970-01-01 in days since 1899-12-30
	return int64(math.Round((v-day1970)*86400e3)) * int64(time.Millisecond), true
}

// local gives the stamp its meaning in one order: nanoseconds since 1970 as if the clock showed UTC. It fails for
// a day that the calendar does not have.
func (st stamp) local(o order) (int64, bool) {
	year, month, day := st.c, st.b, st.a
	switch {
	case st.yearFirst, st.shortYear && o == yearFirst:
		year, day = st.a, st.c
	case st.named:
	case o == monthFirst:
		month, day = st.a, st.b
	case o == yearFirst:
		return 0, false
	}
	if st.shortYear {
		year += 2000
	}
	d, ok := dayNumber(year, month, day)
	return d*int64(24*time.Hour) + st.nanosecond, ok
}

// dayNumber counts days since 1970-01-01 in the Gregorian calendar, for years 1900 to 2200.
func dayNumber(year, month, day int) (int64, bool) {
	if year < 1900 || year > 2200 || month < 1 || month > 12 || day < 1 || day > 31 {
		return 0, false
	}
	t := time.Date(year, time.Month(month), day, 0, 0, 0, 0, time.UTC)
	return t.Unix() / 86400, t.Day() == day
}

// scanner walks over the bytes of one field.
type scanner struct {
	text []byte
	at   int
}

func (s *scanner) done() bool { return s.at >= len(s.text) }

// next returns the next byte, 0 at the end.
func (s *scanner) next() byte {
	if s.done() {
		return 0
	}
	s.at++
	return s.text[s.at-1]
}

// skip steps over one byte if it is c.
func (s *scanner) skip(c byte) bool {
	if s.done() || s.text[s.at] != c {
		return false
	}
	s.at++
	return true
}

// number reads at most the given count of digits.
func (s *scanner) number(most int) (v, digits int) {
	for ; digits < most && !s.done() && isDigit(s.text[s.at]); digits++ {
		v = 10*v + int(s.text[s.at]-'0')
		s.at++
	}
	return v, digits
}

// leading counts the digits that follow.
func (s *scanner) leading() (n int) {
	for s.at+n < len(s.text) && isDigit(s.text[s.at+n]) && n < 15 {
		n++
	}
	return n
}

func isDigit(c byte) bool { return c >= '0' && c <= '9' }

// trim cuts blanks, tabs and carriage returns at both ends.
func trim(text []byte) []byte {
	for len(text) > 0 && isBlank(text[0]) {
		text = text[1:]
	}
	for len(text) > 0 && isBlank(text[len(text)-1]) {
		text = text[:len(text)-1]
	}
	return text
}

func isBlank(c byte) bool { return c == ' ' || c == '\t' || c == '\r' }
