package parquetlog

import (
	"bytes"
	"context"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"os"
	"slices"
	"sync"

	"github.com/apache/arrow/go/v15/arrow/memory"
	"github.com/apache/arrow/go/v15/parquet"
	"github.com/apache/arrow/go/v15/parquet/compress"
	"github.com/apache/arrow/go/v15/parquet/file"
	"github.com/apache/thrift/lib/go/thrift"
	"github.com/pierrec/lz4/v4"
	format "github.com/xitongsys/parquet-go/parquet"
)

// Kinds of pages that the library cannot read: LZ4 in its three forms, and floating-point numbers split into streams of
// bytes. Numbers are those of the format (apache/parquet-format, parquet.thrift).
const (
	lz4Framed       = compress.Compression(format.CompressionCodec_LZ4)
	lz4Raw          = compress.Compression(format.CompressionCodec_LZ4_RAW)
	byteStreamSplit = parquet.Encoding(format.Encoding_BYTE_STREAM_SPLIT)
	mostPage        = 256 << 20 // bytes; a larger page is no log's
)

// scratch is memory that readers of columns share.
var scratch = sync.Pool{New: func() any { return memory.NewResizableBuffer(bounded{memory.DefaultAllocator}) }}

// openColumn opens a column of a row group, through pages of our own where the library cannot read them.
func openColumn(r *file.Reader, f *os.File, group *file.RowGroupReader, number int) (file.ColumnChunkReader, error) {
	meta, err := group.MetaData().ColumnChunk(number)
	if err != nil {
		return nil, err
	}
	codec, descriptor := meta.Compression(), r.MetaData().Schema.Column(number)
	most := descriptor.MaxDefinitionLevel()
	if codec != lz4Framed && codec != lz4Raw && !slices.Contains(meta.Encodings(), byteStreamSplit) {
		p, err := group.GetColumnPageReader(number)
		if err != nil {
			return nil, err
		}
		in := checked(p, most, meta.NumValues())
		return file.NewColumnReader(descriptor, in, bounded{memory.DefaultAllocator}, &scratch), nil
	}
	start := meta.DataPageOffset()
	if at := meta.DictionaryPageOffset(); meta.HasDictionaryPage() && at > 0 && at < start {
		start = at
	}
	width := map[parquet.Type]int{
		parquet.Types.Float: 4, parquet.Types.Double: 8, parquet.Types.Int32: 4, parquet.Types.Int64: 8,
		parquet.Types.FixedLenByteArray: descriptor.TypeLength(),
	}[descriptor.PhysicalType()]
	p := &pages{
		in:       thrift.NewStreamTransportR(io.NewSectionReader(f, start, meta.TotalCompressedSize())),
		codec:    codec,
		values:   meta.NumValues(),
		nullable: most > 0,
		width:    width,
	}
	in := checked(p, most, meta.NumValues())
	return file.NewColumnReader(descriptor, in, bounded{memory.DefaultAllocator}, &scratch), nil
}

// pages reads the pages of one column of one row group and hands them on unpacked and plain. It is a file.PageReader.
type pages struct {
	in       thrift.TTransport
	codec    compress.Compression
	values   int64 // still to come
	nullable bool
	width    int // bytes of a value; 0 for bytes of any length
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
		body := make([]byte, h.CompressedPageSize)
		if _, p.failure = io.ReadFull(p.in, body); p.failure != nil {
			return false
		}
		if p.page, p.failure = p.open(h, body); p.page != nil || p.failure != nil {
			return p.failure == nil
		}
	}
	return false
}

// open unpacks a page; nil for kinds that hold no values.
func (p *pages) open(h *format.PageHeader, body []byte) (page file.Page, err error) {
	switch {
	case h.DictionaryPageHeader != nil:
		d := h.DictionaryPageHeader
		if body, err = p.unpack(body, int(h.UncompressedPageSize)); err != nil {
			return nil, err
		}
		return file.NewDictionaryPage(memory.NewBufferBytes(body), d.NumValues, parquet.Encoding(d.Encoding)), nil
	case h.DataPageHeader != nil:
		d := h.DataPageHeader
		p.values -= int64(d.NumValues)
		if body, err = p.unpack(body, int(h.UncompressedPageSize)); err != nil {
			return nil, err
		}
		levels := 0
		if p.nullable && len(body) >= 4 {
			levels = 4 + int(binary.LittleEndian.Uint32(body))
		}
		encoding, err := p.join(body, levels, parquet.Encoding(d.Encoding))
		return file.NewDataPageV1(memory.NewBufferBytes(body), d.NumValues, encoding,
			parquet.Encoding(d.DefinitionLevelEncoding), parquet.Encoding(d.RepetitionLevelEncoding),
			int32(len(body))), err
	case h.DataPageHeaderV2 != nil:
		d := h.DataPageHeaderV2
		p.values -= int64(d.NumValues)
		levels := int(d.DefinitionLevelsByteLength) + int(d.RepetitionLevelsByteLength)
		if levels < 0 || levels > min(len(body), int(h.UncompressedPageSize)) {
			return nil, errors.New("levels longer than their page")
		}
		if d.IsCompressed {
			values, err := p.unpack(body[levels:], int(h.UncompressedPageSize)-levels)
			if err != nil {
				return nil, err
			}
			body = slices.Concat(body[:levels], values)
		}
		encoding, err := p.join(body, levels, parquet.Encoding(d.Encoding))
		return file.NewDataPageV2(memory.NewBufferBytes(body), d.NumValues, d.NumNulls, d.NumRows, encoding,
			d.DefinitionLevelsByteLength, d.RepetitionLevelsByteLength, int32(len(body)), false), err
	}
	return nil, nil
}

// unpack decompresses the body of a page to its stated size.
func (p *pages) unpack(body []byte, size int) ([]byte, error) {
	out := make([]byte, size)
	switch p.codec {
	case lz4Raw:
		return out, lz4Block(out, body)
	case lz4Framed:
		if bytes.HasPrefix(body, []byte{0x04, 0x22, 0x4d, 0x18}) { // a frame of LZ4 itself
			_, err := io.ReadFull(lz4.NewReader(bytes.NewReader(body)), out)
			return out, err
		}
		if err := hadoopBlocks(out, body); err == nil {
			return out, nil
		}
		return out, lz4Block(out, body)
	case compress.Codecs.Uncompressed:
		if len(body) != size {
			return nil, errors.New("a page is not as long as it says")
		}
		return body, nil
	}
	codec, err := compress.GetCodec(p.codec)
	if err != nil {
		return nil, err
	}
	if out = codec.Decode(out, body); len(out) != size {
		return nil, errors.New("a page is not as long as it says")
	}
	return out, nil
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
