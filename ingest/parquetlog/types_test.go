package parquetlog

import (
	"bytes"
	"encoding/binary"
	"errors"
	"io"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/apache/arrow/go/v15/parquet"
	"github.com/apache/arrow/go/v15/parquet/file"
	"github.com/apache/arrow/go/v15/parquet/schema"

	"retotal/ingest/reading"
)

// columnOf is one column of a file to be written: its type, and its values as a slice of that type.
type columnOf struct {
	name    string
	logical schema.LogicalType // nil for none
	values  any
}

// writeColumns writes columns without nulls in one row group.
func writeColumns(t testing.TB, columns ...columnOf) []byte {
	t.Helper()
	var nodes schema.FieldList
	for _, c := range columns {
		physical, length := parquet.Types.Int64, -1
		switch c.values.(type) {
		case []int32:
			physical = parquet.Types.Int32
		case []float64:
			physical = parquet.Types.Double
		case []parquet.FixedLenByteArray:
			physical, length = parquet.Types.FixedLenByteArray, 2
		}
		logical := c.logical
		if logical == nil {
			logical = schema.NoLogicalType{}
		}
		node, err := schema.NewPrimitiveNodeLogical(c.name, parquet.Repetitions.Required, logical, physical, length, -1)
		if err != nil {
			t.Fatal(err)
		}
		nodes = append(nodes, node)
	}
	var out bytes.Buffer
	root := schema.MustGroup(schema.NewGroupNode("log", parquet.Repetitions.Required, nodes, -1))
	w := file.NewParquetWriter(&out, root)
	g := w.AppendRowGroup()
	for _, c := range columns {
		chunk, err := g.NextColumn()
		if err != nil {
			t.Fatal(err)
		}
		switch v := c.values.(type) {
		case []int64:
			_, err = chunk.(*file.Int64ColumnChunkWriter).WriteBatch(v, nil, nil)
		case []int32:
			_, err = chunk.(*file.Int32ColumnChunkWriter).WriteBatch(v, nil, nil)
		case []float64:
			_, err = chunk.(*file.Float64ColumnChunkWriter).WriteBatch(v, nil, nil)
		case []parquet.FixedLenByteArray:
			_, err = chunk.(*file.FixedLenByteArrayColumnChunkWriter).WriteBatch(v, nil, nil)
		}
		if err := errors.Join(err, chunk.Close()); err != nil {
			t.Fatal(err)
		}
	}
	if err := errors.Join(g.Close(), w.Close()); err != nil {
		t.Fatal(err)
	}
	return out.Bytes()
}

// readTwo reads the first batch of a file by testLog.
func readTwo(t testing.TB, content []byte) (*Layout, *reading.Batch, error) {
	t.Helper()
	name := filepath.Join(t.TempDir(), "log.parquet")
	if err := os.WriteFile(name, content, 0o644); err != nil {
		t.Fatal(err)
	}
	l, bad := Inspect(name, testLog())
	if bad != nil {
		return nil, nil, bad
	}
	r, bad := Open(name, l, false)
	if bad != nil {
		return nil, nil, bad
	}
	defer r.Close()
	b, err := r.Next()
	if err != nil {
		return nil, nil, err
	}
	copied := *b
	if _, err := r.Next(); err != io.EOF {
		t.Errorf("%v after the last row", err)
	}
	return l, &copied, nil
}

var (
	distances = columnOf{"distance", nil, []float64{1000, 1001}}
	flows     = columnOf{"flow", nil, []float64{1, 2}}
)

