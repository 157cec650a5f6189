package main

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"path/filepath"
	"slices"
	"strconv"
	"strings"

	"github.com/spf13/cobra"

	"retotal/ingest"
	"retotal/ingest/problem"
	"retotal/ingest/quantity"
	"retotal/ingest/reading"
	"retotal/ingest/site"
	"retotal/recompute/fingerprint"
	"retotal/report"
)

// export is a log without a site file, and what was said of it.
type export struct {
	file                  string
	level, distance, flow string // columns, each with its unit behind it where the header has none
	dateOrder, decimal    string
}

// addExport adds the flags of a log without a site file.
func addExport(c *cobra.Command, e *export) {
	c.Flags().StringVar(&e.file, "log", "", "a log without a site file: which device and size make its flow?")
	c.Flags().StringVar(&e.level, "level", "", "with --log: the column of the level or head, as 'Level (mm)'")
	c.Flags().StringVar(&e.distance, "distance", "", "with --log: the column of the distance down to the water")
	c.Flags().StringVar(&e.flow, "flow", "", "with --log: the column of the flow, as 'Flow (L/s)'")
	c.Flags().StringVar(&e.dateOrder, "date-order", "", "with --log: day-first, month-first or year-first")
	c.Flags().StringVar(&e.decimal, "decimal", "", "with --log: point or comma")
}

// alone refuses what only goes with a log without a site file.
func (e *export) alone() error {
	for flag, said := range map[string]string{"level": e.level, "distance": e.distance, "flow": e.flow,
		"date-order": e.dateOrder, "decimal": e.decimal} {
		if said != "" {
			return usage{fmt.Sprintf("--%s goes with --log; of a site, its site file says it", flag)}
		}
	}
	return nil
}

// auditExport takes the fingerprint of a log and prints it.
func auditExport(c *cobra.Command, args []string, o auditOptions) error {
	e := &o.export
	switch {
	case len(args) > 0:
		return usage{"--log takes a log in place of site files: leave out " + args[0]}
	case o.trial != 0 || o.top != 0:
		return usage{"--log has no site file to compare with: leave out --write-trial and --top"}
	case e.level != "" && e.distance != "":
		return usage{"the head comes from one column: leave out --level or --distance"}
	}
	found, err := e.fingerprint(c.Context())
	if err != nil {
		return err
	}
	if o.json {
		err = json.NewEncoder(c.OutOrStdout()).Encode(found)
	} else if !o.quiet || !found.Told() {
		found.Text(c.OutOrStdout())
	}
	if err == nil && !found.Told() {
		return status(inPart)
	}
	return err
}

// fingerprint reads the log and finds what makes its flow.
func (e *export) fingerprint(ctx context.Context) (*report.Fingerprint, error) {
	s, units, err := e.site()
	if err != nil {
		return nil, err
	}
	log, err := ingest.Open(s)
	if err != nil {
		return nil, err
	}
	boundMemory(log.Total())
	r := &fingerprint.Record{Distance: s.Log.Primary == reading.Distance}
	var stamps, doubled []int64
	for again := true; again; {
		again = false
		r.At, r.Level, r.Flow, stamps, doubled = nil, nil, nil, nil, nil
		for b, err := range log.Batches(ctx) {
			if errors.Is(err, reading.ErrAgain) {
				again = true
				break
			}
			if err != nil {
				return nil, err
			}
			stamps = append(stamps, b.Time...)
			for i, at := range b.Time {
				if b.Conflict != nil && b.Conflict[i] {
					doubled = append(doubled, at)
				} else if b.State[reading.Flow][i] == reading.Present {
					r.At, r.Level = append(r.At, at), append(r.Level, b.Value[s.Log.Primary][i])
					r.Flow = append(r.Flow, b.Value[reading.Flow][i])
				}
			}
		}
	}
	r.Interval = log.Interval.Nanoseconds()
	r.LevelStep, r.FlowStep = log.Resolution[s.Log.Primary], log.Resolution[reading.Flow]
	r.LevelUnits, r.FlowUnits = otherUnits(units[0], quantity.LengthDimension), otherUnits(units[1],
		quantity.FlowDimension)
	clock := fingerprint.Clock(slices.Compact(stamps), doubled, r.Interval)
	return report.NewFingerprint(filepath.Base(e.file), fingerprint.Find(r), log, clock), nil
}

// otherUnits are the units of a dimension but the one that was taken.
func otherUnits(taken quantity.Unit, d quantity.Dimension) (list []fingerprint.Unit) {
	for _, symbol := range quantity.Symbols(d) {
		if times := quantity.MustLookUp(symbol).Factor / taken.Factor; math.Abs(times-1) > 1e-9 {
			list = append(list, fingerprint.Unit{Name: symbol, Times: times})
		}
	}
	return list
}

