package parquetlog

import (
	"errors"
	"io"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"testing"
	"time"

	"github.com/apache/arrow/go/v15/parquet"
	"github.com/apache/arrow/go/v15/parquet/compress"
	"github.com/apache/arrow/go/v15/parquet/file"
	"github.com/apache/arrow/go/v15/parquet/schema"
	"github.com/xitongsys/parquet-go/source"
	"github.com/xitongsys/parquet-go/writer"

	"retotal/ingest/problem"
	"retotal/ingest/quantity"
	"retotal/ingest/reading"
	"retotal/ingest/site"
	"retotal/testdata/effort"
)

// testLog names the columns of the files below.
func testLog() *site.Log {
	unit := func(s string) *quantity.Unit { u := quantity.MustLookUp(s); return &u }
	log := &site.Log{Time: site.Column{Name: "time"}, Primary: reading.Distance}
	log.Columns[reading.Distance] = site.Column{Name: "distance", Unit: unit("mm")}
	log.Columns[reading.Flow] = site.Column{Name: "flow", Unit: unit("L/s")}
	return log
}

// write writes rows of one minute in two row groups, with nulls in the flow of every third row.
func write(t testing.TB, name string, rows int, utc bool, codec compress.Compression) {
	t.Helper()
	f, err := os.Create(name)
	if err != nil {
		t.Fatal(err)
	}
	nodes := schema.FieldList{
		schema.Must(schema.NewPrimitiveNodeLogical("time", parquet.Repetitions.Required,
			schema.NewTimestampLogicalType(utc, schema.TimeUnitMillis), parquet.Types.Int64, 0, -1)),
		schema.NewFloat32Node("distance", parquet.Repetitions.Required, -1),
		schema.NewFloat64Node("flow", parquet.Repetitions.Optional, -1),
	}
	root := schema.MustGroup(schema.NewGroupNode("log", parquet.Repetitions.Required, nodes, -1))
	w := file.NewParquetWriter(f, root,
		file.WithWriterProps(parquet.NewWriterProperties(parquet.WithCompression(codec))))
	for start := 0; start < rows; start += (rows + 1) / 2 {
		var times []int64
		var distances []float32
		var flows []float64
		var levels []int16
		for i := start; i < min(rows, start+(rows+1)/2); i++ {
			times, distances = append(times, int64(i)*60000), append(distances, float32(1000+i%50))
			if i%3 == 0 {
				levels = append(levels, 0)
			} else {
				levels, flows = append(levels, 1), append(flows, float64(i)/4)
			}
		}
		g := w.AppendRowGroup()
		column := func() file.ColumnChunkWriter {
			c, err := g.NextColumn()
			if err != nil {
				t.Fatal(err)
			}
			return c
		}
		c := column()
		_, err1 := c.(*file.Int64ColumnChunkWriter).WriteBatch(times, nil, nil)
		c2 := column()
		_, err2 := c2.(*file.Float32ColumnChunkWriter).WriteBatch(distances, nil, nil)
		c3 := column()
		_, err3 := c3.(*file.Float64ColumnChunkWriter).WriteBatch(flows, levels, nil)
		if err := errors.Join(err1, err2, err3, g.Close()); err != nil {
			t.Fatal(err)
		}
	}
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
}

// readAll reads a file to its end and returns the count of readings and a sum of all their values.
func readAll(name string) (rows int, sum float64, absolute bool, err error) {
	l, bad := Inspect(name, testLog())
	if bad != nil {
		return 0, 0, false, bad
	}
	r, bad := Open(name, l, true)
	if bad != nil {
		return 0, 0, false, bad
	}
	defer r.Close()
	for {
		b, err := r.Next()
		if err == io.EOF {
			r.Sum()
			return rows, sum, l.Absolute(), nil
		}
		if err != nil {
			return rows, sum, l.Absolute(), err
		}
		rows += b.Len()
		for i := range b.Time {
			sum += float64(b.Time[i])/1e9 + b.Value[reading.Distance][i]
			if b.State[reading.Flow][i] == reading.Present {
				sum += b.Value[reading.Flow][i]
			}
		}
	}
}