// TestEpoch: plain numbers for times. 1930089600 s is 2031-03-01 00:00 UTC (22339 days of 86400 s); the second row is
// 90 s and, where the unit can say so, half a second later.
func TestEpoch(t *testing.T) {
	const first = int64(1930089600)
	for _, c := range []struct {
		values any
		later  int64 // ns
		words  string
	}{
		{[]int64{first, first + 90}, 90e9, "seconds since 1970 UTC: numbers of ten digits"},
		{[]int32{int32(first), int32(first + 90)}, 90e9, "seconds since 1970 UTC: numbers of ten digits"},
		{[]int64{first * 1e3, first*1e3 + 90500}, 90.5e9, "milliseconds since 1970 UTC: numbers of thirteen digits"},
		{[]int64{first * 1e6, first*1e6 + 90.5e6}, 90.5e9, "microseconds since 1970 UTC: numbers of sixteen digits"},
		{[]int64{first * 1e9, first*1e9 + 90.5e9}, 90.5e9, "nanoseconds since 1970 UTC: numbers of nineteen digits"},
		{[]float64{float64(first), float64(first) + 90.5}, 90.5e9, "seconds since 1970 UTC: numbers of ten digits"},
		{[]float64{float64(first) * 1e3, float64(first)*1e3 + 90500.25}, 90.50025e9,
			"milliseconds since 1970 UTC: numbers of thirteen digits"},
	} {
		l, b, err := readTwo(t, writeColumns(t, columnOf{"time", nil, c.values}, distances, flows))
		if err != nil {
			t.Errorf("%v: %v", c.values, err)
			continue
		}
		if b.Len() != 2 || b.Time[0] != first*1e9 || b.Time[1] != first*1e9+c.later || !l.Absolute() {
			t.Errorf("%v: %v, absolute %v", c.values, b.Time, l.Absolute())
		}
		d := l.Decisions()[1]
		if got := d.Found + ": " + d.Because; got != c.words {
			t.Errorf("%v: %q, want %q", c.values, got, c.words)
		}
	}
	for _, c := range []struct{ values, want any }{
		{[]int64{1, 2}, `column "time" holds plain numbers that count no time since 1970; the first is 1`},
		{[]float64{47908, 47909}, "the first is 47908"},
		{[]float64{math.NaN(), math.Inf(1)}, "count no time since 1970"},
	} {
		_, _, err := readTwo(t, writeColumns(t, columnOf{"time", nil, c.values}, distances, flows))
		if err == nil || !strings.Contains(err.Error(), c.want.(string)) {
			t.Errorf("%v: %v", c.values, err)
		}
	}
	// a time that is no number is a row to reject
	_, b, err := readTwo(t, writeColumns(t, columnOf{"time", nil, []float64{1930089600, 1930089660, math.NaN()}},
		columnOf{"distance", nil, []float64{1000, 1001, 1002}}, columnOf{"flow", nil, []float64{1, 2, 3}}))
	if err != nil || b.Len() != 2 || len(b.Rejected) != 1 || b.Rejected[0].Line != 3 {
		t.Errorf("%+v, %v", b, err)
	}
}

// TestHalfFloat: values of IEEE 754-2008 binary16 by hand: sign, exponent less 15, fraction of 1024.
func TestHalfFloat(t *testing.T) {
	for bits, want := range map[uint16]float64{
		0x3c00: 1, 0xc000: -2, 0x7bff: 65504, 0x0400: math.Ldexp(1, -14), 0x0001: math.Ldexp(1, -24),
		0x03ff: math.Ldexp(1023, -24), 0x3555: 1365.0 / 4096, 0: 0, 0x8000: 0,
		0x7c00: math.Inf(1), 0xfc00: math.Inf(-1),
	} {
		if got := halfFloat(binary.LittleEndian.AppendUint16(nil, bits)); got != want {
			t.Errorf("%#04x: %v, want %v", bits, got, want)
		}
	}
	if !math.IsNaN(halfFloat([]byte{1, 0x7c})) || !math.IsNaN(halfFloat([]byte{1})) {
		t.Error("no number is one")
	}
}

// halves is a column of 16 bits: 1000 is 0x63d0 (1.953125 × 2⁹), 1001 0x63d2.
func halves(name string) columnOf {
	return columnOf{name, schema.Float16LogicalType{}, []parquet.FixedLenByteArray{{0xd0, 0x63}, {0xd2, 0x63}}}
}

var minutes = columnOf{"time", schema.NewTimestampLogicalType(true, schema.TimeUnitMillis), []int64{0, 60000}}

// nanoseconds is a column whose type has the last known unit of time, 3.
var nanoseconds = columnOf{"then", schema.NewTimestampLogicalType(true, schema.TimeUnitNanos), []int64{1, 2}}

func TestFloat16(t *testing.T) {
	_, b, err := readTwo(t, writeColumns(t, minutes, halves("distance"), flows))
	if err != nil || b.Len() != 2 || b.Value[reading.Distance][0] != 1 ||
		math.Abs(b.Value[reading.Distance][1]-1.001) > 1e-12 {
		t.Errorf("%+v, %v", b, err)
	}
}

// refooted puts other bytes in the place of some in the footer.
func refooted(t testing.TB, content, old, new []byte) []byte {
	t.Helper()
	end := len(content) - 8
	start := end - int(binary.LittleEndian.Uint32(content[end:]))
	footer := content[start:end]
	if bytes.Count(footer, old) != 1 {
		t.Fatalf("% x stands %d times in the footer", old, bytes.Count(footer, old))
	}
	footer = bytes.Replace(footer, old, new, 1)
	out := append(bytes.Clone(content[:start]), footer...)
	return append(binary.LittleEndian.AppendUint32(out, uint32(len(footer))), "PAR1"...)
}

