package ingest

import (
	"bytes"
	"compress/gzip"
	"context"
	"errors"
	"fmt"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/klauspost/compress/zstd"

	"retotal/ingest/problem"
	"retotal/ingest/reading"
	"retotal/ingest/site"
)

// stamps streams the logs of a site in a folder of files and returns what came out, as "time value" in the site's clock, conflicts
// marked with "!".
func stamps(t *testing.T, zone, more string, files map[string]string) (got []string, l *Log, err error) {
	t.Helper()
	dir := t.TempDir()
	for name, text := range files {
		if err := os.WriteFile(filepath.Join(dir, name), []byte(text), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	text := fmt.Sprintf("id = \"a\"\n[log]\nfiles = [\"*.csv\"]\ntime_zone = %q\n%s\n[log.columns]\ntime = \"Time\"\nlevel = { name = \"Level\", unit = \"m\" }\n[settings.device]\nkind = \"v-notch\"\nangle = \"90 deg\"\n", zone, more)
	s, problems := site.Parse(filepath.Join(dir, "site.toml"), []byte(text))
	if err := problems.Err(); err != nil {
		t.Fatal(err)
	}
	l, problems = Inspect(s)
	if err := problems.Err(); err != nil {
		return nil, nil, err
	}
	err = l.Each(context.Background(), func() func(*reading.Batch) error {
		got = nil
		return func(b *reading.Batch) error {
			for i, at := range b.Time {
				text := fmt.Sprintf("%s %g", s.Log.Clock.Format(at)[5:16], b.Value[reading.Level][i])
				if b.Conflict != nil && b.Conflict[i] {
					text += "!"
				}
				got = append(got, text)
			}
			return nil
		}
	})
	return got, l, err
}

// TestMerge: files of a site become one stream in the order of time, each time once, whatever their overlap and order.
func TestMerge(t *testing.T) {
	for _, c := range []struct {
		name  string
		files map[string]string
		want  string
		used  int
		same  int
		other int
	}{
		{"one after the other", map[string]string{
			"b.csv": "Time,Level\n2031-03-01 00:02,3\n2031-03-01 00:03,4\n",
			"a.csv": "Time,Level\n2031-03-01 00:00,1\n2031-03-01 00:01,2\n"}, "00:00 1, 00:01 2, 00:02 3, 00:03 4", 4, 0, 0},
		{"interleaved", map[string]string{
			"a.csv": "Time,Level\n2031-03-01 00:00,1\n2031-03-01 00:02,3\n",
			"b.csv": "Time,Level\n2031-03-01 00:01,2\n2031-03-01 00:03,4\n"}, "00:00 1, 00:01 2, 00:02 3, 00:03 4", 4, 0, 0},
		{"overlap with the same rows", map[string]string{
			"a.csv": "Time,Level\n2031-03-01 00:00,1\n2031-03-01 00:01,2\n2031-03-01 00:02,3\n",
			"b.csv": "Time,Level\n2031-03-01 00:01,2\n2031-03-01 00:02,3\n2031-03-01 00:03,4\n"}, "00:00 1, 00:01 2, 00:02 3, 00:03 4", 4, 2, 0},
		{"conflict", map[string]string{
			"a.csv": "Time,Level\n2031-03-01 00:00,1\n2031-03-01 00:01,2\n2031-03-01 00:01,9\n2031-03-01 00:01,2\n2031-03-01 00:02,3\n"},
			"00:00 1, 00:01 2!, 00:02 3", 3, 1, 1},
		{"conflict at the very end", map[string]string{
			"a.csv": "Time,Level\n2031-03-01 00:00,1\n2031-03-01 00:01,2\n", "b.csv": "Time,Level\n2031-03-01 00:01,9\n"}, "00:00 1, 00:01 2!", 2, 0, 1},
		{"out of order (TS-ORD1)", map[string]string{
			"a.csv": "Time,Level\n2031-03-01 00:00,0\n2031-03-03 00:00,1\n2031-03-02 00:00,2\n"}, "03-01 00:00 0, 03-02 00:00 2, 03-03 00:00 1", 3, 0, 0},
		{"out of order over two files", map[string]string{
			"a.csv": "Time,Level\n2031-03-01 00:05,5\n2031-03-01 00:01,1\n2031-03-01 00:03,3\n",
			"b.csv": "Time,Level\n2031-03-01 00:02,2\n2031-03-01 00:04,4\n"}, "00:01 1, 00:02 2, 00:03 3, 00:04 4, 00:05 5", 5, 0, 0},
	} {
		got, l, err := stamps(t, "+00:00", "", c.files)
		if err != nil {
			t.Errorf("%s: %v", c.name, err)
			continue
		}
		text := strings.Join(got, ", ")
		if !strings.HasPrefix(c.want, "03-") {
			text = strings.ReplaceAll(text, "03-01 ", "")
		}
		if text != c.want || l.Account.Used != c.used || l.Account.Repeated != c.same || l.Account.Conflicting != c.other {
			t.Errorf("%s: %s; %+v; want %s", c.name, text, l.Account, c.want)
		}
	}
}

// TestLocalTime: the logger's clock. The repeated hour is told apart by row order, the skipped one is rejected.
func TestLocalTime(t *testing.T) {
	fold := "Time,Level\n2021-10-31 00:30,1\n2021-10-31 01:00,2\n2021-10-31 01:30,3\n2021-10-31 01:00,4\n2021-10-31 01:30,5\n2021-10-31 02:00,6\n"
	_, l, err := stamps(t, "Europe/London", "", map[string]string{"a.csv": fold})
	if err != nil || l.Account.Used != 6 || l.Till-l.From != 150*60*1e9 {
		t.Errorf("both passes of the repeated hour: %+v, %v; 00:30 to 02:00 must be 2.5 h", l.Account, err)
	}
	// TS-DST2 (pandas issue 47398): with a gap after them, 01:00 and 01:30 are the first pass, in summer time.
	_, l, err = stamps(t, "Europe/London", "", map[string]string{"a.csv": "Time,Level\n2021-10-31 00:30,1\n2021-10-31 01:00,2\n2021-10-31 01:30,3\n2021-10-31 10:00,4\n"})
	if err != nil || l.From != 1635636600e9 || l.Till != 1635674400e9 {
		t.Errorf("gap after the first pass: from %d to %d, %v", l.From, l.Till, err)
	}
	_, l, err = stamps(t, "Europe/London", "", map[string]string{"a.csv": "Time,Level\n2031-03-30 00:59,1\n2031-03-30 01:30,2\n2031-03-30 02:00,3\n"})
	if err != nil || l.Account.Used != 2 || l.Account.Rejected[reasonSkipped] != 1 {
		t.Errorf("skipped hour: %+v, %v", l.Account, err)
	}
	_, l, err = stamps(t, "+05:30", "", map[string]string{"a.csv": "Time,Level\n2031-03-30T00:30:00Z,1\n2031-03-30T06:01:00+05:30,2\n"})
	if err != nil || l.Till-l.From != 60e9 {
		t.Errorf("offsets in the stamps: %v", err)
	}
}

// TestPeriod: rows outside the period are accounted for; those next to it stay, to integrate up to its bounds.
func TestPeriod(t *testing.T) {
	var b strings.Builder
	b.WriteString("Time,Level\n")
	for i := range 60 {
		fmt.Fprintf(&b, "2031-03-01 00:%02d,%d\n", i, i)
	}
	got, l, err := stamps(t, "+00:00", "[report]\nfrom = 2031-03-01T00:10:00\nuntil = 2031-03-01T00:20:00\n", map[string]string{"a.csv": b.String()})
	if err != nil || got[0] != "03-01 00:07 7" || got[len(got)-1] != "03-01 00:23 23" || l.Account.OutOfPeriod != 60-17 || l.Account.Used != 17 {
		t.Errorf("%v, %+v, %v", got, l.Account, err)
	}
}

// TestRejectedRows: every rejected row has its reason, its line and a place in the account.
func TestRejectedRows(t *testing.T) {
	text := "Time,Level\n2031-03-01 00:00,1\nnonsense,2\n2031-03-01 00:02,\n2031-03-01 00:03,x\n2031-03-01 00:04,5,6,7\n\n2031-03-01 00:05\n2031-03-01 00:06,7\n2031-03-01 00:0"
	got, l, err := stamps(t, "+00:00", "", map[string]string{"a.csv": text})
	if err != nil || len(got) != 2 || l.Account.Read != 8 || l.Account.RejectedRows() != 6 {
		t.Fatalf("%v, %+v, %v", got, l.Account, err)
	}
	lines := map[int]bool{}
	for _, e := range l.Account.Examples {
		lines[e.Line] = true
	}
	if want := []int{3, 4, 5, 6, 8, 10}; !slices.Equal(slices.Sorted(maps.Keys(lines)), want) {
		t.Errorf("rejected lines %v, want %v", lines, want)
	}
}

// TestCancel: a cancelled run ends with the context's error.
func TestCancel(t *testing.T) {
	dir := t.TempDir()
	if err := os.WriteFile(filepath.Join(dir, "a.csv"), []byte("Time,Level (m)\n2031-03-01 00:00,1\n2031-03-01 00:01,1\n"), 0o644); err != nil {
		t.Fatal(err)
	}
	s, _ := site.Parse(filepath.Join(dir, "site.toml"), []byte("id=\"a\"\n[log]\nfiles=[\"a.csv\"]\ntime_zone=\"UTC\"\n[log.columns]\ntime=\"Time\"\nlevel=\"Level\"\n[settings.device]\nkind=\"v-notch\"\nangle=\"90 deg\"\n"))
	l, problems := Inspect(s)
	if len(problems) > 0 {
		t.Fatal(problems)
	}
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	err := l.Each(ctx, func() func(*reading.Batch) error { return func(*reading.Batch) error { return nil } })
	if !errors.Is(err, context.Canceled) {
		t.Errorf("%v", err)
	}
	var p *problem.Problem
	if errors.As(err, &p) {
		t.Error("a cancelled run is not a problem of the input")
	}
}

// TestPacked: the same log plain, as gzip and as zstd.
func TestPacked(t *testing.T) {
	text := []byte("Time,Level\n2031-03-01 00:00,1\n2031-03-01 00:01,2\n")
	var gz bytes.Buffer
	g := gzip.NewWriter(&gz)
	g.Write(text)
	g.Close()
	z, err := zstd.NewWriter(nil)
	if err != nil {
		t.Fatal(err)
	}
	for packing, content := range map[string][]byte{"plain": text, "gzip": gz.Bytes(), "zstd": z.EncodeAll(text, nil)} {
		got, l, err := stamps(t, "+00:00", "", map[string]string{"a.csv": string(content)})
		if err != nil || strings.Join(got, ", ") != "03-01 00:00 1, 03-01 00:01 2" || l.Files[0].CSV.Packing != packing {
			t.Errorf("%s: %v, %v", packing, got, err)
		}
	}
	cut := z.EncodeAll(bytes.Repeat(text, 1000), nil)
	if _, _, err := stamps(t, "+00:00", "", map[string]string{"a.csv": string(cut[:len(cut)-20])}); err == nil {
		t.Error("a cut zstd file was read without a word")
	}
}
