package csvlog

import (
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"golang.org/x/tools/txtar"

	"retotal/ingest/quantity"
	"retotal/ingest/reading"
	"retotal/ingest/site"
)

// TestOneFinder: a first look that knows no names finds the header that a site file with those names finds, in all logs
// of testdata/log/oddity that can be read, and in some whose preambles look like headers.
func TestOneFinder(t *testing.T) {
	logs := map[string]string{
		"a stamp in the preamble": "Station,Mill Road\nExported,2031-04-02 10:30:00\nTime,Level (m)\n" +
			"2031-03-01 00:00:00,0.1\n2031-03-01 00:05:00,0.2\n",
		"two stamps, two rows": "Station;Mill Road\nFrom;2031-03-01\nUntil;2031-04-01\nTime;Level (m)\n" +
			"2031-03-01 00:00:00;0.1\n2031-03-01 00:05:00;0.2\n",
		"a line of as many words": "Operator,K. O.\nTime,Level (m)\n2031-03-01 00:00:00,0.1\n2031-03-01 00:05:00,0.2\n",
		"formats below the names": "Time;Level (m)\n[yyyy-mm-dd hh:mm:ss];[0.000]\n2031-03-01 00:00:00;0.1\n" +
			"2031-03-01 00:05:00;0.2\n",
		"units below the names": "Time,Level\nh,m\n2031-03-01 00:00:00,0.1\n2031-03-01 00:05:00,0.2\n",
		"blank at the end":      "Time,Level (m),,\n2031-03-01 00:00:00,0.1,,\n2031-03-01 00:05:00,0.2,\n",
		"one row":               "Logger,12\nTime,Level (m)\n2031-03-01 00:00:00,0.1\n",
		"a number for a name":   "Time,Level (m),1234567890\n2031-03-01 00:00:00,0.1,5\n2031-03-01 00:05:00,0.2,5\n",
		"counts, no word":       "ts;Level (m)\n1930089600;0.1\n1930089900;0.2\n1930090200;0.2\n",
		"counts since 1970":     "Serial,12\nTime,Level (m)\n1930089600,0.1\n1930089900,0.2\n",
	}
	names, err := filepath.Glob(filepath.Join("..", "..", "testdata", "log", "oddity", "*.txtar"))
	if err != nil {
		t.Fatal(err)
	}
	for _, name := range names {
		archive, err := txtar.ParseFile(name)
		if err != nil {
			t.Fatal(err)
		}
		for _, f := range archive.Files {
			if strings.HasSuffix(f.Name, ".csv") {
				logs[filepath.Base(name)] = string(f.Data)
			}
		}
	}
	same := 0
	for about, text := range logs {
		file := filepath.Join(t.TempDir(), "log.csv")
		if err := os.WriteFile(file, []byte(text), 0o644); err != nil {
			t.Fatal(err)
		}
		h, bad := Heading(file)
		if bad != nil || h.Names[h.Time] == "" {
			t.Logf("%s: no header, %v", about, bad)
			continue
		}
		log := &site.Log{Time: site.Column{Name: h.Names[h.Time]}, Primary: reading.Level}
		u := quantity.MustLookUp("m")
		other := slices.IndexFunc(h.Names, func(n string) bool { return n != "" && n != h.Names[h.Time] })
		log.Columns[reading.Level] = site.Column{Number: other + 1, Unit: &u}
		l := &Layout{eol: terminator([]byte(text))}
		if bad := l.findHeader(file, []byte(text), log); bad != nil {
			t.Errorf("%s: %v", about, bad)
			continue
		}
		for i, name := range h.Names {
			if !strings.HasPrefix(l.Header[i], name) { // units may stand behind it
				t.Errorf("%s: a site file finds %q, a first look %q", about, l.Header, h.Names)
			}
		}
		if len(l.Header) != len(h.Names) || l.plan[h.Time] != timeColumn {
			t.Errorf("%s: a site file finds %q, a first look %q", about, l.Header, h.Names)
		}
		same++
		if !strings.HasSuffix(about, ".txtar") && (len(h.Names) < 2 || !strings.HasPrefix(h.Names[1], "Level")) {
			t.Errorf("%s: %q", about, h.Names)
		}
	}
	if same < 60 {
		t.Errorf("only %d headers were compared", same)
	}
}

// TestBlankFields: rows with fields beyond the names, by hand.
func TestBlankFields(t *testing.T) {
	for _, c := range []struct {
		n, few int
		row    string
		want   int
	}{
		{2, 0, "a,b", 2}, {2, 0, "a,b,", 2}, {2, 0, "a,b,,,", 2}, {2, 0, "a,b,,c", 4}, {2, 0, "a,b,c", 3}, {2, 0, "a", 1},
		{2, 1, "a,b,c", 2}, {2, 1, "a,b,c,", 2}, {2, 1, "a,b,,c", 4}, {2, 2, "a,b,,c", 2}, {2, 2, "a,b,c,,,", 2},
	} {
		l := Layout{delimiter: ',', blank: c.few, Header: make([]string, c.n)}
		fields, _ := l.split([]byte(c.row))
		if got := len(l.withoutTrailer(fields)); got != c.want {
			t.Errorf("%q below %d names and %d blank: %d fields, want %d", c.row, c.n, c.few, got, c.want)
		}
	}
}
