package parquetlog

import (
	"bytes"
	"context"
	"encoding/binary"
	"errors"
	"hash/crc32"
	"io"
	"os"
	"path/filepath"
	"testing"

	"github.com/apache/arrow/go/v15/parquet"
	"github.com/apache/arrow/go/v15/parquet/compress"
	"github.com/apache/thrift/lib/go/thrift"
	format "github.com/xitongsys/parquet-go/parquet"

	"retotal/ingest/problem"
	"retotal/testdata/effort"
)

// span is where the bytes of a page stand in a file, behind its header.
type span struct{ from, to int }

// withChecksums writes a file anew with a checksum in the header of every page, or without any, and returns where the
// bytes of its pages stand. Checksums are those of the standard library.
func withChecksums(t testing.TB, content []byte, sums bool) (out []byte, pages []span) {
	t.Helper()
	c := context.Background()
	end := len(content) - 8
	start := end - int(binary.LittleEndian.Uint32(content[end:]))
	meta := format.NewFileMetaData()
	if err := meta.Read(c, compact(content[start:end])); err != nil {
		t.Fatal(err)
	}
	for _, e := range meta.Schema { // types younger than this writer are lost
		if e.LogicalType != nil && e.LogicalType.CountSetFieldsLogicalType() == 0 {
			e.LogicalType = nil
		}
	}
	out = []byte("PAR1")
	for _, group := range meta.RowGroups {
		for _, column := range group.Columns {
			m := column.MetaData
			at := int(m.DataPageOffset)
			if m.DictionaryPageOffset != nil && int(*m.DictionaryPageOffset) > 0 {
				at = min(at, int(*m.DictionaryPageOffset))
			}
			stop, first, data := at+int(m.TotalCompressedSize), len(out), int64(-1)
			for at < stop {
				in := &thrift.TMemoryBuffer{Buffer: bytes.NewBuffer(content[at:])}
				h := format.NewPageHeader()
				if err := h.Read(c, thrift.NewTCompactProtocolConf(in, nil)); err != nil {
					t.Fatal(err)
				}
				at = len(content) - in.Len()
				body := content[at : at+int(h.CompressedPageSize)]
				at += len(body)
				if h.Crc = nil; sums {
					sum := int32(crc32.ChecksumIEEE(body))
					h.Crc = &sum
				}
				head := thrift.NewTMemoryBuffer()
				if err := h.Write(c, thrift.NewTCompactProtocolConf(head, nil)); err != nil {
					t.Fatal(err)
				}
				if place := int64(len(out)); h.DictionaryPageHeader != nil {
					m.DictionaryPageOffset = &place
				} else if data < 0 {
					data = place
				}
				out = append(out, head.Bytes()...)
				pages = append(pages, span{len(out), len(out) + len(body)})
				out = append(out, body...)
			}
			m.DataPageOffset, m.TotalCompressedSize = data, int64(len(out)-first)
			column.FileOffset = int64(first)
			column.OffsetIndexOffset, column.ColumnIndexOffset = nil, nil
		}
	}
	footer := thrift.NewTMemoryBuffer()
	if err := meta.Write(c, thrift.NewTCompactProtocolConf(footer, nil)); err != nil {
		t.Fatal(err)
	}
	out = append(out, footer.Bytes()...)
	return append(binary.LittleEndian.AppendUint32(out, uint32(footer.Len())), "PAR1"...), pages
}

// compact reads the compact protocol from some bytes.
func compact(content []byte) thrift.TProtocol {
	return thrift.NewTCompactProtocolConf(&thrift.TMemoryBuffer{Buffer: bytes.NewBuffer(content)}, nil)
}

// passed counts what became of a file with one bit changed.
type passed struct{ tried, refused, same, wrong int }

