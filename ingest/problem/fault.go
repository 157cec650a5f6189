package problem

import (
	"cmp"
	"errors"
	"fmt"
	"path"
	"path/filepath"
	"runtime"
	"strings"
)

// Fault is a fault of the program itself, which ended the work on one site.
type Fault struct {
	File  string // the site file or log that it was at work on
	What  any    // what the program said of itself
	Place string // where in the code, as package/file.go:line
}

// Error says what happened, what was not done and what to send to whom.
func (f *Fault) Error() string {
	return fmt.Sprintf("%s: this is a fault of the program, not of the input: %v (%s); nothing was written for it; "+
		"please send this line, the site file and, if you may, the log to those who maintain retotal",
		f.File, f.What, f.Place)
}

// Guard makes the call and turns a panic in it into a Fault, so that one site does not take the others with it. A panic
// in another goroutine is not caught: those have guards of their own.
func Guard(file string, call func() error) (err error) {
	defer func() {
		if p := recover(); p != nil {
			err = Caught(file, p)
		}
	}()
	return call()
}

// Caught is the Fault of a panic that was recovered, or the one that it already is. It is called where the panic was
// recovered: the place is that of the code of this program that was at work.
func Caught(file string, p any) error {
	var f *Fault
	if err, ok := p.(error); ok && errors.As(err, &f) {
		f.File = cmp.Or(f.File, file)
		return f
	}
	return &Fault{File: file, What: p, Place: place()}
}

// place is the innermost function of the program below a panic.
func place() string {
	callers := make([]uintptr, 64)
	frames := runtime.CallersFrames(callers[:runtime.Callers(1, callers)])
	for panicked := false; ; {
		frame, more := frames.Next()
		if panicked && strings.HasPrefix(frame.Function, "retotal/") {
			folder := path.Dir(filepath.ToSlash(frame.File))
			return fmt.Sprintf("%s/%s:%d", path.Base(folder), path.Base(filepath.ToSlash(frame.File)), frame.Line)
		}
		panicked = panicked || frame.Function == "runtime.gopanic" || strings.HasPrefix(frame.Function, "runtime.panic")
		if !more {
			return "place unknown"
		}
	}
}
