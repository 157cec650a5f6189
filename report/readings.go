package report

import (
	"math"
	"os"
	"time"

	"github.com/apache/arrow/go/v15/arrow/memory"
	"github.com/apache/arrow/go/v15/parquet"
	"github.com/apache/arrow/go/v15/parquet/compress"
	"github.com/apache/arrow/go/v15/parquet/file"
	"github.com/apache/arrow/go/v15/parquet/metadata"
	"github.com/apache/arrow/go/v15/parquet/schema"

	"retotal/ingest"
	"retotal/ingest/reading"
	"retotal/recompute"
)

// rowsPerGroup is the size of the row groups of readings.parquet.
const rowsPerGroup = 1 << 17

// readingsWriter writes readings.parquet: every used row with head, the three flows and its flags, in SI units. Stored
// numbers are rounded: heads to 1 µm, flows to 10⁻⁷ m³/s. It has a field for each column, and one more where a value
// may be absent.
type readingsWriter struct {
	out      *os.File
	parquet  *file.Writer
	location *time.Location
	logged   bool

	utc, local          []int64
	value, head, before []float64
	after, flow         []float64 // packed: only where there is one
	lower, upper, u95   []float64
	hasAfter, hasFlow   []int16
	hasLower, hasUpper  []int16
	hasU95              []int16
	state               []parquet.ByteArray
	grade, ruling       []int32
	hasRuling           []int16
	used                []bool
	flags               []parquet.ByteArray
	names               map[string]parquet.ByteArray
	offset, offsetUntil int64
	offsetFrom          int64
}

func newReadingsWriter(folder *Folder, l *ingest.Log) (*readingsWriter, error) {
	out, err := folder.Create("readings.parquet")
	if err != nil {
		return nil, err
	}
	w := &readingsWriter{
		out:      out,
		location: l.Site.Report.Clock.Location,
		logged:   l.Has[reading.Flow] && l.Site.Log.Primary != reading.Flow,
		names:    map[string]parquet.ByteArray{},
	}
	properties := parquet.NewWriterProperties(parquet.WithCompression(compress.Codecs.Zstd),
		parquet.WithAllocator(memory.DefaultAllocator),
		parquet.WithCreatedBy("retotal"), parquet.WithDictionaryFor("time_utc", false),
		parquet.WithDictionaryFor("time_local", false))
	kv := metadata.KeyValueMetadata{}
	for _, x := range [][2]string{
		{"site", l.Site.ID},
		{"time_local_zone", l.Site.Report.Clock.Name},
		{"head_corrected_m", "above the level of zero flow under the corrected settings"},
		{"logged_", "as the log says, in SI units"},
		{"flow_after_m3s", "null where the reading does not count"},
	} {
		if err := kv.Append(x[0], x[1]); err != nil {
			return nil, err
		}
	}
	w.parquet = file.NewParquetWriter(out, readingsSchema(l.Site.Log.Primary, w.logged),
		file.WithWriterProps(properties), file.WithWriteMetadata(kv))
	return w, nil
}

// readingsSchema names the columns: one name has one meaning, whatever the log holds. What the log says begins with
// logged_. Instants carry the UTC flag, local times do not. logged says that the log has a flow beside the quantity
// that flows are computed from.
func readingsSchema(primary reading.Quantity, logged bool) *schema.GroupNode {
	var nodes schema.FieldList
	add := func(name string, optional bool, logical schema.LogicalType, physical parquet.Type) {
		repetition := parquet.Repetitions.Required
		if optional {
			repetition = parquet.Repetitions.Optional
		}
		nodes = append(nodes, schema.Must(schema.NewPrimitiveNodeLogical(name, repetition, logical, physical, 0, -1)))
	}
	add("time_utc", false, schema.NewTimestampLogicalType(true, schema.TimeUnitMillis), parquet.Types.Int64)
	add("time_local", false, schema.NewTimestampLogicalType(false, schema.TimeUnitMillis), parquet.Types.Int64)
	none := schema.NoLogicalType{}
	switch {
	case primary <= reading.Head:
		add("logged_"+primary.String()+"_m", false, none, parquet.Types.Double)
	case primary == reading.Flow:
		add("logged_flow_m3s", false, none, parquet.Types.Double)
	default:
		add(primary.String()+"_mean_flow_m3s", false, none, parquet.Types.Double)
	}
	add("head_corrected_m", false, none, parquet.Types.Double)
	if logged {
		add("logged_flow_m3s", true, none, parquet.Types.Double)
	}
	add("flow_before_m3s", false, none, parquet.Types.Double)
	add("flow_after_m3s", true, none, parquet.Types.Double)
	add("flow_at_least_m3s", true, none, parquet.Types.Double)
	add("flow_at_most_m3s", true, none, parquet.Types.Double)
	add("flow_u95_m3s", true, none, parquet.Types.Double)
	add("state", false, schema.StringLogicalType{}, parquet.Types.ByteArray)
	add("used", false, none, parquet.Types.Boolean)
	add("ruling", true, none, parquet.Types.Int32)
	add("grade", false, none, parquet.Types.Int32)
	add("flags", false, schema.StringLogicalType{}, parquet.Types.ByteArray)
	return schema.MustGroup(schema.NewGroupNode("readings", parquet.Repetitions.Required, nodes, -1))
}

