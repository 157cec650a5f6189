package main

import (
	"fmt"
	"io"
	"unicode"
	"unicode/utf8"
)

// visible is a writer that shows characters which steer a terminal or turn the direction of text, and never sends them:
// names and cells of a log are somebody else's text. Such a character stands as \u001b, which JSON and TOML read back.
type visible struct {
	io.Writer
	rest []byte // beginning of a character whose end comes with the next write
	err  error  // the first that the writer below gave
}

// Write passes text on.
func (v *visible) Write(p []byte) (int, error) {
	text, out := append(v.rest, p...), []byte(nil)
	v.rest = nil
	for len(text) > 0 {
		r, size := utf8.DecodeRune(text)
		switch {
		case r == utf8.RuneError && size == 1 && !utf8.FullRune(text):
			v.rest, size = append(v.rest, text...), len(text)
		case r == utf8.RuneError && size == 1:
			out = fmt.Appendf(out, `\x%02x`, text[0])
		case steers(r):
			out = fmt.Appendf(out, `\u%04x`, r)
		default:
			out = append(out, text[:size]...)
		}
		text = text[size:]
	}
	_, err := v.Writer.Write(out)
	if v.err == nil {
		v.err = err
	}
	return len(p), err
}

// steers reports whether a character does something to a terminal or to the direction of text.
func steers(r rune) bool {
	return unicode.IsControl(r) && r != '\n' && r != '\t' || unicode.Is(unicode.Bidi_Control, r)
}
