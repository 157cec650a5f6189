package report

import (
	"fmt"
	"io"
	"reflect"
	"strings"
	"testing"
)

// dump writes every number and text that can be reached from a value, hidden fields too.
func dump(w io.Writer, v reflect.Value, seen map[uintptr]bool) {
	switch v.Kind() {
	case reflect.Pointer:
		if v.IsNil() || seen[v.Pointer()] {
			return
		}
		seen[v.Pointer()] = true
		dump(w, v.Elem(), seen)
	case reflect.Interface:
		if !v.IsNil() {
			dump(w, v.Elem(), seen)
		}
	case reflect.Struct:
		for i := range v.NumField() {
			dump(w, v.Field(i), seen)
		}
	case reflect.Slice, reflect.Array:
		for i := range v.Len() {
			dump(w, v.Index(i), seen)
		}
	case reflect.Map, reflect.Func, reflect.Chan, reflect.UnsafePointer:
		fmt.Fprint(w, v.Kind() != reflect.Map || v.IsNil(), " ")
	default:
		fmt.Fprintf(w, "%v ", v)
	}
}

// TestRecordChangesNothing: making the record, the page and the summary leaves the result as it was, to the last bit.
func TestRecordChangesNothing(t *testing.T) {
	run, _ := correct(t, "site.toml")
	for i := range run.Result.Flags { // figures that rounding would change
		run.Result.Flags[i].Effect += 1.0 / 3e5
	}
	run.Result.Pattern.PerKelvin = 1.0 / 3
	text := func() string {
		var b strings.Builder
		dump(&b, reflect.ValueOf(run.Result), map[uintptr]bool{})
		return b.String()
	}
	before := text()
	if !strings.Contains(before, fmt.Sprint(run.Result.Total.After.M3())[:6]) || len(before) < 10000 {
		t.Fatalf("the result is not written whole: %d bytes", len(before))
	}
	for name, make := range map[string]func(){
		"record":  func() { NewRecord(run) },
		"letter":  func() { NewLetter(run); Sections(run) },
		"summary": func() { Summary(io.Discard, run, "") },
	} {
		if make(); text() != before {
			t.Errorf("making the %s changed the result", name)
		}
	}
}
