//go:build cloud

package main

import (
	_ "github.com/johannesboyne/gofakes3"
	_ "github.com/johannesboyne/gofakes3/backend/s3mem"
)
