package parquetlog

import (
	"bufio"
	"bytes"
	"cmp"
	"context"
	"encoding/binary"
	"errors"
	"fmt"
	"hash/crc32"
	"io"
	"slices"
	"sync"

	"github.com/apache/arrow/go/v15/arrow/memory"
	"github.com/apache/arrow/go/v15/parquet"
	"github.com/apache/arrow/go/v15/parquet/compress"
	"github.com/apache/arrow/go/v15/parquet/file"
	"github.com/apache/thrift/lib/go/thrift"
	"github.com/klauspost/compress/gzip"
	"github.com/klauspost/compress/zstd"
	"github.com/pierrec/lz4/v4"
	format "github.com/xitongsys/parquet-go/parquet"
)

// Kinds of packing that the library does not know: LZ4 in its three forms, and floating-point numbers split into
// streams of bytes. Numbers are those of the format (apache/parquet-format, parquet.thrift).
const (
	lz4Framed       = compress.Compression(format.CompressionCodec_LZ4)
	lz4Raw          = compress.Compression(format.CompressionCodec_LZ4_RAW)
	byteStreamSplit = parquet.Encoding(format.Encoding_BYTE_STREAM_SPLIT)
	mostPage        = 256 << 20 // bytes; a larger page is no log's
	pageSlack       = 100       // bytes that old writers left out of the length of a column: a header
)

// scratch is memory that readers of columns share.
var scratch = sync.Pool{New: func() any { return memory.NewResizableBuffer(bounded{memory.DefaultAllocator}) }}

// openColumn opens a column of a row group, through pages of our own: those of the library look at no checksum.
func (r *Reader) openColumn(group *file.RowGroupReader, number int) (file.ColumnChunkReader, error) {
	meta, err := group.MetaData().ColumnChunk(number)
	if err != nil {
		return nil, err
	}
	descriptor := r.parquet.MetaData().Schema.Column(number)
	start, most := meta.DataPageOffset(), descriptor.MaxDefinitionLevel()
	if at := meta.DictionaryPageOffset(); meta.HasDictionaryPage() && at > 0 && at < start {
		start = at
	}
	size := meta.TotalCompressedSize()
	if meta.CryptoMetadata() != nil {
		return nil, fmt.Errorf("column %q is encrypted", descriptor.Path())
	}
	if start < 0 || size < 0 || start > r.size || size > r.size {
		return nil, fmt.Errorf("a column lies outside the file, %d bytes from byte %d", size, start)
	}
	width := map[parquet.Type]int{
		parquet.Types.Float: 4, parquet.Types.Double: 8, parquet.Types.Int32: 4, parquet.Types.Int64: 8,
		parquet.Types.FixedLenByteArray: descriptor.TypeLength(),
	}[descriptor.PhysicalType()]
	section := io.NewSectionReader(r.file, start, size+pageSlack)
	p := &pages{
		in:       thrift.NewStreamTransportR(bufio.NewReaderSize(section, 1<<16)),
		codec:    meta.Compression(),
		values:   meta.NumValues(),
		size:     size,
		nullable: most > 0,
		width:    width,
		sums:     &r.sums,
		keeps:    width == 0 || descriptor.PhysicalType() == parquet.Types.FixedLenByteArray,
	}
	in := checked(p, most, meta.NumValues())
	return file.NewColumnReader(descriptor, in, bounded{memory.DefaultAllocator}, &scratch), nil
}

// checksums counts the pages that were read.
type checksums struct{ pages, checked int }

// pages reads the pages of one column of one row group and hands them on unpacked, plain and, where they have a
// checksum, checked. It is a file.PageReader.
type pages struct {
	in       thrift.TTransport
	codec    compress.Compression
	values   int64 // still to come
	size     int64 // bytes of the column as it is stored, which no page is larger than
	nullable bool
	width    int    // bytes of a value; 0 for bytes of any length
	entries  uint32 // of the dictionary
	sums     *checksums
	keeps    bool   // values refer to the memory of their page, which is not used again then
	stored   []byte // memory of a page as it is stored
	plain    []byte // memory of a page unpacked
	unpacker gzip.Reader
	page     file.Page
	failure  error
}

// SetMaxPageHeaderSize is part of the interface; headers are bounded by the protocol.
func (p *pages) SetMaxPageHeaderSize(int) {}

// Page returns the current page.
func (p *pages) Page() file.Page { return p.page }

// Err returns why Next failed.
func (p *pages) Err() error { return p.failure }

// Reset is part of the interface; nobody here starts anew.
func (p *pages) Reset(parquet.BufferedReader, int64, compress.Compression, *file.CryptoContext) {
	p.failure = errors.New("pages cannot be read anew")
}

