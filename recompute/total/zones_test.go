package total

import (
	"archive/zip"
	"crypto/sha256"
	"fmt"
	"go/build"
	"io"
	"path/filepath"
	"strings"
	"testing"
	"time"
)

// TestCivil: wall times that a clock skips or shows twice, worked out by hand from the rules of the IANA time-zone
// database.
func TestCivil(t *testing.T) {
	for _, c := range []struct{ zone, wall, want string }{
		{"America/Santiago", "2025-09-07T00:00:00Z", "2025-09-07T04:00:00Z"}, // 00:00 to 01:00 is skipped, from -04 to -03
		{"America/Santiago", "2025-09-06T00:00:00Z", "2025-09-06T04:00:00Z"},
		{"America/Santiago", "2025-09-08T00:00:00Z", "2025-09-08T03:00:00Z"},
		{"America/Santiago", "2025-04-05T23:30:00Z", "2025-04-06T02:30:00Z"}, // 23:00 to 24:00 is shown twice, -03 and -04
		{"America/Santiago", "2025-04-06T00:00:00Z", "2025-04-06T04:00:00Z"},
		{"America/Havana", "2031-03-09T00:00:00Z", "2031-03-09T05:00:00Z"}, // 00:00 to 01:00 is skipped, from -05 to -04
		{"America/Havana", "2031-11-02T00:00:00Z", "2031-11-02T04:00:00Z"}, // 00:00 to 01:00 is shown twice, -04 and -05
		{"America/Havana", "2031-11-03T00:00:00Z", "2031-11-03T05:00:00Z"},
		{"America/St_Johns", "2006-10-29T00:00:00Z", "2006-10-29T02:30:00Z"}, // at 00:01 the clock went back to 23:01 of the day before
		{"Europe/Dublin", "2031-03-30T01:30:00Z", "2031-03-30T01:00:00Z"},    // 01:00 to 02:00 is skipped at 01:00 UTC
		{"Europe/Dublin", "2031-10-26T01:30:00Z", "2031-10-26T00:30:00Z"},
		{"Pacific/Apia", "2011-12-30T00:00:00Z", "2011-12-30T10:00:00Z"}, // the whole day was skipped, from -10 to +14
		{"Pacific/Apia", "2011-12-31T00:00:00Z", "2011-12-30T10:00:00Z"},
		{"UTC", "2031-03-09T06:00:00Z", "2031-03-09T06:00:00Z"},
	} {
		l, err := time.LoadLocation(c.zone)
		if err != nil {
			t.Fatal(err)
		}
		wall, _ := time.Parse(time.RFC3339, c.wall)
		if got := time.Unix(0, Civil(l, wall)).UTC().Format(time.RFC3339); got != c.want {
			t.Errorf("%s in %s: %s, want %s", c.wall, c.zone, got, c.want)
		}
	}
}

// TestDateLine: Samoa had no 30 December 2011, so 29 December is followed by the 31st, and December had 30 days.
func TestDateLine(t *testing.T) {
	cal := calendar(t, "Pacific/Apia", 0, time.Date(2011, 12, 29, 20, 0, 0, 0, time.UTC))
	var labels []string
	for i := range 3 {
		day := cal.Day(time.Date(2011, 12, 29, 20, 0, 0, 0, time.UTC).Add(time.Duration(24*i) * time.Hour).UnixNano())
		labels = append(labels, cal.Label(day))
	}
	from, until := cal.Span(0, func(label string) string { return label[:7] })
	if got := strings.Join(labels, " "); got != "2011-12-29 2011-12-31 2012-01-01" ||
		until-from != int64(30*24*time.Hour) {
		t.Errorf("%s, December of %v", got, time.Duration(until-from))
	}
}

// zone is a zone of the database, with the wall clock's jumps from 1990 to 2035.
type zone struct {
	name     string
	location *time.Location
	jumps    []int64 // s
}

// zones reads all zones of the database that comes with Go, which is the one that the program holds (package
// time/tzdata); of aliases, the first.
func zones(t *testing.T) (list []zone) {
	archive, err := zip.OpenReader(filepath.Join(build.Default.GOROOT, "lib", "time", "zoneinfo.zip"))
	if err != nil {
		t.Skip("no time-zone database to read names from: ", err)
	}
	defer archive.Close()
	seen := map[[32]byte]bool{}
	for _, file := range archive.File {
		if strings.HasSuffix(file.Name, "/") {
			continue
		}
		r, err := file.Open()
		if err != nil {
			t.Fatal(err)
		}
		data, err := io.ReadAll(r)
		r.Close()
		if err != nil {
			t.Fatal(err)
		}
		if sum := sha256.Sum256(data); !seen[sum] {
			seen[sum] = true
			l, err := time.LoadLocationFromTZData(file.Name, data)
			if err != nil {
				t.Fatal(file.Name, err)
			}
			list = append(list, zone{file.Name, l, jumps(l)})
		}
	}
	return list
}

