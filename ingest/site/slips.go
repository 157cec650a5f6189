package site

import (
	"cmp"
	_ "embed"
	"fmt"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"unicode"

	"retotal/ingest/problem"
)

// curly are the quotes that word processors make, with straight ones in their place.
var curly = strings.NewReplacer("“", `"`, "”", `"`, "„", `"`, "‟", `"`, "«", `"`, "»", `"`, "‘", `'`, "’", `'`)

var (
	// unquoted is a key with a value that stands in no quotes; what begins like a date is none.
	unquoted = regexp.MustCompile(`^(\s*[\w.-]+\s*=\s*)([^\s"'\[{#][^"'#]*?)\s*(#.*)?$`)
	dated    = regexp.MustCompile(`^\d{4}-`)
	// escaped is a text in double quotes with a backslash in it.
	escaped = regexp.MustCompile(`"([^"']*\\[^"']*)"`)
)

// timeKeys are those of dates and times, which stand in no quotes.
var timeKeys = []string{"at", "from", "until", "last_good_check"}

// worded are what the reader of TOML says, with what is expected in its place and what to do.
var worded = []struct{ says, found, expected, remedy string }{
	{"already", "", "every key and table once", "take one of them out, or put both together"},
	{"impossible date", "there is no such date or time", "a time such as 2031-04-02T10:30:00", ""},
	{"invalid UTF-8", "the file is not written in UTF-8", "text in UTF-8", "save it as UTF-8"},
	{"cannot have new lines", "a text has no quote at its end", "a text in quotes, as in \"1.250 m\"", ""},
	{"", "", "TOML", "strings stand in quotes, as in empty_distance = \"1.250 m\""},
}

// notTOML words why a text is no TOML: by the usual slips of the line, else as the reader of TOML puts it.
func notTOML(place problem.Place, text []byte, err error) *problem.Problem {
	line := ""
	if lines := strings.Split(string(text), "\n"); place.Line > 0 && place.Line <= len(lines) {
		line = strings.TrimSpace(lines[place.Line-1])
	}
	code, _, _ := strings.Cut(line, " #") // without a comment at its end
	switch straight := curly.Replace(code); {
	case straight != code:
		return problem.At(place, "the text stands in curly quotes, which word processors make",
			"straight quotes", "write "+straight)
	case strings.Contains(err.Error(), "escape") && escaped.MatchString(code):
		return problem.At(place, "a backslash in double quotes begins a special character",
			"a path with / or in single quotes", "write "+escaped.ReplaceAllString(code, "'$1'"))
	}
	if m := unquoted.FindStringSubmatch(line); m != nil && !dated.MatchString(m[2]) {
		key, _, _ := strings.Cut(m[1], "=")
		if slices.Contains(timeKeys, strings.TrimSpace(key)) {
			return problem.At(place, m[2]+" is not a date and time",
				"a time such as 2031-04-02T10:30:00, without quotes", "")
		}
		return problem.At(place, m[2]+" stands in no quotes", "text and values with a unit in quotes",
			fmt.Sprintf("write %s\"%s\"", m[1], m[2]))
	}
	says := strings.TrimPrefix(err.Error(), "toml: ")
	for _, w := range worded {
		if strings.Contains(says, w.says) {
			return problem.At(place, cmp.Or(w.found, "the site file cannot be read here: "+says), w.expected, w.remedy)
		}
	}
	return nil // not reached: the last of them is in every text
}

// refuseEscapes refuses a path with a control character: "C:\new.csv" in double quotes holds the end of a line.
func (t *table) refuseEscapes(key, path string) {
	if strings.ContainsFunc(path, unicode.IsControl) {
		t.refuse(key, fmt.Sprintf("%q holds a control character: a backslash in double quotes begins one", path),
			"a path with / or in single quotes", fmt.Sprintf("write '%s'", strings.Trim(strconv.Quote(path), `"`)))
	}
}

// twoWays are the two kinds of time zone. Which one a log needs is told by what its clock does in spring.
const twoWays = `the IANA name of the clock's place, "Region/City", if it follows local time with summer time, or ` +
	`that place's offset from UTC, "+HH:MM", if it stays the same all year`

// zones are the names of the IANA time zone database (public domain), as the standard library has them.
//
//go:embed zones.txt
var zones string

var offsetAlone = regexp.MustCompile(`^(?:UTC|GMT|utc|gmt)?\s*([+-])\s*(\d{1,2})(?::?(\d\d))?$`)

// nearZone offers the time zone that a text was likely meant for; "" for none. Abbreviations, which several zones
// share, are left alone.
func nearZone(name string) string {
	if m := offsetAlone.FindStringSubmatch(name); m != nil {
		hours, _ := strconv.Atoi(m[2]) // two digits at most
		if m[3] == "" {
			m[3] = "00"
		}
		return fmt.Sprintf("did you mean \"%s%02d:%s\"?", m[1], hours, m[3])
	}
	known, text := strings.Fields(zones), strings.ReplaceAll(strings.TrimSpace(name), " ", "_")
	same := func(of func(string) string) string {
		if i := slices.IndexFunc(known, func(z string) bool { return strings.EqualFold(of(z), text) }); i >= 0 {
			return known[i]
		}
		return ""
	}
	near := same(func(z string) string { return z })
	if near == "" {
		near = same(city)
	}
	if near == "" && len(text) > 6 {
		candidates := known
		if !strings.Contains(text, "/") {
			candidates = nil
			for _, z := range known {
				candidates = append(candidates, city(z))
			}
		}
		if i := slices.Index(candidates, problem.Nearest(text, candidates)); i >= 0 {
			near = known[i]
		}
	}
	if near == "" {
		return ""
	}
	return fmt.Sprintf("did you mean %q?", near)
}

// city is the last part of the name of a zone.
func city(zone string) string { return zone[strings.LastIndexByte(zone, '/')+1:] }
