package site

import (
	"encoding/binary"
	"errors"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"
	"unicode/utf16"

	"retotal/ingest/problem"
	"retotal/ingest/reading"
)

// TestDemo reads the demo's site file without a problem and finds what it says.
func TestDemo(t *testing.T) {
	s, err := Load(filepath.Join("..", "..", "testdata", "quarry-lane", "site.toml"))
	if err != nil {
		t.Fatal(err)
	}
	if s.ID != "quarry-lane" || len(s.Settings) != 2 || len(s.Corrections) != 1 ||
		s.Settings[0].Values[EmptyDistance].From.SI != 1.25 ||
		s.Corrections[0].Values[EmptyDistance].From.SI != 1.225 || s.Report.DailyVolume.SI != 1500 {
		t.Errorf("%+v", s)
	}
	if p := s.Places["correction[0].empty_distance"]; p.Line == 0 || p.Column != 18 {
		t.Errorf("place of the correction: %+v", p)
	}
}

// base is a site file without a fault; cases replace parts of it.
const base = `id = "a"
[log]
files = ["log.csv"]
time_zone = "+00:00"
[log.columns]
time = "Time"
distance = { name = "Distance", unit = "m" }
[settings]
empty_distance = "1.25 m"
[settings.device]
kind = "v-notch"
angle = "90 deg"
`

