package csvlog

import (
	"bytes"
	"fmt"
	"io"
	"slices"

	"retotal/ingest/problem"
)

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

// decide settles the order, or says why it cannot be settled.
func (e *orderEvidence) decide(file string) (order, string, *problem.Problem) {
	settle := `set log.date_order = "day-first" or "month-first" in the site file`
	switch {
	case e.dayFirst > 0 && e.monthFirst > 0:
		return 0, "", problem.At(problem.Place{File: file, Line: int(max(e.dayFirst, e.monthFirst))},
			fmt.Sprintf("dates contradict each other: line %d is day first, line %d is month first", e.dayFirst, e.monthFirst),
			"one order in the whole file", "split the file where the order changes")
	case e.dayFirst > 0:
		return dayFirst, fmt.Sprintf("line %d has a day above 12 in first place", e.dayFirst), nil
	case e.monthFirst > 0:
		return monthFirst, fmt.Sprintf("line %d has a day above 12 in second place", e.monthFirst), nil
	case e.fallsDay == 0 && e.fallsMonth > 0:
		return dayFirst, "no day is above 12; time runs forward only when read day first", nil
	case e.fallsMonth == 0 && e.fallsDay > 0:
		return monthFirst, "no day is above 12; time runs forward only when read month first", nil
	}
	return 0, "", problem.At(problem.Place{File: file}, "every date can be read day first and month first, and time runs forward either way",
		"a date that settles it", settle)
}

// settleOrder reads a file's stamps from the line after the header, all of them unless one order is proved early, and
// decides. A row that contradicts a proof further down is met again when the file is read (reading.MixedDates).
func (l *Layout) settleOrder(file string, r io.Reader) *problem.Problem {
	column := slices.Index(l.plan, timeColumn)
	var evidence orderEvidence
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
		if fields, ok := l.split(bytes.Clone(line)); ok && column < len(fields) {
			if st, err := parseStamp(fields[column]); err == nil { // the date alone says enough
				evidence.add(st, number)
			}
		}
		if evidence.dayFirst > 0 || evidence.monthFirst > 0 {
			break
		}
	}
	var bad *problem.Problem
	l.order, l.OrderReason, bad = evidence.decide(file)
	return bad
}
