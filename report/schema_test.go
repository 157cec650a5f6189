package report

import (
	"encoding/json"
	"flag"
	"fmt"
	"maps"
	"math"
	"os"
	"path/filepath"
	"reflect"
	"slices"
	"strings"
	"testing"
)

var update = flag.Bool("update", false, "renew golden files")

// key is what the schema says of a key of the record.
type key struct {
	kind     string
	optional bool
}

// schema is every key of the record by its path; [] stands for each element of a list.
type keyList map[string]key

// kinds are the types of the cells of a table.
var kinds = map[Kind]string{
	Words:   "text",
	Yes:     "true or false",
	Instant: "time",
	List:    "list of texts",
	Volumes: "list of numbers",
	Count:   "integer",
}

// plainTypes are those of structs.
var plainTypes = map[string]string{
	"string":         "text",
	"bool":           "true or false",
	"int":            "integer",
	"int64":          "integer",
	"uint64":         "integer",
	"float64":        "number",
	"report.number":  "number",
	"[]string":       "list of texts",
	"[]int":          "list of integers",
	"map[string]int": "counts by name",
}

// walk adds the keys of a type; a value is needed where there are tables in it, whose columns say what they hold.
func (s keyList) walk(path string, t reflect.Type, v reflect.Value, optional bool) {
	if t.Kind() == reflect.Pointer && t != reflect.TypeFor[*Table]() {
		s.walk(path, t.Elem(), reflect.Value{}, optional)
		return
	}
	if plain, ok := plainTypes[t.String()]; ok {
		s[path] = key{plain, optional}
		return
	}
	switch {
	case t == reflect.TypeFor[*Table]():
		s[path] = key{"list", optional}
		s.columns(path+"[]", v.Interface().(*Table))
	case t == reflect.TypeFor[entry]():
		s[path] = key{"object", optional}
		s.columns(path, v.Interface().(entry).Table)
	case t.Kind() == reflect.Slice:
		s[path] = key{"list", optional}
		s.walk(path+"[]", t.Elem(), reflect.Value{}, false)
	default:
		if path != "" && !strings.HasSuffix(path, "[]") {
			s[path] = key{"object", optional}
		}
		for i := range t.NumField() {
			name, rest, _ := strings.Cut(t.Field(i).Tag.Get("json"), ",")
			var field reflect.Value
			if v.IsValid() {
				field = v.Field(i)
			}
			s.walk(strings.TrimPrefix(path+"."+name, "."), t.Field(i).Type, field, rest != "")
		}
	}
}

func (s keyList) columns(path string, t *Table) {
	for _, k := range t.in(InRecord) {
		c := &t.Columns[k]
		if c.Kind == Spread {
			s.walk(path+"."+c.Key, reflect.TypeFor[headsRecord](), reflect.Value{}, c.Optional)
			continue
		}
		kind, ok := kinds[c.Kind]
		if !ok {
			kind = "number"
		}
		s[path+"."+c.Key] = key{kind, c.Optional}
	}
}

// fits reports what of a value read from a record is not as the schema says.
func (s keyList) fits(t *testing.T, path string, v any) {
	known, ok := s[path]
	kind := ""
	switch v := v.(type) {
	case nil:
		if kind = "null"; known.kind == "number" || known.kind == "time" ||
			strings.HasPrefix(known.kind, "list") || known.kind == "counts by name" {
			kind = known.kind
		}
	case string:
		kind = "text"
	case bool:
		kind = "true or false"
	case float64:
		if kind = "number"; v == math.Trunc(v) {
			kind = "integer"
		}
	case []any:
		kind = known.kind
		for _, x := range v {
			if known.kind == "list" {
				s.fits(t, path+"[]", x)
			}
		}
	case map[string]any:
		if kind = known.kind; kind == "counts by name" {
			break
		}
		for name, x := range v {
			s.fits(t, strings.TrimPrefix(path+"."+name, "."), x)
		}
		for child, k := range s {
			cut := max(strings.LastIndexByte(child, '.'), 0)
			name := strings.TrimPrefix(child[cut:], ".")
			if _, there := v[name]; child[:cut] == path && !there && !k.optional {
				t.Errorf("%s is not in the record", child)
			}
		}
	}
	same := kind == known.kind || kind == "integer" && known.kind == "number" || kind == "text" && known.kind == "time"
	if path != "" && !strings.HasSuffix(path, "[]") && (!ok || !same) {
		t.Errorf("%s is %q (%v), and the schema says %q", path, kind, v, known.kind)
	}
}

// TestSchema: testdata/golden/record.txt lists every key that a record can have, and the records of the demo hold to
// it. -update renews it; a key that goes or changes its type breaks the programs that read records.
func TestSchema(t *testing.T) {
	run, _ := correct(t, "site.toml")
	s := keyList{}
	s.walk("", reflect.TypeFor[Record](), reflect.ValueOf(*NewRecord(run)), false)
	var b strings.Builder
	b.WriteString("Every key of record.json; null stands for a number, a time or a list that there is none of.\n\n")
	for _, path := range slices.Sorted(maps.Keys(s)) {
		fmt.Fprintf(&b, "%s: %s", path, s[path].kind)
		if s[path].optional {
			b.WriteString(", or absent")
		}
		b.WriteByte('\n')
	}
	golden := filepath.Join("..", "testdata", "golden", "record.txt")
	if *update {
		if err := os.WriteFile(golden, []byte(b.String()), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	want, err := os.ReadFile(golden)
	if err != nil || string(want) != b.String() {
		t.Errorf("the keys of the record are not those of %s (%v); run go test ./report -update and look at "+
			"the difference",
			golden, err)
	}
	holdSchema(t, s)
	for _, file := range []string{"site.toml", "one-day.toml"} {
		_, folder := correct(t, file)
		var record any
		if err := json.Unmarshal([]byte(read(t, folder, "record.json")), &record); err != nil {
			t.Fatal(err)
		}
		s.fits(t, "", record)
	}
}
