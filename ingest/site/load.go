package site

import (
	"bytes"
	"cmp"
	"encoding/binary"
	"errors"
	"fmt"
	"io/fs"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"time"
	"unicode/utf16"

	"github.com/pelletier/go-toml/v2"

	"retotal/ingest/problem"
	"retotal/ingest/quantity"
	"retotal/ingest/reading"
)

// Load reads a site file. All problems of the file are returned together, as a problem.List; after one the site is good
// for nothing but to find more problems, or nil.
func Load(file string) (*Site, error) {
	ending := LogEnding(file)
	aLog := problem.At(problem.Place{File: file}, "this looks like a log, not like a site file",
		"a site file, which names the log", "retotal demo DIR writes an example")
	if ending != "" && ending != ".txt" {
		return nil, aLog
	}
	text, err := ReadPlain(file, mostText)
	if err != nil {
		return nil, unreadable(file, err)
	}
	s, err := Read(file, text)
	if s == nil && ending == ".txt" { // an editor may have saved a site file so; then it can be read as one
		return nil, aLog
	}
	return s, err
}

// Read reads the text of a site file and what it refers to, as Load does.
func Read(file string, text []byte) (*Site, error) {
	s, err := Parse(file, text)
	if s != nil && s.Report.ReportedFile != "" {
		err = problem.Join(err, s.readReportedFile())
	}
	return s, err
}

// mostText is more than any site file or list of reported figures takes, bytes.
const mostText = 64 << 20

// LogEndings are how the names of logs end: those are taken from a folder, and not for site files.
var LogEndings = []string{".csv", ".txt", ".csv.gz", ".txt.gz", ".csv.zst", ".txt.zst", ".parquet"}

// LogEnding is the ending of logs that a name has, whatever its case; "" for none.
func LogEnding(name string) string {
	name = strings.ToLower(name)
	if i := slices.IndexFunc(LogEndings, func(e string) bool { return strings.HasSuffix(name, e) }); i >= 0 {
		return LogEndings[i]
	}
	return ""
}

// unreadable words the failure to open a file that the user named.
func unreadable(file string, err error) *problem.Problem {
	place := problem.Place{File: file}
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return problem.At(place, "there is no such file", "a site file",
			"check the path; retotal demo DIR writes an example")
	case errors.Is(err, fs.ErrPermission):
		return problem.At(place, "the file may not be read", "", "check its permissions")
	case errors.Is(err, ErrNotPlain), errors.Is(err, ErrTooLarge):
		return problem.At(place, "the file cannot be read: "+errors.Unwrap(err).Error(), "a text file", "")
	}
	return problem.At(place, "the file cannot be read: "+fmt.Sprint(errors.Unwrap(err)), "a site file",
		"name the file itself, as in sites/quarry-lane.toml")
}

// Parse reads the text of a site file; file is its path, for places and for relative paths.
func Parse(file string, text []byte) (*Site, error) {
	doc, bad := parseDocument(file, bytes.TrimPrefix(fromUTF16(text), []byte("\xef\xbb\xbf")))
	if bad != nil {
		return nil, bad
	}
	s := doc.site(file, text)
	s.Warnings = doc.problems.Warnings()
	return s, doc.problems.Err()
}

// fromUTF16 is a text in UTF-8 that was saved in UTF-16 with its mark, as some shells do with what they redirect; any
// other text is returned as it is.
func fromUTF16(text []byte) []byte {
	var order binary.ByteOrder
	switch {
	case len(text) < 2 || len(text)%2 != 0:
		return text
	case text[0] == 0xff && text[1] == 0xfe:
		order = binary.LittleEndian
	case text[0] == 0xfe && text[1] == 0xff:
		order = binary.BigEndian
	default:
		return text
	}
	units := make([]uint16, 0, len(text)/2)
	for i := 2; i < len(text); i += 2 {
		units = append(units, order.Uint16(text[i:]))
	}
	return []byte(string(utf16.Decode(units)))
}

// site reads all tables of the document.
func (doc *document) site(file string, text []byte) *Site {
	s := &Site{File: file, Folder: filepath.Dir(file), Text: text, Places: doc.places}
	top := doc.top()
	s.ID, s.Name = top.required("id", "quarry-lane"), top.text("name", "")
	if s.ID != "" && !ValidID(s.ID) {
		top.refuse("id", fmt.Sprintf("%q cannot name a folder", s.ID), "letters, digits and hyphens", "")
	}
	s.readLog(top.sub("log"))
	s.readSettings(top)
	s.readCorrections(top)
	s.readWhatIfs(top)
	s.readVisits(top)
	s.readRulings(top)
	s.readApproval(top.sub("record"))
	s.readAudit(top.sub("audit"))
	s.readScreening(top.sub("screening"))
	s.needAir(top)
	s.readFilling(top.sub("filling"))
	s.readUncertainty(top.sub("uncertainty"))
	s.readReport(top)
	top.close()
	doc.problems.Sort()
	return s
}

var idPattern = regexp.MustCompile(`^[A-Za-z0-9][A-Za-z0-9-]{0,63}$`)

