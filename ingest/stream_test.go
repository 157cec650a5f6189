package ingest

import (
	"bytes"
	"compress/gzip"
	"context"
	"errors"
	"fmt"
	"maps"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/klauspost/compress/zstd"

	"retotal/ingest/problem"
	"retotal/ingest/reading"
	"retotal/ingest/site"
	"retotal/testdata/effort"
)

// stamps streams the logs of a site in a folder of files and returns what came out, as "time value" in the site's
// clock, conflicts marked with "!".
func stamps(t *testing.T, zone, more string, files map[string]string) (got []string, l *Log, err error) {
	t.Helper()
	dir := t.TempDir()
	for name, text := range files {
		if err := os.WriteFile(filepath.Join(dir, name), []byte(text), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	text := fmt.Sprintf("id = \"a\"\n[log]\nfiles = [\"*.csv\"]\ntime_zone = %q\n%s\n[log.columns]\ntime = \"Time\"\n"+
		"level = { name = \"Level\", unit = \"m\" }\n[settings.device]\nkind = \"v-notch\"\n"+
		"angle = \"90 deg\"\n", zone, more)
	s, err := site.Parse(filepath.Join(dir, "site.toml"), []byte(text))
	if err != nil {
		t.Fatal(err)
	}
	l, err = Open(s)
	if err != nil {
		return nil, nil, err
	}
	for err = reading.ErrAgain; errors.Is(err, reading.ErrAgain); {
		got, err = written(l)
	}
	return got, l, err
}

// written is one reading of a log, in words.
func written(l *Log) (got []string, err error) {
	for b, err := range l.Batches(context.Background()) {
		if err != nil {
			return got, err
		}
		for i, at := range b.Time {
			text := fmt.Sprintf("%s %g", l.Site.Log.Clock.Format(at)[5:16], b.Value[reading.Level][i])
			if b.Conflict != nil && b.Conflict[i] {
				text += "!"
			}
			got = append(got, text)
		}
	}
	return got, nil
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
			"a.csv": "Time,Level\n2031-03-01 00:00,1\n2031-03-01 00:01,2\n"},
			"00:00 1, 00:01 2, 00:02 3, 00:03 4", 4, 0, 0},
		{"interleaved", map[string]string{
			"a.csv": "Time,Level\n2031-03-01 00:00,1\n2031-03-01 00:02,3\n",
			"b.csv": "Time,Level\n2031-03-01 00:01,2\n2031-03-01 00:03,4\n"},
			"00:00 1, 00:01 2, 00:02 3, 00:03 4", 4, 0, 0},
		{"overlap with the same rows", map[string]string{
			"a.csv": "Time,Level\n2031-03-01 00:00,1\n2031-03-01 00:01,2\n2031-03-01 00:02,3\n",
			"b.csv": "Time,Level\n2031-03-01 00:01,2\n2031-03-01 00:02,3\n2031-03-01 00:03,4\n"},
			"00:00 1, 00:01 2, 00:02 3, 00:03 4", 4, 2, 0},
		{"conflict", map[string]string{
			"a.csv": "Time,Level\n2031-03-01 00:00,1\n2031-03-01 00:01,2\n2031-03-01 00:01,9\n2031-03-01 00:01,2\n" +
				"2031-03-01 00:02,3\n"},
			"00:00 1, 00:01 2!, 00:02 3", 3, 1, 1},
		{"conflict at the very end", map[string]string{
			"a.csv": "Time,Level\n2031-03-01 00:00,1\n2031-03-01 00:01,2\n",
			"b.csv": "Time,Level\n2031-03-01 00:01,9\n",
		},
			"00:00 1, 00:01 2!", 2, 0, 1},
		{"out of order (TS-ORD1)", map[string]string{
			"a.csv": "Time,Level\n2031-03-01 00:00,0\n2031-03-03 00:00,1\n2031-03-02 00:00,2\n"},
			"03-01 00:00 0, 03-02 00:00 2, 03-03 00:00 1", 3, 0, 0},
		{"out of order over two files", map[string]string{
			"a.csv": "Time,Level\n2031-03-01 00:05,5\n2031-03-01 00:01,1\n2031-03-01 00:03,3\n",
			"b.csv": "Time,Level\n2031-03-01 00:02,2\n2031-03-01 00:04,4\n"},
			"00:01 1, 00:02 2, 00:03 3, 00:04 4, 00:05 5", 5, 0, 0},
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
		if text != c.want || l.Account.Used != c.used ||
			l.Account.Repeated != c.same || l.Account.Conflicting != c.other {
			t.Errorf("%s: %s; %+v; want %s", c.name, text, l.Account, c.want)
		}
	}
}

