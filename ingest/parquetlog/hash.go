package parquetlog

import (
	"crypto/sha256"
	"encoding/hex"
	"io"
	"os"
)

// hashFile returns the SHA-256 of a file, or "" when it cannot be read or is no longer wanted.
func hashFile(name string, quit <-chan struct{}) string {
	f, err := os.Open(name)
	if err != nil {
		return ""
	}
	defer f.Close()
	h := sha256.New()
	if _, err := io.Copy(h, stoppable{f, quit}); err != nil {
		return ""
	}
	return hex.EncodeToString(h.Sum(nil))
}

// stoppable is a reader that fails once quit is closed.
type stoppable struct {
	io.Reader
	quit <-chan struct{}
}

// Read reads on, unless the reader was stopped.
func (s stoppable) Read(p []byte) (int, error) {
	select {
	case <-s.quit:
		return 0, os.ErrClosed
	default:
		return s.Reader.Read(p)
	}
}
