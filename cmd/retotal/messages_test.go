package main

import (
	"bytes"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"
)

// plainSite is a site file without a mistake, which each row of slips spoils.
const plainSite = `id = "a"
[log]
files = ["log.csv"]
time_zone = "+00:00"
[log.columns]
time = "Time"
distance = "Distance"

[settings]
empty_distance = "1.250 m"
[settings.device]
kind = "v-notch"
angle = "90 deg"
`

// plainLog is two days of minutes with a head of 120 to 180 mm.
func plainLog(header string, value func(i int) string) string {
	var b strings.Builder
	b.WriteString(header + "\n")
	at := time.Date(2031, 3, 1, 0, 0, 0, 0, time.UTC)
	for i := range 2880 {
		fmt.Fprintf(&b, "%s,%s\n", at.Add(time.Duration(i)*time.Minute).Format("2006-01-02 15:04:05"), value(i))
	}
	return b.String()
}

func distances(i int) string { return fmt.Sprintf("%.3f", 1.1+0.03*math.Sin(float64(i)/229)) }

func litres(i int) string { return fmt.Sprintf("%.2f", 10+3*math.Sin(float64(i)/229)) }

// all is the whole of what a refused site prints; where the site is done, it is one whole line of what is printed.
type slip struct {
	name  string
	edits []string // pairs: what is written in its place, and what stands in plainSite
	add   string   // at the end of the site file
	log   string   // "" for the plain one
	args  string   // "" for correct --quiet site.toml
	all   string
}

const parshallSizes = "1 in, 2 in, 3 in, 6 in, 9 in, 1 ft, 1.5 ft, 2 ft, 2.5 ft, 3 ft, 4 ft, 5 ft, 6 ft, 7 ft, 8 ft, " +
	"10 ft, 12 ft, 15 ft, 20 ft, 25 ft, 30 ft, 40 ft, 50 ft, 0.25 m, 0.30 m, 0.45 m, 0.60 m, 0.75 m, 0.90 m, 1.00 m, " +
	"1.20 m, 1.50 m, 1.80 m, 2.10 m, 2.40 m"

const zoneWays = `the IANA name of the clock's place, "Region/City", if it follows local time with summer time, or ` +
	`that place's offset from UTC, "+HH:MM", if it stays the same all year`

// device is the edit that puts another device in the place of the notch.
func deviceEdit(table string) []string {
	return []string{"kind = \"v-notch\"\nangle = \"90 deg\"\n", table}
}

const (
	oneReading    = "Time,Distance (m)\n2031-03-01 00:00:00,1.150\n"
	threeReadings = oneReading + "2031-03-01 00:05:00,0.750\n2031-03-01 00:10:00,1.150\n"
)

// zeros is what limits of zero at some places are told.
func zeros(places ...string) string {
	var lines []string
	for _, p := range places {
		place, key, _ := strings.Cut(p, " ")
		lines = append(lines, "site.toml:"+place+": screening."+key+
			` "0 mm" is not above 0; leave it out for the default`)
	}
	return strings.Join(lines, "\n")
}

