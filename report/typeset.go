package report

import (
	"regexp"
	"strings"
)

// Signs and units as they are written in plain text.
var (
	minusSign = regexp.MustCompile(`(^|[\s(,;:])-(\d)`)
	cubic     = regexp.MustCompile(`\b(m|ft|yd|in)3\b`)
	square    = regexp.MustCompile(`\b(m|ft)2\b`)
	angle     = regexp.MustCompile(`(\d) deg\b`)
	celsius   = regexp.MustCompile(`(\d) deg([CF])\b`)
	perCent   = regexp.MustCompile(`(\d) %`)
)

// Typeset sets the signs and units of a plain text for print: m³, ±, −, °, and no break before a per-cent sign. Dates
// stay as they are.
func Typeset(text string) string {
	text = strings.NewReplacer("+/- ", "± ", "+/-", "±", "<=", "≤", ">=", "≥").Replace(text)
	text = minusSign.ReplaceAllString(text, "${1}−${2}")
	text = cubic.ReplaceAllString(text, "${1}³")
	text = square.ReplaceAllString(text, "${1}²")
	text = celsius.ReplaceAllString(text, "${1} °${2}")
	text = angle.ReplaceAllString(text, "${1}°")
	return perCent.ReplaceAllString(text, "${1}\u00a0%")
}
