package main

import (
	"bytes"
	"encoding/json"
	"io/fs"
	"os"
	"path/filepath"
	"sync"
	"sync/atomic"
	"testing"

	"github.com/santhosh-tekuri/jsonschema/v6"

	"retotal/report"
)

// recordSchema is the schema of records as an independent validator understands it.
var recordSchema = sync.OnceValues(func() (*jsonschema.Schema, error) {
	doc, err := jsonschema.UnmarshalJSON(bytes.NewReader(report.Schema))
	if err != nil {
		return nil, err
	}
	c := jsonschema.NewCompiler()
	c.AssertFormat()
	if err := c.AddResource("record.schema.json", doc); err != nil {
		return nil, err
	}
	return c.Compile("record.schema.json")
})

// recordsHeld counts them.
var recordsHeld atomic.Int64

// holdRecords holds every record below a folder to the schema that ships; what a story has spoilt is no record.
func holdRecords(t *testing.T, dir string) {
	schema, err := recordSchema()
	if err != nil {
		t.Fatal(err)
	}
	err = filepath.WalkDir(dir, func(path string, _ fs.DirEntry, err error) error {
		if filepath.Base(path) != "record.json" || err != nil {
			return err
		}
		text, err := os.ReadFile(path)
		var made struct {
			Program string
			Version string
		}
		if err != nil || json.Unmarshal(text, &made) != nil || made.Program != "retotal" || made.Version != version {
			return err
		}
		doc, err := jsonschema.UnmarshalJSON(bytes.NewReader(text))
		if err == nil {
			err = schema.Validate(doc)
		}
		if recordsHeld.Add(1); err != nil {
			t.Errorf("%s: %v", path, err)
		}
		return nil
	})
	if err != nil {
		t.Error(err)
	}
}