// Next moves on to the next page.
func (p *pages) Next() bool {
	for p.values > 0 && p.failure == nil {
		h := format.NewPageHeader()
		if p.failure = h.Read(context.Background(),
			thrift.NewTCompactProtocolConf(p.in, &thrift.TConfiguration{MaxMessageSize: 1 << 24})); p.failure != nil {
			return false
		}
		if h.CompressedPageSize < 0 || h.UncompressedPageSize < 0 ||
			max(h.CompressedPageSize, h.UncompressedPageSize) > mostPage {
			p.failure = fmt.Errorf("a page of %d bytes", max(h.CompressedPageSize, h.UncompressedPageSize))
			return false
		}
		if int64(h.CompressedPageSize) > p.size {
			p.failure = fmt.Errorf("a page of %d bytes in a column of %d", h.CompressedPageSize, p.size)
			return false
		}
		body := p.room(&p.stored, h, int(h.CompressedPageSize))
		if _, p.failure = io.ReadFull(p.in, body); p.failure != nil {
			return false
		}
		if p.failure = p.verify(h, body); p.failure != nil {
			return false
		}
		if p.page, p.failure = p.open(h, body); p.page != nil || p.failure != nil {
			return p.failure == nil
		}
	}
	return false
}

// verify holds the bytes of a page, as they are stored, to its checksum where it has one: CRC-32 as in gzip, over all
// that follows the page's header (apache/parquet-format, README.md, Checksumming).
func (p *pages) verify(h *format.PageHeader, body []byte) error {
	p.sums.pages++
	if h.Crc == nil {
		return nil
	}
	p.sums.checked++
	if sum := crc32.ChecksumIEEE(body); sum != uint32(*h.Crc) {
		return fmt.Errorf("a page does not agree with its checksum, %08x: its bytes give %08x", uint32(*h.Crc), sum)
	}
	return nil
}

// open unpacks a page; nil for kinds that hold no values.
func (p *pages) open(h *format.PageHeader, body []byte) (page file.Page, err error) {
	switch {
	case h.DictionaryPageHeader != nil:
		d := h.DictionaryPageHeader
		if d.NumValues < 0 {
			return nil, errors.New("a page with fewer than no values")
		}
		if body, err = p.unpack(h, body, int(h.UncompressedPageSize)); err != nil {
			return nil, err
		}
		if least := cmp.Or(p.width, 4); int64(d.NumValues)*int64(least) > int64(len(body)) { // before room is made
			return nil, fmt.Errorf("a dictionary promises %d values in %d bytes", d.NumValues, len(body))
		}
		p.entries = uint32(d.NumValues)
		return file.NewDictionaryPage(memory.NewBufferBytes(body), d.NumValues, parquet.Encoding(d.Encoding)), nil
	case h.DataPageHeader != nil:
		d := h.DataPageHeader
		if d.NumValues < 0 {
			return nil, errors.New("a page with fewer than no values")
		}
		p.values -= int64(d.NumValues)
		if body, err = p.unpack(h, body, int(h.UncompressedPageSize)); err != nil {
			return nil, err
		}
		levels := 0
		if p.nullable && len(body) >= 4 {
			levels = 4 + int(binary.LittleEndian.Uint32(body))
		}
		encoding, err := p.join(body, levels, parquet.Encoding(d.Encoding))
		if err == nil {
			err = p.checkIndexes(body, levels, encoding)
		}
		return file.NewDataPageV1(memory.NewBufferBytes(body), d.NumValues, encoding,
			parquet.Encoding(d.DefinitionLevelEncoding), parquet.Encoding(d.RepetitionLevelEncoding),
			int32(len(body))), err
	case h.DataPageHeaderV2 != nil:
		d := h.DataPageHeaderV2
		if d.NumValues < 0 || d.DefinitionLevelsByteLength < 0 || d.RepetitionLevelsByteLength < 0 {
			return nil, errors.New("a page with fewer than no values or levels")
		}
		p.values -= int64(d.NumValues)
		levels := int(d.DefinitionLevelsByteLength) + int(d.RepetitionLevelsByteLength)
		if levels < 0 || levels > min(len(body), int(h.UncompressedPageSize)) {
			return nil, errors.New("levels longer than their page")
		}
		if d.IsCompressed {
			values, err := p.unpack(h, body[levels:], int(h.UncompressedPageSize)-levels)
			if err != nil {
				return nil, err
			}
			body = slices.Concat(body[:levels], values)
		}
		encoding, err := p.join(body, levels, parquet.Encoding(d.Encoding))
		if err == nil {
			err = p.checkIndexes(body, levels, encoding)
		}
		return file.NewDataPageV2(memory.NewBufferBytes(body), d.NumValues, d.NumNulls, d.NumRows, encoding,
			d.DefinitionLevelsByteLength, d.RepetitionLevelsByteLength, int32(len(body)), false), err
	}
	return nil, nil
}

