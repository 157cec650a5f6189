package report

import (
	"os"

	"golang.org/x/sys/unix"
)

// exchange swaps two folders in one step.
func exchange(a, b string) error {
	return unix.Renameat2(unix.AT_FDCWD, a, unix.AT_FDCWD, b, unix.RENAME_EXCHANGE)
}

// hold locks a folder until the file is closed or the program ends, however it ends; nil when that cannot be done.
func hold(folder string) *os.File {
	f, err := os.Open(folder)
	if err != nil {
		return nil
	}
	if unix.Flock(int(f.Fd()), unix.LOCK_EX|unix.LOCK_NB) != nil {
		f.Close()
		return nil
	}
	return f
}

// alive reports whether the run that works in a folder still goes on.
func alive(folder string) bool {
	f := hold(folder)
	if f == nil {
		return true
	}
	f.Close()
	return false
}
