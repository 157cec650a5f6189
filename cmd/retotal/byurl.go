package main

import (
	"context"
	"errors"
	"io"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"retotal/ingest/mirror"
	"retotal/ingest/problem"
	"retotal/report/lake"
)

// urls is what a member has beside when its site file is named by URL.
type urls struct {
	need *mirror.Need // its logs; nil for a site of files
	same bool         // it did not change, as was seen when its logs were here
	kept string       // where its signed results of an earlier run are kept
}

// byURL has a command run on files that stand for what its URLs name, and lets it speak of URLs.
func (o *batchOptions) byURL(do func(*cobra.Command, []string) error) func(*cobra.Command, []string) error {
	return func(c *cobra.Command, args []string) (err error) {
		if !slices.ContainsFunc(append([]string{o.out, o.template, o.table}, args...), mirror.IsURL) {
			if o.scratch != "" {
				return usage{"--scratch goes with URLs, and there is none"}
			}
			return do(c, args)
		}
		if o.away, err = mirror.New(o.scratch, openStore); err != nil {
			return err
		}
		defer o.away.Close()
		if args, err = o.bring(c.Context(), args); err == nil {
			c.SetOut(&renamed{c.OutOrStdout(), o.away})
			c.SetErr(&renamed{c.ErrOrStderr(), o.away})
			err = do(c, args)
		}
		if err == nil {
			return nil
		}
		return &renamedError{err, o.named(err.Error())}
	}
}

// renamed writes URLs in the place of the files that stand for them. A message comes in one piece.
type renamed struct {
	io.Writer
	away *mirror.Mirror
}

func (w *renamed) Write(p []byte) (int, error) {
	_, err := io.WriteString(w.Writer, w.away.Named(string(p)))
	return len(p), err
}

// renamedError is an error that speaks of URLs.
type renamedError struct {
	error
	text string
}

func (e *renamedError) Error() string { return e.text }
func (e *renamedError) Unwrap() error { return e.error }

// named puts URLs in the place of the files that stand for them.
func (o *batchOptions) named(text string) string {
	if o.away == nil {
		return text
	}
	return o.away.Named(text)
}

// bring fetches what has to be here before the sites of a call are known, and names the files in place of URLs.
func (o *batchOptions) bring(ctx context.Context, args []string) (files []string, err error) {
	for _, url := range append([]string{o.template, o.table, o.out}, args...) {
		if mirror.IsURL(url) && strings.Contains(url, "?") { // says how the bucket is to be opened for all
			if _, err := o.away.At(ctx, url); err != nil {
				return nil, err
			}
		}
	}
	for _, name := range []*string{&o.template, &o.table} {
		if !mirror.IsURL(*name) {
			continue
		}
		if *name, err = o.away.File(ctx, *name); err != nil {
			return nil, err
		}
	}
	for _, a := range args {
		names := []string{a}
		if mirror.IsURL(a) {
			if names, err = o.away.Sites(ctx, a); err != nil {
				return nil, err
			}
		}
		files = append(files, names...)
	}
	if mirror.IsURL(o.out) {
		err = o.bringState(ctx)
	}
	return files, err
}

// bringState fetches what an earlier run left in the results, as far as it says what need not be done again. Of the
// lists only that they are there is of interest.
func (o *batchOptions) bringState(ctx context.Context) error {
	at, err := o.away.At(ctx, strings.TrimSuffix(o.out, "/"))
	if err != nil {
		return err
	}
	o.out = at.Name()
	folder := lake.Folder(o.out)
	if err := os.MkdirAll(o.out, 0o755); err != nil {
		return err
	}
	if _, err := o.fetchState(ctx, folder, ".json", func(string) bool { return true }); err != nil {
		return err
	}
	if _, err := o.away.Have(ctx, folder.Manifest(), true); err != nil {
		return err
	}
	for _, name := range folder.Lists() {
		found, err := o.away.Have(ctx, name, false)
		if found && err == nil {
			err = os.WriteFile(name, nil, 0o644)
		}
		if err != nil {
			return err
		}
	}
	return nil
}

// fetchState fetches what sites add to the lists.
func (o *batchOptions) fetchState(ctx context.Context, folder lake.Folder, ending string,
	wanted func(id string) bool) ([]string, error) {
	at, _ := o.away.Of(filepath.Dir(folder.State("x", ending)))
	return o.away.Fetch(ctx, at, func(name string) bool {
		id, found := strings.CutSuffix(name, ending)
		return found && wanted(id)
	})
}

// sends reports whether the results go to a URL.
func (o *batchOptions) sends() bool {
	if o.away == nil {
		return false
	}
	_, there := o.away.Of(o.out)
	return there
}

// sendFile sends a file of the results.
func (o *batchOptions) sendFile(ctx context.Context, name string) error {
	at, _ := o.away.Of(name)
	return o.away.Send(ctx, at)
}

// open says that the lists are not whole, before anything is changed.
func (o *batchOptions) open(ctx context.Context, folder lake.Folder) error {
	err := folder.Open(version)
	if err != nil || !o.sends() {
		return err
	}
	return o.sendFile(ctx, folder.Manifest())
}

