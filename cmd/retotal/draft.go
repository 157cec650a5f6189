package main

import (
	"cmp"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"unicode"

	"github.com/spf13/cobra"

	"retotal/ingest"
	"retotal/ingest/problem"
	"retotal/ingest/quantity"
	"retotal/ingest/reading"
	"retotal/ingest/site"
)

func draftCommand() *cobra.Command {
	var file string
	c := &cobra.Command{
		Use:   "draft LOG...",
		Short: "Write a site file to fill in, from a log",
		Long: `Looks at the first log and prints a site file for it: columns and units as far as they can be
recognised, and marked blanks for what a log cannot say: the zone of its clock and the settings of the meter. Where
several columns may give the head, it lists them, and one has to be kept; a temperature is taken for that of the air
only where its header says so. Save it beside the log, fill in the blanks and run retotal check.`,
		Example: "  retotal draft 2031-*.csv > site.toml\n  retotal draft --out site.toml 2031-*.csv",
		Args: func(_ *cobra.Command, args []string) error {
			if len(args) == 0 {
				return usage{"draft needs a log, as in: retotal draft log.csv > site.toml"}
			}
			return nil
		},
		RunE: func(c *cobra.Command, args []string) error {
			g, bad := ingest.GuessColumns(args[0])
			if bad != nil {
				return bad
			}
			if file != "" {
				return writeNew(file, draft(args, g))
			}
			_, err := fmt.Fprint(c.OutOrStdout(), draft(args, g))
			return err
		},
	}
	c.Flags().StringVarP(&file, "out", "o", "", "the file to write; one that is there is left alone")
	return c
}

// writeNew writes a file that is not there yet.
func writeNew(name, text string) error {
	f, err := os.OpenFile(name, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o644)
	switch {
	case errors.Is(err, fs.ErrExist):
		return problem.At(problem.Place{File: name}, "the file is there already, and may have been filled in",
			"a new name", "")
	case err != nil:
		return fmt.Errorf("the site file cannot be written: %w", err)
	}
	_, err = f.WriteString(text)
	if err = errors.Join(err, f.Close()); err != nil {
		return errors.Join(err, os.Remove(name))
	}
	return nil
}

// draft writes the site file.
func draft(files []string, g *ingest.Guess) string {
	var b strings.Builder
	p := func(format string, args ...any) { fmt.Fprintf(&b, format+"\n", args...) }
	columns := strings.Join(g.Names, ", ")
	if strings.Trim(columns, ", ") == "" {
		columns = fmt.Sprintf("%d, without names", len(g.Names))
	}
	p("# A draft: fill in every FILL IN and run retotal check. Columns of the log: %s", oneLine(columns))
	p("id   = %s                      # names the output folder", inQuotes(draftID(files[0])))
	p("name = \"\"                      # FILL IN, for people\n")
	var quoted []string
	for _, f := range files {
		quoted = append(quoted, inQuotes(filepath.Base(f)))
	}
	p("[log]\nfiles     = [%s]   # relative to this file; * stands for anything", strings.Join(quoted, ", "))
	if g.Zoned {
		p("time_zone = \"UTC\"                # the stamps say themselves which instant they mean")
	} else {
		p("time_zone = \"\"                   # FILL IN \"Region/City\" (IANA) where the logger's clock follows local "+
			"time with summer time, \"+HH:MM\" where it stays the same all year%s", firstStamp(g))
	}
	p("\n[log.columns]\ntime = %s", called(g.Call(g.Time)))
	if g.TimeOfDay >= 0 {
		p("time_of_day = %s", called(g.Call(g.TimeOfDay)))
	}
	b.WriteString(draftColumns(g))
	p("\n[settings]                        # as the meter had them, not as they should have been")
	if primaryOf(g) == reading.Distance && !pressed(g) {
		p("empty_distance = \"\"             # FILL IN, as \"1.250 m\": sensor face down to the level of zero flow")
	}
	p("# maximum_head = \"0.40 m\"\n[settings.device]\n" +
		"kind = \"\"                         # FILL IN; retotal devices lists them\n# angle = \"90 deg\"\n")
	p("# [[correction]]                  # what should have been, and why\n# from   = 2031-03-03T00:00:00\n" +
		"# until  = 2031-04-02T10:30:00\n# reason = \"\"\n# empty_distance = \"1.225 m\"")
	return b.String()
}

// draftID names a site by its log.
func draftID(file string) string {
	name, _, _ := strings.Cut(filepath.Base(file), ".")
	id := strings.Trim(strings.Map(func(r rune) rune {
		if r >= 'a' && r <= 'z' || r >= 'A' && r <= 'Z' || r >= '0' && r <= '9' || r == '-' {
			return r
		}
		return '-'
	}, name), "-")
	return cmp.Or(id[:min(len(id), 64)], "site")
}

// primaryOf is the quantity that gives the head: the rawest that the log seems to have; a distance when none is known.
func primaryOf(g *ingest.Guess) reading.Quantity {
	for _, q := range []reading.Quantity{reading.Distance, reading.Level, reading.Head} {
		if len(g.Columns[q]) > 0 {
			return q
		}
	}
	return reading.Distance
}

// pressed reports whether the head can only come from a pressure.
func pressed(g *ingest.Guess) bool {
	return len(g.Pressures) > 0 && len(g.Columns[primaryOf(g)]) == 0
}

