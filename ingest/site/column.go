package site

import (
	"fmt"
	"slices"
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
	if n := len(c.Name); n > len(header) || !strings.EqualFold(header[:n], c.Name) {
		return false // most headers, at little cost
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
	switch want := q.Dimension(); {
	case c.Water != nil && u.Dimension == quantity.PressureDimension:
		return quantity.WaterColumn(u, c.Water.Density.SI, c.Water.Gravity.SI), nil
	case c.Water != nil:
		return u, problem.At(c.Place, fmt.Sprintf("%s has a density, and %q is %s", title, text, u.Dimension),
			"a pressure", "leave density out")
	case q.IsLevel() && u.Dimension == quantity.PressureDimension:
		return u, problem.At(c.Place, fmt.Sprintf("%s: %q is a pressure", title, text), needsDensity,
			fmt.Sprintf("write log.columns.%s = { %s, density = \"998.2 kg/m3\" }", q, c.Key()))
	case u.Dimension != want:
		return u, problem.At(place, fmt.Sprintf("%s: %q is %s, not %s", title, text, u.Dimension, want), "", remedy)
	}
	return u, nil
}

// Contradicts says that the header of the column names another unit than the site file; "" when it does not.
func (c Column) Contradicts(header string, q reading.Quantity) string {
	name, text := reading.SplitUnit(header)
	u, err := quantity.LookUp(text)
	if c.Unit == nil || c.Water != nil || text == "" || err != nil || u.Dimension != c.Unit.Dimension ||
		u.Factor == c.Unit.Factor && u.Offset == c.Unit.Offset {
		return ""
	}
	return fmt.Sprintf("column %q is read in %s, as log.columns.%s says, and its header says %s",
		name, c.Unit.Symbol, q, u.Symbol)
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
		isLevel := slices.ContainsFunc(levels, func(q reading.Quantity) bool { return q.String() == key })
		c.Water = sub.water(isLevel)
		if unit := sub.text("unit", ""); unit == "mA" || unit == "%" {
			if c.Water != nil {
				sub.refuse("density", "goes with a unit of pressure, and not with a loop current", "",
					"low and high are lengths")
				c.Water = nil
			}
			sub.scale(&c, unit, dim)
		} else if unit != "" && dim != quantity.None {
			c.Unit = sub.unitOf(unit, dim, c.Water)
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

// levels are the quantities that may be logged as pressures.
var levels = []reading.Quantity{reading.Level, reading.Head, reading.Downstream, reading.SecondLevel}

// needsDensity is what a pressure lacks that is to be a level.
const needsDensity = "the density of the water, as 998.2 kg/m3 for fresh water at 20 degC"

// Water is what makes a level of a pressure.
type Water struct{ Density, Gravity quantity.Value }

// Bounds of what the water of a site can have. Fresh water has 999.97 kg/m³ at 4 °C, 998.21 at 20 °C and 992.2 at 40 °C
// (Tanaka and others, Metrologia 38, 2001, page 301, from memory), the sea 1020 to 1030, sludge more (common practice);
// gravity on the earth is 9.764 to 9.834 m/s².
const (
	leastDensity, mostDensity = 900, 1300
	leastGravity, mostGravity = 9.76, 9.84
)

// water reads density and gravity; nil when there is no density.
func (t *table) water(isLevel bool) *Water {
	density := t.quantity("density", quantity.DensityDimension)
	gravity := t.quantity("gravity", quantity.AccelerationDimension)
	if density == nil {
		if gravity != nil && !t.has("density") {
			t.refuse("gravity", "stands without density", needsDensity, `add density = "998.2 kg/m3"`)
		}
		return nil
	}
	if !isLevel {
		t.refuse("density", "goes with a level, head, downstream or second_level that is logged as a pressure", "", "")
		return nil
	}
	if density.SI < leastDensity || density.SI > mostDensity {
		t.refuse("density", fmt.Sprintf("%q is not that of water", density.Text),
			fmt.Sprintf("%d to %d kg/m3", leastDensity, mostDensity), "998.2 kg/m3 is fresh water at 20 degC")
		return nil
	}
	w := &Water{Density: *density}
	if gravity == nil {
		w.Gravity = quantity.Value{
			Text: fmt.Sprint(quantity.StandardGravity, " m/s2"), SI: quantity.StandardGravity,
			Unit: quantity.MustLookUp("m/s2"),
		}
		return w
	}
	if gravity.SI < leastGravity || gravity.SI > mostGravity {
		t.refuse("gravity", fmt.Sprintf("%q is not that of any place", gravity.Text),
			fmt.Sprintf("%s to %s m/s2", quantity.Digits(leastGravity, 4), quantity.Digits(mostGravity, 4)),
			"leave it out for standard gravity")
		return nil
	}
	w.Gravity = *gravity
	return w
}

// unitOf looks up the unit of a column; of a pressure that is to be a level it is the column of water.
func (t *table) unitOf(unit string, dim quantity.Dimension, w *Water) *quantity.Unit {
	u, err := quantity.LookUp(unit)
	all := "one of " + strings.Join(quantity.Symbols(dim), ", ")
	switch {
	case err != nil:
		t.refuse("unit", err.Error(), all, "")
	case w != nil && u.Dimension == quantity.PressureDimension:
		u = quantity.WaterColumn(u, w.Density.SI, w.Gravity.SI)
	case w != nil:
		t.refuse("density", fmt.Sprintf("goes with a unit of pressure, and %q is %s", unit, u.Dimension),
			"a unit such as kPa", "leave density out if the log holds lengths")
	case u.Dimension == quantity.PressureDimension && dim == quantity.LengthDimension:
		if !t.has("density") {
			t.refuse("unit", fmt.Sprintf("%q is a pressure", unit), needsDensity,
				`add density = "998.2 kg/m3" if the level is logged as a pressure`)
		}
	case u.Dimension != dim:
		t.refuse("unit", fmt.Sprintf("%q is %s", unit, u.Dimension), dim.String(), all)
	}
	return &u
}
