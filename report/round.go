package report

import (
	"strconv"
	"strings"
)

// significant writes a value to so many significant figures. Ties are rounded to the even digit or, with halfUp, away
// from zero; a tie is one of the decimals that stand for the value (the shortest that do), so that 2.675 to three
// figures is a tie as it is on paper.
func significant(v float64, figures int, halfUp bool) string {
	sign := ""
	text := strconv.FormatFloat(v, 'e', -1, 64)
	if text[0] == '-' {
		sign, text = "-", text[1:]
	}
	mantissa, power, _ := strings.Cut(text, "e")
	exponent, _ := strconv.Atoi(power)
	digits := []byte(strings.Replace(mantissa, ".", "", 1))
	if len(digits) > figures {
		rest := digits[figures:]
		digits = digits[:figures]
		if roundsUp(digits, rest, halfUp) {
			i := figures - 1
			for ; i >= 0 && digits[i] == '9'; i-- {
				digits[i] = '0'
			}
			if i >= 0 {
				digits[i]++
			} else {
				digits, exponent = append([]byte{'1'}, digits[:figures-1]...), exponent+1
			}
		}
	}
	for len(digits) < figures {
		digits = append(digits, '0')
	}
	return sign + placed(string(digits), exponent)
}

// roundsUp decides on the digits that are cut off.
func roundsUp(kept, rest []byte, halfUp bool) bool {
	tie := rest[0] == '5' && strings.Trim(string(rest[1:]), "0") == ""
	if tie && !halfUp {
		return (kept[len(kept)-1]-'0')%2 == 1
	}
	return rest[0] >= '5'
}

// placed puts the decimal point where an exponent says.
func placed(digits string, exponent int) string {
	switch {
	case exponent < 0:
		return "0." + strings.Repeat("0", -exponent-1) + digits
	case exponent+1 >= len(digits):
		return digits + strings.Repeat("0", exponent+1-len(digits))
	}
	return digits[:exponent+1] + "." + digits[exponent+1:]
}
