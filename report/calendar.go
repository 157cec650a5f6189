package report

import "strconv"

// Calendar is the corrected volume of every day, a month a row, for print: the table of days is too long for it.
type Calendar struct {
	Caption string
	Rows    []CalendarRow
}

// CalendarRow is a month: its name, and a text for each day of it, "" where the log has nothing.
type CalendarRow struct {
	Month string
	Days  [31]string
}

// NewCalendar makes the calendar of a run.
func NewCalendar(r *Run) *Calendar {
	unit := r.Site().Report.VolumeUnit
	c := &Calendar{Caption: "Corrected volume of each day, " + Typeset(unit.Symbol)}
	decimals := 0
	if most := r.Result.Statistics.Greatest; unit.FromSI(most) < 100 {
		decimals = 1
	}
	for i := range r.Result.Days {
		d := &r.Result.Days[i]
		if len(d.Label) != len("2006-01-02") {
			continue
		}
		month := d.Label[:7]
		if len(c.Rows) == 0 || c.Rows[len(c.Rows)-1].Month != month {
			c.Rows = append(c.Rows, CalendarRow{Month: month})
		}
		day, err := strconv.Atoi(d.Label[8:])
		if err != nil || day < 1 || day > 31 || d.After.Missing() {
			continue
		}
		c.Rows[len(c.Rows)-1].Days[day-1] = Grouped(unit.FromSI(d.After.M3()), decimals)
	}
	return c
}
