package site

import (
	"errors"
	"fmt"
	"maps"
	"regexp"
	"slices"
	"strconv"
	"strings"

	"github.com/pelletier/go-toml/v2"
	"github.com/pelletier/go-toml/v2/unstable"

	"retotal/ingest/problem"
	"retotal/ingest/quantity"
)

// document is a parsed TOML file with the place of every key and the problems found in it so far.
type document struct {
	file     string
	root     map[string]any
	places   map[string]problem.Place // by full key: settings.device.angle, correction[0].from
	asked    map[string]ask           // by full key without the indexes of lists: correction.from
	problems problem.List
}

// ask is what a key was read as: the type of its value in words, and what stands for one that is left out ("" for
// nothing, or what only the log or the meter can say).
type ask struct{ kind, fallback string }

// parseDocument reads TOML. The result is nil when the text is not TOML at all.
func parseDocument(file string, text []byte) (*document, *problem.Problem) {
	d := &document{file: file, root: map[string]any{}, places: map[string]problem.Place{}, asked: map[string]ask{}}
	if err := toml.Unmarshal(text, &d.root); err != nil {
		place := problem.Place{File: file}
		var decode *toml.DecodeError
		if errors.As(err, &decode) {
			place.Line, place.Column = decode.Position()
		}
		return nil, notTOML(place, text, err)
	}
	d.locate(text)
	return d, nil
}

// locate walks the syntax tree for the place of every value. The text is known to be valid.
func (d *document) locate(text []byte) {
	var p unstable.Parser
	p.Reset(text)
	prefix, seen := "", map[string]int{}
	for p.NextExpression() {
		e := p.Expression()
		switch e.Kind {
		case unstable.Table:
			prefix, _ = d.path("", e, seen)
			d.places[prefix] = d.place(text, keyStart(e))
		case unstable.ArrayTable:
			name, _ := d.path("", e, seen)
			prefix = fmt.Sprintf("%s[%d]", name, seen[name])
			seen[name]++
			d.places[prefix] = d.place(text, keyStart(e))
		case unstable.KeyValue:
			d.locateValue(text, prefix, e, seen)
		}
	}
}

// locateValue records the place of one key's value and of the keys of an inline table.
func (d *document) locateValue(text []byte, prefix string, e *unstable.Node, seen map[string]int) {
	full, end := d.path(prefix, e, seen)
	at := end
	for at < len(text) && text[at] != '=' {
		at++
	}
	for at++; at < len(text) && (text[at] == ' ' || text[at] == '\t'); at++ {
	}
	d.places[full] = d.place(text, at)
	if v := e.Value(); v.Kind == unstable.InlineTable {
		for it := v.Children(); it.Next(); {
			d.locateValue(text, full, it.Node(), seen)
		}
	}
}

// path joins the parts of a key to a prefix; a part that names an array of tables means its latest element.
func (d *document) path(prefix string, e *unstable.Node, seen map[string]int) (full string, end int) {
	full = prefix
	for it := e.Key(); it.Next(); {
		n := it.Node()
		if count := seen[full]; count > 0 {
			full = fmt.Sprintf("%s[%d]", full, count-1)
		}
		full = join(full, string(n.Data))
		end = int(n.Raw.Offset + n.Raw.Length)
	}
	return full, end
}

// keyStart returns the offset of a table's name.
func keyStart(e *unstable.Node) int {
	it := e.Key()
	it.Next()
	return int(it.Node().Raw.Offset)
}

func (d *document) place(text []byte, offset int) problem.Place {
	before := string(text[:min(offset, len(text))])
	return problem.Place{
		File: d.file, Line: 1 + strings.Count(before, "\n"), Column: offset - strings.LastIndex(before, "\n"),
	}
}

func join(prefix, key string) string {
	switch {
	case prefix == "":
		return key
	case key == "":
		return prefix
	}
	return prefix + "." + key
}

// table is one table of the document. Every key that is asked for counts as known; close reports the others.
type table struct {
	doc    *document
	path   string
	values map[string]any
	known  []string
}

func (d *document) top() *table { return &table{doc: d, values: d.root} }

func (t *table) has(key string) bool { _, ok := t.values[key]; return ok }

