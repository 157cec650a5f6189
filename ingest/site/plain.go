package site

import (
	"errors"
	"fmt"
	"io"
	"os"
)

// Errors of files that are read whole.
var (
	ErrNotPlain = errors.New("it is a device, a pipe or a socket, not a plain file")
	ErrTooLarge = errors.New("it is far larger than such a file can be")
)

// ReadPlain reads a file that is read whole, of at most so many bytes: what never ends is not waited for.
func ReadPlain(name string, most int64) ([]byte, error) {
	info, err := os.Stat(name)
	switch {
	case err != nil:
		return nil, err
	case info.IsDir():
		return os.ReadFile(name) // which has the words for it
	case !info.Mode().IsRegular():
		return nil, fmt.Errorf("%s: %w", name, ErrNotPlain)
	}
	f, err := os.Open(name)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	text, err := io.ReadAll(io.LimitReader(f, most+1))
	if err == nil && int64(len(text)) > most {
		return nil, fmt.Errorf("%s: %w", name, ErrTooLarge)
	}
	return text, err
}
