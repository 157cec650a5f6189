package site

import (
	"go/ast"
	"go/parser"
	"go/token"
	"maps"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"

	"retotal/ingest/quantity"
	"retotal/ingest/reading"
)

// whole is a site file with every table, so that its reader asks for every key.
const whole = `id = "a"
[log]
files = ["log.csv"]
time_zone = "+00:00"
[log.columns]
time = "Time"
distance = { name = "D", unit = "mA", low = "0 m", high = "1 m", missing = ["-1"] }
temperature = "T"
counter = { name = "C", unit = "m3", rollover = "1000 m3" }
[[log.clock_check]]
at = 2031-03-02T00:00:00
error = "1 s"
[[log.counter_change]]
at = 2031-03-02T00:00:00
first = "0 m3"
[settings]
empty_distance = "1 m"
air_temperature = { logged_plus = "1 K" }
loop = { low = "0 m", high = "1 m" }
device = { kind = "v-notch", angle = "90 deg" }
[[settings.change]]
at = 2031-03-02T00:00:00
air_temperature = { logged_plus = "1 K" }
loop = { low = "0 m", high = "1 m" }
device = { angle = "88 deg" }
[[correction]]
reason = "x"
from = 2031-03-02T00:00:00
until = 2031-03-03T00:00:00
air_temperature = { logged_plus = "1 K" }
loop = { low = "0 m", high = "1 m" }
device = { angle = "89 deg" }
onset = { last_good_check = 2031-03-01T00:00:00, cap = "1 d" }
RAMPS
[[what_if]]
name = "x"
air_temperature = { logged_plus = "1 K" }
loop = { low = "0 m", high = "1 m" }
device = { angle = "89 deg" }
from = 2031-03-02T00:00:00
until = 2031-03-03T00:00:00
RAMPSONLY
[[visit]]
at = 2031-03-02T00:00:00
head = "0.1 m"
[[ruling]]
reason = "x"
by = "x"
from = 2031-03-02T00:00:00
until = 2031-03-03T00:00:00
action = "keep"
[audit]
[[audit.accepted]]
finding = "datum"
reason = "x"
by = "x"
[[record.examined]]
reason = "x"
SCREENING
[filling]
[uncertainty]
device = { angle = "1 deg" }
[report.limits]
[[report.comment]]
from = 2031-03-02T00:00:00
until = 2031-03-03T00:00:00
text = "x"
[reported]
"2031-03" = "1 m3"
`

// wholeFile fills in what is the same for all settings and all checks.
func wholeFile() string {
	var moving, checks strings.Builder
	for s := range SettingCount {
		units := map[quantity.Dimension]string{quantity.LengthDimension: " m", quantity.FlowDimension: " L/s"}
		value := `"1` + units[settingKeys[s].dimension] + `"`
		moving.WriteString(s.Key() + " = { from = " + value + ", to = " + value + " }\n")
	}
	for _, c := range Checks {
		checks.WriteString("[screening." + c.Name + "]\naction = \"" + string(c.Default) + "\"\n")
		if strings.HasSuffix(c.Name, "_range") {
			checks.WriteString("least = \"0 m\"\nmost = \"1 m\"\n")
		}
	}
	second := "[[correction]]\nreason = \"x\"\nfrom = 2031-04-02T00:00:00\n" +
		"until = 2031-04-03T00:00:00\n" + moving.String()
	return strings.NewReplacer("RAMPSONLY", moving.String(), "RAMPS", second, "SCREENING",
		checks.String()).Replace(whole)
}

// shared maps keys that stand for many to the name that the table has for them.
func shared(key string) string {
	for _, q := range reading.Names() {
		if rest, ok := strings.CutPrefix(key, "log.columns."+q+"."); ok {
			return "log.columns.COLUMN." + rest
		}
	}
	for _, c := range Checks {
		for _, end := range []string{"", ".action"} {
			if key == "screening."+c.Name+end {
				return "screening.CHECK" + end
			}
		}
	}
	return regexp.MustCompile(`^reported\.\d.*`).ReplaceAllString(key, "reported.PERIOD")
}

