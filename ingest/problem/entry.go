package problem

import "fmt"

var ordinals = [...]string{
	"first", "second", "third", "fourth", "fifth", "sixth", "seventh", "eighth", "ninth", "tenth",
}

// Ordinal names a place in a list, counted from 0: "first", "second", "11th".
func Ordinal(i int) string {
	if i < len(ordinals) {
		return ordinals[i]
	}
	n, end := i+1, "th"
	if n/10%10 != 1 && n%10 >= 1 && n%10 <= 3 {
		end = [...]string{"st", "nd", "rd"}[n%10-1]
	}
	return fmt.Sprint(n, end)
}

// Entry names an entry of a list of the site file as people do, i counted from 0: "the first correction (line 31)". The
// line is left out where it is 0.
func Entry(list string, i, line int) string {
	text := fmt.Sprintf("the %s %s", Ordinal(i), list)
	if line > 0 {
		text += fmt.Sprintf(" (line %d)", line)
	}
	return text
}
