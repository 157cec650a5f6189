// Package page makes the page of a site: one file that needs no other.
package page

import (
	"bytes"
	_ "embed" // the page
	"html/template"
	"strings"
	"time"

	"retotal/ingest/quantity"
	"retotal/report"
	"retotal/report/picture"
)

//go:embed page.html
var text string

var page = template.Must(
	template.New("page").Funcs(template.FuncMap{"at": report.ShortTime, "seconds": seconds, "stop": stop}).Parse(text),
)

// stop ends a sentence with a full stop, unless it ends with one: a name may end with an initial.
func stop(text string) string {
	if strings.HasSuffix(text, ".") {
		return text
	}
	return text + "."
}

// seconds writes a duration given in seconds.
func seconds(s float64) string { return quantity.FormatDuration(time.Duration(s * 1e9)) }

// data is what the template shows.
type data struct {
	*report.Details
	Pictures []drawing
}

type drawing struct {
	Caption string
	SVG     template.HTML
}

// HTML makes the page, with the pictures in it.
func HTML(run *report.Run, pictures []picture.Drawn) ([]byte, error) {
	d := data{Details: report.NewDetails(run)}
	for _, p := range pictures {
		d.Pictures = append(d.Pictures, drawing{p.Caption, inline(p.SVG)})
	}
	var b bytes.Buffer
	err := page.Execute(&b, d)
	return b.Bytes(), err
}

// inline takes the drawing out of an SVG file: what comes before its root element does not belong in a page.
func inline(svg []byte) template.HTML {
	if i := bytes.Index(svg, []byte("<svg")); i >= 0 {
		svg = svg[i:]
	}
	return template.HTML(svg) // drawn by ourselves; its texts are escaped by the library
}