// room is memory for so many bytes of a page, that of the page before where nothing refers to it any more.
func (p *pages) room(memory *[]byte, h *format.PageHeader, size int) []byte {
	if p.keeps || h.DictionaryPageHeader != nil {
		return make([]byte, size)
	}
	*memory = slices.Grow((*memory)[:0], size)[:size]
	return *memory
}

// unpackZstd unpacks Zstandard into no more memory than a page may take.
var unpackZstd = sync.OnceValue(func() *zstd.Decoder {
	d, err := zstd.NewReader(nil, zstd.WithDecoderMaxMemory(mostPage))
	if err != nil {
		panic(err) // of its options, which stand here
	}
	return d
})

var errPageSize = errors.New("a page is not as long as it says")

// unpack decompresses the body of a page to its stated size.
func (p *pages) unpack(h *format.PageHeader, body []byte, size int) (out []byte, err error) {
	if p.codec == compress.Codecs.Uncompressed || len(body)+size == 0 {
		if len(body) != size {
			return nil, errPageSize
		}
		return body, nil
	}
	out = p.room(&p.plain, h, size)
	switch p.codec {
	case lz4Raw:
		return out, lz4Block(out, body)
	case lz4Framed:
		if bytes.HasPrefix(body, []byte{0x04, 0x22, 0x4d, 0x18}) { // a frame of LZ4 itself
			return out, exactly(out, lz4.NewReader(bytes.NewReader(body)))
		}
		if err := hadoopBlocks(out, body); err == nil {
			return out, nil
		}
		return out, lz4Block(out, body)
	case compress.Codecs.Gzip: // whose own checksum and length stand at its end (RFC 1952, 2.3.1)
		if err := p.unpacker.Reset(bytes.NewReader(body)); err != nil {
			return nil, err
		}
		return out, exactly(out, &p.unpacker)
	case compress.Codecs.Zstd:
		out, err = unpackZstd().DecodeAll(body, out[:0])
	case compress.Codecs.Snappy:
		if n, _ := binary.Uvarint(body); n != uint64(size) { // before so much memory is asked for
			return nil, errPageSize
		}
		fallthrough
	default:
		var codec compress.Codec
		if codec, err = compress.GetCodec(p.codec); err == nil {
			out = codec.Decode(out, body)
		}
	}
	if err == nil && len(out) != size {
		err = errPageSize
	}
	return out, err
}

// exactly fills out with what a reader gives, and reads on to its end, where checksums stand.
func exactly(out []byte, from io.Reader) error {
	if _, err := io.ReadFull(from, out); err != nil {
		return err
	}
	switch n, err := from.Read(make([]byte, 1)); {
	case n > 0 || err == nil:
		return errPageSize
	case err != io.EOF:
		return err
	}
	return nil
}

func lz4Block(out, body []byte) error {
	if len(out) == 0 {
		return nil
	}
	if n, err := lz4.UncompressBlock(body, out); err != nil || n != len(out) {
		return fmt.Errorf("LZ4 data is damaged (%d of %d bytes, %v)", n, len(out), err)
	}
	return nil
}

// hadoopBlocks unpacks blocks that each have their two sizes in front, the way of old writers.
func hadoopBlocks(out, body []byte) error {
	for len(out) > 0 {
		if len(body) < 8 {
			return io.ErrUnexpectedEOF
		}
		size, packed := int(binary.BigEndian.Uint32(body)), int(binary.BigEndian.Uint32(body[4:]))
		if body = body[8:]; size > len(out) || packed > len(body) {
			return io.ErrUnexpectedEOF
		}
		if err := lz4Block(out[:size], body[:packed]); err != nil {
			return err
		}
		out, body = out[size:], body[packed:]
	}
	return nil
}

// join puts the bytes of values that are split into streams beside each other again, in place, and returns the encoding
// then.
func (p *pages) join(body []byte, levels int, encoding parquet.Encoding) (parquet.Encoding, error) {
	if encoding != byteStreamSplit {
		return encoding, nil
	}
	if p.width == 0 || levels > len(body) || (len(body)-levels)%p.width != 0 {
		return encoding, errors.New("split values do not fill their page")
	}
	streams := slices.Clone(body[levels:])
	n := len(streams) / p.width
	for i := range n {
		for k := range p.width {
			body[levels+i*p.width+k] = streams[k*n+i]
		}
	}
	return parquet.Encodings.Plain, nil
}
