package report

import (
	"bytes"
	"encoding/json"
	"os"
	"regexp"
	"slices"
	"strings"
	"testing"

	"github.com/santhosh-tekuri/jsonschema/v6"
)

// node is a part of a JSON Schema, draft 2020-12.
type node map[string]any

// jsonTypes are the types of the kinds of keys. A number, a time or a list that there is none of is null.
var jsonTypes = map[string]node{
	"text":             {"type": "string"},
	"time":             {"type": []string{"string", "null"}, "format": "date-time"},
	"true or false":    {"type": "boolean"},
	"integer":          {"type": "integer"},
	"number":           {"type": []string{"number", "null"}},
	"list of texts":    {"type": []string{"array", "null"}, "items": node{"type": "string"}},
	"list of integers": {"type": []string{"array", "null"}, "items": node{"type": "integer"}},
	"list of numbers":  {"type": []string{"array", "null"}, "items": node{"type": []string{"number", "null"}}},
	"counts by name": {
		"type": []string{"object", "null"}, "additionalProperties": node{"type": "integer"},
	},
}

// units are what the ends of keys say.
var endings = []struct{ end, unit string }{
	{"m3s", "m³/s"}, {"m3", "m³"}, {"_mm", "mm"}, {"_m", "m"}, {"_s", "s"}, {"_percent", "%"}, {"_sha256", "hex"},
	{"sha256", "SHA-256, hex"}, {"bytes", "bytes"}, {"u95", "expanded uncertainty, 95 %"},
}

// instants are the keys of structs that hold times.
var instants = []string{"from", "until", "first_reading", "last_reading", "last_before", "first_after",
	"setting_entered"}

// described says what a key is: its words, and its unit.
func described(name string) string {
	for _, x := range endings {
		if words, ok := strings.CutSuffix(name, x.end); ok {
			return strings.TrimPrefix(strings.TrimSpace(strings.ReplaceAll(words, "_", " "))+", "+x.unit, ", ")
		}
	}
	return strings.ReplaceAll(name, "_", " ")
}

// asJSONSchema writes the keys below a path.
func (s keyList) asJSONSchema(path string) node {
	properties, required := node{}, []string{}
	for child, k := range s {
		cut := max(strings.LastIndexByte(child, '.'), 0)
		name := strings.TrimPrefix(child[cut:], ".")
		if child[:cut] != path || name == "" {
			continue
		}
		properties[name] = s.property(child, name, k)
		if !k.optional {
			required = append(required, name)
		}
	}
	slices.Sort(required)
	return node{"type": "object", "properties": properties, "required": required, "additionalProperties": false}
}

func (s keyList) property(path, name string, k key) node {
	out := node{"description": described(name)}
	switch k.kind {
	case "object":
		for at, v := range s.asJSONSchema(path) {
			out[at] = v
		}
	case "list":
		out["type"], out["items"] = []string{"array", "null"}, s.asJSONSchema(path+"[]")
	default:
		for at, v := range jsonTypes[k.kind] {
			out[at] = v
		}
		if k.kind == "text" && slices.Contains(instants, name) {
			out["format"] = "date-time"
		}
	}
	return out
}

// schemaOf is the whole schema.
func (s keyList) schemaOf(t *testing.T) []byte {
	root := s.asJSONSchema("")
	root["$schema"] = "https://json-schema.org/draft/2020-12/schema"
	root["title"] = "record.json of retotal"
	root["description"] = "What was read, decided and found. Volumes are m³ rounded to 0.001, times UTC, the rest " +
		"SI; a number, a time or a list that there is none of is null."
	var b bytes.Buffer
	e := json.NewEncoder(&b)
	e.SetEscapeHTML(false)
	e.SetIndent("", " ")
	if err := e.Encode(root); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

// compiled is the schema that the program ships, as an independent validator understands it.
func compiled(t *testing.T) *jsonschema.Schema {
	t.Helper()
	doc, err := jsonschema.UnmarshalJSON(bytes.NewReader(Schema))
	if err != nil {
		t.Fatal(err)
	}
	c := jsonschema.NewCompiler()
	c.AssertFormat()
	if err := c.AddResource("record.schema.json", doc); err != nil {
		t.Fatal(err)
	}
	s, err := c.Compile("record.schema.json")
	if err != nil {
		t.Fatal(err)
	}
	return s
}

// TestRecordsFollowTheSchema: records of the demo are valid by an independent validator; one with a key that is
// misspelt, left out or of another type is not.
func TestRecordsFollowTheSchema(t *testing.T) {
	s := compiled(t)
	for _, file := range []string{"site.toml", "one-day.toml"} {
		_, folder := correct(t, file)
		text := read(t, folder, "record.json")
		if err := validate(s, text); err != nil {
			t.Errorf("%s: %v", file, err)
		}
		for _, spoilt := range []struct{ pattern, by string }{
			{`"after_m3"`, `"after_cubic"`}, {`"version": "[^"]*"`, `"version": 3`},
			{`"first_reading": "[^"]*"`, `"first_reading": "yesterday"`}, {`"program": "retotal",`, ``},
		} {
			other := regexp.MustCompile(spoilt.pattern).ReplaceAllString(text, spoilt.by)
			if other == text || validate(s, other) == nil {
				t.Errorf("%s: %s in place of %s is not refused", file, spoilt.by, spoilt.pattern)
			}
		}
	}
}

func validate(s *jsonschema.Schema, text string) error {
	doc, err := jsonschema.UnmarshalJSON(strings.NewReader(text))
	if err != nil {
		return err
	}
	return s.Validate(doc)
}

// holdSchema compares the schema that ships with that of the types and tables.
func holdSchema(t *testing.T, s keyList) {
	t.Helper()
	made := s.schemaOf(t)
	if *update {
		if err := os.WriteFile("record.schema.json", made, 0o644); err != nil {
			t.Fatal(err)
		}
		return
	}
	if !bytes.Equal(made, Schema) {
		t.Error("record.schema.json is not what types and tables say; run go test ./report -update and look at it")
	}
}
