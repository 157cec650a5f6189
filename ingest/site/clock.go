package site

import (
	"fmt"
	"regexp"
	"strconv"
	"time"
)

// Clock is a time zone: a fixed offset or an IANA zone.
type Clock struct {
	Name     string
	Location *time.Location
	Fixed    bool  // one offset at all times
	Offset   int64 // of a fixed clock, nanoseconds east of UTC
}

var fixedOffset = regexp.MustCompile(`^([+-])(\d\d):(\d\d)$`)

// ParseClock reads "+05:30", "UTC" or an IANA name such as "Europe/Dublin".
func ParseClock(name string) (Clock, error) {
	if m := fixedOffset.FindStringSubmatch(name); m != nil {
		hours, _ := strconv.Atoi(m[2])
		minutes, _ := strconv.Atoi(m[3])
		if hours > 15 || minutes > 59 {
			return Clock{}, fmt.Errorf("%q is not an offset from UTC", name)
		}
		seconds := hours*3600 + minutes*60
		if m[1] == "-" {
			seconds = -seconds
		}
		return Clock{name, time.FixedZone(name, seconds), true, int64(seconds) * int64(time.Second)}, nil
	}
	if name == "" || name == "Local" { // both would take the zone of this machine
		return Clock{}, fmt.Errorf("%q is not a time zone", name)
	}
	l, err := time.LoadLocation(name)
	if err != nil {
		return Clock{}, fmt.Errorf("%q is not a time zone", name)
	}
	return Clock{Name: name, Location: l, Fixed: l == time.UTC}, nil
}

// OffsetAt returns the zone's offset from UTC at an instant, in nanoseconds.
func (c Clock) OffsetAt(utc int64) int64 {
	_, seconds := time.Unix(0, utc).In(c.Location).Zone()
	return int64(seconds) * int64(time.Second)
}

// Resolve turns a local clock reading, in nanoseconds as if it were UTC, into the instants it can mean, earliest
// first: one, none (a local time that the clock jumps over in spring) or two (one that it shows twice in autumn).
func (c Clock) Resolve(local int64) (instants [2]int64, n int) {
	before, after := c.OffsetAt(local-int64(24*time.Hour)), c.OffsetAt(local+int64(24*time.Hour))
	for i, o := range [2]int64{max(before, after), min(before, after)} {
		if i == 1 && before == after {
			break
		}
		if c.OffsetAt(local-o) == o {
			instants[n] = local - o
			n++
		}
	}
	return instants, n
}

// Steady returns a span of local clock readings around local in which the offset is constant and no reading is
// skipped or repeated, with that offset. It is empty near a clock change.
func (c Clock) Steady(local int64) (from, until, offset int64) {
	const margin = int64(25 * time.Hour)
	offset = c.OffsetAt(local)
	start, end := time.Unix(0, local-offset).In(c.Location).ZoneBounds()
	from, until = -1<<62, 1<<62
	if !start.IsZero() {
		from = start.UnixNano() + offset + margin
	}
	if !end.IsZero() {
		until = end.UnixNano() + offset - margin
	}
	if local < from || local >= until {
		return 0, 0, 0
	}
	return from, until, offset
}

// Format writes an instant as local time without a zone: 2031-04-02 10:30:00.
func (c Clock) Format(utc int64) string {
	return time.Unix(0, utc).In(c.Location).Format("2006-01-02 15:04:05")
}