// expected is what readAll must find in a file of write.
func expected(rows int) (sum float64) {
	for i := range rows {
		sum += float64(i)*60 + float64(1000+i%50)/1000
		if i%3 != 0 {
			sum += float64(i) / 4 / 1000
		}
	}
	return sum
}

func TestRead(t *testing.T) {
	for _, utc := range []bool{true, false} {
		for _, codec := range []compress.Compression{
			compress.Codecs.Uncompressed, compress.Codecs.Snappy, compress.Codecs.Zstd,
		} {
			name := filepath.Join(t.TempDir(), "log.parquet")
			const n = 150000 // over two blocks a group
			write(t, name, n, utc, codec)
			rows, sum, absolute, err := readAll(name)
			if err != nil || rows != n || absolute != utc || math.Abs(sum/expected(n)-1) > 1e-12 {
				t.Errorf("utc %v, %v: %d rows, sum %v, absolute %v, %v; want %d and %v",
					utc, codec, rows, sum, absolute, err, n, expected(n))
			}
		}
	}
}

// plainFile is what the other implementation writes to.
type plainFile struct{ *os.File }

func (plainFile) Open(string) (source.ParquetFile, error)   { return nil, errors.ErrUnsupported }
func (plainFile) Create(string) (source.ParquetFile, error) { return nil, errors.ErrUnsupported }

// TestReadsOtherWriters: an independent second implementation of the format wrote the file.
func TestReadsOtherWriters(t *testing.T) {
	type record struct {
		Time     int64    `parquet:"name=time, type=INT64, logicaltype=TIMESTAMP, logicaltype.isadjustedtoutc=true, logicaltype.unit=MILLIS"`
		Distance float64  `parquet:"name=distance, type=DOUBLE"`
		Flow     *float64 `parquet:"name=flow, type=DOUBLE, repetitiontype=OPTIONAL"`
	}
	name := filepath.Join(t.TempDir(), "log.parquet")
	out, err := os.Create(name)
	if err != nil {
		t.Fatal(err)
	}
	f := plainFile{out}
	w, err := writer.NewParquetWriter(f, new(record), 1)
	if err != nil {
		t.Fatal(err)
	}
	const n = 5000
	for i := range n {
		r := record{Time: int64(i) * 60000, Distance: float64(1000 + i%50)}
		if i%3 != 0 {
			flow := float64(i) / 4
			r.Flow = &flow
		}
		if err := w.Write(r); err != nil {
			t.Fatal(err)
		}
	}
	if err := errors.Join(w.WriteStop(), f.Close()); err != nil {
		t.Fatal(err)
	}
	rows, sum, absolute, err := readAll(name)
	if err != nil || rows != n || !absolute || math.Abs(sum/expected(n)-1) > 1e-12 {
		t.Errorf("%d rows, sum %v, absolute %v, %v; want %d and %v", rows, sum, absolute, err, n, expected(n))
	}
}

// TestDamaged: every damaged file is a problem, or reads as it was; never a panic. Zstandard frames carry a checksum,
// so nothing slips through.
func TestDamaged(t *testing.T) {
	dir := t.TempDir()
	whole := filepath.Join(dir, "whole.parquet")
	const n = 3000
	write(t, whole, n, true, compress.Codecs.Zstd)
	content, err := os.ReadFile(whole)
	if err != nil {
		t.Fatal(err)
	}
	random := rand.New(rand.NewPCG(9, 10))
	problems := 0
	for i := range 500 {
		spoilt := append([]byte(nil), content...)
		switch i % 4 {
		case 0:
			spoilt = spoilt[:random.IntN(len(spoilt))]
		case 1:
			spoilt[random.IntN(len(spoilt))] ^= 1 << random.IntN(8)
		case 2:
			spoilt[len(spoilt)-1-random.IntN(400)] = byte(random.Uint32())
		case 3:
			for range 16 {
				spoilt[random.IntN(len(spoilt))] = byte(random.Uint32())
			}
		}
		name := filepath.Join(dir, "spoilt.parquet")
		if err := os.WriteFile(name, spoilt, 0o644); err != nil {
			t.Fatal(err)
		}
		rows, sum, _, err := readAll(name)
		var p *problem.Problem
		switch {
		case errors.As(err, &p):
			problems++
		case err != nil:
			t.Errorf("damage %d: %v is not a problem", i, err)
		case rows != n || math.Abs(sum/expected(n)-1) > 1e-12:
			t.Errorf("damage %d: %d rows with sum %v were read without a word", i, rows, sum)
		}
	}
	if problems < 300 {
		t.Errorf("only %d of 500 damages were noticed", problems)
	}
}

