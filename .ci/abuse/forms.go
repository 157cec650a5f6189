package main

import (
	"bytes"
	"compress/gzip"
	"encoding/csv"
	"errors"
	"fmt"
	"strconv"
	"strings"
	"time"

	"github.com/apache/arrow/go/v15/parquet"
	"github.com/apache/arrow/go/v15/parquet/compress"
	"github.com/apache/arrow/go/v15/parquet/file"
	"github.com/apache/arrow/go/v15/parquet/schema"
	"github.com/klauspost/compress/zstd"
)

// shape is a form that a site comes in, of which one file is damaged.
type shape struct {
	name string
	log  string // name of the log
	site bool   // the site file is damaged, not the log
	make func(day []byte) ([]byte, error)
	// plain is what an independent reader makes of a damaged log, as a log without damage; nil where checksums tell.
	plain func(damaged []byte) []byte
}

var forms = []shape{
	{name: "csv", log: "day.csv", make: func(day []byte) ([]byte, error) { return day, nil }, plain: plainCSV},
	{name: "gzip", log: "day.csv.gz", make: packGzip},
	{name: "zstd", log: "day.csv.zst", make: packZstd},
	{name: "parquet", log: "day.parquet", make: packParquet},
	{name: "toml", log: "day.csv", site: true, make: func([]byte) ([]byte, error) { return []byte(siteFile), nil }},
}

func packGzip(day []byte) ([]byte, error) {
	var b bytes.Buffer
	w := gzip.NewWriter(&b)
	_, err := w.Write(day)
	err = errors.Join(err, w.Close())
	return b.Bytes(), err
}

func packZstd(day []byte) ([]byte, error) {
	w, err := zstd.NewWriter(nil)
	if err != nil {
		return nil, err
	}
	packed := w.EncodeAll(day, nil)
	return packed, w.Close()
}

// stamp is how the demo writes times.
const stamp = "2006-01-02 15:04:05"

// packParquet writes the day in gzip pages, which have a checksum of their own.
func packParquet(day []byte) ([]byte, error) {
	rows, err := csv.NewReader(bytes.NewReader(day)).ReadAll()
	if err != nil {
		return nil, err
	}
	nodes := schema.FieldList{schema.Must(schema.NewPrimitiveNodeLogical("Time", parquet.Repetitions.Required,
		schema.NewTimestampLogicalType(false, schema.TimeUnitMillis), parquet.Types.Int64, 0, -1))}
	for _, name := range rows[0][1:] {
		nodes = append(nodes, schema.NewFloat64Node(name, parquet.Repetitions.Required, -1))
	}
	root, err := schema.NewGroupNode("log", parquet.Repetitions.Required, nodes, -1)
	if err != nil {
		return nil, err
	}
	var b bytes.Buffer
	w := file.NewParquetWriter(&b, root, file.WithWriterProps(
		parquet.NewWriterProperties(parquet.WithCompression(compress.Codecs.Gzip))))
	group := w.AppendRowGroup()
	for column := range rows[0] {
		c, err := group.NextColumn()
		if err != nil {
			return nil, err
		}
		if err := writeColumn(c, rows[1:], column); err != nil {
			return nil, err
		}
	}
	err = errors.Join(group.Close(), w.Close())
	return b.Bytes(), err
}

func writeColumn(c file.ColumnChunkWriter, rows [][]string, column int) error {
	var times []int64
	var values []float64
	for _, row := range rows {
		if column == 0 {
			at, err := time.Parse(stamp, row[0])
			if err != nil {
				return err
			}
			times = append(times, at.UnixMilli())
			continue
		}
		v, err := strconv.ParseFloat(row[column], 64)
		if err != nil {
			return err
		}
		values = append(values, v)
	}
	var err error
	switch c := c.(type) {
	case *file.Int64ColumnChunkWriter:
		_, err = c.WriteBatch(times, nil, nil)
	case *file.Float64ColumnChunkWriter:
		_, err = c.WriteBatch(values, nil, nil)
	}
	return err
}

// plainCSV keeps the rows of a damaged log that encoding/csv, time and strconv read, one a line, and nothing else.
func plainCSV(damaged []byte) []byte {
	var out strings.Builder
	out.WriteString(header + "\n")
	for line := range strings.Lines(string(damaged)) {
		fields, err := csv.NewReader(strings.NewReader(line)).Read()
		if err != nil || len(fields) != strings.Count(header, ",")+1 {
			continue
		}
		at, err := time.Parse(stamp, fields[0])
		if err != nil {
			continue
		}
		values, ok := make([]string, 0, 4), true
		for k, field := range fields[1:] {
			v, err := strconv.ParseFloat(strings.TrimSpace(field), 64)
			if ok = ok && (err == nil || k > 0); err == nil {
				values = append(values, strconv.FormatFloat(v, 'f', -1, 64))
			} else {
				values = append(values, "")
			}
		}
		if ok {
			fmt.Fprintf(&out, "%s,%s\n", at.Format(stamp), strings.Join(values, ","))
		}
	}
	return []byte(out.String())
}
