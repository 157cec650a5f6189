package csvlog

import (
	"math"
	"strconv"
	"strings"
)

// powersOfTen are exact in float64 up to 10^22.
var powersOfTen = [...]float64{
	1, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8, 1e9, 1e10, 1e11, 1e12, 1e13, 1e14, 1e15, 1e16, 1e17, 1e18,
}

// maxMantissa is the largest integer below which every integer is a float64.
const maxMantissa = 1 << 53

// window is more bytes than any number is long that is read the fast way.
const window = 28

// fastNumber reads digits [decimal digits] at pos, up to the byte after it. The result is the float64 nearest to what
// is written: mantissa and power of ten are exact, so their one division rounds correctly. It fails for anything else:
// exponents, more digits, other characters. Up to three digits on either side of the decimal sign, which is how levels
// and flows are logged, are taken without a loop.
func fastNumber(text []byte, pos int, decimal byte) (v float64, next int, ok bool) {
	if len(text)-pos < window {
		return 0, pos, false
	}
	t := (*[window]byte)(text[pos:])
	c := t[0] - '0'
	if c > 9 {
		return signedNumber(text, pos, decimal)
	}
	mantissa, i := uint64(c), 1
	if c = t[1] - '0'; c <= 9 {
		mantissa, i = 10*mantissa+uint64(c), 2
		if c = t[2] - '0'; c <= 9 {
			mantissa, i = 10*mantissa+uint64(c), 3
			for ; i < 16; i++ {
				if c = t[i] - '0'; c > 9 {
					break
				}
				mantissa = 10*mantissa + uint64(c)
			}
		}
	}
	if t[i] != decimal {
		return float64(int64(mantissa)), pos + i, i < 16 // int64: one instruction, where uint64 takes several
	}
	f := (*[4]byte)(t[i+1:])
	if c = f[0] - '0'; c > 9 {
		return float64(int64(mantissa)), pos + i + 1, i < 16
	}
	mantissa = 10*mantissa + uint64(c)
	fraction := 1
	if c = f[1] - '0'; c <= 9 {
		mantissa, fraction = 10*mantissa+uint64(c), 2
		if c = f[2] - '0'; c <= 9 {
			mantissa, fraction = 10*mantissa+uint64(c), 3
			for ; fraction < 9; fraction++ {
				if c = t[i+1+fraction] - '0'; c > 9 {
					break
				}
				mantissa = 10*mantissa + uint64(c)
			}
		}
	}
	if mantissa > maxMantissa || i+fraction > 18 || fraction == 9 {
		return 0, pos, false
	}
	return float64(int64(mantissa)) / powersOfTen[fraction], pos + i + 1 + fraction, true
}

// signedNumber reads a number with a sign.
func signedNumber(text []byte, pos int, decimal byte) (v float64, next int, ok bool) {
	if sign := text[pos]; sign != '-' && sign != '+' || !isDigit(text[pos+1]) {
		return 0, pos, false
	}
	if v, next, ok = fastNumber(text, pos+1, decimal); text[pos] == '-' {
		v = -v
	}
	return v, next, ok
}

// slowNumber reads one whole field: the same grammar with an exponent, any number of digits, and marks between
// thousands where they cannot be mistaken (see ungroup). NaN, Inf, hexadecimal and other digit separators are not
// numbers here.
func slowNumber(field []byte, decimal byte) (float64, bool) {
	text := ungroup(string(field), decimal)
	seen := false
	for i := range len(text) {
		switch c := text[i]; {
		case isDigit(c):
			seen = true
		case c == decimal:
			if decimal == ',' {
				text = text[:i] + "." + text[i+1:]
			}
		case c == '-' || c == '+' || (c == 'e' || c == 'E') && seen:
		default:
			return 0, false
		}
	}
	v, err := strconv.ParseFloat(text, 64)
	if err != nil || math.IsInf(v, 0) || math.IsNaN(v) || !seen {
		return 0, false
	}
	return v, true
}

// ungroup takes out the marks between thousands: the comma or point that is not the decimal sign, a blank or an
// apostrophe, in groups of exactly three digits. One comma or point alone, with no decimal sign after it, could be a
// decimal sign itself, so such a number stays as it is, and is not read.
func ungroup(text string, decimal byte) string {
	unsigned := strings.TrimLeft(text, "+-")
	sign := text[:len(text)-len(unsigned)]
	at := strings.IndexAny(unsigned, ".,' ")
	if at < 1 || at > 3 || unsigned[at] == decimal {
		return text
	}
	mark := unsigned[at]
	whole, fraction, hasDecimal := strings.Cut(unsigned, string(decimal))
	groups := strings.Split(whole, string(mark))
	if len(groups) == 2 && !hasDecimal && (mark == '.' || mark == ',') {
		return text
	}
	for _, g := range groups[1:] {
		if len(g) != 3 {
			return text
		}
	}
	if hasDecimal {
		fraction = string(decimal) + fraction
	}
	return sign + strings.Join(groups, "") + fraction
}

// decimals counts the digits after the decimal sign of a number without exponent; −1 for other texts.
func decimals(field []byte, decimal byte) int {
	if _, ok := slowNumber(field, decimal); !ok {
		return -1
	}
	count, after := 0, false
	for _, c := range []byte(ungroup(string(field), decimal)) {
		switch {
		case c == decimal:
			after = true
		case !isDigit(c) && c != '-' && c != '+':
			return -1
		case after:
			count++
		}
	}
	return count
}
