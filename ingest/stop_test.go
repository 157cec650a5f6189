package ingest

import (
	"bytes"
	"compress/gzip"
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"testing"
	"time"

	"github.com/klauspost/compress/zstd"

	"retotal/ingest/reading"
	"retotal/ingest/site"
)

// TestStopped: however a reading of the log ends before its end, it leaves neither a goroutine nor an open file.
func TestStopped(t *testing.T) {
	for name, files := range stoppable(t) {
		for _, hashed := range []bool{false, true} {
			t.Run(fmt.Sprintf("%s, hashed %v", name, hashed), func(t *testing.T) {
				l := openLog(t, files)
				l.Hashed = hashed
				goroutines := runtime.NumGoroutine()
				stopAfterFirst(t, l)
				stopByContext(t, l)
				released(t, goroutines, filepath.Dir(l.Files[0].Name))
			})
		}
	}
}

// stopAfterFirst leaves the loop as soon as it can.
func stopAfterFirst(t *testing.T, l *Log) {
	t.Helper()
	for b, err := range l.Batches(context.Background()) {
		if err != nil || b.Len() == 0 {
			t.Fatal(b, err)
		}
		return
	}
	t.Fatal("nothing was read")
}

// stopByContext cancels the context within the loop.
func stopByContext(t *testing.T, l *Log) {
	t.Helper()
	ctx, cancel := context.WithCancel(context.Background())
	defer cancel()
	var err error
	batches := 0
	for _, err = range l.Batches(ctx) {
		batches++
		cancel()
	}
	if !errors.Is(err, context.Canceled) || batches != 2 {
		t.Errorf("%d times, the last with %v", batches, err)
	}
}

// TestAgainReleases: a reading that must begin anew has let go of all files when it says so.
func TestAgainReleases(t *testing.T) {
	text := string(longLog(100_000))
	l := openLog(t, map[string]string{"a.csv": text + "2031-03-01 00:00:00,1\n", "b.csv": text})
	goroutines := runtime.NumGoroutine()
	readings := 0
	for again := true; again; {
		again = false
		readings++
		for _, err := range l.Batches(context.Background()) {
			if again = errors.Is(err, reading.ErrAgain); err != nil && !again {
				t.Fatal(err)
			}
			if again {
				released(t, goroutines, filepath.Dir(l.Files[0].Name))
			}
		}
	}
	if readings < 2 || l.Account.Used != 100_000 {
		t.Errorf("read %d times, %+v", readings, l.Account)
	}
}

// TestStoppedWhileSorting: a file that is read whole to be sorted is not read to its end once the context has ended.
func TestStoppedWhileSorting(t *testing.T) {
	l := openLog(t, map[string]string{"a.csv": string(longLog(100_000))})
	l.Files[0].Disorder = sorted
	for _, err := range l.Batches(&ending{Context: context.Background(), after: 3}) {
		if !errors.Is(err, context.Canceled) || l.Account.Read == 0 || l.Account.Read >= 100_000 {
			t.Errorf("%v after %d rows", err, l.Account.Read)
		}
	}
}

// ending is a context that ends when it has been asked so many times.
type ending struct {
	context.Context
	after int
}

// Err says that the context has ended once it has.
func (e *ending) Err() error {
	if e.after--; e.after < 0 {
		return context.Canceled
	}
	return nil
}

// released waits until there are no more goroutines than before and no file of a folder is open.
func released(t *testing.T, goroutines int, folder string) {
	t.Helper()
	for range 100 {
		if runtime.NumGoroutine() <= goroutines {
			break
		}
		time.Sleep(10 * time.Millisecond)
	}
	if n := runtime.NumGoroutine(); n > goroutines {
		t.Errorf("%d goroutines, %d before", n, goroutines)
	}
	const handles = "/proc/self/fd" // where there is none, goroutines must do
	open, _ := os.ReadDir(handles)
	for _, e := range open {
		if name, err := os.Readlink(filepath.Join(handles, e.Name())); err == nil && strings.HasPrefix(name, folder) {
			t.Errorf("%s is still open", name)
		}
	}
}

// stoppable are logs of more than one batch in every packing, two files of each.
func stoppable(t *testing.T) map[string]map[string]string {
	text := longLog(100_000)
	var packed bytes.Buffer
	w := gzip.NewWriter(&packed)
	w.Write(text)
	w.Close()
	z, err := zstd.NewWriter(nil)
	if err != nil {
		t.Fatal(err)
	}
	defer z.Close()
	squeezed := string(z.EncodeAll(text, nil))
	return map[string]map[string]string{
		"plain": {"a.csv": string(text), "b.csv": string(text)},
		"gzip":  {"a.csv.gz": packed.String(), "b.csv.gz": packed.String()},
		"zstd":  {"a.csv.zst": squeezed, "b.csv.zst": squeezed},
	}
}

// longLog is a log with a reading every second.
func longLog(rows int) []byte {
	var b bytes.Buffer
	b.WriteString("Time,Level\n")
	at := time.Date(2031, 3, 1, 0, 0, 0, 0, time.UTC)
	for i := range rows {
		fmt.Fprintf(&b, "%s,%d\n", at.Add(time.Duration(i)*time.Second).Format(time.DateTime), 1+i%7)
	}
	return b.Bytes()
}

