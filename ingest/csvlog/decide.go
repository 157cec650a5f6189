package csvlog

import (
	"fmt"
	"slices"
	"strings"

	"retotal/ingest/problem"
	"retotal/ingest/quantity"
	"retotal/ingest/reading"
	"retotal/ingest/site"
)

// Decisions lists how the file was understood, why, and what else was possible.
func (l *Layout) Decisions() []reading.Decision {
	list := []reading.Decision{
		l.textDecision(), l.headerDecision(), l.notes.delimiter, l.notes.decimal, l.stampDecision(),
	}
	if l.notes.order.Found != "" {
		list = append(list, l.notes.order)
	}
	if l.notes.midnight.Found != "" {
		list = append(list, l.notes.midnight)
	}
	if len(l.notes.statistics) > 0 {
		list = append(list, reading.Decision{
			Subject: "statistics",
			Found:   strings.Join(l.notes.statistics, ", "),
			Because: "a row below the names says so; of averages, log.stamp tells whether a stamp marks the start or " +
				"the end of the interval",
		})
	}
	return list
}

func (l *Layout) textDecision() reading.Decision {
	d := reading.Decision{Subject: "text", Found: "UTF-8"}
	switch {
	case l.source.utf16:
		d.Found, d.Because = "UTF-16", "a byte order mark, or a NUL in every other byte"
	case l.notes.windows1252:
		d.Found, d.Because = "Windows-1252", "the header is not UTF-8"
	case l.source.mark:
		d.Found = "UTF-8 with a byte order mark"
	}
	if l.source.packing != "plain" {
		d.Found = l.source.packing + ", " + d.Found
	}
	d.Found += ", lines ended by " + l.terminatorName()
	return d
}

func (l *Layout) terminatorName() string {
	switch {
	case l.eol == '\r':
		return "CR"
	case l.crlf:
		return "CR LF"
	}
	return "LF"
}

func (l *Layout) headerDecision() reading.Decision {
	d := reading.Decision{
		Subject: "header",
		Found:   fmt.Sprintf("line %d", l.notes.preambleLines+1),
		Because: l.notes.header,
	}
	if l.bare {
		d.Found = "none"
		d.Because = fmt.Sprintf("columns are given by number; readings begin on line %d", l.HeaderLine+1)
		return d
	}
	if more := int(l.HeaderLine) - l.notes.preambleLines; more > 1 {
		d.Found = fmt.Sprintf("lines %d to %d", l.notes.preambleLines+1, l.HeaderLine)
		d.Because += "; units or statistics below it"
	}
	if n := l.notes.preambleLines; n > 0 {
		d.Found += fmt.Sprintf(", below a preamble of %d", n)
	}
	return d
}

// stampDecision says how times are written.
func (l *Layout) stampDecision() reading.Decision {
	d := reading.Decision{Subject: "time stamps", Found: "date and time"}
	switch {
	case l.serial:
		d.Found, d.Because = "spreadsheet days since 1899-12-30", "numbers from 20000 to 80000"
	case l.epoch.Unit > 0:
		d.Found, d.Because = l.epoch.Name+" since 1970 UTC", "numbers of "+l.epoch.Digit+" digits"
	case l.datesOnly:
		d.Found = "dates alone, at midnight"
	case slices.Contains(l.plan, timeOfDay):
		d.Found = "date and time in two columns"
	}
	if len(l.stamps) > 0 && l.stamps[0].half {
		d.Found += ", with AM and PM"
	}
	if len(l.stamps) > 0 && l.absolute {
		d.Found += ", with an offset from UTC"
	}
	return d
}

// decide finds from the first rows how numbers and times are written.
func (l *Layout) decide(file string, rows []sampleRow, log *site.Log) (open bool, bad *problem.Problem) {
	column := slices.Index(l.plan, timeColumn)
	var e evidence
	for _, row := range rows {
		e.add(l, row.fields, row.line)
	}
	if _, bad := l.concludeDecimal(file, &e.decimal, log, false); bad != nil {
		return false, bad
	}
	if !l.findEpoch(rows, column) && !l.findSerial(rows, column) {
		l.epochs = nil
		if bad := l.findStamps(file, rows, column); bad != nil {
			return false, bad
		}
	}
	open, bad = l.conclude(file, &e, log, false)
	l.findResolution(rows)
	return open, bad
}

// findResolution takes the decimals of most values in each column of the sample.
func (l *Layout) findResolution(rows []sampleRow) {
	for column, target := range l.plan {
		if target < 0 {
			continue
		}
		var digits reading.Digits
		for _, row := range rows {
			if written := decimals(row.fields[column], l.decimal); written >= 0 {
				v, _ := slowNumber(row.fields[column], l.decimal)
				digits.Add(v, written, reading.Decimals(v, quantity.Unit{Factor: 1}))
			}
		}
		if n := digits.Usual(); n >= 0 {
			l.Resolution[target] = reading.Step(n, l.Units[target])
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

// findEpoch recognises stamps that count since 1970.
func (l *Layout) findEpoch(rows []sampleRow, column int) bool {
	counts := make([]int64, len(rows))
	for i, row := range rows {
		counts[i], _ = parseEpoch(row.fields[column], 1)
	}
	if l.epoch = reading.EpochOf(counts); l.epoch.Unit == 0 {
		return false
	}
	l.absolute = true
	for _, row := range rows {
		if at, ok := parseEpoch(row.fields[column], l.epoch.Unit); ok {
			l.epochs = append(l.epochs, at)
		}
	}
	return true
}

// findSerial recognises stamps that are spreadsheet dates: days since 1899-12-30 with a fraction, from 1954 to 2119.
func (l *Layout) findSerial(rows []sampleRow, column int) bool {
	for _, row := range rows {
		at, ok := parseSerial(row.fields[column], l.decimal)
		if !ok {
			return false
		}
		l.epochs = append(l.epochs, at)
	}
	l.serial = true
	return true
}

// findStamps reads the stamps of the sample and takes from the first whether stamps have an offset and a time of day.
func (l *Layout) findStamps(file string, rows []sampleRow, column int) *problem.Problem {
	for _, row := range rows {
		if st, err := parseStamp(l.stampOf(row.fields, column)); err == nil {
			l.stamps = append(l.stamps, st)
		}
	}
	if len(l.stamps) == 0 {
		return problem.At(problem.Place{File: file, Line: int(rows[0].line)},
			fmt.Sprintf("no time stamp in column %s can be read; the first is %q",
				l.title(column), shorten(rows[0].fields[column])),
			"2031-04-02 10:30:00, 2031-04-02T10:30:00Z, 02/04/2031 10:30 or the like", "")
	}
	l.absolute, l.datesOnly = l.stamps[0].hasOffset, !l.stamps[0].hasTime
	return nil
}

// title names a column: its header in quotes, or its number.
func (l *Layout) title(column int) string {
	if l.Header[column] == "" {
		return fmt.Sprint(column + 1)
	}
	return fmt.Sprintf("%q", l.Header[column])
}
