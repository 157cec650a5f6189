package main

import (
	"io"
	"os"
	"time"

	"github.com/vbauerster/mpb/v8"
	"github.com/vbauerster/mpb/v8/decor"
	"golang.org/x/term"

	"retotal/ingest"
)

// longLog is the size of log, in bytes, from which a progress bar is worth its place.
const longLog = 64 << 20

// progress is a bar on a terminal that follows the bytes read of a log.
type progress struct {
	bars *mpb.Progress
	bar  *mpb.Bar
	quit chan struct{}
}

// newProgress shows a bar when err is a terminal and the log is long; otherwise nothing.
func newProgress(err io.Writer, l *ingest.Log, quiet bool) *progress {
	if v, ok := err.(*visible); ok {
		err = v.Writer // the bar steers the terminal
	}
	f, ok := err.(*os.File)
	if quiet || !ok || !term.IsTerminal(int(f.Fd())) || l.Total() < longLog {
		return &progress{}
	}
	p := &progress{bars: mpb.New(mpb.WithOutput(err), mpb.WithWidth(60)), quit: make(chan struct{})}
	p.bar = p.bars.AddBar(l.Total(), mpb.PrependDecorators(decor.Name("reading "+l.Site.ID+" ")),
		mpb.AppendDecorators(decor.Percentage()), mpb.BarRemoveOnComplete())
	go func() {
		tick := time.NewTicker(100 * time.Millisecond)
		defer tick.Stop()
		for {
			select {
			case <-tick.C:
				p.bar.SetCurrent(l.Position())
			case <-p.quit:
				return
			}
		}
	}()
	return p
}

// stop removes the bar.
func (p *progress) stop() {
	if p.bars == nil {
		return
	}
	close(p.quit)
	p.bar.Abort(true)
	p.bars.Wait()
}
