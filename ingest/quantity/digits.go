package quantity

import (
	"math"
	"strconv"
	"strings"
)

// Digits writes a number to so many significant digits, for people: never with an exponent, with all digits before the
// point, and without zeros at the end. 0.1234 to two is 0.12, 271.8 is 272.
func Digits(v float64, significant int) string {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return strconv.FormatFloat(v, 'f', -1, 64)
	}
	rounded := strconv.FormatFloat(v, 'e', significant-1, 64)
	exponent, _ := strconv.Atoi(rounded[strings.IndexByte(rounded, 'e')+1:]) // it is there
	text := strconv.FormatFloat(v, 'f', max(significant-1-exponent, 0), 64)
	if strings.Contains(text, ".") {
		text = strings.TrimRight(strings.TrimRight(text, "0"), ".")
	}
	if text == "-0" {
		return "0"
	}
	return text
}

// Signed is Digits with a sign in front of what is not negative.
func Signed(v float64, significant int) string {
	text := Digits(v, significant)
	if text[0] != '-' {
		text = "+" + text
	}
	return text
}
