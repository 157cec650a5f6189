package recompute_test

import "testing"

// skipLong leaves out a test that only computes for long, where the race detector would make it take minutes.
func skipLong(t *testing.T) {
	if testing.Short() {
		t.Skip("the plain run does it")
	}
}