// TestOtherTypes: decimals of two widths, and time as INT96, by arrow's own writer.
func TestOtherTypes(t *testing.T) {
	name := filepath.Join(t.TempDir(), "log.parquet")
	f, err := os.Create(name)
	if err != nil {
		t.Fatal(err)
	}
	nodes := schema.FieldList{
		schema.NewInt96Node("time", parquet.Repetitions.Required, -1),
		schema.Must(schema.NewPrimitiveNodeLogical("distance", parquet.Repetitions.Required,
			schema.NewDecimalLogicalType(9, 1), parquet.Types.Int32, 0, -1)),
		schema.Must(schema.NewPrimitiveNodeLogical("flow", parquet.Repetitions.Optional,
			schema.NewDecimalLogicalType(18, 4), parquet.Types.Int64, 0, -1)),
	}
	w := file.NewParquetWriter(f, schema.MustGroup(schema.NewGroupNode("log", parquet.Repetitions.Required, nodes, -1)))
	g := w.AppendRowGroup()
	next := func() file.ColumnChunkWriter {
		c, err := g.NextColumn()
		if err != nil {
			t.Fatal(err)
		}
		return c
	}
	at := time.Date(2031, 3, 1, 12, 0, 0, 0, time.UTC)
	const day = 2440588 + 22339 // Julian day of 2031-03-01, which is 22339 days after 1970-01-01
	var stamps [2]parquet.Int96
	for i := range stamps {
		stamps[i] = parquet.NewInt96([3]uint32{0, 0, day})
		stamps[i].SetNanoSeconds(int64(12*time.Hour) + int64(i)*int64(time.Minute))
	}
	_, err1 := next().(*file.Int96ColumnChunkWriter).WriteBatch(stamps[:], nil, nil)
	_, err2 := next().(*file.Int32ColumnChunkWriter).WriteBatch([]int32{10805, 10810}, nil, nil)
	_, err3 := next().(*file.Int64ColumnChunkWriter).WriteBatch([]int64{157321}, []int16{1, 0}, nil)
	if err := errors.Join(err1, err2, err3, g.Close(), w.Close()); err != nil {
		t.Fatal(err)
	}
	l, bad := Inspect(name, testLog())
	if bad != nil {
		t.Fatal(bad)
	}
	r, bad := Open(name, l, false)
	if bad != nil {
		t.Fatal(bad)
	}
	defer r.Close()
	b, err := r.Next()
	if err != nil || b.Len() != 2 || b.Time[1] != at.Add(time.Minute).UnixNano() ||
		math.Abs(b.Value[reading.Distance][0]-1.0805) > 1e-12 ||
		math.Abs(b.Value[reading.Flow][0]-0.0157321) > 1e-12 ||
		b.State[reading.Flow][1] != reading.Empty || l.Absolute() {
		t.Errorf("%+v, %v", b, err)
	}
}

