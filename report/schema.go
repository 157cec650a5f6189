package report

import _ "embed" // the schema

// Schema is the JSON Schema (draft 2020-12) of record.json. It is made from the record's types and tables by
// go test ./report -update; TestSchema holds both to each other.
//
//go:embed record.schema.json
var Schema []byte
