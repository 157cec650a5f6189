package csvlog

import (
	"math"
	"strconv"
)

// powersOfTen are exact in float64 up to 10^22.
var powersOfTen = [...]float64{1, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8, 1e9, 1e10, 1e11, 1e12, 1e13, 1e14, 1e15, 1e16, 1e17, 1e18}

// maxMantissa is the largest integer below which every integer is a float64.
const maxMantissa = 1 << 53

// fastNumber reads [sign] digits [decimal digits] at pos, up to the byte after it. The result is the float64 nearest
// to what is written: mantissa and power of ten are exact, so their one division rounds correctly. It fails for
// anything else: exponents, more digits, other characters.
func fastNumber(text []byte, pos int, decimal byte) (v float64, next int, ok bool) {
	const window = 24 // bytes, more than any number read here is long
	if len(text)-pos < window {
		return 0, pos, false
	}
	t := (*[window]byte)(text[pos:])
	i := 0
	negative := t[0] == '-'
	if negative || t[0] == '+' {
		i = 1
	}
	var mantissa uint64
	start := i
	for ; i < window-2; i++ {
		c := t[i] - '0'
		if c > 9 {
			break
		}
		mantissa = 10*mantissa + uint64(c)
	}
	digits, fraction := i-start, 0
	if t[i] == decimal {
		i++
		start = i
		for ; i < window-1; i++ {
			c := t[i] - '0'
			if c > 9 {
				break
			}
			mantissa = 10*mantissa + uint64(c)
		}
		fraction = i - start
		digits += fraction
	}
	if digits == 0 || digits > 18 || mantissa > maxMantissa {
		return 0, pos, false
	}
	v = float64(int64(mantissa)) / powersOfTen[fraction] // int64: one instruction, where uint64 takes several
	if negative {
		v = -v
	}
	return v, pos + i, true
}

// slowNumber reads one whole field: the same grammar with an exponent, and any number of digits. NaN, Inf,
// hexadecimal and digit separators are not numbers here.
func slowNumber(field []byte, decimal byte) (float64, bool) {
	text := string(field)
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

// decimals counts the digits after the decimal sign of a plain number; −1 for other texts.
func decimals(field []byte, decimal byte) int {
	if _, ok := slowNumber(field, decimal); !ok {
		return -1
	}
	count, after := 0, false
	for _, c := range field {
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