// add takes in rows and writes a row group when there are enough.
func (w *readingsWriter) add(rows *recompute.Rows) error {
	for i, at := range rows.Time {
		w.utc = append(w.utc, at/int64(time.Millisecond))
		w.local = append(w.local, (at+w.offsetAt(at))/int64(time.Millisecond))
		w.value = append(w.value, round(rows.Value[i], 1e6))
		w.head = append(w.head, round(rows.Head[i], 1e6))
		w.before = append(w.before, round(rows.Before[i], 1e7))
		w.used = append(w.used, rows.Used[i])
		w.hasAfter, w.after = packed(w.hasAfter, w.after, rows.Used[i], rows.After[i])
		lower, upper := rows.Lower[i], rows.Upper[i]
		w.hasLower, w.lower = packed(w.hasLower, w.lower, rows.Used[i], lower)
		w.hasUpper, w.upper = packed(w.hasUpper, w.upper, rows.Used[i] && !math.IsInf(upper, 1), upper)
		u95, known := rows.U95(i)
		w.hasU95, w.u95 = packed(w.hasU95, w.u95, known, u95)
		switch {
		case !rows.Used[i]:
			w.state = append(w.state, w.name("lost"))
		case lower != upper:
			w.state = append(w.state, w.name("bounded"))
		default:
			w.state = append(w.state, w.name("exact"))
		}
		if w.logged {
			w.hasFlow, w.flow = packed(w.hasFlow, w.flow, rows.State[i] == reading.Present, rows.Logged[i])
		}
		w.addRuling(rows.Ruling(i))
		w.grade = append(w.grade, int32(rows.Flags[i].Grade()))
		w.flags = append(w.flags, w.name(rows.Flags[i].Text()))
		if len(w.utc) == rowsPerGroup {
			if err := w.writeGroup(); err != nil {
				return err
			}
		}
	}
	return nil
}

// packed appends a value that may be absent in the way of the format: levels for all rows, values for those that have
// one.
func packed(levels []int16, values []float64, present bool, v float64) ([]int16, []float64) {
	if !present {
		return append(levels, 0), values
	}
	return append(levels, 1), append(values, round(v, 1e7))
}

// addRuling appends the number of a ruling, from 1 in the file; none for −1.
func (w *readingsWriter) addRuling(n int) {
	if n < 0 {
		w.hasRuling = append(w.hasRuling, 0)
		return
	}
	w.hasRuling, w.ruling = append(w.hasRuling, 1), append(w.ruling, int32(n+1))
}

// round rounds to 1/steps. Values of any honest log stay far below the integers that float64 cannot count.
func round(v, steps float64) float64 { return math.Round(v*steps) / steps }

// offsetAt returns the report zone's offset from UTC, looked up once per span of one offset.
func (w *readingsWriter) offsetAt(at int64) int64 {
	if at >= w.offsetFrom && at < w.offsetUntil {
		return w.offset
	}
	t := time.Unix(0, at).In(w.location)
	_, seconds := t.Zone()
	w.offset, w.offsetFrom, w.offsetUntil = int64(seconds)*int64(time.Second), math.MinInt64, math.MaxInt64
	if start, end := t.ZoneBounds(); !start.IsZero() || !end.IsZero() {
		if !start.IsZero() {
			w.offsetFrom = start.UnixNano()
		}
		if !end.IsZero() {
			w.offsetUntil = end.UnixNano()
		}
	}
	return w.offset
}

