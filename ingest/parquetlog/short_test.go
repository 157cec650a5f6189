package parquetlog

import (
	"bytes"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"testing"
	"time"

	"github.com/apache/arrow/go/v15/parquet"
	"github.com/apache/arrow/go/v15/parquet/file"
	"github.com/apache/arrow/go/v15/parquet/schema"
)

// writePacked writes 1,000 rows of integers in one page a column, one a minute; every third flow is absent where values
// may be.
func writePacked(
	t testing.TB,
	encoding parquet.Encoding,
	may parquet.Repetition,
	version parquet.DataPageVersion,
) []byte {
	t.Helper()
	const rows = 1000
	var out bytes.Buffer
	nodes := schema.FieldList{
		schema.Must(schema.NewPrimitiveNodeLogical("time", may,
			schema.NewTimestampLogicalType(true, schema.TimeUnitMillis), parquet.Types.Int64, 0, -1)),
		schema.NewInt64Node("distance", may, -1),
		schema.NewInt64Node("flow", may, -1),
	}
	root := schema.MustGroup(schema.NewGroupNode("log", parquet.Repetitions.Required, nodes, -1))
	w := file.NewParquetWriter(&out, root, file.WithWriterProps(parquet.NewWriterProperties(
		parquet.WithDictionaryDefault(false), parquet.WithEncoding(encoding), parquet.WithStats(false),
		parquet.WithDataPageVersion(version))))
	g := w.AppendRowGroup()
	optional := may == parquet.Repetitions.Optional
	for k := range 3 {
		var values []int64
		var levels []int16
		for i := range int64(rows) {
			there := !optional || k < 2 || i%3 != 0
			if optional {
				levels = append(levels, map[bool]int16{true: 1}[there])
			}
			if there {
				values = append(values, []int64{i * 60000, 1100 + i%50, i % 7}[k])
			}
		}
		c, err := g.NextColumn()
		if err != nil {
			t.Fatal(err)
		}
		_, err = c.(*file.Int64ColumnChunkWriter).WriteBatch(values, levels, nil)
		if err := errors.Join(err, c.Close()); err != nil {
			t.Fatal(err)
		}
	}
	if err := errors.Join(g.Close(), w.Close()); err != nil {
		t.Fatal(err)
	}
	return out.Bytes()
}

// readWithin reads a file and fails when that takes longer than a file of 1,000 rows can.
func readWithin(t *testing.T, content []byte) (rows int, sum float64, err error) {
	t.Helper()
	name := filepath.Join(t.TempDir(), "short.parquet")
	if err := os.WriteFile(name, content, 0o644); err != nil {
		t.Fatal(err)
	}
	done := make(chan struct{})
	go func() {
		rows, sum, _, err = readAll(name)
		close(done)
	}()
	select {
	case <-done:
		return rows, sum, err
	case <-time.After(20 * time.Second):
		t.Fatal("the reader hangs")
	}
	return
}

// TestPageSaysLess: wherever a file writes its 1,000 rows (as a count of values, of rows or of levels, 2,000 in the
// zigzag of the format and d0 0f in its bytes; of values packed by their differences e8 07), another number there ends
// with the right rows or with a problem, and never hangs: a page of levels for one row that promises 1,000 did.
func TestPageSaysLess(t *testing.T) {
	for _, encoding := range []parquet.Encoding{parquet.Encodings.DeltaBinaryPacked, parquet.Encodings.Plain} {
		for _, may := range []parquet.Repetition{parquet.Repetitions.Optional, parquet.Repetitions.Required} {
			for _, version := range []parquet.DataPageVersion{parquet.DataPageV1, parquet.DataPageV2} {
				name := fmt.Sprintf("%s, %s, version %d", encoding, may, version)
				whole := writePacked(t, encoding, may, version)
				wantRows, wantSum, err := readWithin(t, whole)
				if err != nil || wantRows != 1000 {
					t.Fatal(name, wantRows, err)
				}
				tried := 0
				for _, count := range [][]byte{{0xd0, 0x0f}, {0xe8, 0x07}} {
					for at := 0; at < len(whole)-1; at++ {
						if !bytes.Equal(whole[at:at+2], count) {
							continue
						}
						for _, other := range [][]byte{
							{0x80, 0}, {0x81, 0}, {0x82, 0}, {0x8a, 0}, {0xce, 0x0f}, {0xd2, 0x0f}, {0xff, 0x7f}, {0xfe, 0x7f},
						} {
							tried++
							spoilt := bytes.Clone(whole)
							copy(spoilt[at:], other)
							if rows, sum, err := readWithin(t, spoilt); err == nil &&
								(rows != wantRows || sum != wantSum) {
								t.Errorf("%s: %x at byte %d of %d: %d rows, sum %g, want %d and %g",
									name, other, at, len(whole), rows, sum, wantRows, wantSum)
							}
						}
					}
				}
				if tried < 50 {
					t.Errorf("%s: only %d places were tried", name, tried)
				}
			}
		}
	}
}

// TestCountLevels: runs by hand. 2,000 = 1,000 << 1 is a run of 1,000 of one level; 5 = 2 << 1 | 1 is two groups of
// eight packed ones, one byte each at one bit.
func TestCountLevels(t *testing.T) {
	for _, c := range []struct {
		runs  []byte
		width int
		want  int64
	}{
		{nil, 1, 0}, {[]byte{0xd0, 0x0f, 1}, 1, 1000}, {[]byte{0xd0, 0x0f, 1, 5, 0xff, 0xff}, 1, 1016},
		{[]byte{5, 0xff}, 1, 8}, {[]byte{5, 1, 2, 3, 4}, 2, 16}, {[]byte{2, 1, 4, 0}, 1, 3}, {[]byte{0xff}, 1, 0},
	} {
		if got := countLevels(c.runs, c.width); got != c.want {
			t.Errorf("% x at %d bits: %d, want %d", c.runs, c.width, got, c.want)
		}
	}
}

// TestMostIndex: runs by hand, as above. 2 and 3 of 2 bits packed from the lowest on are 1110 and, with 0 and 1 in
// front, 0b11100100; of 9 bits 511 and 1 are 0xff 0x03 and a rest.
func TestMostIndex(t *testing.T) {
	for _, c := range []struct {
		runs    []byte
		width   int
		entries uint32
		want    bool
	}{
		{nil, 1, 1, false}, {[]byte{0xd0, 0x0f, 3}, 2, 4, false}, {[]byte{0xd0, 0x0f, 4}, 2, 4, true},
		{[]byte{0xd0, 0x0f, 0, 0, 0, 0x10}, 32, 4, true}, {[]byte{0xd0, 0x0f, 3, 0, 0, 0}, 32, 4, false},
		{[]byte{3, 0xe4, 0}, 2, 4, false}, {[]byte{3, 0xe4, 0}, 2, 3, false}, // as many bits as 3 entries need
		{[]byte{3, 0xe4, 0}, 2, 2, true}, {[]byte{3, 0x44, 0}, 2, 2, false},
		{[]byte{3, 0xff, 0x03, 0, 0, 0, 0, 0, 0, 0}, 9, 256, true},
		{[]byte{3, 0xff, 0x02, 0, 0, 0, 0, 0, 0, 0}, 9, 256, false}, // 255 and 1
		{[]byte{2, 0}, 0, 1, false}, {[]byte{0xff}, 8, 1, false}, {[]byte{2, 5}, 8, 0, true},
	} {
		if got := mostIndex(c.runs, c.width, c.entries); got != c.want {
			t.Errorf("% x at %d bits, %d entries: %v", c.runs, c.width, c.entries, got)
		}
	}
}
