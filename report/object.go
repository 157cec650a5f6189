package report

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"maps"
	"math"
	"slices"
	"strconv"
)

// entry is a table of one row, which the record holds as one object.
type entry struct{ *Table }

// MarshalJSON writes the rows as objects, their keys in the order of the columns.
func (t *Table) MarshalJSON() ([]byte, error) {
	if len(t.Rows) == 0 {
		return []byte("null"), nil
	}
	b := bytes.NewBufferString("[")
	for i, row := range t.Rows {
		if i > 0 {
			b.WriteByte(',')
		}
		if err := t.object(b, row); err != nil {
			return nil, err
		}
	}
	b.WriteByte(']')
	return b.Bytes(), nil
}

// MarshalJSON writes the row.
func (e entry) MarshalJSON() ([]byte, error) {
	var b bytes.Buffer
	err := e.object(&b, e.Rows[0])
	return b.Bytes(), err
}

// IsZero leaves a table without rows out of the record, where its tag asks for that.
func (t *Table) IsZero() bool { return t == nil || len(t.Rows) == 0 }

// object writes one row.
func (t *Table) object(b *bytes.Buffer, row []any) error {
	e := json.NewEncoder(b)
	e.SetEscapeHTML(false) // left to the writer of the record
	b.WriteByte('{')
	first := true
	for _, k := range t.in(InRecord) {
		c := &t.Columns[k]
		value := recorded(c.Kind, row[k])
		if c.Optional && (value == nil || value == "" || value == false) {
			continue
		}
		if !first {
			b.WriteByte(',')
		}
		first = false
		err := e.Encode(c.Key)
		b.WriteByte(':')
		if err = errors.Join(err, e.Encode(value)); err != nil {
			return err
		}
	}
	b.WriteByte('}')
	return nil
}

// recorded is a cell as the record holds it: SI units, volumes to 0.001 m³, flows to 10⁻⁷ m³/s, mm to 0.1, times in UTC.
func recorded(k Kind, cell any) any {
	switch v := cell.(type) {
	case told:
		return recorded(k, v.value)
	case measure:
		return recorded(v.kind, v.value)
	case []any:
		list := make([]any, len(v))
		for i := range v {
			list[i] = recorded(k, v[i])
		}
		return list
	case int64:
		return utc(v)
	case float64:
		switch k {
		case Flow:
			return math.Round(v*1e7) / 1e7
		case Millimetres, Offset:
			return math.Round(v*1e4) / 10
		case Head, Share:
			return math.Round(v*1e4) / 1e4
		}
		return number(v)
	}
	return cell
}

// UnmarshalJSON reads rows as a record holds them; what kind they are of is not read back.
func (t *Table) UnmarshalJSON(text []byte) error {
	var rows []map[string]any
	if err := json.Unmarshal(text, &rows); err != nil {
		return err
	}
	t.read(rows...)
	return nil
}

// UnmarshalJSON reads the row.
func (e *entry) UnmarshalJSON(text []byte) error {
	var row map[string]any
	if err := json.Unmarshal(text, &row); err != nil {
		return err
	}
	e.Table = &Table{}
	e.read(row)
	return nil
}

// read takes in rows by their keys.
func (t *Table) read(rows ...map[string]any) {
	keys := map[string]bool{}
	for _, row := range rows {
		for key := range row {
			keys[key] = true
		}
	}
	for _, key := range slices.Sorted(maps.Keys(keys)) {
		t.Columns = append(t.Columns, Column{Key: key})
	}
	for _, row := range rows {
		cells := make([]any, len(t.Columns))
		for k := range t.Columns {
			cells[k] = row[t.Columns[k].Key]
		}
		t.Rows = append(t.Rows, cells)
	}
}

// rows is how many rows a table that may be nil has.
func (t *Table) rows() int {
	if t == nil {
		return 0
	}
	return len(t.Rows)
}

// row is the first row that holds a value under a key; -1 for none.
func (t *Table) row(key string, value any) int {
	for i := range t.rows() {
		if t.cell(i, key) == value {
			return i
		}
	}
	return -1
}

// figure is a cell as number.
func (t *Table) figure(row int, key string) float64 {
	v, _ := t.cell(row, key).(float64)
	return v
}

// string is a cell as text.
func (t *Table) string(row int, key string) string {
	switch v := t.cell(row, key).(type) {
	case nil:
		return ""
	case float64:
		return strconv.FormatFloat(v, 'f', -1, 64)
	default:
		return fmt.Sprint(v)
	}
}

// cell is what a row holds under a key, nil where that is nothing.
func (t *Table) cell(row int, key string) any {
	if row < 0 {
		return nil
	}
	k := slices.IndexFunc(t.Columns, func(c Column) bool { return c.Key == key })
	if k < 0 {
		return nil
	}
	return t.Rows[row][k]
}
