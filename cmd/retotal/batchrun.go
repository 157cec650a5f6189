package main

import (
	"cmp"
	"context"
	"fmt"
	"io"
	"os"
	"slices"
	"strings"
	"sync"
	"time"

	"github.com/spf13/cobra"
	"golang.org/x/term"

	"retotal/ingest/problem"
	"retotal/ingest/quantity"
	"retotal/report"
	"retotal/report/lake"
	"retotal/report/results"
)

// batchRun is a batch at work.
type batchRun struct {
	c      *cobra.Command
	o      batchOptions
	folder lake.Folder
	mutex  sync.Mutex // of what follows
	done   int
	failed int
	rows   int64
	of     int
	began  time.Time
	open   func() error // says that the lists are not whole, once
	err    error        // of the program or the machine: nothing more is begun
}

// runBatch runs the sites that changed and makes the lists.
func runBatch(c *cobra.Command, list []member, o batchOptions) error {
	shard, err := shardOf(o.shard, os.Getenv)
	if err != nil {
		return err
	}
	r := &batchRun{c: c, o: o, folder: lake.Folder(o.out), began: time.Now()}
	r.open = sync.OnceValue(func() error { return o.open(c.Context(), r.folder) })
	mine := assigned(list, shard)
	var work []member
	for _, m := range mine {
		if p := r.folder.Read(m.id); o.force || p == nil || m.key == "" || p.Key != m.key {
			work = append(work, m)
		}
	}
	r.run(c.Context(), work)
	if r.err != nil {
		return r.err
	}
	if err := c.Context().Err(); err != nil {
		return fmt.Errorf("interrupted; %d of %d sites are done, and the next run goes on from there", r.done, r.of)
	}
	work = slices.DeleteFunc(work, func(m member) bool { return m.same })
	if shard.Count > 1 {
		return r.tellShard(mine, len(work))
	}
	if !o.quiet && len(work) < len(list) {
		fmt.Fprintf(c.ErrOrStderr(), "%d of %d sites are as they were\n", len(list)-len(work), len(list))
	}
	var ids []string
	for _, m := range mine {
		ids = append(ids, m.id)
	}
	sites, err := o.gather(c.Context(), r.folder, ids)
	if err != nil {
		return err
	}
	return tellBatch(c, sites, o)
}

// tellShard says what a shard did; the lists are gather's.
func (r *batchRun) tellShard(mine []member, ran int) error {
	failed := 0
	for _, m := range mine {
		if p := r.folder.Read(m.id); p != nil && p.Site.State == lake.Failed {
			failed++
			fmt.Fprintf(r.c.ErrOrStderr(), "%s: could not be done: %s\n", m.id, p.Site.Reason)
		}
	}
	if !r.o.quiet && !r.o.json {
		fmt.Fprintf(r.c.OutOrStdout(), "%d sites of this shard: %d run, %d as they were; retotal gather makes the "+
			"lists\n", len(mine), ran, len(mine)-ran)
	}
	if failed > 0 {
		return status(inPart)
	}
	return nil
}

// run does sites: those with a large log one after the other, each on all cores, and the others side by side.
func (r *batchRun) run(ctx context.Context, work []member) {
	r.of = len(work)
	stop := r.follow()
	defer stop()
	slices.SortStableFunc(work, func(a, b member) int {
		return cmp.Or(cmp.Compare(b.size, a.size), cmp.Compare(a.id, b.id))
	})
	next := 0
	for ; next < len(work) && work[next].size >= largeLog; next++ {
		r.one(ctx, &work[next])
	}
	queue := make(chan *member)
	var workers sync.WaitGroup
	for range r.o.atOnce() {
		workers.Go(func() {
			for m := range queue {
				r.one(ctx, m)
			}
		})
	}
	for ; next < len(work); next++ {
		queue <- &work[next]
	}
	close(queue)
	workers.Wait()
}