// TestFilesOfAnotherProgram: files that a general-purpose database wrote (testdata/log/README.md), with every way of
// packing and typing that it has. The sums are the database's own: of 300 rows, distance 307.35 and flow 7500 over 200
// rows that have one.
func TestFilesOfAnotherProgram(t *testing.T) {
	for _, c := range []struct {
		file, why string
		absolute  bool
	}{
		{"lz4", "LZ4_RAW", false},
		{"split", "BYTE_STREAM_SPLIT and DELTA_BINARY_PACKED", false},
		{"split-lz4", "both", false},
		{"date-and-time", "DATE and TIME columns, DECIMAL(38,4) in bytes", false},
		{"zoned", "adjusted to UTC, FLOAT, DECIMAL(18,4), gzip", true},
		{"milliseconds", "brotli", false},
		{"nanoseconds", "uncompressed", false},
		{"checksums", "snappy, with a checksum on every page", true},
	} {
		log := testLog()
		log.Columns[reading.Distance].Unit, log.Columns[reading.Flow].Unit = metre(), metrePerSecond()
		if c.file == "date-and-time" {
			log.Time.Name, log.TimeOfDay.Name = "date", "clock"
		}
		name := filepath.Join("..", "..", "testdata", "log", "parquet", c.file+".parquet")
		l, bad := Inspect(name, log)
		if bad != nil {
			t.Errorf("%s (%s): %v", c.file, c.why, bad)
			continue
		}
		r, bad := Open(name, l, false)
		if bad != nil {
			t.Fatal(bad)
		}
		rows, flows, distance, flow := 0, 0, 0.0, 0.0
		first, last := int64(0), int64(0)
		for {
			b, err := r.Next()
			if err == io.EOF {
				break
			}
			if err != nil {
				t.Fatal(c.file, err)
			}
			for i, at := range b.Time {
				if rows == 0 {
					first = at
				}
				last = at
				rows++
				distance += b.Value[reading.Distance][i]
				if b.State[reading.Flow][i] == reading.Present {
					flows, flow = flows+1, flow+b.Value[reading.Flow][i]
				}
			}
		}
		r.Close()
		start := time.Date(2031, 3, 1, 0, 0, 0, 0, time.UTC).UnixNano()
		if rows != 300 || flows != 200 || math.Abs(distance-307.35) > 1e-5 || math.Abs(flow-7500) > 1e-9 ||
			first != start || last != start+299*int64(time.Minute) || l.Absolute() != c.absolute {
			t.Errorf("%s (%s): %d rows, %d flows, sums %v and %v, from %d to %d, absolute %v",
				c.file, c.why, rows, flows, distance, flow, first, last, l.Absolute())
		}
	}
	log := testLog()
	if _, bad := Inspect(filepath.Join("..", "..", "testdata", "log", "parquet", "text.parquet"), log); bad == nil ||
		!strings.Contains(bad.Error(), `column "time" is text; expected a timestamp`) {
		t.Errorf("text for time: %v", bad)
	}
}

func metre() *quantity.Unit          { u := quantity.MustLookUp("m"); return &u }
func metrePerSecond() *quantity.Unit { u := quantity.MustLookUp("m3/s"); return &u }

// TestDamagedPages: pages that are unpacked here and not in the library, damaged: a problem, or values, never a panic.
func TestDamagedPages(t *testing.T) {
	random := rand.New(rand.NewPCG(11, 12))
	problems, rounds := 0, effort.Rounds(100, 500)
	for _, file := range []string{"lz4", "split", "split-lz4", "date-and-time"} {
		content, err := os.ReadFile(filepath.Join("..", "..", "testdata", "log", "parquet", file+".parquet"))
		if err != nil {
			t.Fatal(err)
		}
		for range rounds {
			spoilt := append([]byte(nil), content...)
			for range 1 + random.IntN(4) {
				spoilt[random.IntN(len(spoilt))] = byte(random.Uint32())
			}
			name := filepath.Join(t.TempDir(), "spoilt.parquet")
			if err := os.WriteFile(name, spoilt, 0o644); err != nil {
				t.Fatal(err)
			}
			_, _, _, err := readAll(name)
			var p *problem.Problem
			if errors.As(err, &p) {
				problems++
			} else if err != nil {
				t.Errorf("%s: %v is not a problem", file, err)
			}
		}
	}
	if problems < rounds {
		t.Errorf("only %d of %d damages were noticed", problems, 4*rounds)
	}
}

func TestWrongColumns(t *testing.T) {
	name := filepath.Join(t.TempDir(), "log.parquet")
	write(t, name, 10, true, compress.Codecs.Snappy)
	log := testLog()
	log.Columns[reading.Distance].Name = "distanz"
	if _, bad := Inspect(name, log); bad == nil {
		t.Error("a column that is not there was found")
	}
	log = testLog()
	log.Time.Name = "flow"
	if _, bad := Inspect(name, log); bad == nil {
		t.Error("a column of numbers was taken for times")
	}
	log = testLog()
	log.Columns[reading.Distance].Unit = nil
	if _, bad := Inspect(name, log); bad == nil {
		t.Error("a column without a unit was taken")
	}
	empty := filepath.Join(t.TempDir(), "empty.parquet")
	write(t, empty, 0, true, compress.Codecs.Snappy)
	if _, bad := Inspect(empty, testLog()); bad == nil {
		t.Error("a log without rows was taken")
	}
}