func (s *Site) readLog(t *table) {
	s.Log.Place = t.at("")
	s.Log.Files = t.texts("files")
	if len(s.Log.Files) == 0 {
		t.refuse("files", "names no file", "", `add files = ["2031-*.csv"], relative to the site file`)
	}
	for _, name := range s.Log.Files {
		t.refuseEscapes("files", name)
	}
	s.Log.Clock = t.clock("time_zone", "")
	s.Log.DateOrder = t.oneOf("date_order", "day-first", "month-first", "year-first")
	s.Log.Decimal = t.oneOf("decimal", "point", "comma")
	s.Log.GapLimit, s.Log.ClockJumps = t.duration("gap_limit"), t.flag("clock_jumps")
	s.Log.StampAt = t.choice("stamp", "instant", "start", "end")
	s.readClockChecks(t)
	if v := t.quantity("unpack_limit", quantity.None); v != nil {
		if s.Log.UnpackLimit = int64(v.SI); v.SI < 1 || v.SI > 1e9 {
			t.refuse("unpack_limit", fmt.Sprintf("= %s is not usable", v.Text),
				"how many times its size a compressed log may unpack to, 200 by default", "")
		}
	}
	columns := t.sub("columns")
	s.readColumns(columns)
	s.readPrimary(t, columns)
	s.readRegisterChanges(t)
	s.Log.Means = t.choice("values", "instants", "means") == "means" || s.Log.Primary > reading.Flow
	t.close()
}

// readClockChecks reads [[log.clock_check]]: at (by the logger's clock) and error, its time less the true time.
func (s *Site) readClockChecks(t *table) {
	for i, c := range t.list("clock_check") {
		at, off := c.instant("at", s.Log.Clock), c.quantity("error", quantity.DurationDimension)
		c.close()
		if at == nil || off == nil {
			if !c.has("at") || !c.has("error") {
				c.refuse("", "lacks at or error", "", `write at = 2031-04-02T10:30:00 and error = "90 s"`)
			}
			continue
		}
		if i > 0 && len(s.Log.Checks) > 0 && at.UTC <= s.Log.Checks[len(s.Log.Checks)-1].At.UTC {
			c.refuse("at", at.Text+" is not after the check before it", "checks in the order of time", "")
		}
		s.Log.Checks = append(s.Log.Checks, ClockCheck{*at, time.Duration(off.SI * 1e9)})
	}
}

// readRegisterChanges reads [[log.counter_change]]: at, last (what the counter showed last before, when somebody read
// it) and first (what it showed first after).
func (s *Site) readRegisterChanges(t *table) {
	for _, c := range t.list("counter_change") {
		at := c.instant("at", s.Log.Clock)
		last := c.quantity("last", quantity.VolumeDimension)
		first := c.quantity("first", quantity.VolumeDimension)
		c.close()
		if at == nil || first == nil {
			if !c.has("at") || !c.has("first") {
				c.refuse("", "lacks at or first", "",
					`write at = 2031-04-02T10:30:00, last = "48210 m3" and first = "0 m3"`)
			}
			continue
		}
		if !s.Log.Columns[reading.Counter].Given() {
			c.refuse("", "changes a counter that the log does not have", "a column counter in [log.columns]", "")
		}
		if n := len(s.Log.CounterChanges); n > 0 && at.UTC <= s.Log.CounterChanges[n-1].At.UTC {
			c.refuse("at", at.Text+" is not after the change before it", "changes in the order of time", "")
		}
		s.Log.CounterChanges = append(s.Log.CounterChanges, CounterChange{*at, last, *first})
	}
}

// readColumns reads [log.columns] and decides which quantity gives the head: distance before level before head.
func (s *Site) readColumns(t *table) {
	s.Log.Time = t.column("time", quantity.None)
	s.Log.TimeOfDay = t.column("time_of_day", quantity.None)
	if !s.Log.Time.Given() && !t.has("time") {
		t.refuse("time", "is missing", "", `add time = "Time", the header of the column with the time stamps, `+
			`or time = 1, its number where the log has no header`)
	}
	pressed := false
	for q := range reading.Count {
		s.Log.Columns[q] = t.column(q.String(), q.Dimension())
		pressed = pressed || s.Log.Columns[q].Water != nil
	}
	if air := reading.AirPressure.String(); s.Log.Columns[reading.AirPressure].Given() && !pressed {
		t.refuse(air, "is taken off levels that are logged as pressures, and there is none",
			"a level with a density", `write level = { name = "Pressure", unit = "kPa", density = "998.2 kg/m3" }`)
	}
	t.close()
}

// primaries are the quantities that a flow can be computed from, the rawest first.
var primaries = []reading.Quantity{
	reading.Distance, reading.Level, reading.Head, reading.Flow, reading.IntervalVolume, reading.Counter,
}

