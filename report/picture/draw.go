package picture

import (
	"cmp"
	"fmt"
	"slices"
	"strings"

	"retotal/ingest/problem"
	"retotal/report"
)

// makers draw the pictures that go by one name each, in the order of a report; nil when there is nothing to show.
var makers = []struct {
	name    string
	draw    func(*Gatherer, *report.Run, Options) *Picture
	without string // why there may be nothing to show
}{
	{"totals", func(_ *Gatherer, r *report.Run, o Options) *Picture { return Totals(r, o) }, ""},
	{"hydrograph", (*Gatherer).Hydrograph, ""},
	{"months", nil, ""}, // pages
	{"cumulative", func(_ *Gatherer, r *report.Run, o Options) *Picture { return Cumulative(r, o) }, ""},
	{"duration", func(_ *Gatherer, r *report.Run, o Options) *Picture { return Duration(r, o) },
		fmt.Sprintf("it needs %d measured days", leastDuration)},
	{"rating", (*Gatherer).Rating, "no reading counts"},
	{"visits", func(_ *Gatherer, r *report.Run, o Options) *Picture { return Visits(r, o) },
		"no site visit has readings near it"},
	{"budget", func(_ *Gatherer, r *report.Run, o Options) *Picture { return Budget(r, o) },
		"the total has no uncertainty"},
}

// Names are what a single picture is asked for by.
func Names() (list []string) {
	for _, m := range makers {
		list = append(list, m.name)
	}
	return list
}

// Pages draws what goes by a name: one picture, or all pages of the months. It is an error when there is nothing to
// show.
func (g *Gatherer) Pages(run *report.Run, name string, o Options) ([]*Picture, error) {
	if name == "months" {
		return g.Months(run, o), nil
	}
	for _, m := range makers {
		if m.name != name {
			continue
		}
		if p := m.draw(g, run, o); p != nil {
			return []*Picture{p}, nil
		}
		return nil, fmt.Errorf("there is nothing to show in %s: %s", name, m.without)
	}
	return nil, fmt.Errorf("there is no picture %q: one of %s", name, strings.Join(Names(), ", "))
}

// Pictures are those of a report; the months, which are pages, are not among them.
func (g *Gatherer) Pictures(run *report.Run) (list []*Picture) {
	for _, m := range makers {
		if m.draw == nil {
			continue
		}
		if p := m.draw(g, run, Options{}); p != nil {
			list = append(list, p)
		}
	}
	return list
}

// Drawn is a finished picture as the page needs it.
type Drawn struct {
	*Picture
	SVG []byte // with variables for colours, see Inline
}

// Draw draws every picture as PNG and SVG, hands the files to write, which is called by several goroutines, and returns
// the pictures for the page.
func (g *Gatherer) Draw(run *report.Run, write func(name string, content []byte) error) ([]Drawn, error) {
	list := g.Pictures(run)
	out := make([]Drawn, len(list))
	errs := make([]error, len(list))
	problem.Beside(len(list), func(i int) {
		p := list[i]
		out[i] = Drawn{p, p.Inline()}
		raster, err := p.PNG()
		errs[i] = cmp.Or(err, write("plots/"+p.Name+".png", raster), write("plots/"+p.Name+".svg", p.SVG()))
	})
	return slices.Clip(out), cmp.Or(errs...)
}