// gather makes the lists. Where the results are by URL, the totals that are missing here are fetched, and the lists are
// sent, the manifest last.
func (o *batchOptions) gather(ctx context.Context, folder lake.Folder, ids []string) ([]lake.Site, error) {
	if !o.sends() {
		return folder.Gather(version, ids)
	}
	if whole, err := folder.Whole(version, ids); whole || err != nil {
		sites, bad := folder.Gather(version, ids)
		return sites, errors.Join(err, bad)
	}
	_, err := o.fetchState(ctx, folder, ".parquet", func(id string) bool {
		_, absent := os.Stat(folder.State(id, ".parquet"))
		return absent != nil && slices.Contains(ids, id)
	})
	if err != nil {
		return nil, err
	}
	if err := o.open(ctx, folder); err != nil {
		return nil, err
	}
	sites, err := folder.Gather(version, ids)
	if err != nil {
		return nil, err
	}
	for _, name := range append(folder.Lists(), folder.Manifest()) {
		if err := o.sendFile(ctx, name); err != nil {
			return nil, err
		}
	}
	return sites, nil
}

// siteFile is how a record names a site file that is not in one bucket, or file system, with the results: by its URL,
// or its path; "" for as seen from the results.
func (o *batchOptions) siteFile(file string) string {
	if o.away == nil {
		return ""
	}
	url, from := o.away.URLOf(file)
	_, to := o.away.URLOf(o.out)
	if from == to {
		return ""
	}
	if url != "" {
		return url
	}
	if path, err := filepath.Abs(file); err == nil {
		file = path
	}
	return filepath.ToSlash(file)
}

// ofStore reports whether an error is of a store or the way to it, and of no site.
func ofStore(err error) bool {
	var lost *mirror.Failure
	return errors.As(err, &lost)
}

// needs lists the logs of a site whose file is named by URL, and fetches what is read with the site file.
func (m *member) needs(ctx context.Context, away *mirror.Mirror) (err error) {
	if away != nil {
		m.need, err = away.Needs(ctx, m.File, m.Text)
	}
	return err
}

// fetch brings the logs of a site here, where they are elsewhere, and makes its key; release lets go of them.
func (m *member) fetch(ctx context.Context) error {
	if m.need == nil {
		return nil
	}
	if err := m.need.Fetch(ctx); err != nil {
		m.release()
		return err
	}
	err := m.Named(problem.Guard(m.Name, func() error {
		s, err := m.Load()
		if err != nil {
			return err
		}
		return m.settle(s)
	}))
	if err != nil {
		m.release()
	}
	return err
}

func (m *member) release() {
	if m.need != nil {
		m.need.Release()
	}
}

// fetchKeys makes the keys of sites whose logs are elsewhere. What is wrong with a site is left to its piece.
func fetchKeys(ctx context.Context, list []member) error {
	errs := make([]error, len(list))
	problem.Beside(len(list), func(i int) {
		m := &list[i]
		errs[i] = m.bad
		if m.bad == nil {
			if errs[i] = m.fetch(ctx); errs[i] == nil {
				m.release()
			}
		}
	})
	if i := slices.IndexFunc(errs, ofStore); i >= 0 {
		return errs[i]
	}
	return nil
}

// fetched does a site with its logs fetched and its earlier results beside; of one that did not change, its piece is as
// it was.
func (r *batchRun) fetched(ctx context.Context, m *member) (*lake.Piece, error) {
	if m.bad == nil {
		if err := m.fetch(ctx); err != nil {
			if ofStore(err) {
				return nil, err
			}
			m.bad = err
		} else {
			defer m.release()
		}
	}
	old := r.folder.Read(m.id)
	if m.same = !r.o.force && m.need != nil && m.key != "" && old != nil && old.Key == m.key; m.same {
		return old, nil
	}
	if err := r.open(); err != nil {
		return nil, &mirror.Failure{URL: r.o.out, Err: err}
	}
	if r.o.sends() && m.bad == nil {
		at, _ := r.o.away.Of(filepath.Join(r.folder.Sites(), m.id))
		if _, err := r.o.away.Fetch(ctx, at, func(string) bool { return true }); err != nil {
			return nil, err
		}
	}
	return r.site(ctx, m)
}

// send sends the results of a site, its piece last, and removes them here.
func (r *batchRun) send(ctx context.Context, m *member, piece *lake.Piece) error {
	if m.same || !r.o.sends() {
		return nil
	}
	state, totals := r.folder.State(m.id, ".json"), r.folder.State(m.id, ".parquet")
	folders := []string{r.folder.Readings(m.id)}
	if piece.Site.State != lake.Failed {
		if folders = append(folders, filepath.Join(r.folder.Sites(), m.id)); m.kept != "" {
			folders = append(folders, m.kept)
		}
	}
	away := r.o.away
	at, _ := away.Of(state)
	if err := away.Remove(ctx, at); err != nil {
		return err
	}
	for _, name := range folders {
		at, _ := away.Of(name)
		if err := away.SendFolder(ctx, at); err != nil {
			return err
		}
		if err := os.RemoveAll(name); err != nil {
			return err
		}
	}
	at, _ = away.Of(totals)
	send := away.Send
	if piece.Site.State == lake.Failed {
		send = away.Remove
	}
	if err := send(ctx, at); err != nil {
		return err
	}
	return r.o.sendFile(ctx, state)
}
