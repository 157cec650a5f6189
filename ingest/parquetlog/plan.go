package parquetlog

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"github.com/apache/arrow/go/v15/parquet"
	"github.com/apache/arrow/go/v15/parquet/file"
	"github.com/apache/arrow/go/v15/parquet/schema"

	"retotal/ingest/problem"
	"retotal/ingest/reading"
	"retotal/ingest/site"
)

// plan finds the columns by name and checks their types.
func (l *Layout) plan(name string, r *file.Reader, log *site.Log) error {
	s := r.MetaData().Schema
	l.Rows = r.NumRows()
	for i := range s.NumColumns() {
		l.Columns = append(l.Columns, s.Column(i).Path())
	}
	var bad *problem.Problem
	if l.time, bad = l.find(name, log.Time); bad != nil {
		return bad
	}
	if bad = l.planTime(name, s.Column(l.time), log.TimeOfDay.Given()); bad != nil {
		return bad
	}
	if l.hours = -1; log.TimeOfDay.Given() {
		if l.hours, bad = l.find(name, log.TimeOfDay); bad != nil {
			return bad
		}
		if bad = l.planHours(name, s.Column(l.hours)); bad != nil {
			return bad
		}
	}
	for q, c := range log.Columns {
		l.columns[q] = -1
		if !c.Given() {
			continue
		}
		if l.columns[q], bad = l.find(name, c); bad != nil {
			return bad
		}
		if bad = l.planUnit(name, reading.Quantity(q), c, s.Column(l.columns[q])); bad != nil {
			return bad
		}
		if !log.Reads(reading.Quantity(q)) {
			l.columns[q] = -1
		}
	}
	l.planStorage(r)
	return nil
}

// find finds the one column that the site file means.
func (l *Layout) find(name string, c site.Column) (int, *problem.Problem) {
	found := c.Find(len(l.Columns), func(i int) string { return l.Columns[i] })
	switch {
	case len(found) == 0 && c.Number > 0:
		return -1, problem.At(c.Place, fmt.Sprintf("%s has no %s", name, c.Words()),
			fmt.Sprintf("a number from 1 to %d", len(l.Columns)), "")
	case len(found) == 0:
		return -1, problem.At(c.Place, fmt.Sprintf("%s has no %s", name, c.Words()), "a column of its schema",
			problem.Suggest(c.Name, l.Columns))
	case len(found) > 1:
		return -1, problem.At(c.Place, fmt.Sprintf("%s: columns %d and %d are both named %q",
			name, found[0]+1, found[1]+1, c.Name),
			"one column of that name", fmt.Sprintf("write number = %d", found[0]+1))
	case slices.Contains(l.unknown, found[0]):
		return -1, problem.At(problem.Place{File: name},
			fmt.Sprintf("column %q is of a logical type that is not known", l.Columns[found[0]]),
			"numbers, or a timestamp for the time", "write it as one of them")
	}
	return found[0], nil
}

// planTime takes unit and meaning of the time column from its logical type. Arrow's own record reader would call local
// times UTC.
func (l *Layout) planTime(name string, c *schema.Column, dateAlone bool) *problem.Problem {
	wrong := func(what string) *problem.Problem {
		return problem.At(problem.Place{File: name}, fmt.Sprintf("column %q is %s", c.Path(), what),
			"a timestamp in milli-, micro- or nanoseconds, or a date with log.columns.time_of_day",
			"write it as a timestamp")
	}
	if _, isDate := c.LogicalType().(schema.DateLogicalType); isDate &&
		c.PhysicalType() == parquet.Types.Int32 && dateAlone {
		l.perTick, l.TimeUnit = int64(24*time.Hour), "date and time in two columns"
		return nil
	}
	if dateAlone {
		return wrong("not a date, though log.columns.time_of_day is given")
	}
	if c.PhysicalType() == parquet.Types.Int96 && c.MaxRepetitionLevel() == 0 {
		l.perTick, l.TimeUnit = 1, "nanoseconds (INT96, whose zone is not stated: taken as the logger's clock)"
		return nil
	}
	if c.PhysicalType() == parquet.Types.ByteArray {
		return wrong("text")
	}
	if isCount(c) {
		l.perTick, l.counted, l.broken = 1, true, c.PhysicalType() == parquet.Types.Double
		l.start.Absolute = true
		return nil
	}
	if c.PhysicalType() != parquet.Types.Int64 || c.MaxRepetitionLevel() > 0 {
		return wrong("of type " + c.PhysicalType().String())
	}
	if t, ok := c.LogicalType().(*schema.TimestampLogicalType); ok {
		l.start.Absolute = t.IsAdjustedToUTC()
		l.perTick, l.TimeUnit = tick(t.TimeUnit())
	}
	if l.perTick == 0 {
		return wrong("an integer of another kind, not a timestamp")
	}
	return nil
}

