package roster

import (
	"bytes"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"maps"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"

	"github.com/pelletier/go-toml/v2"

	"retotal/ingest/problem"
	"retotal/ingest/quantity"
	"retotal/ingest/site"
)

// mostTable is more than any table of sites takes, bytes.
const mostTable = 256 << 20

// column is one column of a table of sites.
type column struct {
	path []string // of the key, by its dots; a number is the place in a list, from 1
	unit string   // of the head, "" for none
	kind string   // what the key is, as the table of keys has it; "" where that does not say
	key  string
}

// Table lays the rows of a table on a template: a column a key, by its dotted name; a cell wins over the template, an
// empty one is no key. All that is wrong with table and template is returned together.
func Table(template, table string) (list []Entry, err error) {
	base, err := readTemplate(template)
	if err != nil {
		return nil, err
	}
	rows, comma, err := readTable(table)
	if err != nil {
		return nil, err
	}
	columns, problems := heads(table, rows[0])
	if err := problems.Err(); err != nil {
		return nil, err
	}
	for i, row := range rows[1:] {
		at := problem.Place{File: table, Line: i + 2}
		if len(row) != len(columns) {
			problems.Add(problem.At(at, fmt.Sprintf("the row has %d cells", len(row)),
				fmt.Sprintf("%d, as the head has", len(columns)), ""))
			continue
		}
		e, bad := lay(base, columns, row, comma, at)
		if bad != nil {
			problems.Add(bad)
			continue
		}
		e.File = filepath.Join(filepath.Dir(template), e.ID+".toml")
		list = append(list, *e)
	}
	return list, problems.Err()
}

// readTemplate reads a template as TOML; what a site file lacks is not asked here.
func readTemplate(file string) (map[string]any, error) {
	text, err := site.ReadPlain(file, mostTable)
	if err != nil {
		return nil, problem.At(problem.Place{File: file}, "the template cannot be read: "+unwrapped(err), "a site file",
			"")
	}
	base := map[string]any{}
	if err := toml.Unmarshal(bytes.TrimPrefix(text, []byte("\xef\xbb\xbf")), &base); err != nil {
		place := problem.Place{File: file}
		var decode *toml.DecodeError
		if errors.As(err, &decode) {
			place.Line, place.Column = decode.Position()
		}
		return nil, problem.At(place, "this is no TOML: "+strings.TrimPrefix(err.Error(), "toml: "), "a site file", "")
	}
	return base, nil
}

func unwrapped(err error) string {
	if inner := errors.Unwrap(err); inner != nil {
		return inner.Error()
	}
	return err.Error()
}

// readTable reads a table of cells divided by commas, semicolons or tabs; decimal commas may stand in one divided by
// semicolons or tabs.
func readTable(file string) (rows [][]string, comma bool, err error) {
	place := problem.Place{File: file}
	text, err := site.ReadPlain(file, mostTable)
	if err != nil {
		return nil, false, problem.At(place, "the table cannot be read: "+unwrapped(err), "a CSV file", "")
	}
	text = bytes.TrimPrefix(text, []byte("\xef\xbb\xbf"))
	head, _, _ := bytes.Cut(text, []byte("\n"))
	r := csv.NewReader(bytes.NewReader(text))
	r.FieldsPerRecord = -1
	for _, c := range ";\t" {
		if bytes.ContainsRune(head, c) && !bytes.ContainsRune(head, ',') {
			r.Comma, comma = c, true
		}
	}
	for {
		row, err := r.Read()
		var bad *csv.ParseError
		switch {
		case errors.Is(err, io.EOF) && len(rows) < 2:
			return nil, false, problem.At(place, "the table has no row of a site", "a head and a row a site", "")
		case errors.Is(err, io.EOF):
			return rows, comma, nil
		case errors.As(err, &bad):
			return nil, false, problem.At(problem.Place{File: file, Line: bad.Line, Column: bad.Column},
				"this is no CSV: "+bad.Err.Error(), "", "")
		case err != nil:
			return nil, false, err
		}
		rows = append(rows, row)
	}
}

// head is a head with a unit.
var head = regexp.MustCompile(`^(.*?)\s*\(([^()]+)\)$`)

// heads reads the heads of a table.
func heads(table string, cells []string) (columns []column, problems problem.List) {
	at := problem.Place{File: table, Line: 1}
	seen := map[string]bool{}
	for i, cell := range cells {
		c := column{key: strings.TrimSpace(cell)}
		if m := head.FindStringSubmatch(c.key); m != nil {
			c.key, c.unit = m[1], m[2]
			if _, err := quantity.LookUp(c.unit); err != nil {
				problems.Add(problem.At(at, fmt.Sprintf("column %d, %q: %q is no unit", i+1, cell, c.unit), "", ""))
			}
		}
		switch {
		case c.key == "":
			problems.Add(problem.At(at, fmt.Sprintf("column %d has no head", i+1), "a key, as settings.empty_distance",
				"name the key, or remove the column"))
		case seen[c.key]:
			problems.Add(problem.At(at, fmt.Sprintf("column %d: %s is there twice", i+1, c.key), "", ""))
		}
		seen[c.key] = true
		c.path, c.kind = strings.Split(c.key, "."), kindOf(c.key)
		columns = append(columns, c)
	}
	if !seen["id"] {
		problems.Add(problem.At(at, "no column has the head id", "the id of each site", ""))
	}
	return columns, problems
}

