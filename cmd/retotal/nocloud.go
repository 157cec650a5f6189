//go:build !cloud

package main

import (
	"context"

	"retotal/ingest/mirror"
)

// cloudNotices are those of what object stores take.
const cloudNotices = ""

// openStore refuses URLs: what object stores need is in the program only when it is asked for.
func openStore(context.Context, string, string, string) (mirror.Store, error) {
	return nil, usage{"URLs need a program that is built with what object stores take: " +
		"go build -tags cloud ./cmd/retotal"}
}