// readPrimary decides what the flow is computed from: what primary names, or the rawest quantity of the log.
func (s *Site) readPrimary(t, columns *table) {
	s.Log.Primary = reading.Count
	primary := t.text("primary", "")
	var names []string
	for _, q := range primaries {
		if s.Log.Columns[q].Given() {
			names = append(names, q.String())
			if s.Log.Primary == reading.Count {
				s.Log.Primary = q
			}
		}
	}
	if len(names) == 0 {
		asked := func(q reading.Quantity) bool { return columns.has(q.String()) }
		if i := slices.IndexFunc(primaries, asked); i >= 0 { // it was refused
			s.Log.Primary = primaries[i]
			return
		}
		s.Log.Primary = reading.Distance
		t.refuse("columns.distance", "is missing, and so are level, head, flow, interval_volume and counter",
			"one column that gives the flow", `add distance = "Distance"`)
		return
	}
	if t.has("primary") {
		if !slices.Contains(names, primary) {
			t.refuse("primary", fmt.Sprintf("%q is not a column that gives the flow", primary),
				"one of "+strings.Join(names, ", "), "")
			return
		}
		for _, q := range primaries {
			if q.String() == primary {
				s.Log.Primary = q
			}
		}
	}
}

// scale reads a current loop or a percentage: low and high are what 4 and 20 mA, or 0 and 100 %, stand for. The scale
// becomes the unit of the column.
func (t *table) scale(c *Column, unit string, dim quantity.Dimension) {
	low, high := t.quantity("low", dim), t.quantity("high", dim)
	if low == nil || high == nil {
		if !t.has("low") || !t.has("high") {
			t.refuse("unit", fmt.Sprintf("%q needs low and high", unit), "what both ends of the scale stand for",
				fmt.Sprintf("add low = %q, high = %q", "0 "+quantity.Unit1(dim), dim.Example()))
		}
		return
	}
	if low.SI == high.SI {
		t.refuse("high", "is the same as low", "", "")
		return
	}
	from, span := 0.0, 100.0
	if c.Loop = unit == "mA"; c.Loop {
		from, span = 4, 16
	}
	factor := (high.SI - low.SI) / span
	c.Unit = &quantity.Unit{Symbol: unit, Dimension: dim, Factor: factor, Offset: low.SI - float64(from*factor)}
}

// clock reads a time zone; without a fallback it must be there.
func (t *table) clock(key, fallback string) Clock {
	t.asks(key, "time zone", cmp.Or(fallback, "required"))
	name := t.text(key, fallback)
	if name == "" && (!t.has(key) || t.values[key] == "") {
		t.refuse(key, "is missing", "what the logger's clock keeps: "+twoWays,
			`add time_zone = "Region/City", or time_zone = "+HH:MM", with those of the log's place`)
	}
	c, err := ParseClock(name)
	if err != nil {
		if name != "" {
			t.refuse(key, err.Error(), twoWays, nearZone(name))
		}
		return Clock{Name: "UTC", Location: time.UTC}
	}
	return c
}

// duration reads an optional duration above zero; 0 when absent.
func (t *table) duration(key string) time.Duration {
	v := t.quantity(key, quantity.DurationDimension)
	if v == nil {
		return 0
	}
	if v.SI <= 0 || v.SI > 3e8 {
		t.refuse(key, fmt.Sprintf("%q is not a usable duration", v.Text), "more than 0 and less than 10 years", "")
		return 0
	}
	return time.Duration(v.SI * 1e9)
}

// instant reads an optional date and time; one without offset is in the clock given.
func (t *table) instant(key string, c Clock) *Instant {
	t.asks(key, "date and time", "")
	raw, ok := t.get(key)
	if !ok {
		return nil
	}
	place := t.at(key)
	var local time.Time
	switch v := raw.(type) {
	case time.Time:
		return &Instant{UTC: v.UnixNano(), Text: v.Format(time.RFC3339), Place: place}
	case toml.LocalDateTime:
		local = v.AsTime(time.UTC)
	case toml.LocalDate:
		local = v.AsTime(time.UTC)
	default:
		t.refuse(key, fmt.Sprintf("= %#v is not a date and time", raw),
			"a time such as 2031-04-02T10:30:00, without quotes", "")
		return nil
	}
	text := local.Format("2006-01-02T15:04:05")
	if y := local.Year(); y < 1900 || y > 2200 {
		t.refuse(key, text+" is not a time of a flow log", "a year from 1900 to 2200", "")
		return nil
	}
	switch instants, n := c.Resolve(local.UnixNano()); n {
	case 1:
		return &Instant{UTC: instants[0], Text: text, Place: place}
	case 0:
		t.refuse(key, fmt.Sprintf("%s does not exist in %s: the clock jumps over it", text, c.Name), "",
			"write an offset, as in 2031-04-02T10:30:00+01:00")
	default:
		t.refuse(key, fmt.Sprintf("%s occurs twice in %s, at the change from summer time", text, c.Name), "",
			"write an offset, as in 2031-04-02T10:30:00+01:00")
	}
	return nil
}

// ValidID reports whether an id can name a site and its folder.
func ValidID(id string) bool { return idPattern.MatchString(id) }
