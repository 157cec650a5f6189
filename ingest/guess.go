package ingest

import (
	"slices"
	"strings"
	"unicode"

	"retotal/ingest/csvlog"
	"retotal/ingest/parquetlog"
	"retotal/ingest/problem"
	"retotal/ingest/quantity"
	"retotal/ingest/reading"
	"retotal/ingest/site"
)

// Guess is what a log seems to hold, for a first site file.
type Guess struct {
	*reading.Heading
	Columns [reading.Count][]GuessedColumn // that seem to hold a quantity, in the order of the file
	// Temperatures are those whose header does not say that they are of the air.
	Temperatures []GuessedColumn
	// Pressures are those whose header does not say that they are of the air: of water, perhaps.
	Pressures []GuessedColumn
}

// GuessedColumn is a column that seems to hold a quantity.
type GuessedColumn struct {
	Column site.Column // as a site file calls it
	Unit   string      // in or below its header; "" for none
}

// words by which columns of a quantity are usually named.
var words = []struct {
	quantity reading.Quantity
	words    []string
}{
	{reading.IntervalVolume, []string{"interval", "increment"}},
	{reading.Counter, []string{"total", "counter", "volume", "sum"}},
	{reading.Distance, []string{"distance", "dist", "range", "air gap"}},
	{reading.Downstream, []string{"downstream", "tailwater"}},
	{reading.SecondLevel, []string{"second level"}},
	{reading.Head, []string{"head"}},
	{reading.Level, []string{"level", "stage", "height", "depth"}},
	{reading.Flow, []string{"flow", "discharge"}},
}

// otherWords are of columns that hold something about the instrument, whatever else their names say.
var otherWords = []string{"batt", "volt", "signal", "rssi", "supply", "quality", "alarm", "status"}

// GuessColumns looks for columns whose names or units say what they hold.
func GuessColumns(file string) (*Guess, *problem.Problem) {
	if _, bad := plain(file); bad != nil {
		return nil, bad
	}
	look := csvlog.Heading
	if parquetlog.IsParquet(file) {
		look = parquetlog.Heading
	}
	h, bad := look(file)
	if bad != nil {
		return nil, bad
	}
	g := &Guess{Heading: h}
	for i, name := range h.Names {
		if i == h.Time || i == h.TimeOfDay || name == "" {
			continue
		}
		bare, _ := reading.SplitUnit(name)
		c := GuessedColumn{g.Call(i), h.Units[i]}
		switch q := quantityNamed(bare, c.Unit); {
		case q == reading.Temperature && !saysAir(bare):
			g.Temperatures = append(g.Temperatures, c)
		case q == reading.AirPressure && !saysAir(bare):
			g.Pressures = append(g.Pressures, c)
		case q < reading.Count:
			g.Columns[q] = append(g.Columns[q], c)
		}
	}
	return g, nil
}

// Call is how a site file calls a column, and no other of the log: its name without the unit, the whole of its header,
// or its number.
func (g *Guess) Call(i int) site.Column {
	bare, _ := reading.SplitUnit(g.Names[i])
	for _, name := range []string{bare, g.Names[i]} {
		c := site.Column{Name: name}
		if found := c.Find(len(g.Names), func(k int) string { return g.Names[k] }); slices.Equal(found, []int{i}) {
			return c
		}
	}
	return site.Column{Number: i + 1}
}

// quantityNamed tells by name and unit what a column holds, reading.Count for nothing known; a unit of another kind
// contradicts the name.
func quantityNamed(name, unit string) reading.Quantity {
	name = strings.ToLower(name)
	has := func(word string) bool { return strings.Contains(name, word) }
	u, err := quantity.LookUp(unit)
	switch {
	case slices.ContainsFunc(otherWords, has):
		return reading.Count
	case err == nil && u.Dimension == quantity.TemperatureDimension, err != nil && has("temp"):
		return reading.Temperature
	case err == nil && u.Dimension == quantity.PressureDimension, err != nil && (has("press") || has("baro")):
		return reading.AirPressure
	}
	for _, w := range words {
		if slices.ContainsFunc(w.words, has) && (err != nil || u.Dimension == w.quantity.Dimension()) {
			return w.quantity
		}
	}
	return reading.Count
}

// saysAir reports whether the name of a temperature or a pressure says that it is of the air.
func saysAir(name string) bool {
	letters := func(r rune) bool { return !unicode.IsLetter(r) }
	return slices.ContainsFunc(strings.FieldsFunc(strings.ToLower(name), letters), func(word string) bool {
		return strings.HasPrefix(word, "air") || strings.HasPrefix(word, "baro") || strings.HasPrefix(word, "atmos") ||
			word == "ambient"
	})
}
