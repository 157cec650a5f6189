package csvlog

import (
	"bufio"
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"hash"
	"io"
	"os"
	"sync/atomic"

	"github.com/klauspost/compress/gzip"
	"github.com/klauspost/compress/zstd"
	"golang.org/x/text/encoding/unicode"
	"golang.org/x/text/transform"

	"retotal/ingest/problem"
	"retotal/ingest/site"
)

// source is the decoded text of a file: plain, gzip or zstd by its first bytes, hashed as it is stored while it is read
// where a hash is wanted.
type source struct {
	io.Reader
	file    *os.File
	counter *countingReader
	zstd    *zstd.Decoder
	kind    sourceKind
}

// sourceKind is how the text of a file is stored.
type sourceKind struct {
	packing string // "plain", "gzip" or "zstd"
	utf16   bool   // the text is UTF-16 and is decoded
	mark    bool   // it begins with the byte order mark of UTF-8
}

// countingReader counts what passes, and hashes it when it has a hash.
type countingReader struct {
	r    io.Reader
	hash hash.Hash
	n    atomic.Int64 // read by the progress display
}

func (c *countingReader) Read(p []byte) (int, error) {
	n, err := c.r.Read(p)
	c.n.Add(int64(n))
	if c.hash != nil {
		c.hash.Write(p[:n])
	}
	return n, err
}

// openSource opens a file for reading from its beginning, with or without hashing it; log, which may be nil, sets the
// bound of unpacking.
func openSource(name string, log *site.Log, hashed bool) (*source, error) {
	f, err := os.Open(name)
	if err != nil {
		return nil, err
	}
	s := &source{file: f, kind: sourceKind{packing: "plain"}}
	s.counter = &countingReader{r: f}
	if hashed {
		s.counter.hash = sha256.New()
	}
	raw := bufio.NewReaderSize(s.counter, 1<<16)
	magic, _ := raw.Peek(4)
	switch {
	case bytes.HasPrefix(magic, []byte{0x1f, 0x8b}):
		s.kind.packing = "gzip"
		s.Reader, err = gzip.NewReader(raw)
	case bytes.Equal(magic, []byte{0x28, 0xb5, 0x2f, 0xfd}):
		s.kind.packing = "zstd"
		s.zstd, err = zstd.NewReader(raw, zstd.WithDecoderConcurrency(1), zstd.WithDecoderMaxMemory(256<<20))
		s.Reader = s.zstd
	default:
		s.Reader = raw
	}
	if err != nil {
		f.Close()
		return nil, err
	}
	if s.kind.packing != "plain" {
		limit := int64(mostGrowth)
		if log != nil && log.UnpackLimit > 0 {
			limit = log.UnpackLimit
		}
		s.Reader = &bounded{Reader: s.Reader, stored: s.counter, limit: limit}
	}
	s.decode()
	return s, nil
}

// decode puts the text of a file in UTF-16 into UTF-8. Without a byte order mark, UTF-16 shows by a NUL in every other
// byte of its first characters.
func (s *source) decode() {
	text := bufio.NewReaderSize(s.Reader, 1<<16)
	mark, _ := text.Peek(8)
	s.Reader = text
	s.kind.mark = bytes.HasPrefix(mark, bom)
	order, policy := unicode.LittleEndian, unicode.IgnoreBOM
	switch {
	case bytes.HasPrefix(mark, []byte("\xff\xfe")), bytes.HasPrefix(mark, []byte("\xfe\xff")):
		policy = unicode.ExpectBOM
	case len(mark) == 8 && mark[1] == 0 && mark[3] == 0 && mark[5] == 0 && mark[0] != 0 && mark[2] != 0:
	case len(mark) == 8 && mark[0] == 0 && mark[2] == 0 && mark[4] == 0 && mark[1] != 0 && mark[3] != 0:
		order = unicode.BigEndian
	default:
		return
	}
	s.kind.utf16 = true
	s.Reader = transform.NewReader(text, unicode.UTF16(order, policy).NewDecoder())
}

// finish reads what is left of the stored bytes, so that the hash covers the whole file, and returns it in hexadecimal,
// "" when there is none.
func (s *source) finish() (sum string, size int64, err error) {
	_, err = io.Copy(io.Discard, s.counter)
	if s.counter.hash != nil {
		sum = hex.EncodeToString(s.counter.hash.Sum(nil))
	}
	return sum, s.counter.n.Load(), err
}

func (s *source) Close() error {
	if s.zstd != nil {
		s.zstd.Close()
	}
	return s.file.Close()
}

// errUnpacks reports compressed data that grows beyond all measure.
var errUnpacks = errors.New("unpacks without end")

// Compressed logs unpack to 5 to 20 times their size; more than mostGrowth times and a free allowance is no log.
const (
	mostGrowth = 200
	freeGrowth = 64 << 20
)

// bounded ends a decompressed text with errUnpacks when it outgrows its stored bytes.
type bounded struct {
	io.Reader
	stored *countingReader
	limit  int64 // times the stored size
	n      int64
}

func (b *bounded) Read(p []byte) (int, error) {
	n, err := b.Reader.Read(p)
	if b.n += int64(n); b.n > freeGrowth+b.limit*b.stored.n.Load() {
		return n, errUnpacks
	}
	return n, err
}

// errLongLine reports a line that no logger writes.
var errLongLine = errors.New("line too long")

// readProblem words an error of reading or unpacking.
func readProblem(file string, line int32, err error) *problem.Problem {
	place := problem.Place{File: file, Line: int(line)}
	switch {
	case errors.Is(err, errUnpacks):
		return problem.At(
			problem.Place{File: file},
			"the compressed data unpacks to far more than logs do",
			fmt.Sprintf("at most %d times its size, or log.unpack_limit", mostGrowth),
			"if it is a log, raise log.unpack_limit",
		)
	case errors.Is(err, errLongLine):
		return problem.At(
			place,
			fmt.Sprintf("the line is longer than %d KiB", blockSize>>10),
			"lines of a logger, ended by CR or LF",
			"check that this is the right file",
		)
	case errors.Is(err, io.ErrUnexpectedEOF):
		return problem.At(
			problem.Place{File: file},
			"the compressed data ends before its end",
			"a whole file",
			"copy the file again; it was cut off",
		)
	case errors.Is(err, gzip.ErrChecksum), errors.Is(err, gzip.ErrHeader),
		errors.Is(err, zstd.ErrMagicMismatch), errors.Is(err, zstd.ErrCRCMismatch):
		return problem.At(
			problem.Place{File: file},
			"the compressed data is damaged: "+err.Error(),
			"",
			"copy the file again",
		)
	case errors.Is(err, os.ErrNotExist):
		return problem.At(problem.Place{File: file}, "there is no such file", "", "")
	}
	return problem.At(problem.Place{File: file}, "the file cannot be read: "+err.Error(), "", "")
}

// lineReader walks over the lines of a text with one terminator.
type lineReader struct {
	r      *bufio.Reader
	eol    byte
	number int32
}

func newLineReader(r io.Reader, eol byte) *lineReader {
	return &lineReader{r: bufio.NewReaderSize(r, blockSize), eol: eol}
}

// next returns the next line without its terminator, valid until the next call, and its number from 1.
func (l *lineReader) next() ([]byte, int32, error) {
	line, err := l.r.ReadSlice(l.eol)
	if err == bufio.ErrBufferFull {
		return nil, l.number + 1, errLongLine
	}
	if err == io.EOF && len(line) == 0 || err != nil && err != io.EOF {
		return nil, l.number + 1, err
	}
	l.number++
	return bytes.TrimSuffix(line, []byte{l.eol}), l.number, nil
}
