package main

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"

	"github.com/spf13/cobra"

	"retotal/ingest"
	"retotal/ingest/problem"
	"retotal/ingest/reading"
)

func draftCommand() *cobra.Command {
	var file string
	c := &cobra.Command{
		Use:   "draft LOG...",
		Short: "Write a site file to fill in, from a log",
		Long: `Looks at the first log and prints a site file for it: columns and units as far as they can be
recognised, and marked blanks for what a log cannot say: the zone of its clock and the settings of the meter. Save it
beside the log, fill in the blanks and run retotal check.`,
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
	name, _, _ := strings.Cut(filepath.Base(files[0]), ".")
	id := strings.Trim(strings.Map(func(r rune) rune {
		if r >= 'a' && r <= 'z' || r >= 'A' && r <= 'Z' || r >= '0' && r <= '9' || r == '-' {
			return r
		}
		return '-'
	}, name), "-")
	p("# A draft: fill in every FILL IN and run retotal check. Columns of the log: %s", strings.Join(g.Names, ", "))
	p("id   = %q                      # names the output folder", id)
	p("name = \"\"                      # FILL IN, for people\n")
	var quoted []string
	for _, f := range files {
		quoted = append(quoted, fmt.Sprintf("%q", filepath.Base(f)))
	}
	p("[log]\nfiles     = [%s]   # relative to this file; * stands for anything", strings.Join(quoted, ", "))
	if g.Zoned {
		p("time_zone = \"UTC\"                # the stamps say themselves which instant they mean")
	} else {
		p("time_zone = \"\"                   # FILL IN what the logger's clock keeps, as \"+00:00\" or "+
			"\"Europe/Dublin\"%s",
			firstStamp(g))
	}
	bare, _ := reading.SplitUnit(g.Names[g.Time])
	p("\n[log.columns]\ntime = %q", bare)
	if g.TimeOfDay >= 0 {
		p("time_of_day = %q", g.Names[g.TimeOfDay])
	}
	primary := false
	for _, q := range reading.Names() {
		c, ok := g.Columns[q]
		switch {
		case !ok:
		case c.Unit == "":
			p("%s = { name = %q, unit = \"\" }   # FILL IN the unit", q, c.Name)
		default:
			p("%s = %q   # in %s, as its header says", q, c.Name, c.Unit)
		}
		primary = primary || ok && (q == "distance" || q == "level" || q == "head")
	}
	if !primary {
		p("distance = \"\"                   # FILL IN the column that gives the head: distance, level or head")
	}
	p("\n[settings]                        # as the meter had them, not as they should have been")
	if _, ok := g.Columns["distance"]; ok || !primary {
		p("empty_distance = \"\"             # FILL IN, as \"1.250 m\": sensor face down to the level of zero flow")
	}
	p("# maximum_head = \"0.40 m\"\n[settings.device]\n" +
		"kind = \"\"                         # FILL IN; retotal devices lists them\n# angle = \"90 deg\"\n")
	p("# [[correction]]                  # what should have been, and why\n# from   = 2031-03-03T00:00:00\n" +
		"# until  = 2031-04-02T10:30:00\n# reason = \"\"\n# empty_distance = \"1.225 m\"")
	return b.String()
}

// firstStamp quotes the first stamp, where it is text.
func firstStamp(g *ingest.Guess) string {
	if g.First == "" {
		return ""
	}
	return "; its first stamp is " + g.First
}
