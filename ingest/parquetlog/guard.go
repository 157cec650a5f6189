package parquetlog

import (
	"errors"
	"fmt"

	"github.com/apache/arrow/go/v15/arrow/memory"

	"retotal/ingest/problem"
)

// bounded refuses memory that no log needs: damaged lengths ask the library for terabytes. Its panic is caught by
// guard.
type bounded struct{ memory.Allocator }

// mostMemory is more than any page of a log takes.
const mostMemory = 1 << 30

func (b bounded) Allocate(size int) []byte {
	if size < 0 || size > mostMemory {
		panic(fmt.Sprintf("it asks for %d bytes of memory at once", size))
	}
	return b.Allocator.Allocate(size)
}

func (b bounded) Reallocate(size int, old []byte) []byte {
	if size < 0 || size > mostMemory {
		panic(fmt.Sprintf("it asks for %d bytes of memory at once", size))
	}
	return b.Allocator.Reallocate(size, old)
}

// guard runs a call into the library and makes a problem of its error or panic.
func guard(name string, call func() error) (bad *problem.Problem) {
	damaged := func(what any) *problem.Problem {
		return problem.At(
			problem.Place{File: name},
			fmt.Sprintf("the Parquet file is damaged or of a kind that cannot be read: %v", what),
			"a whole Parquet file",
			"write or copy the file again",
		)
	}
	defer func() {
		if p := recover(); p != nil {
			bad = damaged(p)
		}
	}()
	err := call()
	var own *problem.Problem
	switch {
	case err == nil:
		return nil
	case errors.As(err, &own):
		return own
	}
	return damaged(err)
}