// slips are mistakes that people in a hurry make, and what they are told.
var slips = []slip{
	// One name a flag.
	{name: "former names of flags", add: "[screening]\nlow_head = \"keep\"\ntoo_near = \"hold\"\nrate = \"keep\"\n" +
		"clipped = \"keep\"\nzeros = \"keep\"\nloop = \"keep\"\n",
		all: `site.toml:15:12: screening.low_head is not a key of the site file; did you mean "validity"?
site.toml:16:12: screening.too_near is not a key of the site file; did you mean "blanking"?
site.toml:17:8: screening.rate is not a key of the site file; did you mean "rate_of_change"?
site.toml:18:11: screening.clipped is not a key of the site file; did you mean "flat_peak"?
site.toml:19:9: screening.zeros is not a key of the site file; did you mean "abrupt_zeros"?
site.toml:20:8: screening.loop is not a key of the site file; did you mean "loop_current"?`},
	{name: "a default of screening", add: "[screening]\ndefault = \"bridge\"\n", args: "check site.toml",
		all: `site.toml:15:11: screening.default "bridge" is not usable; expected "keep", or no default at all; ` +
			`write an action to each check, as in spike = "bridge"`},
	{name: "a default of screening as a table", add: "[screening]\ndefault = { action = \"keep\" }\n",
		args: "check site.toml",
		all: `site.toml:15:11: screening.default is not usable; expected "keep", or no default at all; ` +
			`write default = "keep"`},
	{name: "a default of screening that is true", add: "[screening]\ndefault = true\n", args: "check site.toml",
		all: `site.toml:15:11: screening.default is not usable; expected "keep", or no default at all; ` +
			`write default = "keep"`},
	{name: "limits of zero", add: "[screening]\nsecond_sensor = { limit = \"0 mm\" }\nstep.limit = \"0 mm\"\n" +
		"noise.limit = \"0 mm\"\nrate_of_change = { up = \"0 mm\", down = \"0 mm\" }\n" +
		"attenuated = { range = \"0 mm\" }\nspike = { threshold = 3, floor = \"0 mm\" }\n", args: "check site.toml",
		all: zeros("15:27 second_sensor.limit", "16:14 step.limit", "17:15 noise.limit", "18:25 rate_of_change.up",
			"18:40 rate_of_change.down", "19:24 attenuated.range", "20:34 spike.floor")},
	{name: "zero as a tolerance", add: "[screening]\nstuck.tolerance = \"0 mm\"\nbelow_zero.tolerance = \"0 mm\"\n",
		args: "check site.toml", all: "  below_zero     zero       head < 0; 0 readings"},
	{name: "limits of spikes without a threshold",
		add:  "[screening]\nspike = { floor = \"5 mm\", window = \"1 h\" }\n",
		args: "check site.toml",
		all: `site.toml:15:19: screening.spike.floor goes with a threshold; without one the record tells what is a ` +
			`spike; expected a threshold beside it, usually 3; add threshold = 3, or leave floor out
site.toml:15:36: screening.spike.window goes with a threshold; without one the record tells what is a ` +
			`spike; expected a threshold beside it, usually 3; add threshold = 3, or leave window out`},
	{name: "a threshold that nothing reaches", add: "[screening]\nspike = { threshold = 1e300 }\n",
		args: "check site.toml",
		all: `site.toml:15:23: screening.spike.threshold 1e+300 is not usable; expected above 0 and up to 1000, ` +
			`usually 3`},
	{name: "stuck for less than the log's interval", add: "[screening]\nstuck.duration = \"1 s\"\n",
		all: `site.toml:15:18: screening.stuck.duration "1 s" is shorter than three intervals of the log (1 min), ` +
			`in which sound readings may well be equal; expected 3 min or longer; usually an hour or more`},
	{name: "former name of a flag in a ruling", add: "[[ruling]]\nfrom = 2031-03-01T00:00:00\n" +
		"until = 2031-03-01T01:00:00\nchecks = [\"clipped\"]\naction = \"keep\"\nreason = \"x\"\nby = \"y\"\n",
		all: `site.toml:17:10: the first ruling (line 14): checks "clipped" is not a check; expected names of ` +
			`checks, ` +
			`as retotal check lists them; did you mean "flat_peak"?`},

	// Units and sizes.
	{name: "a throat without a unit", edits: deviceEdit("kind = \"parshall\"\nthroat = \"9\"\n"),
		all: `site.toml:13:10: settings.device: throat "9" has no unit; expected one of ` + parshallSizes +
			`; write it as "9 in" or "9 mm", whichever it is`},
	{name: "a throat as a number", edits: deviceEdit("kind = \"parshall\"\nthroat = 9\n"),
		all: `site.toml:13:10: settings.device: throat "9" has no unit; expected one of ` + parshallSizes +
			`; write it as "9 in" or "9 mm", whichever it is`},
	{name: "no throat", edits: deviceEdit("kind = \"parshall\"\n"),
		all: `site.toml:12:8: settings.device: the device has no throat; expected one of ` + parshallSizes +
			`; add throat with the size of yours`},
	{name: "no throat of a Montana flume", edits: deviceEdit("kind = \"montana\"\n"),
		all: `site.toml:12:8: settings.device: the device has no throat; expected one of ` + parshallSizes +
			`; add throat with the size of yours`},
	{name: "no depth of an H flume", edits: deviceEdit("kind = \"h-flume\"\ntype = \"HL\"\n"),
		all: `site.toml:12:8: settings.device: the device has no depth; expected one of 3.5 ft, 4 ft; ` +
			`add depth with the size of yours`},
	{name: "no throat of a cutthroat flume", edits: deviceEdit("kind = \"cutthroat\"\nlength = \"36 in\"\n"),
		all: `site.toml:12:8: settings.device: the device has no throat; expected at a length of 18 in one of 1 in, ` +
			`2 in, 4 in, 8 in; of 36 in one of 2 in, 4 in, 8 in, 16 in; of 54 in one of 3 in, 6 in, 12 in, 24 in; ` +
			`of 108 in one of 12 in, 24 in, 48 in, 72 in; add throat with the size of yours`},
	{name: "a unit that is none", edits: []string{`"1.250 m"`, `"49.2 inchs"`},
		all: `site.toml:10:18: settings.empty_distance "49.2 inchs": "inchs" is not a known unit; ` +
			`expected one of cm, ft, in, m, mm`},
	{name: "inches are inches", edits: []string{`"1.250 m"`, `"49.2 inches"`}, args: "check site.toml",
		all: "  beginning to end, empty distance 49.2 inches"},
	{name: "a comma", edits: []string{`"1.250 m"`, `"1,518 m"`},
		all: `site.toml:10:18: settings.empty_distance "1,518 m" is written with a comma; write "1.518 m" or "1518 ` +
			`m", ` +
			`whichever it is`},
	{name: "a comma before two digits", edits: []string{`"1.250 m"`, `"1,25 m"`},
		all: `site.toml:10:18: settings.empty_distance "1,25 m" is written with a comma; write "1.25 m"`},
	{name: "a comma and a point", edits: []string{`"1.250 m"`, `"1,250.5 mm"`},
		all: `site.toml:10:18: settings.empty_distance "1,250.5 mm" is written with a comma; write "1250.5 mm"`},
	{name: "a point and a comma", edits: []string{`"1.250 m"`, `"1.250,5 mm"`},
		all: `site.toml:10:18: settings.empty_distance "1.250,5 mm" is written with a comma; write "1250.5 mm"`},
	{name: "millimetres without a unit", edits: []string{`"1.250 m"`, `"1250"`},
		all: `site.toml:10:18: settings.empty_distance "1250" has no unit; write it as "1250 mm"`},

	{name: "an uncertainty without a unit", add: "[uncertainty]\ndatum = \"3\"\n",
		all: `site.toml:15:9: uncertainty.datum "3" has no unit; write it as "3 mm"`},

	// Quotes and paths.
	{name: "curly quotes", edits: []string{`"1.250 m"`, "“1.250 m”"},
		all: `site.toml:10:18: the text stands in curly quotes, which word processors make; expected straight ` +
			`quotes; ` +
			`write empty_distance = "1.250 m"`},
	{name: "no quotes", edits: []string{`"1.250 m"`, "1.250 m"},
		all: `site.toml:10:24: 1.250 m stands in no quotes; expected text and values with a unit in quotes; ` +
			`write empty_distance = "1.250 m"`},
	{name: "no quotes, beside a comment", edits: []string{`"1.250 m"`, "1.250 m # the meter’s own"},
		all: `site.toml:10:24: 1.250 m stands in no quotes; expected text and values with a unit in quotes; ` +
			`write empty_distance = "1.250 m"`},
	{name: "one quote", edits: []string{`"1.250 m"`, `"1.250 m`},
		all: `site.toml:10:26: a text has no quote at its end; expected a text in quotes, as in "1.250 m"`},
	{name: "a key twice", edits: []string{"[settings]\n", "[settings]\nempty_distance = \"1 m\"\n"},
		all: `site.toml:11:1: the site file cannot be read here: key empty_distance is already defined; ` +
			`expected every key and table once; take one of them out, or put both together`},
	{name: "another encoding", edits: []string{`id = "a"`, "id = \"a\"\nname = \"M\xfcnster\""},
		all: `site.toml:2:10: the file is not written in UTF-8; expected text in UTF-8; save it as UTF-8`},
	{name: "a date in words", add: "[[correction]]\nreason = \"x\"\nfrom = 1 March 2031\nempty_distance = \"1.2 m\"\n",
		all: `site.toml:16:10: 1 March 2031 is not a date and time; expected a time such as 2031-04-02T10:30:00, ` +
			`without quotes`},
	{name: "a date in quotes", add: "[[correction]]\nreason = \"x\"\nfrom = \"2031-03-01T00:00:00\"\n" +
		"empty_distance = \"1.2 m\"\n",
		all: `site.toml:16:8: the first correction (line 14): from = "2031-03-01T00:00:00" is not a date and time; ` +
			`expected a time such as 2031-04-02T10:30:00, without quotes`},
	{name: "a date that is none", add: "[[correction]]\nreason = \"x\"\nfrom = 2031-13-01T00:00:00\n" +
		"empty_distance = \"1.2 m\"\n",
		all: `site.toml:16:13: there is no such date or time; expected a time such as 2031-04-02T10:30:00`},
	{name: "a path with backslashes", edits: []string{`["log.csv"]`, `["C:\logs\new.csv"]`},
		all: `site.toml:3:13: a backslash in double quotes begins a special character; ` +
			`expected a path with / or in single quotes; write files = ['C:\logs\new.csv']`},
	{name: "a path with an escape", edits: []string{`["log.csv"]`, `["C:\new.csv"]`},
		all: `site.toml:3:9: log.files "C:\new.csv" holds a control character: a backslash in double quotes begins ` +
			`one; ` +
			`expected a path with / or in single quotes; write 'C:\new.csv'`},

	// Time zones.
	{name: "no time zone", edits: []string{"time_zone = \"+00:00\"\n", ""},
		all: `site.toml:2:2: log.time_zone is missing; expected what the logger's clock keeps: ` + zoneWays +
			`; add time_zone = "Region/City", or time_zone = "+HH:MM", with those of the log's place`},
	{name: "a zone left blank", edits: []string{`"+00:00"`, `""`},
		all: `site.toml:4:13: log.time_zone is missing; expected what the logger's clock keeps: ` + zoneWays +
			`; add time_zone = "Region/City", or time_zone = "+HH:MM", with those of the log's place`},
	{name: "a zone misspelt", edits: []string{`"+00:00"`, `"Europe/Dubln"`},
		all: `site.toml:4:13: log.time_zone "Europe/Dubln" is not a time zone; expected ` + zoneWays +
			`; did you mean "Europe/Dublin"?`},
	{name: "a city", edits: []string{`"+00:00"`, `"New York"`},
		all: `site.toml:4:13: log.time_zone "New York" is not a time zone; expected ` + zoneWays +
			`; did you mean "America/New_York"?`},
	{name: "an offset of another form", edits: []string{`"+00:00"`, `"GMT+1"`},
		all: `site.toml:4:13: log.time_zone "GMT+1" is not a time zone; expected ` + zoneWays +
			`; did you mean "+01:00"?`},
	{name: "an abbreviation", edits: []string{`"+00:00"`, `"BST"`},
		all: `site.toml:4:13: log.time_zone "BST" is not a time zone; expected ` + zoneWays},

	// What is said of a log.
	{name: "a log that is not there", edits: []string{`"log.csv"`, `"logs.csv"`},
		all: `site.toml:3:9: log.files "logs.csv": there is no such file; expected a log beside the site file; paths ` +
			`are relative to the site file`},
	{name: "logs that are not there", edits: []string{`"log.csv"`, `"2030-*.csv"`},
		all: `site.toml:3:9: log.files "2030-*.csv": no file has such a name; expected a log beside the site file; ` +
			`paths are relative to the site file`},
	{name: "a log of flows with holes", edits: []string{`distance = "Distance"`, `flow = "Flow"`},
		log: plainLog("Time,Flow (L/s)", func(i int) string {
			if i == 7 {
				return ""
			}
			return litres(i)
		}), args: "correct site.toml",
		all: "  log.csv:9: flow reading is missing: 2031-03-01 00:07:00,"},
	{name: "a log of flows with nothing else", edits: []string{`distance = "Distance"`, `flow = "Flow"`},
		log: plainLog("Time,Flow (L/s)", func(int) string { return "" }),
		all: `log.csv:2: no row of the log can be used: 2880 read, 2880 rejected, the first because its flow reading ` +
			`is ` +
			`missing: "2031-03-01 00:00:00,"; expected at least one reading; check log.columns and the units`},
	{name: "one mistake in two files", edits: []string{`["log.csv"]`, `["*.csv"]`, `"Distance"`, `"Distanz"`},
		all: `site.toml:7:12: log.csv has no column named "Distanz"; expected a column of its header; ` +
			`did you mean "Distance"?; the same in log2.csv`},
	{name: "one mistake in a device that a lane takes over", add: "[[correction]]\nreason = \"x\"\n" +
		"[correction.device]\nangle = \"150 deg\"\n[[what_if]]\nname = \"b\"\nempty_distance = \"1.23 m\"\n" +
		"[what_if.device]\ncrest_height = \"0.9 m\"\n",
		all: `site.toml:17:9: the first correction (line 14): device: angle "150 deg" is outside its range; expected ` +
			`an ` +
			`angle from 20 deg to 100 deg (ISO 1438:2017 clause 10.5), to 120 deg by Cone's general equation`},
	{name: "umlauts of Latin-1 above the header", args: "check site.toml",
		log: "Ger\xe4t 12 Abfluss M\xfcnster\n" + plainLog("Time,Distance (m)", distances),
		all: `    preamble      "Gerät 12 Abfluss Münster"`},
	{name: "umlauts of UTF-8 above the header", args: "check site.toml",
		log: "Gerät 12 Abfluss Münster\n" + plainLog("Time,Distance (m)", distances),
		all: `    preamble      "Gerät 12 Abfluss Münster"`},

	// Logs that hardly hold anything. Three readings of 0.1, 0.5 and 0.1 m, and one.
	{name: "three readings: the total", log: threeReadings, args: "correct site.toml",
		all: `  Total after   74.034 m3   corrected and screened, between 0.000 and 156.479 m3`},
	{name: "three readings: how sure", log: threeReadings, args: "correct site.toml",
		all: `  the total is known to lie between 0.000 and 156.479 m3 only`},
	{name: "three readings: the difference", log: threeReadings, args: "correct site.toml",
		all: `  The difference of +0.000 m3 is known to +/- 0.000 m3: what before and after share drops out of it.`},
	{name: "one reading: the total", log: oneReading, args: "correct site.toml",
		all: `  Total before  missing   as the meter had it`},
	{name: "one reading: the time", log: oneReading, args: "correct site.toml",
		all: `  All readings are of one instant: there is no time between readings to have a total of.`},
	{name: "a trickle: how sure", args: "correct site.toml",
		log: plainLog("Time,Distance (m)", func(i int) string { return fmt.Sprintf("%.3f", 1.248+0.001*float64(i%2)) }),
		all: `  the total is known to +/- 312 % only`},

	// Numbers in plain digits.
	{name: "a limit of metres", add: "[screening]\nlargest_correction = \"2.7 m\"\n", args: "check site.toml",
		all: "  unusable       leave-out  marked, or corrected by more than 2700 mm; 0 readings"},
	{name: "a size a thousand times", add: "[[correction]]\nreason = \"x\"\nempty_distance = \"15250 m\"\n",
		all: `site.toml:16:18: the first correction (line 14): empty_distance "15250 m" is 12200 times the recorded ` +
			`"1.250 m"; expected a third to 3 times what the meter was set to; check the unit, or write ` +
			`sure = true in the correction if it is so`},

	// Entries of lists.
	{name: "two corrections at a time", add: "[[correction]]\nreason = \"x\"\nempty_distance = \"1.22 m\"\n" +
		"[[correction]]\nreason = \"y\"\nempty_distance = \"1.23 m\"\n",
		all: `site.toml:17:3: the second correction (line 17) changes empty_distance at times that the first ` +
			`correction ` +
			`(line 14) changes it too; expected one correction of a setting at a time; let one end where the other ` +
			`begins, or make them one`},
	{name: "a visit without a reading", add: "[[visit]]\nat = 2031-03-01T10:00:00\n",
		all: `site.toml:14:3: the first visit (line 14) has 0 readings; expected one of distance, level, head and ` +
			`flow; ` +
			`add head = "0.153 m"`},
	{name: "a change without a time", add: "[[settings.change]]\nempty_distance = \"1.2 m\"\n",
		all: `site.toml:14:3: the first settings.change (line 14): at is missing; add at = 2031-04-02T10:30:00`},
	{name: "a correction that is not there", args: "correct --without 2 site.toml",
		add: "[[correction]]\nreason = \"x\"\nempty_distance = \"1.22 m\"\n",
		all: "site.toml: there is no correction number 2 to leave out; expected a number from 1 to 1"},
	{name: "a ruling that is empty", add: "[[ruling]]\nfrom = 2031-03-01T00:00:00\nuntil = 2031-03-01T00:00:00\n" +
		"action = \"keep\"\nreason = \"x\"\nby = \"y\"\n",
		all: `site.toml:16:9: the first ruling (line 14): until 2031-03-01T00:00:00 is not after from, ` +
			`2031-03-01T00:00:00; expected a time after it; a reading at until is no longer in the span`},
	{name: "a correction that is empty", add: "[[correction]]\nfrom = 2031-03-01T00:00:00\n" +
		"until = 2031-03-01T00:00:00\nreason = \"x\"\nempty_distance = \"1.2 m\"\n",
		all: `site.toml:16:9: the first correction (line 14): until 2031-03-01T00:00:00 is not after from, ` +
			`2031-03-01T00:00:00; expected a time after it; a reading at until is no longer in the span`},

	// A part of a long life.
	{name: "a correction outside the log", add: "[[correction]]\nfrom = 2030-03-01T00:00:00\n" +
		"until = 2030-03-02T00:00:00\nreason = \"x\"\nempty_distance = \"1.2 m\"\n",
		all: `site.toml:14:3: the first correction (line 14) lies outside the log; expected times between the first ` +
			`reading, 2031-03-01 00:00:00, and the last, 2031-03-02 23:59:00 (+00:00); check from and until, and the ` +
			`year`},
	{name: "a correction outside what is reported", add: "[[correction]]\nfrom = 2030-03-01T00:00:00\n" +
		"until = 2030-03-02T00:00:00\nreason = \"x\"\nempty_distance = \"1.2 m\"\n" +
		"[report]\nfrom = 2031-03-01T00:00:00\nuntil = 2031-03-03T00:00:00\n",
		all: ""},
	{name: "changes, visits and figures outside what is reported", add: "[[settings.change]]\n" +
		"at = 2032-03-01T00:00:00\nempty_distance = \"1.2 m\"\n[[visit]]\nat = 2032-03-01T00:00:00\nhead = \"0.1 " +
		"m\"\n" +
		"[report]\nfrom = 2031-03-02T00:00:00\nuntil = 2031-03-03T00:00:00\n[reported]\n\"2031-04\" = \"1 m3\"\n",
		args: "correct --quiet --strict site.toml", all: ""},
}