// isCount reports whether a column holds plain numbers, which may count since 1970.
func isCount(c *schema.Column) bool {
	switch c.PhysicalType() {
	case parquet.Types.Int64, parquet.Types.Int32, parquet.Types.Double:
	default:
		return false
	}
	switch c.LogicalType().(type) {
	case nil, schema.NoLogicalType, schema.UnknownLogicalType, *schema.IntLogicalType:
		return c.MaxRepetitionLevel() == 0
	}
	return false
}

// findEpoch tells from the first rows what plain numbers for times count, as csvlog does.
func (l *Layout) findEpoch(name string) error {
	r, bad := open(name, l)
	if bad != nil {
		return bad
	}
	defer r.Close()
	counts, err := r.firstCounts(l.time)
	if err != nil || len(counts) == 0 { // no rows have a message of their own
		return err
	}
	e := reading.EpochOf(counts)
	if e.Unit == 0 {
		found := fmt.Sprintf("column %q holds plain numbers that count no time since 1970; the first is %d",
			l.Columns[l.time], counts[0])
		return problem.At(problem.Place{File: name}, found,
			"a timestamp, or seconds, milli-, micro- or nanoseconds since 1970 UTC (10, 13, 16 or 19 digits)",
			"write it as a timestamp")
	}
	l.epoch, l.perTick, l.TimeUnit = e, e.Unit, e.Name+" since 1970"
	return nil
}

// firstCounts are the whole numbers of the first rows of a column.
func (r *Reader) firstCounts(number int) (counts []int64, err error) {
	for i := 0; i < r.parquet.NumRowGroups() && counts == nil; i++ {
		group := r.parquet.RowGroup(i)
		n := min(group.NumRows(), firstRows)
		if n == 0 {
			continue
		}
		chunk, err := r.openColumn(group, number)
		if err != nil {
			return nil, err
		}
		c := &column{chunk: chunk, optional: chunk.Descriptor().MaxDefinitionLevel() > 0, divisor: 1}
		if err := c.read(n); err != nil {
			return nil, err
		}
		for i := range int(n) {
			if v := c.value(i); c.floats == nil {
				counts = append(counts, c.integers[i])
			} else if math.Abs(v) < math.MaxInt64 {
				counts = append(counts, int64(v))
			} else {
				counts = append(counts, 0)
			}
		}
	}
	return counts, nil
}

// planHours takes the unit of the time of day.
func (l *Layout) planHours(name string, c *schema.Column) *problem.Problem {
	t, ok := c.LogicalType().(*schema.TimeLogicalType)
	if !ok || c.MaxRepetitionLevel() > 0 {
		return problem.At(problem.Place{File: name}, fmt.Sprintf("column %q is not a time of day", c.Path()),
			"a time in milli-, micro- or nanoseconds", "write it as a time")
	}
	l.perHours, _ = tick(t.TimeUnit())
	return nil
}

// tick returns the nanoseconds and the name of a unit of time; 0 for an unknown one.
func tick(u schema.TimeUnitType) (nanoseconds int64, name string) {
	switch u {
	case schema.TimeUnitMillis:
		return int64(time.Millisecond), "milliseconds"
	case schema.TimeUnitMicros:
		return int64(time.Microsecond), "microseconds"
	case schema.TimeUnitNanos:
		return 1, "nanoseconds"
	}
	return 0, ""
}

