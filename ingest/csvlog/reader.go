// Package csvlog reads one CSV log file into batches.
//
// Workers take turns to read a block of whole lines, while it is still in the processor's cache turn it into a batch,
// and Next hands the batches out in the order of the file. A clean line takes the byte parser; any other line takes a
// slow path of its own (slowLine), so that nothing is read in a way that encoding/csv would not read it.
package csvlog

import (
	"bytes"
	"io"
	"runtime"
	"sync"

	"retotal/ingest/problem"
	"retotal/ingest/reading"
	"retotal/ingest/site"
)

// blockSize is the text that one worker parses at a time. A longer line is refused.
const blockSize = 1 << 18

// Reader reads one file.
type Reader struct {
	Layout *Layout

	file    string
	ordered chan *job // in the order of the file
	free    chan *job
	quit    chan struct{}
	workers sync.WaitGroup
	current *job
	lines   int32

	reading sync.Mutex // guards what follows: workers read in turn
	source  *source
	rest    []byte // the line that the last block broke off
	skip    int    // bytes of the header still to come
	ended   bool
	unended bool // the last line has no terminator
	sum     string
	size    int64
}

// job is one block on its way through a worker.
type job struct {
	buffer  []byte // whole capacity
	text    []byte // whole lines
	batch   reading.Batch
	lines   int32
	unended bool // the block ends the file, without a terminator
	done    chan struct{}
	err     error
}

// Open starts to read a file of a known layout. Its SHA-256 is taken on the way when it is wanted.
func Open(file string, layout *Layout, log *site.Log, hashed bool) (*Reader, *problem.Problem) {
	src, err := openSource(file, log, hashed)
	if err != nil {
		return nil, readProblem(file, 0, err)
	}
	workers := runtime.GOMAXPROCS(0)
	r := &Reader{Layout: layout, file: file, source: src, skip: layout.headerEnd,
		ordered: make(chan *job, 4*workers), free: make(chan *job, 4*workers), quit: make(chan struct{})}
	for range cap(r.free) {
		r.free <- &job{done: make(chan struct{}, 1)}
	}
	for range workers {
		p := newParser(layout, log)
		r.workers.Go(func() { r.work(p) })
	}
	return r, nil
}

// sampleSizes are how much of a file's beginning is looked at for its layout: more only where a long preamble hides the
// header.
var sampleSizes = []int{1 << 18, 1 << 24}

// Inspect finds the layout from the beginning of the file and, where the order of day and month or the decimal sign is
// open, from the whole of it.
func Inspect(file string, log *site.Log) (layout *Layout, bad *problem.Problem) {
	open := false
	for _, size := range sampleSizes {
		var more bool
		if layout, open, more, bad = inspect(file, log, size); bad == nil || !more {
			break
		}
	}
	if bad != nil || !open {
		return layout, bad
	}
	return layout, layout.reread(file, log, false)
}

// inspect finds the layout from so many bytes; more says that the file is longer than that.
func inspect(file string, log *site.Log, size int) (layout *Layout, open, more bool, bad *problem.Problem) {
	src, err := openSource(file, log, false)
	if err != nil {
		return nil, false, false, readProblem(file, 0, err)
	}
	defer src.Close()
	sample := make([]byte, size)
	n, err := readFull(src, sample)
	if err != nil && err != io.EOF {
		return nil, false, false, readProblem(file, 0, err)
	}
	sample = sample[:n]
	if more = n == size; more { // the last line is broken off
		sample = sample[:1+max(bytes.LastIndexByte(sample, '\n'), bytes.LastIndexByte(sample, '\r'))]
	}
	if layout, open, bad = detect(file, sample, log); layout != nil {
		layout.source = src.kind
	}
	return layout, open, more && layout == nil, bad
}

// Settle decides anew from all rows of the file, when the first ones turn out to have misled.
func (l *Layout) Settle(file string, log *site.Log) *problem.Problem {
	return l.reread(file, log, true)
}

// reread settles what is open from the rows of the file.
func (l *Layout) reread(file string, log *site.Log, thorough bool) *problem.Problem {
	src, err := openSource(file, log, false)
	if err != nil {
		return readProblem(file, 0, err)
	}
	defer src.Close()
	return l.settle(file, src, log, thorough)
}

func newParser(l *Layout, log *site.Log) *parser {
	p := &parser{layout: l, primary: log.Primary}
	for i := range p.day {
		p.day[i] = 0xff // no date
	}
	for _, target := range l.plan {
		c := column{target: target}
		if target >= 0 && !log.Reads(reading.Quantity(target)) {
			c.target = skipColumn
		} else if target >= 0 {
			p.has[target] = true
			c.required = reading.Quantity(target) == log.Primary
			c.factor, c.offset = l.Units[target].Factor, l.Units[target].Offset
			c.spec, c.most = &log.Columns[target], reading.Quantity(target).Most()
			c.coded = c.spec.Loop || len(c.spec.Codes) > 0
		}
		p.columns = append(p.columns, c)
	}
	return p
}