// at returns the place of a key, or of the table when the key is absent.
func (t *table) at(key string) problem.Place {
	for _, path := range []string{join(t.path, key), join(t.path, key) + "[0]"} {
		if p, ok := t.doc.places[path]; ok {
			return p
		}
	}
	if p, ok := t.doc.places[t.path]; ok {
		return p
	}
	return problem.Place{File: t.doc.file}
}

// refuse reports a problem with a key: "settings.maximum_head <found>".
func (t *table) refuse(key, found, expected, remedy string) {
	t.doc.problems.Add(problem.At(t.at(key), named(join(t.path, key), t.doc.places)+" "+found, expected, remedy))
}

// entry is a key in an entry of a list: the list, the entry's number from 0 and the key in it.
var entry = regexp.MustCompile(`^([^\[]+)\[(\d+)\]\.?(.*)$`)

// named names a key as people do: of correction[0].from the entry and the key in it, "the first correction (line 31):
// from".
func named(key string, places map[string]problem.Place) string {
	m := entry.FindStringSubmatch(key)
	if m == nil {
		return key
	}
	i, _ := strconv.Atoi(m[2]) // digits
	text := problem.Entry(m[1], i, places[m[1]+"["+m[2]+"]"].Line)
	if m[3] != "" {
		text += ": " + m[3]
	}
	return text
}

// Named names a key of the site file as messages do.
func (s *Site) Named(key string) string { return named(key, s.Places) }

// get returns the raw value of a key and marks the key as known.
func (t *table) get(key string) (any, bool) {
	if !slices.Contains(t.known, key) {
		t.known = append(t.known, key)
		t.asks(key, "", "")
	}
	v, ok := t.values[key]
	return v, ok
}

var listIndex = regexp.MustCompile(`\[\d+\]`)

// asks notes what a key is read as, which the table of keys is held to (Tables). The first word stands: readers that
// build on others say theirs before.
func (t *table) asks(key, kind, fallback string) {
	full := listIndex.ReplaceAllString(join(t.path, key), "")
	if t.doc.asked[full].kind == "" {
		t.doc.asked[full] = ask{kind, fallback}
	}
}

// text reads an optional string.
func (t *table) text(key, fallback string) string {
	t.asks(key, "text", fallback)
	v, ok := t.get(key)
	if !ok {
		return fallback
	}
	s, ok := v.(string)
	if !ok {
		t.refuse(key, fmt.Sprintf("= %v is not text", v), "", fmt.Sprintf("write it in quotes: %s = \"%v\"", key, v))
		return fallback
	}
	return s
}

// required reads a string that must be there and not empty.
func (t *table) required(key, example string) string {
	t.asks(key, "text", "required")
	s := t.text(key, "")
	if s == "" && (!t.has(key) || t.values[key] == "") {
		t.refuse(key, "is missing", "", fmt.Sprintf("add %s = %q", key, example))
	}
	return s
}

// texts reads a list of strings, or one string.
func (t *table) texts(key string) []string {
	t.asks(key, "text or list", "")
	v, ok := t.get(key)
	if s, single := v.(string); single {
		return []string{s}
	}
	list, isList := v.([]any)
	var out []string
	for _, x := range list {
		if s, isText := x.(string); isText {
			out = append(out, s)
		} else {
			isList = false
		}
	}
	if ok && !isList {
		t.refuse(key, fmt.Sprintf("= %v is not a list of texts", v), "", fmt.Sprintf(`write %s = ["one", "two"]`, key))
	}
	return out
}

// quantity reads an optional physical value.
func (t *table) quantity(key string, dim quantity.Dimension) *quantity.Value {
	t.asks(key, dimensionWord(dim), "")
	v, ok := t.get(key)
	if !ok {
		return nil
	}
	return t.parse(key, v, dim)
}

// dimensionWord names a dimension without an article: "length"; a bare number is "number".
func dimensionWord(dim quantity.Dimension) string {
	words := strings.Fields(dim.String())
	return words[len(words)-1]
}