// TestTables holds the table of keys to the reader: a site file with every table asks for exactly its keys, with its
// types and, where the reader has one, its defaults.
func TestTables(t *testing.T) {
	doc, bad := parseDocument("site.toml", []byte(wholeFile()))
	if bad != nil {
		t.Fatal(bad)
	}
	if doc.site("site.toml", nil); len(doc.problems) > 0 {
		t.Error(doc.problems)
	}
	told, under := map[string]Key{}, map[string]bool{}
	for _, table := range Tables {
		for _, u := range table.Under {
			under[u] = true
			if outer, _, inner := strings.Cut(u, "."); inner { // a table may hold nothing but others
				under[outer] = true
			}
			for _, k := range table.Keys {
				if _, twice := told[join(u, k.Name)]; twice {
					t.Errorf("%s is described twice", join(u, k.Name))
				}
				told[join(u, k.Name)] = k
			}
		}
	}
	met := map[string]bool{}
	for _, full := range slices.Sorted(maps.Keys(doc.asked)) {
		asked, key := doc.asked[full], shared(full)
		met[key] = true
		k, ok := told[key]
		switch {
		case strings.HasPrefix(key, "uncertainty.device."), !ok && under[key] && strings.HasPrefix(asked.kind, "table"):
		case !ok:
			t.Errorf("%s is read as %q and not described", full, asked.kind)
		case !sameType(asked.kind, k.Type):
			t.Errorf("%s is read as %q and described as %q", full, asked.kind, k.Type)
		case full != "report.time_zone" && key != "screening.CHECK" &&
			asked.fallback != "" && asked.fallback != k.Default:
			t.Errorf("%s: left out it is %q, and described as %q", full, asked.fallback, k.Default)
		}
	}
	for _, key := range slices.Sorted(maps.Keys(told)) {
		if !met[key] {
			t.Errorf("%s is described and nothing reads it", key)
		}
	}
}

// sameType compares a type with the description; "as the column" and the like are of any dimension.
func sameType(asked, described string) bool {
	if strings.HasPrefix(described, "as the ") {
		return slices.Contains([]string{"number", "length", "flow", "volume", "temperature"}, asked)
	}
	return asked == described || described == "volume or flow" && (asked == "volume" || asked == "flow")
}

// TestTablesNameEveryKeyInSource finds keys in the text of the reader, which the site file above may not reach: each is
// described.
func TestTablesNameEveryKeyInSource(t *testing.T) {
	var known []string
	for _, table := range Tables {
		for _, u := range table.Under {
			known = append(known, strings.Split(u, ".")...)
		}
		for _, k := range table.Keys {
			known = append(known, strings.Split(k.Name, ".")...)
		}
	}
	readers := []string{"get", "text", "required", "texts", "quantity", "choice", "oneOf", "sub", "list", "flag",
		"instant", "duration", "share", "unit", "clock", "dayStart", "column", "knots"}
	files, err := filepath.Glob("*.go")
	if err != nil {
		t.Fatal(err)
	}
	found := 0
	for _, name := range files {
		if strings.HasSuffix(name, "_test.go") {
			continue
		}
		file, err := parser.ParseFile(token.NewFileSet(), name, nil, 0)
		if err != nil {
			t.Fatal(err)
		}
		ast.Inspect(file, func(n ast.Node) bool {
			if key := keyRead(n, readers); key != "" {
				found++
				if !slices.Contains(known, key) {
					t.Errorf("%s asks for %q, which no table describes", name, key)
				}
			}
			return true
		})
	}
	if found < 100 {
		t.Errorf("only %d keys were found in the source", found)
	}
}

// keyRead is the key that a call of one of the readers names as text; "" when the node is no such call.
func keyRead(n ast.Node, readers []string) string {
	call, ok := n.(*ast.CallExpr)
	if !ok || len(call.Args) == 0 {
		return ""
	}
	method, isMethod := call.Fun.(*ast.SelectorExpr)
	text, isText := call.Args[0].(*ast.BasicLit)
	if !isMethod || !isText || text.Kind != token.STRING || !slices.Contains(readers, method.Sel.Name) {
		return ""
	}
	key, _ := strconv.Unquote(text.Value)
	return key
}
