package parquetlog

import (
	"github.com/apache/arrow/go/v15/parquet"
	"github.com/apache/arrow/go/v15/parquet/schema"

	"retotal/ingest/problem"
	"retotal/ingest/reading"
)

// Heading reads the names of the columns and which of them is the time.
func Heading(file string) (h *reading.Heading, bad *problem.Problem) {
	r, bad := open(file, &Layout{})
	if bad != nil {
		return nil, bad
	}
	defer r.Close()
	h = &reading.Heading{Time: -1, TimeOfDay: -1}
	bad = guard(file, func() error {
		s := r.parquet.MetaData().Schema
		for i := range s.NumColumns() {
			c := s.Column(i)
			_, unit := reading.SplitUnit(c.Path())
			h.Names, h.Units = append(h.Names, c.Path()), append(h.Units, unit)
			switch t := c.LogicalType().(type) {
			case *schema.TimestampLogicalType:
				if h.Time < 0 {
					h.Time, h.Zoned = i, t.IsAdjustedToUTC()
				}
			case schema.DateLogicalType:
				if h.Time < 0 {
					h.Time = i
				}
			case *schema.TimeLogicalType:
				h.TimeOfDay = i
			}
			if c.PhysicalType() == parquet.Types.Int96 && h.Time < 0 {
				h.Time = i
			}
		}
		if h.Time < 0 {
			return r.findCounts(h)
		}
		return nil
	})
	if bad == nil && h.Time < 0 {
		bad = problem.At(problem.Place{File: file}, "no column is a timestamp, a date or a count since 1970",
			"a Parquet log with a time column", "write it as a timestamp")
	}
	return h, bad
}

// findCounts looks for a column of plain numbers that count since 1970, first among those that are called so.
func (r *Reader) findCounts(h *reading.Heading) error {
	for _, called := range []bool{true, false} {
		for i, name := range h.Names {
			if reading.IsTimeWord(name) != called || !isCount(r.parquet.MetaData().Schema.Column(i)) {
				continue
			}
			counts, err := r.firstCounts(i)
			if err != nil {
				return err
			}
			if reading.EpochOf(counts).Unit > 0 {
				h.Time, h.Zoned = i, true
				return nil
			}
		}
	}
	return nil
}