// parse reads a value that was already taken from the table.
func (t *table) parse(key string, v any, dim quantity.Dimension) *quantity.Value {
	s, isText := v.(string)
	if !isText && dim != quantity.None {
		t.refuse(key, fmt.Sprintf("= %v has no unit", v), "", "write it as "+t.written(key, fmt.Sprint(v), dim))
		return nil
	}
	if !isText {
		s = fmt.Sprint(v)
	}
	if _, err := quantity.Parse(s, quantity.None); err == nil && dim != quantity.None {
		t.refuse(key, fmt.Sprintf("%q has no unit", s), "", "write it as "+t.written(key, strings.TrimSpace(s), dim))
		return nil
	}
	value, err := quantity.Parse(s, dim)
	if err != nil {
		t.refuse(key, err.Error(), "", "")
		return nil
	}
	return &value
}

// written is how a number without a unit may have been meant. A length that is an uncertainty or a limit of screening
// is one of millimetres.
func (t *table) written(key, number string, dim quantity.Dimension) string {
	small := key == "uncertainty" || t.path == "uncertainty" || strings.HasPrefix(t.path, "screening") &&
		!strings.HasSuffix(t.path, "_range")
	if dim == quantity.LengthDimension && small {
		return strconv.Quote(number + " mm")
	}
	return quantity.Written(number, dim)
}

// choice reads one of a few words, the first being the default.
func (t *table) choice(key string, words ...string) string {
	t.asks(key, quoted(words), words[0])
	if s := t.oneOf(key, words...); s != "" {
		return s
	}
	return words[0]
}

// quoted lists words as they are written: "a", "b".
func quoted(words []string) string { return `"` + strings.Join(words, `", "`) + `"` }

// oneOf reads one of a few words; "" when the key is left out or holds another.
func (t *table) oneOf(key string, words ...string) string {
	t.asks(key, quoted(words), "")
	s := t.text(key, "")
	if t.has(key) && !slices.Contains(words, s) {
		remedy := ""
		if near := problem.Nearest(s, words); near != "" {
			remedy = fmt.Sprintf("did you mean %q?", near)
		}
		t.refuse(key, fmt.Sprintf("%q is not known", s), "one of "+strings.Join(words, ", "), remedy)
		return ""
	}
	return s
}

// sub returns a table below this one; an absent one is empty.
func (t *table) sub(key string) *table {
	t.asks(key, "table", "")
	v, ok := t.get(key)
	values, isTable := v.(map[string]any)
	if ok && !isTable {
		t.refuse(key, fmt.Sprintf("= %v is not a table", v), "",
			fmt.Sprintf("write it as a table: [%s]", listIndex.ReplaceAllString(join(t.path, key), "")))
	}
	return &table{doc: t.doc, path: join(t.path, key), values: values}
}

// list returns the tables of an array of tables.
func (t *table) list(key string) []*table {
	t.asks(key, "tables", "")
	v, ok := t.get(key)
	if !ok {
		return nil
	}
	elements, isList := v.([]any)
	var out []*table
	for i, e := range elements {
		values, isTable := e.(map[string]any)
		isList = isList && isTable
		out = append(out, &table{doc: t.doc, path: fmt.Sprintf("%s[%d]", join(t.path, key), i), values: values})
	}
	if !isList {
		t.refuse(key, "is not a list of tables", "", fmt.Sprintf("write each as [[%s]]", join(t.path, key)))
		return nil
	}
	return out
}

// close reports the keys that nothing asked for, with the nearest known one.
func (t *table) close() {
	for _, key := range slices.Sorted(maps.Keys(t.values)) {
		if slices.Contains(t.known, key) {
			continue
		}
		t.refuse(key, "is not a key of the site file", "", nearKey(key, t.known))
	}
}

// nearKey offers the key in whose place another was written: what took the place of a former one, else the nearest.
func nearKey(key string, known []string) string {
	if now := formerKeys[key]; slices.Contains(known, now) {
		return fmt.Sprintf("did you mean %q?", now)
	}
	return problem.Suggest(key, known)
}

// formerKeys are keys of earlier versions, and other words for the same, with those in their place.
var formerKeys = map[string]string{
	"check": "visit", "low_head": "validity", "clipped": "flat_peak", "zeros": "abrupt_zeros", "too_near": "blanking",
	"rate": "rate_of_change", "loop": "loop_current", "pressure": "level",
}