// flips changes one bit at a time in the pages of a file: 3,000 of them with -tags slow, else 100.
func flips(t *testing.T, content []byte, pages []span) (n passed) {
	t.Helper()
	name := filepath.Join(t.TempDir(), "log.parquet")
	read := func(content []byte) (int, float64, error) {
		if err := os.WriteFile(name, content, 0o644); err != nil {
			t.Fatal(err)
		}
		rows, sum, _, err := readAll(name)
		return rows, sum, err
	}
	rows, sum, err := read(content)
	if err != nil || rows == 0 {
		t.Fatal(rows, err)
	}
	bits := 0
	for _, page := range pages {
		bits += 8 * (page.to - page.from)
	}
	every := max(1, bits/effort.Rounds(100, 3000))
	for bit := range bits {
		if bit%every > 0 {
			continue
		}
		spoilt, left := bytes.Clone(content), bit
		for _, page := range pages {
			if size := 8 * (page.to - page.from); left >= size {
				left -= size
				continue
			}
			spoilt[page.from+left/8] ^= 1 << (left % 8)
			break
		}
		n.tried++
		gotRows, gotSum, err := read(spoilt)
		var p *problem.Problem
		switch {
		case errors.As(err, &p):
			n.refused++
		case err != nil:
			t.Errorf("bit %d: %v is not a problem", bit, err)
		case gotRows == rows && gotSum == sum:
			n.same++
		default:
			n.wrong++
		}
	}
	return n
}

// TestFlips: one bit changed in a page is noticed wherever the page has a checksum, whatever the packing. Without one,
// those of gzip and of Zstandard's frames see to it that no value changes: what passes are bits that carry none, such
// as the time in the header of gzip (RFC 1952, 2.3) or the rest of a stream's last byte. Packings without checksums let
// most pass, which is why the certificate says so.
func TestFlips(t *testing.T) {
	small := func(codec compress.Compression) []byte {
		name := filepath.Join(t.TempDir(), "small.parquet")
		write(t, name, 40, true, codec)
		content, err := os.ReadFile(name)
		if err != nil {
			t.Fatal(err)
		}
		return content
	}
	foreign := func(name string) []byte {
		content, err := os.ReadFile(filepath.Join("..", "..", "testdata", "log", "parquet", name+".parquet"))
		if err != nil {
			t.Fatal(err)
		}
		return content
	}
	for _, c := range []struct {
		name    string
		content []byte
		own     bool // the packing has a checksum of its own
	}{
		{"none", small(compress.Codecs.Uncompressed), false},
		{"snappy", small(compress.Codecs.Snappy), false},
		{"gzip", small(compress.Codecs.Gzip), true},
		{"brotli", small(compress.Codecs.Brotli), false},
		{"zstd", small(compress.Codecs.Zstd), true},
		{"lz4", foreign("lz4"), false},
		{"version 2", writePacked(t, parquet.Encodings.DeltaBinaryPacked, parquet.Repetitions.Optional,
			parquet.DataPageV2), false},
	} {
		with, pages := withChecksums(t, c.content, true)
		if n := flips(t, with, pages); n.refused != n.tried || n.tried < 100 {
			t.Errorf("%s with checksums: %+v", c.name, n)
		}
		without, pages := withChecksums(t, c.content, false)
		n := flips(t, without, pages)
		t.Logf("%s: %+v without checksums of pages, all refused with", c.name, n)
		if c.own && n.wrong > 0 {
			t.Errorf("%s without checksums: %+v", c.name, n)
		}
	}
}

// TestSumsDecision: what the certificate says of checksums, of a file that another implementation wrote with them
// (testdata/log/README.md) too.
func TestSumsDecision(t *testing.T) {
	foreign, err := os.ReadFile(filepath.Join("..", "..", "testdata", "log", "parquet", "checksums.parquet"))
	if err != nil {
		t.Fatal(err)
	}
	with := func(codec compress.Compression, sums bool) []byte {
		name := filepath.Join(t.TempDir(), "log.parquet")
		write(t, name, 40, true, codec)
		content, err := os.ReadFile(name)
		if err != nil {
			t.Fatal(err)
		}
		content, _ = withChecksums(t, content, sums)
		return content
	}
	for _, c := range []struct {
		content []byte
		found   string
	}{
		{foreign, "all 10 pages that were read agree with theirs"},
		{with(compress.Codecs.Zstd, true), "all 12 pages that were read agree with theirs"},
		{with(compress.Codecs.Zstd, false), "none"},
		{with(compress.Codecs.Gzip, false), "none of pages; the one that gzip has in each was used"},
	} {
		name := filepath.Join(t.TempDir(), "log.parquet")
		if err := os.WriteFile(name, c.content, 0o644); err != nil {
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
		for err == nil {
			_, err = r.Next()
		}
		if r.Close(); err != io.EOF {
			t.Fatal(err)
		}
		err = nil
		d := l.Decisions()[2]
		if d.Subject != "checksums" || d.Found != c.found || (d.Because == "") != (c.found != "none") {
			t.Errorf("%+v, want %q", d, c.found)
		}
	}
}