// draftColumns writes the columns beside those of the time. Of several that may give the head one has to be chosen
// before the file can be used; of several others none is taken.
func draftColumns(g *ingest.Guess) string {
	var b strings.Builder
	p := func(format string, args ...any) { fmt.Fprintf(&b, format+"\n", args...) }
	primary, wet := primaryOf(g), pressed(g)
	switch {
	case wet && len(g.Pressures) == 1:
		primary = reading.Level
		p("level = %s", draftPressure(g.Pressures[0]))
	case wet:
		primary = reading.Level
		var calls []string
		for _, c := range g.Pressures {
			calls = append(calls, called(c.Column))
		}
		p("level = [%s]   # FILL IN: keep the one that gives the head, as in", strings.Join(calls, ", "))
		p("# level = %s", draftPressure(g.Pressures[0]))
	default:
		for _, c := range g.Pressures {
			p("# level = %s", draftPressure(c))
		}
	}
	for i, name := range reading.Names() {
		list := g.Columns[i]
		switch {
		case reading.Quantity(i) == reading.Level && wet:
		case reading.Quantity(i) == reading.AirPressure && !wet:
			for _, c := range list {
				p("# %s = %s", name, draftColumn(reading.AirPressure, c))
			}
		case reading.Quantity(i) == primary && len(list) == 0 && g.Names[g.Time] == "":
			p("%s = { number = 0, unit = \"\" }   # FILL IN the column that gives the head, from 1: distance, "+
				"level or head", name)
		case reading.Quantity(i) == primary && len(list) == 0:
			p("%s = \"\"                   # FILL IN the column that gives the head: distance, level or head; "+
				"delete the line if only flows are logged", name)
		case len(list) == 1:
			p("%s = %s", name, draftColumn(reading.Quantity(i), list[0]))
		case reading.Quantity(i) == primary:
			var calls []string
			for _, c := range list {
				calls = append(calls, called(c.Column))
			}
			p("%s = [%s]   # FILL IN: keep the one that gives the head, as in", name, strings.Join(calls, ", "))
			p("# %s = %s", name, draftColumn(reading.Quantity(i), list[0]))
		default:
			for _, c := range list {
				p("# %s = %s   # one of %d that it may be", name, draftColumn(reading.Quantity(i), c), len(list))
			}
		}
	}
	for _, c := range g.Temperatures {
		p("# temperature = %s   # only if it is that of the air", draftColumn(reading.Temperature, c))
	}
	return b.String()
}

// draftColumn is one column as it stands in a site file, with what to say of its unit.
func draftColumn(q reading.Quantity, c ingest.GuessedColumn) string {
	_, err := quantity.LookUp(c.Unit)
	switch {
	case c.Unit == "mA" || c.Unit == "%":
		return fmt.Sprintf("{ %s, unit = %q, low = \"\", high = \"\" }   # FILL IN what both ends of the scale "+
			"stand for", keyed(c.Column), c.Unit)
	case c.Unit == "":
		return fmt.Sprintf("{ %s, unit = \"\" }   # FILL IN the unit", keyed(c.Column))
	case err != nil:
		return fmt.Sprintf("{ %s, unit = \"\" }   # FILL IN the unit: %s", keyed(c.Column), oneLine(err.Error()))
	}
	return fmt.Sprintf("%s   # in %s, as its header says", called(c.Column), oneLine(c.Unit))
}

// draftPressure is a column with a pressure as it stands in a site file for a level.
func draftPressure(c ingest.GuessedColumn) string {
	const density = `density = "" }   # FILL IN that of the water: "998.2 kg/m3" is fresh water at 20 degC`
	if _, err := quantity.LookUp(c.Unit); err != nil {
		return fmt.Sprintf(`{ %s, unit = "", %s; and the unit`, keyed(c.Column), density)
	}
	return fmt.Sprintf("{ %s, %s; in %s, as its header says", keyed(c.Column), density, oneLine(c.Unit))
}

// called is a column in a site file: its name in quotes, or its number.
func called(c site.Column) string {
	if c.Number > 0 {
		return fmt.Sprint(c.Number)
	}
	return inQuotes(c.Name)
}

// keyed is the same in a table.
func keyed(c site.Column) string {
	if c.Number > 0 {
		return fmt.Sprintf("number = %d", c.Number)
	}
	return "name = " + inQuotes(c.Name)
}

// inQuotes writes a text as TOML does: the escapes of Go that it does not have are written as \u.
func inQuotes(text string) string {
	var b strings.Builder
	for _, r := range text {
		switch {
		case r == '"' || r == '\\':
			b.WriteRune('\\')
			b.WriteRune(r)
		case unicode.IsControl(r):
			fmt.Fprintf(&b, "\\u%04x", r)
		default:
			b.WriteRune(r)
		}
	}
	return `"` + b.String() + `"`
}

// oneLine keeps what a log says within a comment.
func oneLine(text string) string {
	return strings.Map(func(r rune) rune {
		if unicode.IsControl(r) {
			return ' '
		}
		return r
	}, text)
}

// firstStamp quotes the first stamp, where it is text.
func firstStamp(g *ingest.Guess) string {
	if g.First == "" {
		return ""
	}
	return "; its first stamp is " + oneLine(g.First)
}
