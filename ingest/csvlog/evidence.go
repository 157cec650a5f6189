package csvlog

import (
	"bytes"
	"fmt"
	"io"
	"regexp"
	"slices"

	"retotal/ingest/problem"
	"retotal/ingest/reading"
	"retotal/ingest/site"
)

// evidence is what the rows of a file say about how it is written. It is gathered from the first rows and, where those
// leave something open or turn out to have misled, from all of them.
type evidence struct {
	order    orderEvidence
	decimal  decimalEvidence
	midnight midnightEvidence
}

// add takes in one row.
func (e *evidence) add(l *Layout, fields [][]byte, line int32) {
	for column, target := range l.plan {
		if target >= 0 {
			e.decimal.add(fields[column], line)
		}
	}
	if l.epoch.Unit > 0 || l.serial {
		return
	}
	if st, err := parseStamp(l.stampOf(fields, slices.Index(l.plan, timeColumn))); err == nil {
		e.order.add(st, line)
		e.midnight.add(st, line)
	}
}

// conclude makes the decisions that the evidence allows. When it is of the whole file, what stays open is a problem.
func (l *Layout) conclude(file string, e *evidence, log *site.Log, whole bool) (open bool, bad *problem.Problem) {
	if open, bad = l.concludeDecimal(file, &e.decimal, log, whole); bad != nil {
		return open, bad
	}
	if l.epoch.Unit > 0 || l.serial || len(l.stamps) == 0 {
		return open, nil
	}
	if bad := e.midnight.conclude(file, l); bad != nil {
		return open, bad
	}
	first := l.stamps[0]
	l.notes.order = reading.Decision{Subject: "dates"}
	switch n := &l.notes.order; {
	case log.DateOrder != "" && !first.named && (!first.yearFirst || first.shortYear):
		l.order = map[string]order{
			"day-first": dayFirst, "month-first": monthFirst, "year-first": yearFirst,
		}[log.DateOrder]
		n.Because = "set by log.date_order"
	case first.shortYear:
		return open, problem.At(problem.Place{File: file, Line: int(l.HeaderLine) + 1},
			"years have two digits, so day, month and year cannot be told apart",
			"years of four digits, or log.date_order",
			`set log.date_order = "day-first", "month-first" or "year-first"; years are then 2000 to 2099`)
	case first.yearFirst:
		l.order, n.Because = yearFirst, "the year comes first"
	case first.named:
		l.order, n.Because = yearFirst, "months have names"
	case whole || e.order.proved():
		l.order, n.Because, n.Otherwise, bad = e.order.decide(file)
	default:
		open = true
	}
	l.notes.order.Found = l.order.String()
	if first.named {
		l.notes.order.Found = "with named months"
	}
	return open, bad
}

// settle reads the whole file, unless it may stop as soon as the order of day and month is proved, and decides anew. A
// row that contradicts a proof further down is met again when the file is read (reading.MixedDates).
func (l *Layout) settle(file string, r io.Reader, log *site.Log, thorough bool) *problem.Problem {
	var e evidence
	lines := newLineReader(r, l.eol)
	for {
		line, number, err := lines.next()
		if err == io.EOF {
			break
		}
		if err != nil {
			return readProblem(file, number, err)
		}
		if number <= l.HeaderLine || len(line) == 0 {
			continue
		}
		if fields, ok := l.split(bytes.Clone(line)); ok && len(fields) >= len(l.plan) {
			e.add(l, fields, number)
		}
		if !thorough && e.order.proved() && e.decimal.proved() {
			break
		}
	}
	l.Settled = thorough
	_, bad := l.conclude(file, &e, log, true)
	return bad
}

// orderEvidence gathers what a file's stamps say about the order of day and month.
type orderEvidence struct {
	dayFirst, monthFirst int32 // line that proves the order; 0 for none
	fallsDay, fallsMonth int   // how often time runs backwards under each reading
	lastDay, lastMonth   int64
}

