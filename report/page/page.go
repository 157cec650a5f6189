// Package page makes the page of a site: one file that needs no other.
package page

import (
	"bytes"
	_ "embed" // template and style
	"html/template"
	"strings"

	"retotal/report"
	"retotal/report/explore"
	"retotal/report/picture"
)

//go:embed page.html
var text string

//go:embed page.css
var style string

var page = template.Must(template.New("page").Funcs(template.FuncMap{
	"dict":  func(root *data, item any) pair { return pair{root, item} },
	"add":   func(i int) int { return i + 1 },
	"class": class,
}).Parse(strings.Replace(text, "/*style*/", style, 1)))

// pair hands a part of a template its item with the whole.
type pair struct {
	Root *data
	Item any
}

// class is the style of a cell.
func class(c report.PageCell) string {
	var list []string
	for _, x := range []struct {
		is   bool
		name string
	}{{c.Right, "r"}, {c.Small, "s"}, {c.Mono, "mono"}, {c.Bar != "", "bar"}} {
		if x.is {
			list = append(list, x.name)
		}
	}
	return strings.Join(list, " ")
}

// mostPoints is how many open points the page shows at once.
const mostPoints = 7

// Shown and Hidden are the open points of the page and those that a click shows; Next is the number of the first of
// these.
func (d *data) Shown() []report.Point  { return d.Points[:min(mostPoints, len(d.Points))] }
func (d *data) Hidden() []report.Point { return d.Points[min(mostPoints, len(d.Points)):] }
func (d *data) Next() int              { return mostPoints + 1 }

// data is what the template shows.
type data struct {
	*report.Letter
	Sections []report.Section
	Cautions []string
	Daily    *drawing
	Explore  *explore.Section // nil where there are no readings to look into
	Days     *report.Calendar
	Version  string
	drawings map[string]*drawing
}

// drawing is a picture, wide and, where there is one, for a narrow screen.
type drawing struct {
	Caption    string
	SVG, Phone template.HTML
}

// Drawing is the picture of a name; nil where there is none. The template asks for it.
func (d *data) Drawing(name string) *drawing { return d.drawings[name] }

// HTML makes the page, with the pictures and the explorer in it, which may be nil.
func HTML(run *report.Run, pictures []picture.Drawn, explorer *explore.Section) ([]byte, error) {
	d := data{
		Letter:   report.NewLetter(run),
		Sections: report.Sections(run),
		Cautions: report.Cautions,
		Version:  run.Version,
		Explore:  explorer,
		Days:     report.NewCalendar(run),
		drawings: map[string]*drawing{},
	}
	for _, p := range pictures {
		// drawn by ourselves; texts are escaped by the picture
		d.drawings[p.Name] = &drawing{p.Caption, template.HTML(p.SVG), template.HTML(p.Phone)}
	}
	d.Daily = d.drawings["totals"]
	var b bytes.Buffer
	err := page.Execute(&b, &d)
	return b.Bytes(), err
}