// name keeps one copy of each text of flags.
func (w *readingsWriter) name(text string) parquet.ByteArray {
	b, ok := w.names[text]
	if !ok {
		b = parquet.ByteArray(text)
		w.names[text] = b
	}
	return b
}

// group writes the columns of one row group in their order; the first error stays.
type group struct {
	file.SerialRowGroupWriter
	err error
}

// put writes the next column by a call on its writer.
func (g *group) put(call func(c file.ColumnChunkWriter) error) {
	if g.err != nil {
		return
	}
	column, err := g.NextColumn()
	if err == nil {
		err = call(column)
	}
	if err == nil {
		err = column.Close()
	}
	g.err = err
}

func (g *group) instants(values []int64) {
	g.put(func(c file.ColumnChunkWriter) error {
		_, err := c.(*file.Int64ColumnChunkWriter).WriteBatch(values, nil, nil)
		return err
	})
}

func (g *group) numbers(values []float64, levels []int16) {
	g.put(func(c file.ColumnChunkWriter) error {
		_, err := c.(*file.Float64ColumnChunkWriter).WriteBatch(values, levels, nil)
		return err
	})
}

func (g *group) counts(values []int32, levels []int16) {
	g.put(func(c file.ColumnChunkWriter) error {
		_, err := c.(*file.Int32ColumnChunkWriter).WriteBatch(values, levels, nil)
		return err
	})
}

func (g *group) texts(values []parquet.ByteArray) {
	g.put(func(c file.ColumnChunkWriter) error {
		_, err := c.(*file.ByteArrayColumnChunkWriter).WriteBatch(values, nil, nil)
		return err
	})
}

func (g *group) answers(values []bool) {
	g.put(func(c file.ColumnChunkWriter) error {
		_, err := c.(*file.BooleanColumnChunkWriter).WriteBatch(values, nil, nil)
		return err
	})
}

// writeGroup writes the gathered rows, column by column, in the order of the schema.
func (w *readingsWriter) writeGroup() error {
	g := group{SerialRowGroupWriter: w.parquet.AppendRowGroup()}
	g.instants(w.utc)
	g.instants(w.local)
	g.numbers(w.value, nil)
	g.numbers(w.head, nil)
	if w.logged {
		g.numbers(w.flow, w.hasFlow)
	}
	g.numbers(w.before, nil)
	g.numbers(w.after, w.hasAfter)
	g.numbers(w.lower, w.hasLower)
	g.numbers(w.upper, w.hasUpper)
	g.numbers(w.u95, w.hasU95)
	g.texts(w.state)
	g.answers(w.used)
	g.counts(w.ruling, w.hasRuling)
	g.counts(w.grade, nil)
	g.texts(w.flags)
	if g.err != nil {
		return g.err
	}
	w.empty()
	return g.Close()
}

// empty forgets the rows that were written.
func (w *readingsWriter) empty() {
	w.utc, w.local, w.value, w.head, w.before = w.utc[:0], w.local[:0], w.value[:0], w.head[:0], w.before[:0]
	w.lower, w.hasLower, w.upper, w.hasUpper = w.lower[:0], w.hasLower[:0], w.upper[:0], w.hasUpper[:0]
	w.u95, w.hasU95, w.state, w.used = w.u95[:0], w.hasU95[:0], w.state[:0], w.used[:0]
	w.grade, w.ruling, w.hasRuling = w.grade[:0], w.ruling[:0], w.hasRuling[:0]
	w.after, w.hasAfter, w.flow, w.hasFlow = w.after[:0], w.hasAfter[:0], w.flow[:0], w.hasFlow[:0]
	w.flags = w.flags[:0]
}

// close writes the last rows and the footer.
func (w *readingsWriter) close() error {
	if len(w.utc) > 0 {
		if err := w.writeGroup(); err != nil {
			return err
		}
	}
	return w.parquet.Close() // closes the file, too
}

// abandon closes the file as it is, for a pass that is given up.
func (w *readingsWriter) abandon() { w.out.Close() }