// planStorage notes how the file is packed, for the certificate.
func (l *Layout) planStorage(r *file.Reader) {
	l.groups = r.NumRowGroups()
	for i := range min(l.groups, 1) {
		group := r.MetaData().RowGroup(i)
		for _, number := range append([]int{l.time}, l.columns[:]...) {
			if number < 0 {
				continue
			}
			if chunk, err := group.ColumnChunk(number); err == nil {
				name := chunk.Compression().String()
				if chunk.Compression() == lz4Raw {
					name = "LZ4_RAW"
				}
				if !slices.Contains(l.codecs, name) {
					l.codecs = append(l.codecs, name)
				}
			}
		}
	}
}

// Decisions lists how the file was understood.
func (l *Layout) Decisions() []reading.Decision {
	codecs := strings.ToLower(strings.Join(l.codecs, " and "))
	list := []reading.Decision{{
		Subject: "table",
		Found:   fmt.Sprintf("Parquet, %d rows in %d row groups, %s", l.Rows, l.groups, codecs),
		Because: "the footer says so",
	}}
	stamps := reading.Decision{
		Subject:   "time stamps",
		Found:     "local times in " + l.TimeUnit,
		Because:   "the column is not adjusted to UTC",
		Otherwise: "instants (UTC): the column's type says otherwise",
	}
	if l.counted {
		stamps = reading.Decision{
			Subject: "time stamps",
			Found:   l.TimeUnit + " UTC",
			Because: "numbers of " + l.epoch.Digit + " digits",
		}
	} else if l.start.Absolute {
		stamps = reading.Decision{
			Subject:   "time stamps",
			Found:     "instants (UTC) in " + l.TimeUnit,
			Because:   "the column is adjusted to UTC",
			Otherwise: "local times: the column's type says otherwise",
		}
	} else if l.hours >= 0 || strings.Contains(l.TimeUnit, "INT96") {
		stamps = reading.Decision{
			Subject:   "time stamps",
			Found:     "local times in " + l.TimeUnit,
			Because:   "the type states no zone",
			Otherwise: "instants (UTC)",
		}
	}
	if list = append(list, stamps); l.sums.pages > 0 {
		list = append(list, l.sumsDecision())
	}
	return list
}

// sumsDecision says how many pages were held to a checksum of theirs.
func (l *Layout) sumsDecision() reading.Decision {
	d := reading.Decision{
		Subject: "checksums",
		Because: "a byte that changed in a page without one may pass as a reading",
	}
	switch {
	case l.sums.checked == l.sums.pages:
		d.Found, d.Because = fmt.Sprintf("all %d pages that were read agree with theirs", l.sums.pages), ""
	case l.sums.checked > 0:
		d.Found = fmt.Sprintf("%d of %d pages that were read have one, and agree", l.sums.checked, l.sums.pages)
	case slices.Equal(l.codecs, []string{"GZIP"}):
		d.Found, d.Because = "none of pages; the one that gzip has in each was used", ""
	default:
		d.Found = "none"
	}
	return d
}

func (l *Layout) planUnit(name string, q reading.Quantity, c site.Column, column *schema.Column) *problem.Problem {
	place := problem.Place{File: name}
	switch column.PhysicalType() {
	case parquet.Types.Double, parquet.Types.Float, parquet.Types.Int32, parquet.Types.Int64:
	case parquet.Types.ByteArray, parquet.Types.FixedLenByteArray:
		switch column.LogicalType().(type) {
		case *schema.DecimalLogicalType:
		case schema.Float16LogicalType:
			l.half[q] = true
		default:
			return problem.At(place, fmt.Sprintf("column %q holds text or bytes", column.Path()), "numbers",
				"write it as DOUBLE")
		}
	default:
		return problem.At(place, fmt.Sprintf("column %q is of type %s", column.Path(), column.PhysicalType()),
			"numbers", "write it as DOUBLE")
	}
	if column.MaxRepetitionLevel() > 0 {
		return problem.At(place, fmt.Sprintf("column %q holds lists", column.Path()), "plain numbers",
			"write it as DOUBLE")
	}
	l.divisor[q] = 1
	if decimal, ok := column.LogicalType().(*schema.DecimalLogicalType); ok {
		l.divisor[q] = math.Pow10(int(decimal.Scale()))
	}
	var bad *problem.Problem
	l.Units[q], bad = c.UnitIn(place, column.Path(), q)
	if odd := c.Contradicts(column.Path(), q); odd != "" {
		l.Odd = append(l.Odd, odd)
	}
	return bad
}
