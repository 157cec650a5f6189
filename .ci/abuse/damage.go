package main

import (
	"bytes"
	"fmt"
	"math/rand/v2"
	"slices"
)

// odd is what is found in files where it does not belong.
var odd = []string{
	"1e308", "-1e308", "NaN", "inf", "-", "\"", ",", ";", "\t", "\x00", "\u202e", "\ufeff", "\xe4", "ä", "9999",
	"=", "#", "\r", "\n\n", "0x1p3", "  ", "[", "}", "2031-02-30", "00:00", "-999",
}

// damage does one thing to a file, and says what.
func damage(random *rand.Rand, file []byte) (out []byte, how string) {
	if len(file) == 0 {
		return []byte{0}, "a byte into an empty file"
	}
	at := random.IntN(len(file))
	until := min(len(file), at+1+random.IntN(64))
	into := func(what []byte) []byte { return slices.Concat(file[:at], what, file[at:]) }
	switch random.IntN(12) {
	case 0:
		out, bit := bytes.Clone(file), random.IntN(8)
		out[at] ^= 1 << bit
		return out, fmt.Sprintf("bit %d of byte %d", bit, at)
	case 1:
		out := bytes.Clone(file)
		out[at] = byte(random.IntN(256))
		return out, fmt.Sprintf("byte %d is %d", at, out[at])
	case 2:
		return slices.Concat(file[:at], file[until:]), fmt.Sprintf("bytes %d to %d removed", at, until)
	case 3:
		return into(file[at:until]), fmt.Sprintf("bytes %d to %d twice", at, until)
	case 4:
		return into([]byte(odd[random.IntN(len(odd))])), fmt.Sprintf("something odd at %d", at)
	case 5:
		return file[:at], fmt.Sprintf("cut at %d", at)
	case 6:
		out := bytes.Clone(file)
		clear(out[at:min(len(file), at+1+random.IntN(4096))])
		return out, fmt.Sprintf("zeros from %d", at)
	case 7:
		digits := []byte("0123456789.,-")
		out := bytes.Clone(file)
		if i := bytes.IndexAny(out[at:], "0123456789"); i >= 0 {
			out[at+i] = digits[random.IntN(len(digits))]
		}
		return out, fmt.Sprintf("a digit from %d on", at)
	}
	return damageLines(random, file)
}

// damageLines does one thing to the lines of a file; what has no lines loses its end.
func damageLines(random *rand.Rand, file []byte) (out []byte, how string) {
	lines := bytes.SplitAfter(file, []byte("\n"))
	i, j := random.IntN(len(lines)), random.IntN(len(lines))
	switch random.IntN(4) {
	case 0:
		lines[i], lines[j] = lines[j], lines[i]
		how = fmt.Sprintf("lines %d and %d swapped", i+1, j+1)
	case 1:
		lines = slices.Delete(lines, i, i+1)
		how = fmt.Sprintf("line %d removed", i+1)
	case 2:
		lines = slices.Insert(lines, j, lines[i])
		how = fmt.Sprintf("line %d again at %d", i+1, j+1)
	default:
		lines = slices.Insert(lines, i, []byte("\n"))
		how = fmt.Sprintf("blank line at %d", i+1)
	}
	return bytes.Join(lines, nil), how
}
