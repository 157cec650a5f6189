package parquetlog

import (
	"bytes"
	"context"
	"encoding/binary"
	"io"
	"os"
	"slices"

	"github.com/apache/arrow/go/v15/parquet"
	"github.com/apache/arrow/go/v15/parquet/file"
	"github.com/apache/arrow/go/v15/parquet/metadata"
	"github.com/apache/thrift/lib/go/thrift"
)

// newParquetReader opens a file. The library knows no file at all of which one column has a logical type that came
// after it; such types are left out, and their columns noted in the layout, so that the others can be read.
func newParquetReader(f *os.File, properties *parquet.ReaderProperties, l *Layout) (*file.Reader, error) {
	options := []file.ReadOption{file.WithReadProps(properties)}
	if footer := readFooter(f); footer != nil {
		cut, unknown, err := withoutUnknown(footer)
		if l.unknown = unknown; err == nil && len(cut) < len(footer) {
			meta, err := metadata.NewFileMetaData(cut, nil)
			if err != nil {
				return nil, err
			}
			options = append(options, file.WithMetadata(meta))
		}
	}
	return file.NewParquetReader(f, options...)
}

// readFooter returns the bytes of a plain footer; nil when there is none, which the library words.
func readFooter(f io.ReadSeeker) []byte {
	end, err := f.Seek(0, io.SeekEnd)
	tail := make([]byte, 8)
	if err != nil || end < int64(len(tail)) || !readAt(f, tail, end-8) || string(tail[4:]) != "PAR1" {
		return nil
	}
	size := int64(binary.LittleEndian.Uint32(tail))
	if size > end-8 || size > mostPage {
		return nil
	}
	footer := make([]byte, size)
	if !readAt(f, footer, end-8-size) {
		return nil
	}
	return footer
}

func readAt(f io.ReadSeeker, out []byte, at int64) bool {
	_, err := f.Seek(at, io.SeekStart)
	if err == nil {
		_, err = io.ReadFull(f, out)
	}
	return err == nil
}

// Numbers of fields of a footer (apache/parquet-format, parquet.thrift: FileMetaData, SchemaElement, TimeType).
const (
	fieldSchema      = 2
	fieldChildren    = 5
	fieldLogicalType = 10
	fieldTimeUnit    = 2
)

// knownTypes and knownUnits are the members of the unions LogicalType and TimeUnit that the library knows; typeTime and
// typeTimestamp have a unit.
var (
	knownTypes = []int16{1, 2, 3, 4, 5, 6, typeTime, typeTimestamp, 10, 11, 12, 13, 14, 15}
	knownUnits = []int16{1, 2, 3}
)

const (
	typeTime      = 7
	typeTimestamp = 8
)

// walk goes over the bytes of a footer.
type walk struct {
	thrift.TProtocol
	rest *bytes.Buffer
	size int
}

// at is how many bytes were walked over.
func (w *walk) at() int { return w.size - w.rest.Len() }

// withoutUnknown cuts the logical types that the library does not know out of a footer, and returns the numbers of
// their columns. A logical type is the last field of its struct, so that nothing behind it refers to it.
func withoutUnknown(footer []byte) (cut []byte, unknown []int, err error) {
	rest := bytes.NewBuffer(footer)
	w := walk{rest: rest, size: len(footer), TProtocol: thrift.NewTCompactProtocolConf(
		&thrift.TMemoryBuffer{Buffer: rest}, &thrift.TConfiguration{MaxMessageSize: mostPage})}
	leaf, done := 0, 0
	err = w.fields(func(id int16, kind thrift.TType, _ int) error {
		if id != fieldSchema || kind != thrift.LIST {
			return w.Skip(context.Background(), kind)
		}
		_, elements, err := w.ReadListBegin(context.Background())
		for i := 0; i < elements && err == nil; i++ {
			var from, to int
			var group bool
			if from, to, group, err = w.element(); to > from && to == w.at()-1 { // only the end of the struct follows
				cut = append(cut, footer[done:from]...)
				if done = to; !group {
					unknown = append(unknown, leaf)
				}
			}
			if !group {
				leaf++
			}
		}
		return err
	})
	return append(cut, footer[done:]...), unknown, err
}

// element walks over an element of a schema and returns where a logical type stands that is not known, and whether the
// element is a group.
func (w *walk) element() (from, to int, group bool, err error) {
	err = w.fields(func(id int16, kind thrift.TType, at int) error {
		switch {
		case id == fieldChildren && kind == thrift.I32:
			n, err := w.ReadI32(context.Background())
			group = n > 0
			return err
		case id == fieldLogicalType && kind == thrift.STRUCT:
			known, err := w.logicalType()
			if !known {
				from, to = at, w.at()
			}
			return err
		}
		return w.Skip(context.Background(), kind)
	})
	return from, to, group, err
}

// logicalType walks over a logical type and reports whether the library knows it.
func (w *walk) logicalType() (known bool, err error) {
	err = w.fields(func(id int16, kind thrift.TType, _ int) error {
		known = slices.Contains(knownTypes, id)
		if id != typeTime && id != typeTimestamp || kind != thrift.STRUCT {
			return w.Skip(context.Background(), kind)
		}
		return w.fields(func(id int16, kind thrift.TType, _ int) error {
			if id != fieldTimeUnit || kind != thrift.STRUCT {
				return w.Skip(context.Background(), kind)
			}
			return w.fields(func(id int16, kind thrift.TType, _ int) error {
				known = known && slices.Contains(knownUnits, id)
				return w.Skip(context.Background(), kind)
			})
		})
	})
	return known, err
}

// fields walks over a struct and calls a function for each of its fields, with where it begins.
func (w *walk) fields(field func(id int16, kind thrift.TType, at int) error) error {
	c := context.Background()
	_, err := w.ReadStructBegin(c)
	for err == nil {
		at := w.at()
		var kind thrift.TType
		var id int16
		if _, kind, id, err = w.ReadFieldBegin(c); err != nil || kind == thrift.STOP {
			break
		}
		if err = field(id, kind, at); err == nil {
			err = w.ReadFieldEnd(c)
		}
	}
	if err != nil {
		return err
	}
	return w.ReadStructEnd(c)
}