// FuzzRead: whatever the bytes, reading ends with a problem or an end, never a panic.
func FuzzRead(f *testing.F) {
	for _, file := range []string{"lz4", "split", "split-lz4", "date-and-time", "zoned"} {
		content, err := os.ReadFile(filepath.Join("..", "..", "testdata", "log", "parquet", file+".parquet"))
		if err != nil {
			f.Fatal(err)
		}
		f.Add(content)
	}
	for _, codec := range []compress.Compression{
		compress.Codecs.Uncompressed, compress.Codecs.Snappy, compress.Codecs.Zstd,
	} {
		name := filepath.Join(f.TempDir(), "seed.parquet")
		write(f, name, 40, true, codec)
		content, err := os.ReadFile(name)
		if err != nil {
			f.Fatal(err)
		}
		f.Add(content)
	}
	for _, content := range [][]byte{
		writeColumns(f, columnOf{"time", nil, []int64{1930089600, 1930089660}}, distances, flows),
		writeColumns(f, columnOf{"time", nil, []int32{1930089600, 1930089660}}, halves("distance"), flows),
		writeColumns(f, columnOf{"time", nil, []float64{1930089600.5e3, 1930089660e3}}, distances, flows),
		futureType(f, writeColumns(f, minutes, distances, flows, halves("shape"))),
	} {
		f.Add(content)
		summed, pages := withChecksums(f, content, true)
		f.Add(summed)
		summed[pages[1].from]++
		f.Add(summed)
	}
	f.Fuzz(func(t *testing.T, content []byte) {
		name := filepath.Join(t.TempDir(), "log.parquet")
		if err := os.WriteFile(name, content, 0o644); err != nil {
			t.Fatal(err)
		}
		_, _, _, err := readAll(name)
		var p *problem.Problem
		if err != nil && !errors.As(err, &p) {
			t.Errorf("%v is not a problem", err)
		}
	})
}

// BenchmarkRead reads two million rows of three columns, zstd.
func BenchmarkRead(b *testing.B) {
	name := filepath.Join(b.TempDir(), "log.parquet")
	const n = 2_000_000
	write(b, name, n, true, compress.Codecs.Zstd)
	l, bad := Inspect(name, testLog())
	if bad != nil {
		b.Fatal(bad)
	}
	for b.Loop() {
		r, bad := Open(name, l, false)
		if bad != nil {
			b.Fatal(bad)
		}
		rows := 0
		for {
			batch, err := r.Next()
			if err == io.EOF {
				break
			}
			if err != nil {
				b.Fatal(err)
			}
			rows += batch.Len()
		}
		if r.Close(); rows != n {
			b.Fatal(rows)
		}
	}
	b.ReportMetric(n*float64(b.N)/b.Elapsed().Seconds()/1e6, "Mrows/s")
}

// TestStopped: a reader that is closed before its end leaves neither a goroutine nor an open file, though the file was
// being hashed.
func TestStopped(t *testing.T) {
	name := filepath.Join(t.TempDir(), "log.parquet")
	write(t, name, 300_000, true, compress.Codecs.Uncompressed)
	l, bad := Inspect(name, testLog())
	if bad != nil {
		t.Fatal(bad)
	}
	goroutines := runtime.NumGoroutine()
	for range 20 {
		r, bad := Open(name, l, true)
		if bad != nil {
			t.Fatal(bad)
		}
		b, err := r.Next()
		if err != nil || b.Len() == 0 {
			t.Fatal(err)
		}
		if err := r.Close(); err != nil {
			t.Fatal(err)
		}
		if _, err := r.file.Stat(); !errors.Is(err, os.ErrClosed) {
			t.Errorf("the file is open: %v", err)
		}
	}
	for range 100 { // a goroutine that is done may take a moment to go
		if runtime.NumGoroutine() <= goroutines {
			return
		}
		time.Sleep(10 * time.Millisecond)
	}
	t.Errorf("%d goroutines, %d before", runtime.NumGoroutine(), goroutines)
}