// futureType makes the logical type FLOAT16 of a file one that the format does not have yet: field 15 of the union,
// 0xfc in its bytes, becomes field 60, which takes a longer form.
func futureType(t testing.TB, content []byte) []byte {
	return refooted(t, content, []byte{0xfc, 0, 0}, []byte{0x0c, 120, 0, 0})
}

// TestUnknownType: a logical type that nobody knows is no damage of a column that nobody reads, whatever stands around
// it; of a column that is asked for it is a problem.
func TestUnknownType(t *testing.T) {
	more := columnOf{"n", nil, []int64{1, 2}}
	future := futureType(t, writeColumns(t, halves("shape"), minutes, distances, flows, more))
	for name, content := range map[string][]byte{
		"first": future,
		"last":  futureType(t, writeColumns(t, minutes, distances, flows, halves("shape"))),
		"a unit": refooted(t, writeColumns(t, minutes, distances, flows, nanoseconds),
			[]byte{0x3c, 0, 0, 0}, []byte{0x4c, 0, 0, 0}),
	} {
		_, b, err := readTwo(t, content)
		if err != nil || b.Len() != 2 || b.Time[1] != 60e9 || math.Abs(b.Value[reading.Distance][1]-1.001) > 1e-12 ||
			b.Value[reading.Flow][1] != 0.002 {
			t.Errorf("%s: %+v, %v", name, b, err)
		}
	}
	_, _, err := readTwo(t, futureType(t, writeColumns(t, minutes, halves("distance"), flows)))
	if err == nil || !strings.Contains(err.Error(), `column "distance" is of a logical type that is not known`) {
		t.Error(err)
	}
	// cut anywhere, the footer is a problem and no panic
	for n := range len(future) {
		if _, _, err := readTwo(t, future[:n]); err == nil {
			t.Fatalf("%d bytes were read", n)
		}
	}
}

// TestUnitInName: a column's unit may stand behind its name, as in CSV; a number tells columns of one name apart.
func TestUnitInName(t *testing.T) {
	name := filepath.Join(t.TempDir(), "log.parquet")
	content := writeColumns(t, minutes, columnOf{"Distance (mm)", nil, []float64{1000, 1001}}, flows, flows)
	if err := os.WriteFile(name, content, 0o644); err != nil {
		t.Fatal(err)
	}
	log := testLog()
	log.Columns[reading.Distance].Unit = nil
	_, bad := Inspect(name, log)
	if bad == nil || !strings.Contains(bad.Error(), `columns 3 and 4 are both named "flow"`) {
		t.Error(bad)
	}
	log.Columns[reading.Flow].Number = 4
	l, bad := Inspect(name, log)
	if bad != nil || l.Units[reading.Distance].Symbol != "mm" || l.columns[reading.Flow] != 3 {
		t.Errorf("%+v, %v", l, bad)
	}
	log.Columns[reading.Flow].Number = 5
	if _, bad := Inspect(name, log); bad == nil || !strings.Contains(bad.Error(), "has no column 5") {
		t.Error(bad)
	}
	log.Columns[reading.Flow] = testLog().Columns[reading.Flow]
	log.Columns[reading.Flow].Number, log.Columns[reading.Flow].Unit = 4, nil
	if _, bad := Inspect(name, log); bad == nil || !strings.Contains(bad.Error(), `column "flow" names no unit`) {
		t.Error(bad)
	}
}

// TestHeadingOfCounts: the time is told by its values, and among several columns by its name.
func TestHeadingOfCounts(t *testing.T) {
	counts := []int64{1930089600, 1930089660}
	for _, c := range []struct {
		columns []columnOf
		want    int
	}{
		{[]columnOf{{"serial", nil, counts}, distances, {"time", nil, counts}}, 2},
		{[]columnOf{distances, {"t", nil, counts}, flows}, 1},
		{[]columnOf{{"time", nil, []int64{1, 2}}, {"t", nil, []float64{1930089600.5, 1930089660}}}, 1},
		{[]columnOf{distances, {"time", nil, []int64{1, 2}}}, -1},
	} {
		name := filepath.Join(t.TempDir(), "log.parquet")
		if err := os.WriteFile(name, writeColumns(t, c.columns...), 0o644); err != nil {
			t.Fatal(err)
		}
		h, bad := Heading(name)
		if (bad != nil) != (c.want < 0) || bad == nil && (h.Time != c.want || !h.Zoned) {
			t.Errorf("%d columns: %+v, %v, want %d", len(c.columns), h, bad, c.want)
		}
	}
}