// add takes in one stamp.
func (e *orderEvidence) add(st stamp, line int32) {
	day, okDay := st.local(dayFirst)
	month, okMonth := st.local(monthFirst)
	switch {
	case st.yearFirst || st.named || !okDay && !okMonth:
		return
	case okDay && !okMonth && e.dayFirst == 0:
		e.dayFirst = line
	case okMonth && !okDay && e.monthFirst == 0:
		e.monthFirst = line
	}
	if okDay && okMonth {
		if e.lastDay != 0 && day < e.lastDay {
			e.fallsDay++
		}
		if e.lastMonth != 0 && month < e.lastMonth {
			e.fallsMonth++
		}
		e.lastDay, e.lastMonth = day, month
	}
}

func (e *orderEvidence) proved() bool { return e.dayFirst > 0 || e.monthFirst > 0 }

// decide settles the order, or says why it cannot be settled.
func (e *orderEvidence) decide(file string) (o order, because, otherwise string, bad *problem.Problem) {
	settle := `set log.date_order = "day-first" or "month-first" in the site file`
	switch {
	case e.dayFirst > 0 && e.monthFirst > 0:
		return 0, "", "", problem.At(problem.Place{File: file, Line: int(max(e.dayFirst, e.monthFirst))},
			fmt.Sprintf("dates contradict each other: line %d is day first, line %d is month first",
				e.dayFirst, e.monthFirst),
			"one order in the whole file", "split the file where the order changes")
	case e.dayFirst > 0:
		return dayFirst, fmt.Sprintf("line %d has a day above 12 in first place", e.dayFirst),
			"month first: that line has no such month", nil
	case e.monthFirst > 0:
		return monthFirst, fmt.Sprintf("line %d has a day above 12 in second place", e.monthFirst),
			"day first: that line has no such month", nil
	case e.fallsDay == 0 && e.fallsMonth > 0:
		return dayFirst, "no day is above 12; time runs forward only when read day first",
			fmt.Sprintf("month first: time would run backwards, %d times", e.fallsMonth), nil
	case e.fallsMonth == 0 && e.fallsDay > 0:
		return monthFirst, "no day is above 12; time runs forward only when read month first",
			fmt.Sprintf("day first: time would run backwards, %d times", e.fallsDay), nil
	}
	return 0, "", "", problem.At(problem.Place{File: file},
		"every date can be read day first and month first, and time runs forward either way",
		"a date that settles it", settle)
}

// decimalEvidence counts what the numbers of a file say about the decimal sign. A number with groups of three digits
// behind commas or points alone (1,234) may be a thousand or a one: it proves nothing.
type decimalEvidence struct {
	commas, points           int   // numbers that prove one sign
	commaLine, pointLine     int32 // the first of each
	looseCommas, loosePoints int
	commaText, pointText     string
	looseText                string
	looseLine                int32
}

// loose is a number that can be read both ways.
var loose = regexp.MustCompile(`^[+-]?[1-9][0-9]{0,2}([.,][0-9]{3})+$`)

// add takes in one field of a quantity.
func (e *decimalEvidence) add(field []byte, line int32) {
	comma, point := bytes.LastIndexByte(field, ','), bytes.LastIndexByte(field, '.')
	if comma < 0 && point < 0 {
		return
	}
	sign := byte('.')
	if comma > point {
		sign = ','
	}
	if _, ok := slowNumber(field, sign); !ok {
		return
	}
	if (comma < 0 || point < 0) && loose.Match(field) {
		e.looseText, e.looseLine = string(field), line
		if sign == ',' {
			e.looseCommas++
		} else {
			e.loosePoints++
		}
		return
	}
	if sign == ',' {
		if e.commas++; e.commas == 1 {
			e.commaLine, e.commaText = line, string(field)
		}
	} else if e.points++; e.points == 1 {
		e.pointLine, e.pointText = line, string(field)
	}
}

func (e *decimalEvidence) proved() bool {
	return e.commas+e.points > 0 || e.looseCommas+e.loosePoints == 0
}

