package problem

import (
	"errors"
	"strings"
	"sync/atomic"
	"testing"
)

// TestBeside: every call is made once, however many there are; a panic in one reaches the caller with its place.
func TestBeside(t *testing.T) {
	for _, n := range []int{0, 1, 2, 7, 1000} {
		made := make([]atomic.Int32, n)
		Beside(n, func(i int) { made[i].Add(1) })
		for i := range made {
			if made[i].Load() != 1 {
				t.Errorf("of %d, call %d was made %d times", n, i, made[i].Load())
			}
		}
	}
	var list []int
	err := Guard("a.toml", func() error {
		Beside(5, func(i int) { list[i]++ })
		return nil
	})
	var f *Fault
	if !errors.As(err, &f) || f.File != "a.toml" || !strings.HasPrefix(f.Place, "problem/beside_test.go:") {
		t.Errorf("%v", err)
	}
}