// TestLocalTime: the logger's clock. The repeated hour is told apart by row order, the skipped one is rejected.
func TestLocalTime(t *testing.T) {
	fold := "Time,Level\n2021-10-31 00:30,1\n2021-10-31 01:00,2\n2021-10-31 01:30,3\n2021-10-31 01:00,4\n" +
		"2021-10-31 01:30,5\n2021-10-31 02:00,6\n"
	_, l, err := stamps(t, "Europe/London", "", map[string]string{"a.csv": fold})
	if err != nil || l.Account.Used != 6 || l.Until-l.From != 150*60*1e9 {
		t.Errorf("both passes of the repeated hour: %+v, %v; 00:30 to 02:00 must be 2.5 h", l.Account, err)
	}
	// TS-DST2 (pandas issue 47398): with a gap after them, 01:00 and 01:30 are the first pass, in summer time.
	_, l, err = stamps(t, "Europe/London", "", map[string]string{
		"a.csv": "Time,Level\n2021-10-31 00:30,1\n2021-10-31 01:00,2\n2021-10-31 01:30,3\n2021-10-31 10:00,4\n",
	})
	if err != nil || l.From != 1635636600e9 || l.Until != 1635674400e9 {
		t.Errorf("gap after the first pass: from %d to %d, %v", l.From, l.Until, err)
	}
	_, l, err = stamps(t, "Europe/London", "", map[string]string{
		"a.csv": "Time,Level\n2031-03-30 00:59,1\n2031-03-30 01:30,2\n2031-03-30 02:00,3\n",
	})
	if err != nil || l.Account.Used != 2 || l.Account.Rejected[reasonSkipped] != 1 {
		t.Errorf("skipped hour: %+v, %v", l.Account, err)
	}
	_, l, err = stamps(t, "+05:30", "", map[string]string{
		"a.csv": "Time,Level\n2031-03-30T00:30:00Z,1\n2031-03-30T06:01:00+05:30,2\n",
	})
	if err != nil || l.Until-l.From != 60e9 {
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
	got, l, err := stamps(t, "+00:00", "[report]\nfrom = 2031-03-01T00:10:00\nuntil = 2031-03-01T00:20:00\n",
		map[string]string{"a.csv": b.String()})
	if err != nil || got[0] != "03-01 00:07 7" || got[len(got)-1] != "03-01 00:23 23" ||
		l.Account.OutOfPeriod != 60-17 || l.Account.Used != 17 {
		t.Errorf("%v, %+v, %v", got, l.Account, err)
	}
}

// TestRejectedRows: every rejected row has its reason, its line and a place in the account.
func TestRejectedRows(t *testing.T) {
	text := "Time,Level\n2031-03-01 00:00,1\nnonsense,2\n2031-03-01 00:02,\n2031-03-01 00:03,x\n" +
		"2031-03-01 00:04,5,6,7\n\n2031-03-01 00:05\n2031-03-01 00:06,7\n2031-03-01 00:0"
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
	if err := os.WriteFile(filepath.Join(dir, "a.csv"),
		[]byte("Time,Level (m)\n2031-03-01 00:00,1\n2031-03-01 00:01,1\n"), 0o644); err != nil {
		t.Fatal(err)
	}
	s, _ := site.Parse(filepath.Join(dir, "site.toml"), []byte("id=\"a\"\n[log]\nfiles=[\"a.csv\"]\n"+
		"time_zone=\"UTC\"\n[log.columns]\ntime=\"Time\"\nlevel=\"Level\"\n[settings.device]\nkind=\"v-notch\"\n"+
		"angle=\"90 deg\"\n"))
	l, err := Open(s)
	if err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	for _, err = range l.Batches(ctx) {
	}
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
	for packing, content := range map[string][]byte{
		"UTF-8, lines": text, "gzip": gz.Bytes(), "zstd": z.EncodeAll(text, nil),
	} {
		got, l, err := stamps(t, "+00:00", "", map[string]string{"a.csv": string(content)})
		if err != nil || strings.Join(got, ", ") != "03-01 00:00 1, 03-01 00:01 2" ||
			!strings.Contains(l.Files[0].Decisions()[0].Found, packing) {
			t.Errorf("%s: %v, %v", packing, got, err)
		}
	}
	cut := z.EncodeAll(bytes.Repeat(text, 1000), nil)
	if _, _, err := stamps(t, "+00:00", "", map[string]string{"a.csv": string(cut[:len(cut)-20])}); err == nil {
		t.Error("a cut zstd file was read without a word")
	}
}

// TestMisled: the first 2000 rows hold whole numbers and no midnight; what comes later is read rightly all the same,
// from the beginning.
func TestMisled(t *testing.T) {
	var b strings.Builder
	b.WriteString("Time;Level\n")
	for i := range 5000 {
		fmt.Fprintf(&b, "2031-03-01 %02d:%02d:%02d;%d\n", 12+i/3600, i/60%60, i%60, 1+i%7)
	}
	_, l, err := stamps(t, "+00:00", "", map[string]string{
		"a.csv": b.String() + "2031-03-01 23:59:00;1,5\n2031-03-01 0:00:00;1,25\n2031-03-02 00:01:00;2,5\n",
	})
	if err != nil {
		t.Fatal(err)
	}
	if a := l.Account; a.Used != 5003 || a.Read != 5003 ||
		len(a.Illegible) > 0 || l.Until-l.From != int64(12*time.Hour+time.Minute) {
		t.Errorf("%+v, %s", a, time.Duration(l.Until-l.From))
	}
	if text := fmt.Sprint(l.Files[0].Decisions()); !strings.Contains(text, "decimal sign comma") ||
		!strings.Contains(text, "0:00 ends the date") {
		t.Error(text)
	}
}

// TestDisorder: rows late by a little are sorted on the way, rows late by much in memory; none is lost.
func TestDisorder(t *testing.T) {
	const n = 200_000
	for _, c := range []struct {
		name string
		late int // rows by which every hundredth row comes too late
		want Disorder
	}{{"in order", 0, inOrder}, {"a little", 50, inWindow}, {"far", 3 * reorderWindow, sorted}} {
		order := make([]int, n)
		for i := range order {
			order[i] = i
		}
		for i := 0; c.late > 0 && i+c.late < n; i += 100 {
			order[i], order[i+c.late] = order[i+c.late], order[i]
		}
		var b strings.Builder
		b.WriteString("Time,Level\n")
		at := time.Date(2031, 3, 1, 0, 0, 0, 0, time.UTC)
		for _, k := range order {
			fmt.Fprintf(&b, "%s,%d\n", at.Add(time.Duration(k)*time.Second).Format("2006-01-02 15:04:05"), k%1000)
		}
		got, l, err := stamps(t, "+00:00", "", map[string]string{"a.csv": b.String()})
		if err != nil || len(got) != n || l.Files[0].Disorder != c.want || l.Account.Used != n {
			t.Errorf("%s: %d rows, %v, %+v, %v", c.name, len(got), l.Files[0].Disorder, l.Account, err)
		}
		for i, text := range got {
			if !strings.HasSuffix(text, fmt.Sprintf(" %d", i%1000)) {
				t.Fatalf("%s: row %d is %q", c.name, i, text)
			}
		}
	}
}

// TestAccountAddsUp: whatever is in a log, every one of its rows is in one class of the account, and readings come out
// in order.
func TestAccountAddsUp(t *testing.T) {
	random := rand.New(rand.NewPCG(21, 22))
	zones := []string{"+00:00", "Europe/London", "America/New_York", "+05:30"}
	refused := 0
	trials := effort.Rounds(80, 400)
	for trial := range trials {
		zone := zones[trial%len(zones)]
		files := map[string]string{}
		lines := 0
		for f := range 1 + random.IntN(3) {
			text, n := oddLog(random, f)
			files[fmt.Sprintf("%d.csv", f)] = text
			lines += n
		}
		got, l, err := stamps(t, zone, "", files)
		if err != nil {
			refused++
			continue
		}
		a := l.Account
		if sum := a.Used + a.Repeated + a.Conflicting + a.OutOfPeriod + a.RejectedRows(); sum != a.Read ||
			a.Read != lines || a.Used != len(got) {
			t.Fatalf("trial %d: %d lines, %d out, %+v", trial, lines, len(got), a)
		}
	}
	if refused > trials/4 {
		t.Errorf("%d of %d logs were refused", refused, trials)
	}
}

// oddLog writes a log around the change of clocks with all kinds of rows, and counts them.
func oddLog(random *rand.Rand, file int) (text string, rows int) {
	var b strings.Builder
	b.WriteString("Time;Level;Note\n")
	at := time.Date(2031, 10, 25+file%2, 20, 0, 0, 0, time.UTC)
	for range random.IntN(400) {
		rows++
		at = at.Add(time.Duration(random.IntN(3)) * 5 * time.Minute)
		stamp, level := at.Format("2006-01-02 15:04:05"), fmt.Sprintf("0,%03d", random.IntN(1000))
		switch random.IntN(30) {
		case 0:
			stamp = "never"
		case 1:
			level = ""
		case 2:
			level = "wet"
		case 3:
			at = at.Add(-time.Duration(random.IntN(48)) * time.Hour)
		case 4:
			stamp = "2000-01-01 00:00:00"
		case 5:
			stamp, level = "Time", "Level"
		case 6:
			fmt.Fprintf(&b, "%s;%s\n", stamp, level)
			continue
		case 7:
			fmt.Fprintf(&b, "%s;%s;a;b\n", stamp, level)
			continue
		case 8:
			stamp = "\"" + stamp + "\""
		case 9:
			b.WriteString("\n")
		case 10:
			stamp += "Z"
		}
		fmt.Fprintf(&b, "%s;%s;\n", stamp, level)
	}
	if random.IntN(4) == 0 {
		return strings.TrimSuffix(b.String(), "\n"), rows
	}
	return b.String(), rows
}

// TestIntervalOfAnyOrder: a log of 10,000 readings every 5 minutes, with half a day missing, has that interval and its
// gap limit of three of them whatever the order of its rows: newest first, neighbours swapped, or shuffled.
func TestIntervalOfAnyOrder(t *testing.T) {
	var rows []string
	at := time.Date(2031, 3, 1, 0, 0, 0, 0, time.UTC)
	for i := range 10000 {
		if i < 5000 || i >= 5144 {
			rows = append(rows,
				fmt.Sprintf("%s,0.%d\n", at.Add(time.Duration(i)*5*time.Minute).Format("2006-01-02 15:04:05"), 100+i%7))
		}
	}
	random := rand.New(rand.NewPCG(9, 10))
	for name, arrange := range map[string]func(list []string){
		"oldest first": func([]string) {},
		"newest first": func(list []string) { slices.Reverse(list) },
		"swapped": func(list []string) {
			for i := 1; i < len(list); i += 2 {
				list[i-1], list[i] = list[i], list[i-1]
			}
		},
		"shuffled": func(list []string) {
			random.Shuffle(len(list), func(i, j int) { list[i], list[j] = list[j], list[i] })
		},
	} {
		list := slices.Clone(rows)
		arrange(list)
		got, l, err := stamps(t, "+00:00", "", map[string]string{"log.csv": "Time,Level\n" + strings.Join(list, "")})
		if err != nil || len(got) != len(rows) || l.Interval != 5*time.Minute || l.GapLimit != 15*time.Minute {
			t.Errorf("%s: %d rows, a reading every %v, a gap over %v, %v", name, len(got), l.Interval, l.GapLimit, err)
		}
	}
}

// TestDecades: a record of 42 years with a reading every 30 days has no reset clock, whichever end it begins at; in one
// that jumps over 22 years the few rows before the jump are of an unset clock, unless the site file says that they are
// genuine.
func TestDecades(t *testing.T) {
	var up, down, jump string
	count := 0
	for at := time.Date(1990, 1, 1, 0, 0, 0, 0, time.UTC); at.Year() < 2032; at = at.AddDate(0, 0, 30) {
		row := at.Format("2006-01-02 15:04") + ",0.1\n"
		up, down = up+row, row+down
		if count++; at.Year() < 1991 || at.Year() > 2012 {
			jump += row
		}
	}
	for name, c := range map[string]struct {
		rows, more string
		rejected   int
	}{
		"up": {up, "", 0}, "down": {down, "", 0}, "jump": {jump, "", 13},
		"genuine": {jump, "clock_jumps = true", 0},
	} {
		got, l, err := stamps(t, "UTC", c.more, map[string]string{"a.csv": "Time,Level\n" + c.rows})
		if err != nil {
			t.Errorf("%s: %v", name, err)
			continue
		}
		if want := strings.Count(c.rows, "\n") - c.rejected; len(got) != want ||
			l.Account.RejectedRows() != c.rejected {
			t.Errorf(
				"%s: %d rows and %d rejected, want %d and %d",
				name,
				len(got),
				l.Account.RejectedRows(),
				want,
				c.rejected,
			)
		}
	}
}
