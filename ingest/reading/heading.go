package reading

import (
	"slices"
	"strings"

	"retotal/ingest/quantity"
)

// Heading is what the columns of a log file are called, and which of them holds the time.
type Heading struct {
	Names           []string // as they stand there; "" for columns without a name
	Units           []string // beside them or below; "" for none
	Time, TimeOfDay int      // numbers of columns; −1 for none
	Zoned           bool     // stamps carry an offset from UTC
	First           string   // the first stamp as written; "" when it is not text
}

// SplitUnit takes the unit off a header such as "Distance (m)", "Flow [L/s]" or "Level cm".
func SplitUnit(field string) (bare, unit string) {
	if n := len(field); n > 0 && (field[n-1] == ')' || field[n-1] == ']') {
		if open := opening(field); open > 0 {
			return strings.TrimSpace(field[:open]), strings.TrimSpace(field[open+1 : n-1])
		}
	}
	if blank := strings.LastIndexByte(field, ' '); blank > 0 {
		if _, err := quantity.LookUp(field[blank+1:]); err == nil {
			return strings.TrimSpace(field[:blank]), field[blank+1:]
		}
	}
	return field, ""
}

// opening returns where the bracket opens that the last character closes; −1 when it does not.
func opening(field string) int {
	depth := 0
	for i := len(field) - 1; i >= 0; i-- {
		switch field[i] {
		case ')', ']':
			depth++
		case '(', '[':
			if depth--; depth == 0 {
				return i
			}
		}
	}
	return -1
}

// timeWords are what columns of times are called, or part of it: English, German, French, Spanish, Italian, Dutch,
// Danish (common practice).
var timeWords = []string{
	"time", "date", "epoch", "zeit", "datum", "heure", "fecha", "hora", "data", "ora", "tijd", "dato",
}

// IsTimeWord reports whether a column is called as those of times are.
func IsTimeWord(name string) bool {
	name = strings.ToLower(name)
	return slices.ContainsFunc(timeWords, func(word string) bool { return strings.Contains(name, word) })
}