// jumps lists when the clock of a place jumps from 1990 to 2035. The ends that ZoneBounds gives are more than the
// jumps, and one of them may be its own.
func jumps(l *time.Location) (list []int64) {
	for at := time.Date(1990, 1, 1, 0, 0, 0, 0, l); at.Year() <= 2035; {
		_, end := at.ZoneBounds()
		if end.IsZero() {
			break
		}
		if !end.After(at) {
			end = at.Add(24 * time.Hour)
		}
		_, before := end.Add(-time.Second).Zone()
		if _, after := end.Zone(); before != after {
			list = append(list, end.Unix())
		}
		at = end
	}
	return list
}

// TestEveryZone: around every jump of every clock from 1990 to 2035, days follow each other, none is empty, each begins
// when the clock first shows its start or, where that is skipped, a later time, and weeks and months are made of whole
// days.
func TestEveryZone(t *testing.T) {
	list := zones(t)
	if len(list) < 300 {
		t.Fatalf("only %d zones", len(list))
	}
	seen, found := map[string]bool{}, 0
	for _, z := range list {
		for i, at := range z.jumps {
			_, before := time.Unix(at-1, 0).In(z.location).Zone()
			_, after := time.Unix(at, 0).In(z.location).Zone()
			if found++; i > 0 && at-z.jumps[i-1] < 2*farthest {
				t.Errorf("%s: two jumps within the time that Civil searches, at %d", z.name, at)
			}
			if key := fmt.Sprint(at, before, after); !seen[key] { // the same jump of another place is the same test
				seen[key] = true
				for _, start := range []time.Duration{0, 6 * time.Hour, 9 * time.Hour} {
					checkDays(t, z, at, start)
				}
			}
		}
	}
	t.Logf("%d zones, %d jumps, %d of them different", len(list), found, len(seen))
}

// checkDays walks the days from two before a jump to two after it.
func checkDays(t *testing.T, z zone, jump int64, dayStarts time.Duration) {
	cal := NewCalendar(z.location, dayStarts, false, (jump-2*86400)*1e9)
	last := cal.Day((jump + 2*86400) * 1e9)
	for i := 0; i <= last; i++ {
		start, end := cal.Bounds(i)
		date, _ := time.Parse("2006-01-02", cal.Label(i))
		wall := date.Add(dayStarts)
		if start >= end || i > 0 && cal.known.Load().starts[i-1] >= start {
			t.Errorf("%s, %v: day %s is from %d to %d", z.name, dayStarts, cal.Label(i), start, end)
		}
		if shown(z.location, start).Before(wall) {
			t.Errorf("%s: day %s begins at %v by the clock", z.name, cal.Label(i), shown(z.location, start))
		}
		for _, at := range []int64{start - 1, jump*1e9 - 1} { // the clock runs forward up to the jump and from it
			if at < start && !shown(z.location, at).Before(wall) {
				t.Errorf("%s: day %s begins late, %v was shown before", z.name, cal.Label(i), shown(z.location, at))
			}
		}
		if at := start + (end-start)/2; cal.Day(start) != i || cal.Day(end-1) != i || cal.Day(at) != i {
			t.Errorf("%s: day %s does not hold its own time", z.name, cal.Label(i))
		}
	}
	for _, name := range []func(string) string{isoWeek, func(label string) string { return label[:7] }} {
		checkSpan(t, z, cal, name)
	}
}

// checkSpan: the periods of the days that were walked begin and end where a day does, and one ends where the next
// begins.
func checkSpan(t *testing.T, z zone, cal *Calendar, name func(string) string) {
	from, until := cal.Span(0, name)
	whole := NewCalendar(z.location, cal.dayStarts, false, from)
	day := whole.Day(until)
	own, last, next := name(cal.Label(0)), name(whole.Label(day-1)), name(whole.Label(day))
	start := whole.known.Load().starts[day]
	if first, _ := whole.Bounds(0); first != from || start != until || last != own || next == own {
		t.Errorf("%s: %s is from %d to %d, not made of whole days", z.name, name(cal.Label(0)), from, until)
	}
	if start, end := cal.Bounds(cal.Days() - 1); name(cal.Label(cal.Days()-1)) != name(cal.Label(0)) {
		if next, after := cal.Span(cal.Days()-1, name); next < until || start < next || end > after {
			t.Errorf("%s: %s overlaps the period before it", z.name, name(cal.Label(cal.Days()-1)))
		}
	}
}

// shown is what the clock of a place shows, as if it were UTC.
func shown(l *time.Location, at int64) time.Time {
	t := time.Unix(0, at).In(l)
	_, offset := t.Zone()
	return t.Add(time.Duration(offset) * time.Second).UTC()
}

func isoWeek(label string) string {
	at, _ := time.Parse("2006-01-02", label)
	y, w := at.ISOWeek()
	return fmt.Sprint(y, " ", w)
}
