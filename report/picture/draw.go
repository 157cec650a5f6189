package picture

import (
	"cmp"
	"fmt"
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

// Pictures are those of a report, the pages of months among them where flow is not drawn as a line anyway.
func (g *Gatherer) Pictures(run *report.Run) (list []*Picture) {
	for _, m := range makers {
		if m.draw == nil {
			if run.Result.Total.Until-run.Result.Total.From > mostLine {
				list = append(list, g.Months(run, Options{})...)
			}
		} else if p := m.draw(g, run, Options{}); p != nil {
			list = append(list, p)
		}
	}
	return list
}

// Drawn is a finished picture as the page needs it.
type Drawn struct {
	*Picture
	// SVG is an element with variables for colours, see Inline; all pages of months stand in that of the first.
	SVG []byte
	// Phone is the same for a narrow screen, a month an element; nil where there is only one of them.
	Phone []byte
}

// Draw draws every picture as SVG and, but for months, as PNG, hands the files to write, which is called by several
// goroutines, and returns the pictures for page and paper.
func (g *Gatherer) Draw(run *report.Run, write func(name string, content []byte) error) ([]Drawn, error) {
	list := g.Pictures(run)
	out := make([]Drawn, len(list))
	errs := make([]error, len(list))
	problem.Beside(len(list), func(i int) {
		elements := list[i].elements()
		out[i] = Drawn{Picture: list[i], SVG: list[i].inline(elements)}
		errs[i] = list[i].save(elements, write)
		if list[i].Name == "totals" {
			for _, p := range Phone(run) {
				out[i].Phone = append(out[i].Phone, p.Inline()...)
			}
		}
	})
	first := 0
	for i := range out {
		if strings.HasPrefix(out[i].Name, "months-") {
			out[first].SVG, out[i].SVG = append(out[first].SVG, out[i].SVG...), nil
		} else {
			first = i
		}
	}
	return out, cmp.Or(errs...)
}

// save hands the files of a picture on. Months are lines, which dots would only blur, and large.
func (p *Picture) save(elements []byte, write func(string, []byte) error) error {
	if err := write("plots/"+p.Name+".svg", p.file(elements)); err != nil || strings.HasPrefix(p.Name, "months") {
		return err
	}
	raster, err := p.PNG()
	if err != nil {
		return err
	}
	return write("plots/"+p.Name+".png", raster)
}