// one does one site, unless the batch is to end.
func (r *batchRun) one(ctx context.Context, m *member) {
	r.mutex.Lock()
	over := r.err != nil || ctx.Err() != nil
	r.mutex.Unlock()
	if over {
		return
	}
	piece, err := r.fetched(ctx, m)
	if ctx.Err() != nil && err != nil {
		return // it is run again
	}
	if err != nil && !ofStore(err) {
		key := m.key
		if !ofInput(err) {
			key = "" // it may go well the next time
		}
		name := cmp.Or(r.o.siteFile(m.File), report.SeenFrom(r.o.out, m.File))
		piece = lake.NewFailure(key, m.id, name, r.o.named(err.Error()))
		if err = r.folder.Begin(m.id); err == nil {
			err = r.folder.Write(piece)
		}
	}
	if err == nil {
		err = r.send(ctx, m, piece)
	}
	if ctx.Err() != nil && err != nil {
		return // its piece was not sent, so it is run again
	}
	r.mutex.Lock()
	defer r.mutex.Unlock()
	if err != nil {
		r.err = cmp.Or(r.err, err)
		return
	}
	r.done, r.rows = r.done+1, r.rows+piece.Site.Rows
	if piece.Site.State == lake.Failed {
		r.failed++
	}
	if r.o.json && !m.same {
		line(r.c.OutOrStdout(), &piece.Site)
	}
}

// site computes a site and writes its results, its piece last.
func (r *batchRun) site(ctx context.Context, m *member) (piece *lake.Piece, err error) {
	if m.bad != nil {
		return nil, m.bad
	}
	err = problem.Guard(m.Name, func() error {
		j, err := prepareFor(&m.Entry, false)
		if err != nil {
			return err
		}
		folder, bad := report.NewFolder(r.folder.Sites(), j.log)
		if bad != nil {
			return bad
		}
		defer folder.Discard()
		folder.Yearly(r.folder.Readings(m.id))
		name := r.o.siteFile(m.File)
		run, err := j.write(ctx, folder, folder.Path(), name, results.Options{})
		if err != nil {
			return err
		}
		keep, bad := folder.Locked(j.site.Approval.Supersedes)
		if bad != nil {
			return bad
		}
		m.kept = keep
		piece = lake.NewPiece(m.key, r.o.out, run)
		piece.Site.SiteFile = cmp.Or(name, piece.Site.SiteFile)
		if err := r.folder.Begin(m.id); err != nil {
			return err
		}
		if err := folder.Commit(keep); err != nil {
			return err
		}
		return r.folder.Write(piece)
	})
	return piece, m.Named(err)
}

// follow shows how far the batch is: on a terminal a line that changes, else a line now and then.
func (r *batchRun) follow() (stop func()) {
	out := r.c.ErrOrStderr()
	if r.o.quiet || r.of < 2 {
		return func() {}
	}
	every, ending := 10*time.Second, "\n"
	if terminal(out) {
		every, ending = 500*time.Millisecond, "\033[K\r"
	}
	quit, over := make(chan struct{}), make(chan struct{})
	go func() {
		defer close(over)
		tick := time.NewTicker(every)
		defer tick.Stop()
		for {
			select {
			case <-tick.C:
				fmt.Fprint(out, r.progress()+ending)
			case <-quit:
				if ending != "\n" {
					fmt.Fprint(out, "\033[K")
				}
				return
			}
		}
	}()
	return func() {
		close(quit)
		<-over
	}
}

// progress is how far the batch is.
func (r *batchRun) progress() string {
	r.mutex.Lock()
	defer r.mutex.Unlock()
	seconds := time.Since(r.began).Seconds()
	text := fmt.Sprintf("%d of %d sites done, %d of them could not be, %s rows/s", r.done, r.of, r.failed,
		quantity.Digits(float64(r.rows)/seconds, 2))
	if r.done > 0 {
		left := time.Duration(seconds / float64(r.done) * float64(r.of-r.done) * float64(time.Second))
		text += ", about " + quantity.FormatDuration(left.Round(time.Second)) + " left"
	}
	return text
}

// terminal reports whether what is written can be written over.
func terminal(w io.Writer) bool {
	if v, ok := w.(*visible); ok {
		w = v.Writer
	}
	f, ok := w.(*os.File)
	return ok && term.IsTerminal(int(f.Fd())) && !strings.EqualFold(os.Getenv("TERM"), "dumb")
}