func TestRefusals(t *testing.T) {
	for _, c := range []struct{ old, with, want string }{
		{`id = "a"`, ``, `id is missing; add id = "quarry-lane"`},
		{`id = "a"`, `id = 7`, `id = 7 is not text`},
		{`files = ["log.csv"]`, ``, `log.files names no file`},
		{`files = ["log.csv"]`, `files = [1]`, `is not a list of texts`},
		{`time_zone = "+00:00"`, `time_zone = "+25:00"`, `is not an offset from UTC`},
		{`time_zone = "+00:00"`, `time_zone = "Local"`, `is not a time zone`},
		{`time_zone = "+00:00"`, ``, `log.time_zone is missing`},
		{`unit = "m"`, `unit = "furlong"`, `"furlong" is not a known unit`},
		{`unit = "m"`, `unit = "L/s"`, `"L/s" is a flow; expected a length`},
		{`time = "Time"`, ``, `log.columns.time is missing`},
		{`distance = { name = "Distance", unit = "m" }`, ``, `log.columns.distance is missing, and so are level, head`},
		{`distance = { name = "Distance", unit = "m" }`, `distance = ""`, `log.columns.distance is not filled in; expected the header of one column`},
		{`distance = { name = "Distance", unit = "m" }`, `level = ["A", 2]`, `log.columns.level names 2 columns, "A", 2; expected one; keep the one that is meant, as in level = "A"`},
		{`distance = { name = "Distance", unit = "m" }`, `distance = 0`, `log.columns.distance = 0 is not the number of a column; expected 1 for the first`},
		{`distance = { name = "Distance", unit = "m" }`, `distance = { number = "2" }`, `log.columns.distance.number = 2 is not a whole number`},
		{`distance = { name = "Distance", unit = "m" }`, `distance = { number = 2, name = "D" }`, `log.columns.distance.name stands beside number`},
		{`distance = { name = "Distance", unit = "m" }`, `distance = { unit = "m" }`, `log.columns.distance.name is missing; add name = "Distance", or number = 2`},
		{`distance = { name = "Distance", unit = "m" }`, `level = { name = "P", unit = "kPa" }`, `log.columns.level.unit "kPa" is a pressure; expected the density of the water, as 998.2 kg/m3`},
		{`distance = { name = "Distance", unit = "m" }`, `level = { name = "P", unit = "kPa", density = "" }`, `log.columns.level.density "" is not a number with a unit; write it as "998.2 kg/m3"`},
		{`distance = { name = "Distance", unit = "m" }`, `level = { name = "P", unit = "kPa", density = "1000" }`, `has no unit; write it as "1000 kg/m3"`},
		{`distance = { name = "Distance", unit = "m" }`, `level = { name = "P", unit = "kPa", density = "1 kg/m3" }`, `"1 kg/m3" is not that of water; expected 900 to 1300 kg/m3`},
		{`distance = { name = "Distance", unit = "m" }`, `level = { name = "P", unit = "kPa", density = "998 kg/m3", gravity = "32 m/s2" }`, `"32 m/s2" is not that of any place`},
		{`distance = { name = "Distance", unit = "m" }`, `level = { name = "P", unit = "kPa", gravity = "9.81 m/s2" }`, `log.columns.level.gravity stands without density`},
		{`distance = { name = "Distance", unit = "m" }`, `level = { name = "P", unit = "m", density = "998 kg/m3" }`, `log.columns.level.density goes with a unit of pressure, and "m" is a length`},
		{`distance = { name = "Distance", unit = "m" }`, `level = { name = "P", unit = "mA", low = "0 m", high = "1 m", density = "998 kg/m3" }`, `and not with a loop current`},
		{`distance = { name = "Distance", unit = "m" }`, `distance = { name = "P", unit = "kPa", density = "998 kg/m3" }`, `log.columns.distance.density goes with a level, head, downstream or second_level`},
		{`distance = { name = "Distance", unit = "m" }`, "level = \"L\"\nair_pressure = { name = \"A\", unit = \"hPa\" }", `log.columns.air_pressure is taken off levels that are logged as pressures, and there is none`},
		{`distance = { name = "Distance", unit = "m" }`, `level = { name = "P", density = "998 kg/m3" }` + "\nair_pressure = { name = \"A\", unit = \"m\" }", `"m" is a length; expected a pressure`},
		{`distance = { name = "Distance", unit = "m" }`, `pressure = "P"`, `log.columns.pressure is not a key of the site file; did you mean "level"?`},
		{`empty_distance = "1.25 m"`, ``, `settings.empty_distance is missing, and the log holds distances`},
		{`empty_distance = "1.25 m"`, `empty_distance = "-1 m"`, `is not above 0`},
		{`empty_distance = "1.25 m"`, `empty_distance = 1.25`, `settings.empty_distance = 1.25 has no unit; write it as "1.25 m"`},
		{`empty_distance = "1.25 m"`, `empty_distance = { from = "1 m", to = "2 m" }`, `settings.empty_distance`},
		{`kind = "v-notch"`, ``, `settings.device has no kind`},
		{`[log]`, "[log]\ngap_limit = \"-3 min\"", `is not a usable duration`},
		{`[log]`, "[log]\ndate_order = \"day\"", `"day" is not known; expected one of day-first, month-first, year-first; did you mean "day-first"?`},
		{``, "[screening]\nspike = \"delete\"", `"delete" is not an action of spike`},
		{``, "[screening]\nspike = { windo = \"7 min\" }", `screening.spike.windo is not a key of the site file; did you mean "window"?`},
		{``, "[screening]\nbelow_zero = \"hold\"", `"hold" is not an action of below_zero`},
		{``, "[report]\nday_starts = \"25:00\"", `is not a time of day`},
		{``, "[report]\nvolume_unit = \"gal\"", `"gal" has two meanings: write "US gal" (3.785 L) or "imp gal" (4.546 L)`},
		{``, "[report]\nvolume_unit = \"L/s\"", `is a flow, not a volume`},
		{``, "[report.limits]\ndaily_volume = \"0 m3\"", `is not above 0`},
		{``, "[reported]\nMarch = \"1 m3\"", `reported.March is not a key of the site file`},
		{``, "[[correction]]\nreason = \"x\"", `the first correction (line 13) corrects nothing`},
		{``, "[record]\nstatus = \"working\"", `record.status "working" is not known; expected one of draft, checked, signed; did you mean "draft"?`},
		{``, "[record]\nstatus = \"in-review\"", `record.status "in-review" is not known; expected one of draft, checked, signed; did you mean "checked"?`},
		{``, "[[correction]]\nreason = \"x\"\n[correction.device]\nangle = { from = \"90 deg\", to = \"60 deg\" }",
			`the first correction (line 13) has a ramp but not both from and until`},
		{``, "[filling]\nrule = \"donor-regression\"\nlimit = \"1 d\"", `filling.donor is missing; expected the site file`},
		{``, "[filling]\nrule = \"linear\"\nlimit = \"1 d\"\ndonor = \"a.toml\"", `filling.donor goes with the donor rules`},
		{``, "[[check]]\nat = 2031-03-01T00:00:00", `check is not a key of the site file; did you mean "visit"?`},
		{``, "[record]\nstatus = \"approved\"", `record.status "approved" is not known; expected one of draft, checked, signed; did you mean "signed"?`},
		{``, "[record]\nstatus = \"sined\"", `record.status "sined" is not known; expected one of draft, checked, signed; did you mean "signed"?`},
		{``, "[[correction]]\nempty_distance = \"1 m\"", `the first correction (line 13): reason is missing`},
		{``, "[[correction]]\nreason = \"x\"\nempty_distance = { from = \"1 m\", to = \"2 m\" }", `has a ramp but not both from and until`},
		{``, "[[correction]]\nreason = \"x\"\nfrom = \"yesterday\"\nempty_distance = \"1 m\"", `is not a date and time`},
		{``, "[[correction]]\nreason = \"x\"\nfrom = 2031-03-02T00:00:00\nuntil = 2031-03-01T00:00:00\nempty_distance = \"1 m\"", `is not after from`},
		{``, "[[settings.change]]\nempty_distance = \"1 m\"", `the first settings.change (line 13): at is missing`},
		{``, "[[settings.change]]\nat = 2031-03-02T00:00:00\n[[settings.change]]\nat = 2031-03-01T00:00:00", `is not after the change before it`},
		{``, "[extra]\na = 1", `extra is not a key of the site file`},
		{`id = "a"`, "id = \"a\"\nid = \"b\"", `every key and table once`},
		{`id = "a"`, "id = \"a", `a text has no quote at its end`},
	} {
		text := base + c.with + "\n"
		if c.old != "" {
			text = strings.Replace(base, c.old, c.with, 1)
		}
		_, err := Parse("site.toml", []byte(text))
		if err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%q for %q: %v, want %q", c.with, c.old, err, c.want)
		}
		var list problem.List
		errors.As(err, &list)
		for _, p := range list {
			if p.Place.File == "" {
				t.Errorf("%q has no place", p.Error())
			}
		}
	}
}

