package problem

import (
	"errors"
	"strings"
	"testing"
)

// TestGuard: a panic becomes one line that says where; an error and success pass.
func TestGuard(t *testing.T) {
	var list []int
	err := Guard("a.toml", func() error { return errors.New(string(rune(list[3]))) })
	var f *Fault
	if !errors.As(err, &f) || f.File != "a.toml" || !strings.HasPrefix(f.Place, "problem/fault_test.go:") {
		t.Errorf("%v", err)
	}
	for _, want := range []string{"a.toml: this is a fault of the program", "index out of range [3]", "please send"} {
		if !strings.Contains(err.Error(), want) || strings.Contains(err.Error(), "\n") {
			t.Errorf("%q is missing or not on one line: %v", want, err)
		}
	}
	own := errors.New("own")
	if err := Guard("", func() error { return own }); err != own {
		t.Errorf("%v", err)
	}
	if err := Guard("", func() error { return nil }); err != nil {
		t.Errorf("%v", err)
	}
	again := Guard("b.toml", func() error { panic(err) }) // a fault of a helper, handed on
	if !errors.As(again, &f) || f.File != "a.toml" {
		t.Errorf("%v", again)
	}
}