// work reads and parses blocks until there are no more.
func (r *Reader) work(p *parser) {
	for {
		select {
		case j := <-r.free:
			if !r.read(j) {
				return
			}
			fault := problem.Guard(r.file, func() error { j.lines = p.parse(j.text, &j.batch); return nil })
			if fault != nil {
				j.err = fault
			}
			j.done <- struct{}{}
		case <-r.quit:
			return
		}
	}
}

// read fills a job with the next block and gives it its place in the order. It returns false when there is none.
func (r *Reader) read(j *job) bool {
	r.reading.Lock()
	defer r.reading.Unlock()
	if r.ended {
		return false
	}
	r.ended = j.fill(r.source, &r.rest, r.Layout.eol, &r.skip)
	if j.err == errLongLine && r.source.kind.packing != "plain" {
		j.err = damageOr(r.source, j.err)
	}
	if r.ended && j.err == nil {
		r.unended = j.unended
		r.sum, r.size, j.err = r.source.finish()
	}
	r.ordered <- j // never blocks: there are as many places as jobs
	if r.ended {
		close(r.ordered)
	}
	return true
}

// damageOr looks for the reason of an impossible line further on: damaged compressed data gives nonsense first, and an
// error only at its end. Without damage the error stays what it was.
func damageOr(src io.Reader, err error) error {
	const ahead = 64 << 20
	if _, damage := io.CopyN(io.Discard, src, ahead); damage != nil && damage != io.EOF {
		return damage
	}
	return err
}

// fill reads one block of whole lines. The last line of a file gets a terminator when it has none.
func (j *job) fill(src io.Reader, rest *[]byte, eol byte, skip *int) (ended bool) {
	if j.buffer == nil {
		j.buffer = make([]byte, 2*blockSize+1)
	}
	n := copy(j.buffer, *rest)
	got, err := readFull(src, j.buffer[n:n+blockSize])
	n += got
	j.err = nil
	if ended = err != nil; ended && err != io.EOF {
		j.err = err
	}
	text := j.buffer[:n]
	if *skip > 0 {
		cut := min(*skip, n)
		text, *skip = text[cut:], *skip-cut
	}
	if ended {
		if j.unended = len(text) > 0 && text[len(text)-1] != eol; j.unended {
			text = append(text, eol)
		}
		j.text, *rest = text, nil
		return true
	}
	last := bytes.LastIndexByte(text, eol)
	j.text = text[:last+1]
	*rest = append((*rest)[:0], text[last+1:]...)
	if len(*rest) >= blockSize {
		j.err = errLongLine
		return true
	}
	return false
}

// readFull reads until buf is full or the source ends, and returns the source's own error: unlike with io.ReadFull,
// a cut compressed stream (io.ErrUnexpectedEOF) stays distinct from a text shorter than buf (io.EOF).
func readFull(src io.Reader, buf []byte) (n int, err error) {
	for n < len(buf) && err == nil {
		var got int
		got, err = src.Read(buf[n:])
		n += got
	}
	return n, err
}

// Next returns the next batch, valid until the call after it, and io.EOF after the last.
func (r *Reader) Next() (*reading.Batch, error) {
	if r.current != nil {
		r.free <- r.current
		r.current = nil
	}
	j, ok := <-r.ordered
	if !ok {
		return nil, io.EOF
	}
	<-j.done
	if j.err != nil {
		return nil, readProblem(r.file, r.lines+r.Layout.HeaderLine+j.lines+1, j.err)
	}
	r.current = j
	base := r.lines + r.Layout.HeaderLine
	for i := range j.batch.Line {
		j.batch.Line[i] += base
	}
	for i := range j.batch.Rejected {
		j.batch.Rejected[i].Line += base
	}
	r.lines += j.lines
	return &j.batch, nil
}

// Sum returns the SHA-256 of the file as stored, in hexadecimal, "" when it was not wanted, and its size. Both are
// known after Next has returned io.EOF.
func (r *Reader) Sum() (string, int64) { return r.sum, r.size }

// Unended reports whether the last line of the file has no terminator, so that it may have been cut off. It is known
// after Next has returned io.EOF.
func (r *Reader) Unended() bool { return r.unended }

// Position returns the stored bytes read so far; it is approximate while the reader runs.
func (r *Reader) Position() int64 { return r.source.counter.n.Load() }

// Close stops the workers, wherever reading stands, and closes the file.
func (r *Reader) Close() error {
	close(r.quit)
	r.workers.Wait()
	return r.source.Close()
}