func TestClock(t *testing.T) {
	for _, c := range []struct {
		zone, local string
		want        []string
	}{
		{"Europe/Dublin", "2031-03-30T00:30:00", []string{"2031-03-30T00:30:00Z"}},
		{"Europe/Dublin", "2031-03-30T01:30:00", nil},
		{"Europe/Dublin", "2031-10-26T01:30:00", []string{"2031-10-26T00:30:00Z", "2031-10-26T01:30:00Z"}},
		{"America/New_York", "2031-11-02T01:30:00", []string{"2031-11-02T05:30:00Z", "2031-11-02T06:30:00Z"}},
		{"Australia/Lord_Howe", "2031-04-06T01:45:00", []string{"2031-04-05T14:45:00Z", "2031-04-05T15:15:00Z"}},
		{"-09:30", "2031-11-02T01:30:00", []string{"2031-11-02T11:00:00Z"}},
		{"UTC", "2031-11-02T01:30:00", []string{"2031-11-02T01:30:00Z"}},
	} {
		clock, err := ParseClock(c.zone)
		if err != nil {
			t.Fatal(err)
		}
		local, _ := time.Parse("2006-01-02T15:04:05", c.local)
		instants, n := clock.Resolve(local.UnixNano())
		var got []string
		for _, at := range instants[:n] {
			got = append(got, time.Unix(0, at).UTC().Format(time.RFC3339))
		}
		if strings.Join(got, " ") != strings.Join(c.want, " ") {
			t.Errorf("%s in %s: %v, want %v", c.local, c.zone, got, c.want)
		}
	}
}

// FuzzParse: no site file makes the reader panic, and a file with no problem has what a run needs.
func FuzzParse(f *testing.F) {
	f.Add(base)
	demo, err := os.ReadFile(filepath.Join("..", "..", "testdata", "quarry-lane", "site.toml"))
	if err != nil {
		f.Fatal(err)
	}
	f.Add(string(demo))
	f.Add("[[correction]]\nfrom = 2031-03-01\nempty_distance = {from=\"1 m\"}\n[settings.device]\npoints = [[1,2],3]\n")
	f.Fuzz(func(t *testing.T, text string) {
		s, err := Parse("site.toml", []byte(text))
		if err == nil && (s.ID == "" || s.Settings[0].Device == nil || s.Log.Clock.Location == nil) {
			t.Errorf("accepted without what is needed: %q", text)
		}
	})
}