// site is a site file that says no more than where the columns are, and the units of level and flow.
func (e *export) site() (*site.Site, [2]quantity.Unit, error) {
	var units [2]quantity.Unit
	g, bad := ingest.GuessColumns(e.file)
	if bad != nil {
		return nil, units, bad
	}
	text := fmt.Sprintf("id = \"export\"\n[log]\nfiles = [%s]\ntime_zone = \"+00:00\"\n",
		inQuotes(filepath.Base(e.file)))
	for key, value := range map[string]string{"date_order": e.dateOrder, "decimal": e.decimal} {
		if value != "" {
			text += fmt.Sprintf("%s = %s\n", key, inQuotes(value))
		}
	}
	text += "[log.columns]\ntime = " + called(g.Call(g.Time)) + "\n"
	if g.TimeOfDay >= 0 {
		text += "time_of_day = " + called(g.Call(g.TimeOfDay)) + "\n"
	}
	var problems problem.List
	level, of, bad := e.column(g, []named{{reading.Level, "level", e.level}, {reading.Head, "level", e.level},
		{reading.Distance, "distance", e.distance}})
	if bad != nil {
		problems.Add(bad)
	}
	flow, _, bad := e.column(g, []named{{reading.Flow, "flow", e.flow}})
	if bad != nil {
		problems.Add(bad)
	}
	if err := problems.Err(); err != nil {
		return nil, units, err
	}
	for i, c := range []ingest.GuessedColumn{level, flow} {
		q := []reading.Quantity{of, reading.Flow}[i]
		u, err := quantity.LookUp(c.Unit)
		if err != nil || u.Dimension != q.Dimension() {
			problems.Add(e.unitless(c, q))
			continue
		}
		units[i] = u
		text += fmt.Sprintf("%v = { %s, unit = %s }\n", q, keyed(c.Column), inQuotes(c.Unit))
	}
	if err := problems.Err(); err != nil {
		return nil, units, err
	}
	// A device has to stand there; nothing is computed with it.
	text += "[settings]\n"
	if of == reading.Distance {
		text += "empty_distance = \"1 m\"\n"
	}
	text += "[settings.device]\nkind = \"v-notch\"\nangle = \"90 deg\"\n"
	s, err := site.Parse(filepath.Join(filepath.Dir(e.file), "(no site file)"), []byte(text))
	return s, units, err
}

// named is a quantity that may be asked for, the flag that names its column, and what it says.
type named struct {
	quantity   reading.Quantity
	flag, said string
}

// column is the one that holds the first of some quantities that there is: that which was named, else the only one that
// seems to.
func (e *export) column(g *ingest.Guess, wanted []named) (ingest.GuessedColumn, reading.Quantity, *problem.Problem) {
	refuse := func(found, remedy string) (ingest.GuessedColumn, reading.Quantity, *problem.Problem) {
		return ingest.GuessedColumn{}, 0, problem.At(problem.Place{File: e.file}, found, "", remedy)
	}
	var titles []string
	for i, name := range g.Names {
		if i != g.Time && i != g.TimeOfDay {
			titles = append(titles, strconv.Quote(name))
		}
	}
	var flags []string
	for _, w := range wanted {
		if flag := "--" + w.flag; !slices.Contains(flags, flag) {
			flags = append(flags, flag)
		}
		if w.said == "" {
			continue
		}
		c, ok := namedColumn(g, w.said)
		if !ok {
			return refuse(fmt.Sprintf("the log has no column %q", w.said), "one of "+strings.Join(titles, ", "))
		}
		return c, w.quantity, nil
	}
	as := strings.Join(flags, " or ") + fmt.Sprintf(" 'NAME (unit)'; its columns are %s", strings.Join(titles, ", "))
	for _, w := range wanted {
		switch list := g.Columns[w.quantity]; len(list) {
		case 0:
		case 1:
			return list[0], w.quantity, nil
		default:
			return refuse(fmt.Sprintf("several columns may be the %v", w.quantity), "name one with "+as)
		}
	}
	if len(g.Pressures) > 0 && wanted[0].quantity == reading.Level {
		return refuse("the level is logged as a pressure, which needs the density of the water",
			"write a site file with retotal draft; or name another column with "+as)
	}
	return refuse(fmt.Sprintf("no column seems to hold the %s", wanted[0].flag), "name it with "+as)
}

// namedColumn finds a column by its whole header, its name without the unit, or its number; a unit behind it is that of
// the column where the header has none.
func namedColumn(g *ingest.Guess, said string) (ingest.GuessedColumn, bool) {
	bare, unit := reading.SplitUnit(said)
	for _, text := range []string{said, bare} {
		c := site.Column{Name: text}
		found := c.Find(len(g.Names), func(i int) string { return g.Names[i] })
		if n, err := strconv.Atoi(text); err == nil && n >= 1 && n <= len(g.Names) && len(found) == 0 {
			found = []int{n - 1}
		}
		if len(found) == 1 {
			i := found[0]
			if g.Units[i] != "" && unit == "" {
				unit = g.Units[i]
			}
			return ingest.GuessedColumn{Column: g.Call(i), Unit: unit}, true
		}
	}
	return ingest.GuessedColumn{}, false
}

// unitless says that the unit of a column is not known, and how to name it.
func (e *export) unitless(c ingest.GuessedColumn, q reading.Quantity) *problem.Problem {
	name, flag := c.Column.Name, "level"
	if name == "" {
		name = strconv.Itoa(c.Column.Number)
	}
	switch q {
	case reading.Flow:
		flag = "flow"
	case reading.Distance:
		flag = "distance"
	}
	found := fmt.Sprintf("the header of column %q does not say its unit", name)
	if c.Unit != "" {
		found = fmt.Sprintf("column %q is in %q, which is no unit of a %v", name, c.Unit, q)
	}
	bare, _ := reading.SplitUnit(name)
	return problem.At(problem.Place{File: e.file}, found, quantity.Unit1(q.Dimension())+" or another unit",
		fmt.Sprintf("name it: --%s '%s (%s)'", flag, bare, quantity.Unit1(q.Dimension())))
}