// concludeDecimal settles the decimal sign. Where both occur, the one of at least 99 of 100 numbers is taken and the
// rest is rejected with its lines.
func (l *Layout) concludeDecimal(
	file string, e *decimalEvidence, log *site.Log, whole bool,
) (open bool, bad *problem.Problem) {
	l.decimal = '.'
	n := &l.notes.decimal
	*n = reading.Decision{Subject: "decimal sign", Found: "point"}
	comma := func() { l.decimal, n.Found = ',', "comma" }
	switch {
	case log.Decimal != "":
		if n.Because = "set by log.decimal"; log.Decimal == "comma" {
			comma()
		}
	case e.commas > 0 && e.points > 0 && min(e.commas, e.points)*100 > e.commas+e.points:
		return false, problem.At(problem.Place{File: file, Line: int(max(e.commaLine, e.pointLine))},
			fmt.Sprintf("decimal signs contradict each other: %q on line %d, %q on line %d",
				e.commaText, e.commaLine, e.pointText, e.pointLine), "one decimal sign in the whole file",
			`set log.decimal = "point" or "comma"; rows of the other sign are then rejected`)
	case e.commas > e.points:
		comma()
		n.Because = fmt.Sprintf("%q on line %d is a number only so", e.commaText, e.commaLine)
		n.Otherwise = "point: that number could not be read"
	case e.points > 0:
		n.Because = fmt.Sprintf("%q on line %d is a number only so", e.pointText, e.pointLine)
		n.Otherwise = "comma: that number could not be read"
	case e.looseCommas+e.loosePoints == 0:
		n.Because = "no number has a decimal sign"
	case l.delimiter == ',' && e.looseCommas == 0:
		n.Because, n.Otherwise = "fields end in commas", "points between thousands: not with commas as delimiters"
	case !whole:
		return true, nil
	default:
		return false, problem.At(problem.Place{File: file, Line: int(e.looseLine)},
			fmt.Sprintf("%q and all other numbers can be read with a decimal sign and with a mark between thousands",
				e.looseText),
			"a number that settles it", `set log.decimal = "point" or "comma" in the site file`)
	}
	return false, nil
}

// midnightEvidence tells whether 0:00 begins or ends the date it is written with, and finds clocks of twelve hours that
// lack AM and PM.
type midnightEvidence struct {
	last           stamp
	any            bool
	begins, ends   int   // midnights that follow another date, or the evening of their own date
	endsLine       int32 // the first of the latter
	earliest, most int64 // nanosecond of the day
	falls          int   // steps from 12:xx back to 1:xx on one date
	fallLine       int32
}

const hour = int64(3600e9)

// add takes in one stamp.
func (e *midnightEvidence) add(st stamp, line int32) {
	if !st.hasTime {
		return
	}
	sameDate := e.any && st.a == e.last.a && st.b == e.last.b && st.c == e.last.c
	switch {
	case st.nanosecond == 0 && sameDate && e.last.nanosecond > 12*hour:
		if e.ends++; e.endsLine == 0 {
			e.endsLine = line
		}
	case st.nanosecond == 0 && e.any && !sameDate:
		e.begins++
	case sameDate && st.nanosecond/hour == 1 && e.last.nanosecond/hour == 12 && !st.half:
		if e.falls++; e.fallLine == 0 {
			e.fallLine = line
		}
	}
	if !e.any {
		e.earliest, e.most = st.nanosecond, st.nanosecond
	}
	e.earliest, e.most = min(e.earliest, st.nanosecond), max(e.most, st.nanosecond)
	e.last, e.any = st, true
}

// conclude settles what 0:00 means.
func (e *midnightEvidence) conclude(file string, l *Layout) *problem.Problem {
	if e.falls > 0 && e.earliest >= hour && e.most < 13*hour {
		return problem.At(problem.Place{File: file, Line: int(e.fallLine)},
			"the clock falls from 12 to 1 within a day, so it counts twelve hours, without AM and PM",
			"a clock of 24 hours, or AM and PM", "export the log again with one of them")
	}
	l.midnightEnds = e.ends > 0 && e.begins == 0
	l.notes.midnight = reading.Decision{}
	if l.midnightEnds {
		l.notes.midnight = reading.Decision{Subject: "midnight", Found: "0:00 ends the date it is written with",
			Because: fmt.Sprintf("line %d follows the evening of its own date, and none follows another date",
				e.endsLine), Otherwise: "0:00 begins its date: time would run backwards"}
	}
	return nil
}
