//go:build !linux

package report

import (
	"errors"
	"os"
	"time"
)

// exchange would swap two folders in one step; here that takes two.
func exchange(_, _ string) error { return errors.ErrUnsupported }

// hold would lock a folder as long as the program runs.
func hold(_ string) *os.File { return nil }

// longestRun is how long after its last change a run is taken to go on.
const longestRun = 24 * time.Hour

// alive reports whether the run that works in a folder may still go on.
func alive(folder string) bool {
	info, err := os.Stat(folder)
	return err != nil || time.Since(info.ModTime()) < longestRun
}