// TestMessages: every slip is told in the words of its row, whole, once, and with exit status 2 where the site is
// refused. A row whose text is empty is no slip, and nothing is said of it.
func TestMessages(t *testing.T) {
	for _, s := range slips {
		t.Run(s.name, func(t *testing.T) {
			dir := t.TempDir()
			text := plainSite
			for pair := range slices.Chunk(s.edits, 2) {
				if !strings.Contains(text, pair[0]) {
					t.Fatalf("%q does not stand in the site file", pair[0])
				}
				text = strings.Replace(text, pair[0], pair[1], 1)
			}
			log := s.log
			if log == "" {
				log = plainLog("Time,Distance (m)", distances)
			}
			for name, content := range map[string]string{
				"site.toml": text + s.add, "log.csv": log, "log2.csv": strings.ReplaceAll(log, "2031-", "2032-"),
			} {
				if err := os.WriteFile(filepath.Join(dir, name), []byte(content), 0o644); err != nil {
					t.Fatal(err)
				}
			}
			t.Chdir(dir)
			args := "correct --quiet site.toml"
			if s.args != "" {
				args = s.args
			}
			var out, errs bytes.Buffer
			code := run(t.Context(), strings.Fields(args), &out, &errs)
			said, lines := strings.TrimSuffix(errs.String(), "\n"), strings.Split(out.String(), "\n")
			switch {
			case code == badUse && said == s.all, code == success && said+out.String() == s.all:
			case code == success && said == "" && s.all != "" && slices.Contains(lines, s.all):
			default:
				t.Errorf("exit status %d\n%s\n%s\nwant\n%s", code, said, out.String(), s.all)
			}
		})
	}
}

// TestInitialEndsSentence: a name that ends with an initial takes no second stop.
func TestInitialEndsSentence(t *testing.T) {
	dir := t.TempDir()
	add := "[record]\nstatus = \"signed\"\nauthor = \"K. O.\"\nreviewer = \"A. Lund\"\nbasis = \"survey\"\n"
	for name, content := range map[string]string{
		"site.toml": plainSite + add, "log.csv": plainLog("Time,Distance (m)", distances),
	} {
		if err := os.WriteFile(filepath.Join(dir, name), []byte(content), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	t.Chdir(dir)
	var out bytes.Buffer
	if code := run(t.Context(), []string{"correct", "--quiet", "site.toml"}, &out, &out); code != success {
		t.Fatal(out.String())
	}
	page, err := os.ReadFile(filepath.Join("out", "a", "report.html"))
	if err != nil {
		t.Fatal(err)
	}
	if want := "author K. O., reviewer A. Lund.</p>"; !strings.Contains(string(page), want) {
		t.Errorf("the page does not say %s", want)
	}
}
