package site

import (
	"fmt"
	"strings"

	"retotal/ingest/problem"
	"retotal/ingest/quantity"
	"retotal/ingest/reading"
)

// Given reports whether the site file has the column.
func (c Column) Given() bool { return c.Name != "" || c.Number > 0 }

// Words name the column in messages.
func (c Column) Words() string {
	if c.Number > 0 {
		return fmt.Sprintf("column %d", c.Number)
	}
	return fmt.Sprintf("column named %q", c.Name)
}

// Title names the column: by its header in quotes, or by its number.
func (c Column) Title() string {
	if c.Number > 0 {
		return fmt.Sprintf("column %d", c.Number)
	}
	return fmt.Sprintf("column %q", c.Name)
}

// Key is how a site file says which column it is: name = "Level".
func (c Column) Key() string {
	if c.Number > 0 {
		return fmt.Sprintf("number = %d", c.Number)
	}
	return fmt.Sprintf("name = %q", c.Name)
}

// Called reports whether a header is that of the column: the same text, or its name followed by a unit. It is not where
// the site file gives a number.
func (c Column) Called(header string) bool {
	if strings.EqualFold(header, c.Name) {
		return c.Number == 0 && header != ""
	}
	bare, unit := reading.SplitUnit(header)
	return c.Number == 0 && unit != "" && strings.EqualFold(bare, c.Name)
}

// Find returns the numbers, from 0, of those of n columns that the column may be: those of its very name before those
// with a unit behind it.
func (c Column) Find(n int, header func(int) string) (found []int) {
	if c.Number > 0 {
		if c.Number <= n {
			found = []int{c.Number - 1}
		}
		return found
	}
	exact := false
	for i := range n {
		switch same := strings.EqualFold(header(i), c.Name); {
		case !c.Called(header(i)), exact && !same:
			continue
		case same && !exact:
			found, exact = nil, true
		}
		found = append(found, i)
	}
	return found
}

// Numbers reports whether the columns of a log are all given by their numbers, so that it may have no header, and the
// greatest of them.
func (l *Log) Numbers() (most int, all bool) {
	all = true
	for _, c := range append(l.Columns[:], l.Time, l.TimeOfDay) {
		if c.Given() {
			most, all = max(most, c.Number), all && c.Number > 0
		}
	}
	return most, all
}

// UnitIn is the unit of the column: that of the site file, or else that in its header, which stands at a place.
func (c Column) UnitIn(place problem.Place, header string, q reading.Quantity) (quantity.Unit, *problem.Problem) {
	if c.Unit != nil {
		return *c.Unit, nil
	}
	example := quantity.Unit1(q.Dimension())
	remedy := fmt.Sprintf("write log.columns.%s = { %s, unit = %q }", q, c.Key(), example)
	title := fmt.Sprintf("column %q", header)
	if header == "" {
		title = c.Words()
	}
	_, text := reading.SplitUnit(header)
	if text == "" {
		return quantity.Unit{}, problem.At(place, title+" names no unit", "a unit such as "+example, remedy)
	}
	u, err := quantity.LookUp(text)
	if err != nil {
		return u, problem.At(place, fmt.Sprintf("%s: %v", title, err), "", remedy)
	}
	if want := q.Dimension(); u.Dimension != want {
		return u, problem.At(place, fmt.Sprintf("%s: %q is %s, not %s", title, text, u.Dimension, want), "", remedy)
	}
	return u, nil
}

// column reads "Header", a number, or { name = "Header", unit = "m" }.
func (t *table) column(key string, dim quantity.Dimension) Column {
	t.asks(key, "column", "")
	raw, ok := t.get(key)
	if !ok {
		return Column{}
	}
	c := Column{Place: t.at(key)}
	switch v := raw.(type) {
	case string:
		if c.Name = v; v == "" {
			t.refuse(key, "is not filled in", "the header of one column", "or delete the line if the log has none")
		}
	case int64:
		c.Number = t.columnNumber(key, v)
	case []any: // a draft lists the columns that it may be
		t.refuse(key, fmt.Sprintf("names %d columns, %s", len(v), listed(v)), "one",
			fmt.Sprintf("keep the one that is meant, as in %s = %s", key, listed(v[:min(len(v), 1)])))
	default:
		sub := t.sub(key)
		if number, ok := sub.wholeNumber("number"); ok {
			c.Number = sub.columnNumber("number", number)
			if sub.text("name", "") != "" {
				sub.refuse("name", "stands beside number", "one of the two", "")
			}
		} else {
			c.Name = sub.text("name", "")
			if c.Name == "" && !sub.has("number") {
				sub.refuse("name", "is missing", "", `add name = "Distance", or number = 2`)
			}
		}
		if unit := sub.text("unit", ""); unit == "mA" || unit == "%" {
			sub.scale(&c, unit, dim)
		} else if unit != "" && dim != quantity.None {
			u, err := quantity.LookUp(unit)
			if err != nil {
				sub.refuse("unit", err.Error(), "one of "+strings.Join(quantity.Symbols(dim), ", "), "")
			} else if u.Dimension != dim {
				sub.refuse("unit", fmt.Sprintf("%q is %s", unit, u.Dimension), dim.String(),
					"one of "+strings.Join(quantity.Symbols(dim), ", "))
			}
			c.Unit = &u
		}
		c.Missing, c.MissingSet = sub.texts("missing"), sub.has("missing")
		for _, text := range c.Missing {
			if v, err := quantity.Parse(text, quantity.None); err == nil {
				c.Codes = append(c.Codes, v.SI)
			}
		}
		if key == reading.Counter.String() {
			if v := sub.quantity("rollover", quantity.VolumeDimension); v != nil {
				c.Rollover = v.SI
			}
		}
		sub.close()
	}
	return c
}

// listed writes values one after the other, for a message.
func listed(list []any) string {
	var words []string
	for _, v := range list {
		word := fmt.Sprint(v)
		if _, isText := v.(string); isText {
			word = fmt.Sprintf("%q", v)
		}
		words = append(words, word)
	}
	return strings.Join(words, ", ")
}

// wholeNumber reads an optional whole number; it is not ok when there is none, or something else.
func (t *table) wholeNumber(key string) (int64, bool) {
	t.asks(key, "whole number", "")
	raw, ok := t.get(key)
	if !ok {
		return 0, false
	}
	n, ok := raw.(int64)
	if !ok {
		t.refuse(key, fmt.Sprintf("= %v is not a whole number", raw), "", "write it without quotes, as in "+key+" = 2")
	}
	return n, ok
}

// columnNumber is the number of a column, from 1; 0 after a problem.
func (t *table) columnNumber(key string, n int64) int {
	const most = 10_000
	if n < 1 || n > most {
		t.refuse(key, fmt.Sprintf("= %d is not the number of a column", n), "1 for the first, and so on", "")
		return 0
	}
	return int(n)
}