// places are the numbers in a dotted key.
var places = regexp.MustCompile(`\.\d+(\.|$)`)

// kindOf is what a key is by the table of keys; "" where that does not say.
func kindOf(key string) string {
	key = places.ReplaceAllString(key, "$1")
	for _, t := range site.Tables {
		for _, under := range t.Under {
			for _, k := range t.Keys {
				full := strings.TrimPrefix(under+"."+k.Name, ".")
				if full == key {
					return k.Type
				}
			}
		}
	}
	return ""
}

// lay makes the site file of a row.
func lay(base map[string]any, columns []column, row []string, comma bool, at problem.Place) (*Entry, *problem.Problem) {
	root := clone(base).(map[string]any)
	e := &Entry{Name: at.String()}
	for i, cell := range row {
		cell = strings.TrimSpace(cell)
		if cell == "" {
			continue
		}
		c := &columns[i]
		if c.key == "id" {
			e.ID = cell
		}
		value, err := c.value(cell, comma)
		if err == nil {
			err = set(root, c.path, value)
		}
		if err != nil {
			return nil, problem.At(at, fmt.Sprintf("%s %q: %v", c.key, cell, err), "", "")
		}
	}
	if e.ID == "" {
		return nil, problem.At(at, "the row has no id", "letters, digits and hyphens", "")
	}
	var b bytes.Buffer
	if err := toml.NewEncoder(&b).Encode(root); err != nil {
		return nil, problem.At(at, "no site file can be made of it: "+err.Error(), "", "")
	}
	e.Text = b.Bytes()
	return e, nil
}

// value is a cell as the value of its key.
func (c *column) value(cell string, comma bool) (any, error) {
	number := cell
	if comma && strings.Count(cell, ",") == 1 && !strings.Contains(cell, ".") {
		number = strings.Replace(cell, ",", ".", 1)
	}
	_, err := strconv.ParseFloat(number, 64)
	isNumber := err == nil
	switch text := strings.HasPrefix(c.kind, "text") || strings.HasPrefix(c.kind, `"`); {
	case c.unit != "" && isNumber:
		return number + " " + c.unit, nil
	case strings.HasPrefix(cell, "[") || strings.HasPrefix(cell, "{"):
		return inline(cell)
	case text || c.unit != "":
		return cell, nil
	case isNumber:
		return inline(number)
	case c.kind == "date and time" || c.kind == "true or false":
		return inline(strings.Replace(cell, " ", "T", 1))
	}
	return cell, nil
}

// inline reads a value as TOML writes it.
func inline(text string) (any, error) {
	read := map[string]any{}
	if err := toml.Unmarshal([]byte("x = "+text), &read); err != nil || len(read) != 1 {
		return nil, errors.New("cannot be read as a value of a site file")
	}
	return read["x"], nil
}

// set sets a key of a tree. A number in the path is the place in a list of tables, from 1; one past its end begins a
// table.
func set(at map[string]any, path []string, value any) error {
	key := path[0]
	if len(path) == 1 {
		at[key] = value
		return nil
	}
	if n, err := strconv.Atoi(path[1]); err == nil {
		list, ok := at[key].([]any)
		if at[key] != nil && !ok || n < 1 || n > len(list)+1 || len(path) == 2 {
			return fmt.Errorf("%s.%d is not the place of a table in a list, or one past its end", key, n)
		}
		if n == len(list)+1 {
			list = append(list, map[string]any{})
		}
		at[key] = list
		inner, ok := list[n-1].(map[string]any)
		if !ok {
			return fmt.Errorf("%s.%d is no table", key, n)
		}
		return set(inner, path[2:], value)
	}
	inner, ok := at[key].(map[string]any)
	if !ok { // none, or a value in place of which a table comes
		inner = map[string]any{}
		at[key] = inner
	}
	return set(inner, path[1:], value)
}

// clone is a copy of a tree.
func clone(v any) any {
	switch v := v.(type) {
	case map[string]any:
		out := maps.Clone(v)
		for k := range out {
			out[k] = clone(out[k])
		}
		return out
	case []any:
		out := slices.Clone(v)
		for i := range out {
			out[i] = clone(out[i])
		}
		return out
	}
	return v
}
