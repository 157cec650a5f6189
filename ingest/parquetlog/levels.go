package parquetlog

import (
	"encoding/binary"
	"errors"
	"fmt"
	"math/bits"

	"github.com/apache/arrow/go/v15/parquet"
	"github.com/apache/arrow/go/v15/parquet/file"
)

// checkedPages hands pages on whose counts agree: a page holds as many levels as it promises (the library would wait
// for the others for ever), and all pages of a column together no more rows than the column has (the library would read
// on into the next one).
type checkedPages struct {
	file.PageReader
	width int   // bits of a level; 0 where every row has a value and there are none
	left  int64 // rows that the column still has
	bad   error
}

// checked puts the check before a reader of the pages of a column with so many rows.
func checked(p file.PageReader, mostLevel int16, rows int64) *checkedPages {
	return &checkedPages{PageReader: p, width: bits.Len16(uint16(mostLevel)), left: rows}
}

// Next goes on to the next page.
func (p *checkedPages) Next() bool {
	if p.bad != nil || !p.PageReader.Next() {
		return false
	}
	p.bad = p.check(p.Page())
	return p.bad == nil
}

// Err is what ended the pages, nil for their end.
func (p *checkedPages) Err() error {
	if p.bad != nil {
		return p.bad
	}
	return p.PageReader.Err()
}

func (p *checkedPages) check(page file.Page) error {
	if _, dictionary := page.(*file.DictionaryPage); dictionary {
		return nil
	}
	rows := int64(page.NumValues())
	if p.left -= rows; p.left < 0 {
		return errors.New("the pages of a column promise more rows than it has")
	}
	if v2, ok := page.(*file.DataPageV2); ok && int64(v2.NumRows()) != rows {
		return fmt.Errorf("a page promises %d values in %d rows", rows, v2.NumRows())
	}
	if p.width == 0 {
		return nil
	}
	var levels []byte
	data := page.Data()
	switch page := page.(type) {
	case *file.DataPageV1:
		if len(data) < 4 || binary.LittleEndian.Uint32(data) > uint32(len(data)-4) {
			return errors.New("a page is shorter than its levels")
		}
		levels = data[4 : 4+binary.LittleEndian.Uint32(data)]
	case *file.DataPageV2:
		from, length := int64(page.RepetitionLevelByteLen()), int64(page.DefinitionLevelByteLen())
		if from+length > int64(len(data)) {
			return errors.New("a page is shorter than its levels")
		}
		levels = data[from : from+length]
	}
	if n := countLevels(levels, p.width); n < rows {
		return fmt.Errorf("a page promises %d rows and has %d", rows, n)
	}
	return nil
}

// countLevels is how many levels runs of the format hold: runs of one level, and groups of eight packed ones, each
// behind a number whose lowest bit says which (apache/parquet-format, Encodings.md, run length and bit packing hybrid).
func countLevels(runs []byte, width int) (n int64) {
	for len(runs) > 0 {
		head, size := binary.Uvarint(runs)
		if size <= 0 {
			return n
		}
		runs = runs[size:]
		count, length := int64(min(head>>1, 1<<40)), int64(width+7)/8
		if head&1 == 1 {
			length = count * int64(width)
			count *= 8
		}
		if length > int64(len(runs)) { // the last group may lack what it does not need
			return n + int64(len(runs))*8/int64(max(width, 1))
		}
		n, runs = n+count, runs[length:]
	}
	return n
}

// checkIndexes refuses a page whose values point beyond their dictionary, for which the library would make room.
func (p *pages) checkIndexes(body []byte, levels int, encoding parquet.Encoding) error {
	if encoding != parquet.Encodings.PlainDict && encoding != parquet.Encodings.RLEDict || levels >= len(body) {
		return nil
	}
	if width := int(body[levels]); width > 32 || mostIndex(body[levels+1:], width, p.entries) {
		return fmt.Errorf("a value points beyond its dictionary of %d", p.entries)
	}
	return nil
}

// mostIndex reports whether runs hold a number that points beyond so many entries. Packed numbers of no more bits than
// the entries need are not looked at: they lead to no more than twice the room, and to an error of the library.
func mostIndex(runs []byte, width int, entries uint32) bool {
	needed := bits.Len32(max(entries, 1) - 1)
	for len(runs) > 0 {
		head, size := binary.Uvarint(runs)
		if size <= 0 {
			return false // which the library finds
		}
		runs = runs[size:]
		length := min((width+7)/8, len(runs))
		if head&1 == 0 {
			var value [8]byte
			copy(value[:], runs[:length])
			if head > 1 && binary.LittleEndian.Uint64(value[:]) >= uint64(max(entries, 1)) {
				return true
			}
		} else {
			length = int(min(head>>1*uint64(width), uint64(len(runs))))
			if width > needed && packedBeyond(runs[:length], width, entries) {
				return true
			}
		}
		runs = runs[length:]
	}
	return false
}

// packedBeyond reports whether one of some packed numbers, the lowest bits first, points beyond so many entries.
func packedBeyond(packed []byte, width int, entries uint32) bool {
	var window uint64
	held := 0
	for _, b := range packed {
		window |= uint64(b) << held
		for held += 8; held >= width; held -= width {
			if window&(1<<width-1) >= uint64(entries) {
				return true
			}
			window >>= width
		}
	}
	return false
}
