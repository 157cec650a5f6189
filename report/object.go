package report

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"math"
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

// recorded is a cell as the record holds it: SI units, volumes to 0.001 m³, flows to 10⁻⁷ m³/s, mm to 0.1, times in
// UTC.
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

// past is a row of a record that was read: its cells by their keys, and nothing where there is no row.
type past map[string]any

// UnmarshalJSON reads rows as a record holds them; of what kind they are is not read back.
func (t *Table) UnmarshalJSON(text []byte) error { return json.Unmarshal(text, &t.past) }

// UnmarshalJSON reads the row.
func (e *entry) UnmarshalJSON(text []byte) error {
	e.Table = &Table{past: make([]past, 1)}
	return json.Unmarshal(text, &e.past[0])
}

// read returns the rows of a table that was read, which may be nil.
func (t *Table) read() []past {
	if t == nil {
		return nil
	}
	return t.past
}

// text is a cell as text.
func (p past) text(key string) string {
	switch v := p[key].(type) {
	case nil:
		return ""
	case float64:
		return strconv.FormatFloat(v, 'f', -1, 64)
	default:
		return fmt.Sprint(v)
	}
}

// effect is a volume that something added, as text.
func (p past) effect() string {
	v, _ := p["effect_m3"].(float64)
	return fixed(v, 1)
}
