package picture

import (
	"archive/zip"
	"go/build"
	"io"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"
)

// TestTicksOverJumps: ticks of days where the clock skips midnight or shows it twice, and of six hours, worked out by
// hand from the rules of the IANA time-zone database. Santiago skipped 00:00 to 01:00 on 7 September 2025, Havana shows
// it twice on 2 November 2031.
func TestTicksOverJumps(t *testing.T) {
	for _, c := range []struct {
		zone, low string
		days      int
		want      string
	}{
		{"America/Santiago", "2025-09-05T04:00:00Z", 4, "05T04 06T04 07T04 08T03 09T03"},
		{"America/Havana", "2031-10-31T04:00:00Z", 4, "31T04 01T04 02T04 03T05"},
		{"America/Santiago", "2025-09-07T00:00:00Z", 1, "07T04 07T09 07T15 07T21"},
	} {
		l, err := time.LoadLocation(c.zone)
		if err != nil {
			t.Fatal(err)
		}
		low, _ := time.Parse(time.RFC3339, c.low)
		var got []string
		every := step{days: 1}
		if c.days == 1 {
			every = step{hours: 6}
		}
		for _, at := range (clock{l}).every(low.UnixNano(), low.AddDate(0, 0, c.days).UnixNano(), every) {
			got = append(got, time.Unix(0, at).UTC().Format("02T15"))
		}
		if text := strings.Join(got, " "); text != c.want {
			t.Errorf("%s from %s: %s, want %s", c.zone, c.low, text, c.want)
		}
	}
}

// TestTicksOfEveryZone: in every zone ticks rise and end, over a stretch of each length that is told apart, at many
// places of the years 1990 to 2035.
func TestTicksOfEveryZone(t *testing.T) {
	archive, err := zip.OpenReader(filepath.Join(build.Default.GOROOT, "lib", "time", "zoneinfo.zip"))
	if err != nil {
		t.Skip("no time-zone database to read names from: ", err)
	}
	defer archive.Close()
	spans := []float64{10, 60, 24 * 10, 24 * 60, 24 * 400, 24 * 1200, 24 * 4000, 24 * 9000} // h
	seen := map[uint32]bool{}
	for n, file := range archive.File {
		if seen[file.CRC32] || strings.HasSuffix(file.Name, "/") {
			continue
		}
		seen[file.CRC32] = true
		r, err := file.Open()
		if err != nil {
			t.Fatal(err)
		}
		data, _ := io.ReadAll(r)
		r.Close()
		l, err := time.LoadLocationFromTZData(file.Name, data)
		if err != nil {
			t.Fatal(file.Name, err)
		}
		for k, span := range spans {
			for year := 1990 + (n+k)%3; year < 2036; year += 3 {
				checkTicks(t, l, jumpNear(l, year)-float64(k%3)*86400, span*3600)
			}
		}
	}
}

// jumpNear is the first time in a year at which the clock of a place jumps, to a day, or the year's beginning.
func jumpNear(l *time.Location, year int) float64 {
	at := time.Date(year, 1, 1, 0, 0, 0, 0, l)
	_, first := at.Zone()
	for day := range 365 {
		if t := at.Add(time.Duration(day) * 24 * time.Hour); t.Year() == year {
			if _, offset := t.Zone(); offset != first {
				return float64(t.Unix()) - 86400
			}
		}
	}
	return float64(at.Unix())
}

func checkTicks(t *testing.T, l *time.Location, low, length float64) {
	t.Helper()
	from, until := int64(low*1e9), int64((low+length)*1e9)
	long, short := clock{l}.ticks(from, until, 650)
	if len(long) > 20 || len(long) == 0 && length > 2*3600 || len(short) > 250 {
		t.Fatalf("%s: %d and %d ticks over %g h from %v", l, len(long), len(short), length/3600,
			time.Unix(0, from).In(l))
	}
	for i, tick := range long {
		if tick.at < from || tick.at > until || i > 0 && tick.at <= long[i-1].at || tick.label == "" {
			t.Errorf("%s: tick %d of %v out of order", l, i, long)
		}
	}
	if !slices.IsSorted(short) || len(short) > 0 && (short[0] < from || short[len(short)-1] > until) {
		t.Errorf("%s: short ticks %v", l, short)
	}
}