// FuzzReported: no file of reported figures makes the reader panic, and every row is taken, passed over as empty, or
// refused with its line.
func FuzzReported(f *testing.F) {
	f.Add("period,total (m3)\n2031-03,800\n2031-03-04,1.157 L/s\n2031-05,\n")
	f.Add("a,b\n\"2031-03\",\"8\"\" m3\"\n2031-03,1 m3\n2031-03,2 m3\n")
	f.Add("a,b (\n2031-03,)\n,\n\"")
	f.Fuzz(func(t *testing.T, text string) {
		s := &Site{}
		s.Report.Reported = map[string]Reported{}
		for _, p := range s.parseReported("figures.csv", []byte(text)) {
			if p.Place.Line < 1 {
				t.Errorf("a problem without its line: %v", p)
			}
		}
		for period, reported := range s.Report.Reported {
			if !periodPattern.MatchString(period) ||
				math.IsNaN(reported.Volume.SI) || math.IsInf(reported.Volume.SI, 0) {
				t.Errorf("%q: %+v", period, reported)
			}
		}
	})
}

// TestUTF16: a site file that a shell redirected into UTF-16 is read as it was written, its problems at their lines.
func TestUTF16(t *testing.T) {
	text, err := os.ReadFile(filepath.Join("..", "..", "testdata", "quarry-lane", "site.toml"))
	if err != nil {
		t.Fatal(err)
	}
	want, err := Parse("site.toml", text)
	if err != nil {
		t.Fatal(err)
	}
	for name, order := range map[string]binary.AppendByteOrder{"little": binary.LittleEndian, "big": binary.BigEndian} {
		wide := func(text string) (out []byte) {
			for _, unit := range utf16.Encode([]rune("\ufeff" + text)) {
				out = order.AppendUint16(out, unit)
			}
			return out
		}
		s, err := Parse("site.toml", wide(string(text)))
		if err != nil || s.Name != want.Name || len(s.Visits) != len(want.Visits) || len(s.Corrections) != 1 {
			t.Errorf("%s: %v", name, err)
		}
		if _, err := Parse("site.toml", wide("id = \"a\"\nnmae = \"b\"\n")); err == nil ||
			!strings.Contains(err.Error(), "site.toml:2:8: nmae is not a key") {
			t.Errorf("%s: %v", name, err)
		}
	}
}

// TestColumnNumbers: columns by number, alone or with a unit; a text is always a name.
func TestColumnNumbers(t *testing.T) {
	s, err := Parse("site.toml", []byte(`id = "a"
[log]
files = "a.csv"
time_zone = "UTC"
[log.columns]
time = 1
level = { number = 3, unit = "mm" }
flow = "2"
[settings.device]
kind = "v-notch"
`))
	if err != nil {
		t.Fatal(err)
	}
	level, flow := s.Log.Columns[reading.Level], s.Log.Columns[reading.Flow]
	if s.Log.Time.Number != 1 || level.Number != 3 || level.Unit.Symbol != "mm" || s.Log.Primary != reading.Level ||
		flow.Number != 0 || flow.Name != "2" {
		t.Errorf("%+v, %+v, %+v", s.Log.Time, level, flow)
	}
	if most, all := s.Log.Numbers(); most != 3 || all {
		t.Error(most, all)
	}
	find := func(c Column, names ...string) []int {
		return c.Find(len(names), func(i int) string { return names[i] })
	}
	for _, c := range []struct {
		column Column
		want   []int
	}{
		{level, []int{2}},
		{Column{Number: 4}, nil},
		{Column{Name: "Level"}, []int{1, 2}},
		{Column{Name: "level (m)"}, []int{1}},
		{Column{Name: "Time"}, []int{0}},
		{Column{}, nil},
	} {
		if got := find(c.column, "Time", "Level (m)", "Level mm"); !slices.Equal(got, c.want) {
			t.Errorf("%s: %v, want %v", c.column.Words(), got, c.want)
		}
	}
	if got := find(Column{Name: "Level"}, "Level", "Level (m)"); !slices.Equal(got, []int{0}) {
		t.Errorf("the header itself is not taken before one with a unit: %v", got)
	}
}
