// Package waterml writes corrected flows as a time series that other hydrological programs read: WaterML 2.0 part 1,
// OGC 10-126r4.
package waterml

import (
	"bytes"
	_ "embed" // the document
	"encoding/xml"
	"strconv"
	"strings"
	"text/template"
	"time"

	"retotal/recompute"
	"retotal/recompute/total"
	"retotal/report"
)

//go:embed collection.xml
var text string

var document = template.Must(template.New("waterml").Funcs(template.FuncMap{"xml": escaped}).Parse(text))

// escaped writes a text for XML; what XML cannot hold becomes U+FFFD.
func escaped(text string) (string, error) {
	var b bytes.Buffer
	err := xml.EscapeText(&b, []byte(text))
	return b.String(), err
}

// series is what the document shows.
type series struct {
	ID, Name, Zone, Offset string
	From, Until            string
	Quality                string // of points of which nothing else is said
	Points                 []point
}

// point is the mean flow of a reporting day, m³/s, by the time at which the day begins.
type point struct {
	Time, Value string // no value where nothing is known
	Quality     string // "" for that of the series
	Qualifier   string // what the flow is made of besides what was measured; ""
}

// Daily writes the corrected mean flow of every reporting day, m³/s, over the time that is covered. A day without any
// is nil; one that is not whole is of suspect quality, and one in which something was bridged, bounded, estimated or
// filled an estimate. Until a second person has checked the correction the rest is unchecked.
func Daily(run *report.Run) ([]byte, error) {
	s, res := run.Site(), run.Result
	zone := s.Report.Clock.Location
	at := func(ns int64) string { return time.Unix(0, ns).In(zone).Format("2006-01-02T15:04:05.999Z07:00") }
	out := series{
		ID: s.ID, Name: run.Title(), Zone: s.Report.Clock.Name, From: at(res.Total.From), Until: at(res.Total.Until),
		Offset:  offset(time.Unix(0, res.Total.From).In(zone)),
		Quality: "unchecked",
	}
	if s.Approval.Reviewer != "" {
		out.Quality = "good"
	}
	for i := range res.Days {
		out.Points = append(out.Points, pointOf(res, &res.Days[i], at(res.Days[i].From)))
	}
	var b bytes.Buffer
	err := document.Execute(&b, &out)
	return b.Bytes(), err
}

func offset(t time.Time) string { return t.Format("-07:00") }

// pointOf is the point of a day.
func pointOf(res *recompute.Result, d *recompute.Period, at string) point {
	if d.After.Missing() {
		return point{Time: at, Quality: "missing"}
	}
	p := point{
		Time:  at,
		Value: strconv.FormatFloat(d.After.M3()/(float64(d.After.Covered)*1e-9), 'g', 9, 64),
	}
	var made []string
	for c := total.Measured + 1; c < total.Classes; c++ {
		if !d.Classes[c].Missing() {
			made = append(made, c.String())
		}
	}
	p.Qualifier = strings.Join(made, ", ")
	switch {
	case res.Covered(d, d.After) < recompute.WholeDay:
		p.Quality = "suspect"
	case len(made) > 0:
		p.Quality = "estimate"
	}
	return p
}
