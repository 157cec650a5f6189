// Package problem is one message about the user's input: severity, place, finding, expectation and remedy.
package problem

import (
	"errors"
	"fmt"
	"sort"
	"strings"
)

// Severity orders problems by what they stop.
type Severity int

// The severities: an Error stops the site, a Warning is printed and recorded.
const (
	Error Severity = iota
	Warning
)

// String returns the word printed in front of a message.
func (s Severity) String() string {
	if s == Warning {
		return "warning"
	}
	return "error"
}

// Place says where in the user's input something was found. Zero fields are left out of the message.
type Place struct {
	File   string
	Line   int // from 1
	Column int // from 1, in bytes
}

// String returns file:line:column, as far as they are known.
func (p Place) String() string {
	switch {
	case p.File == "":
		return ""
	case p.Line == 0:
		return p.File
	case p.Column == 0:
		return fmt.Sprintf("%s:%d", p.File, p.Line)
	}
	return fmt.Sprintf("%s:%d:%d", p.File, p.Line, p.Column)
}

// Problem is one message. Found is a full clause ("settings.maximum_head \"0.40\" has no unit"), Expected
// and Remedy are optional and follow it.
type Problem struct {
	Severity Severity
	Place    Place
	Found    string
	Expected string
	Remedy   string
}

// Error returns the message on one line: place: found; expected …; remedy.
func (p *Problem) Error() string {
	var b strings.Builder
	if place := p.Place.String(); place != "" {
		b.WriteString(place + ": ")
	}
	b.WriteString(p.Found)
	if p.Expected != "" {
		b.WriteString("; expected " + p.Expected)
	}
	if p.Remedy != "" {
		b.WriteString("; " + p.Remedy)
	}
	return b.String()
}

// At returns an Error problem at a place.
func At(place Place, found, expected, remedy string) *Problem {
	return &Problem{Place: place, Found: found, Expected: expected, Remedy: remedy}
}

// Warn returns a Warning problem at a place.
func Warn(place Place, found, expected, remedy string) *Problem {
	return &Problem{Severity: Warning, Place: place, Found: found, Expected: expected, Remedy: remedy}
}

// List gathers problems. As an error it prints one message a line, in the order of their places.
type List []*Problem

// Error joins the messages, one a line.
func (l List) Error() string {
	lines := make([]string, len(l))
	for i, p := range l {
		lines[i] = p.Error()
	}
	return strings.Join(lines, "\n")
}

// Add appends problems to the list.
func (l *List) Add(p ...*Problem) { *l = append(*l, p...) }

// Errors returns the problems that stop the site.
func (l List) Errors() List { return l.of(Error) }

// Warnings returns the problems that do not.
func (l List) Warnings() List { return l.of(Warning) }

func (l List) of(s Severity) List {
	var out List
	for _, p := range l {
		if p.Severity == s {
			out = append(out, p)
		}
	}
	return out
}

// Err returns the list's errors as an error, or nil when there are none.
func (l List) Err() error {
	if e := l.Errors(); len(e) > 0 {
		return e
	}
	return nil
}

// Join joins errors into one, nil when there is none: problems in the order of their places, before other errors.
func Join(errs ...error) error {
	var list List
	var others []error
	for _, err := range errs {
		var l List
		var p *Problem
		switch {
		case err == nil:
		case errors.As(err, &l):
			list.Add(l...)
		case errors.As(err, &p):
			list.Add(p)
		default:
			others = append(others, err)
		}
	}
	list.Sort()
	if len(others) == 0 {
		return list.Err()
	}
	return errors.Join(append([]error{list.Err()}, others...)...)
}

// Sort orders the list by file, line and column, keeping the order of problems at one place.
func (l List) Sort() {
	sort.SliceStable(l, func(i, j int) bool {
		a, b := l[i].Place, l[j].Place
		if a.File != b.File {
			return a.File < b.File
		}
		if a.Line != b.Line {
			return a.Line < b.Line
		}
		return a.Column < b.Column
	})
}