// openLog writes files into a folder and opens them as the log of one site.
func openLog(t *testing.T, files map[string]string) *Log {
	t.Helper()
	dir := t.TempDir()
	for name, text := range files {
		if err := os.WriteFile(filepath.Join(dir, name), []byte(text), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	text := "id = \"a\"\n[log]\nfiles = [\".\"]\ntime_zone = \"+00:00\"\n[log.columns]\ntime = \"Time\"\n" +
		"level = { name = \"Level\", unit = \"m\" }\n[settings.device]\nkind = \"v-notch\"\nangle = \"90 deg\"\n"
	s, err := site.Parse(filepath.Join(dir, "site.toml"), []byte(text))
	if err != nil {
		t.Fatal(err)
	}
	l, err := Open(s)
	if err != nil {
		t.Fatal(err)
	}
	return l
}

// TestChangedMeanwhile: a log that grows, shrinks, is replaced, is written anew or goes away while it is read, or
// between two passes over it, ends the reading.
func TestChangedMeanwhile(t *testing.T) {
	rows := "Time,Level (m)\n"
	for i := range 2_000 {
		at := time.Date(2031, 3, 1, 0, i, 0, 0, time.UTC)
		rows += at.Format("2006-01-02 15:04") + ",0.1\n"
	}
	for name, change := range map[string]func(file string) error{
		"grows":   func(f string) error { return os.WriteFile(f, []byte(rows+"2033-01-01 00:00,0.1\n"), 0o644) },
		"shrinks": func(f string) error { return os.Truncate(f, int64(len(rows))/2) },
		"replaced": func(f string) error {
			return errors.Join(os.WriteFile(f+"2", []byte(rows), 0o644), os.Rename(f+"2", f))
		},
		"touched": func(f string) error { return os.Chtimes(f, time.Time{}, time.Unix(1, 0)) },
		"gone":    os.Remove,
	} {
		for _, midway := range []bool{true, false} {
			dir := t.TempDir()
			file := filepath.Join(dir, "a.csv")
			if err := os.WriteFile(file, []byte(rows), 0o644); err != nil {
				t.Fatal(err)
			}
			s, err := site.Parse(filepath.Join(dir, "site.toml"), []byte("id=\"a\"\n[log]\nfiles=[\"a.csv\"]\n"+
				"time_zone=\"UTC\"\n[log.columns]\ntime=\"Time\"\nlevel=\"Level\"\n"+
				"[settings.device]\nkind=\"v-notch\"\n"+
				"angle=\"90 deg\"\n"))
			if err != nil {
				t.Fatal(err)
			}
			l, err := Open(s)
			if err != nil {
				t.Fatal(err)
			}
			if !midway {
				if _, err := written(l); err != nil {
					t.Fatal(err)
				}
				if err := change(file); err != nil {
					t.Fatal(err)
				}
			}
			for b, e := range l.Batches(context.Background()) {
				if err = e; midway && b != nil {
					if midway = false; change(file) != nil {
						t.Fatal("the change failed")
					}
				}
			}
			if err == nil {
				t.Errorf("%s: the log was read to its end", name)
			}
		}
	}
}

// TestWhatIsNoFile: pipes, devices, folders that cannot be read and links to folders among the logs are named, and
// nothing waits for them.
func TestWhatIsNoFile(t *testing.T) {
	const log = "Time,Level (m)\n2031-03-01 00:00,1\n2031-03-01 00:01,1\n"
	linked := func(to, name string) func(string) error {
		return func(logs string) error { return os.Symlink(to, filepath.Join(logs, name)) }
	}
	for name, c := range map[string]struct {
		spoil func(logs string) error
		says  string
	}{
		"plain":   {func(string) error { return nil }, ""},
		"device":  {linked("/dev/zero", "b.csv"), "it is a device, a pipe"},
		"link":    {linked(t.TempDir(), "old"), "old is a link to a folder"},
		"dangles": {linked("none", "old.csv"), "old.csv is a link to a folder"},
		"closed": {func(logs string) error {
			return errors.Join(os.Mkdir(logs+"/shut", 0o755), os.Chmod(logs+"/shut", 0))
		}, "shut may hold logs and cannot be read"},
	} {
		dir := t.TempDir()
		err := errors.Join(os.Mkdir(filepath.Join(dir, "logs"), 0o755),
			os.WriteFile(filepath.Join(dir, "logs", "a.csv"), []byte(log), 0o644))
		if err := errors.Join(err, c.spoil(filepath.Join(dir, "logs"))); err != nil {
			t.Skip(err)
		}
		if _, err := os.ReadDir(filepath.Join(dir, "logs", "shut")); name == "closed" && err == nil {
			continue // this user may read everything
		}
		s, err := site.Parse(filepath.Join(dir, "site.toml"), []byte("id=\"a\"\n[log]\nfiles=[\"logs\"]\n"+
			"time_zone=\"UTC\"\n[log.columns]\ntime=\"Time\"\nlevel=\"Level\"\n[settings.device]\nkind=\"v-notch\"\n"+
			"angle=\"90 deg\"\n"))
		if err != nil {
			t.Fatal(err)
		}
		if _, err = Open(s); (err == nil) != (c.says == "") || err != nil && !strings.Contains(err.Error(), c.says) {
			t.Errorf("%s: %v", name, err)
		}
	}
}
