package report

import (
	"encoding/csv"
	"io"
	"strconv"

	"retotal/ingest/quantity"
)

// RatedFlow is the flow of a rating at a head, in the unit that was asked for.
type RatedFlow struct {
	Rating     string   `json:"rating"`
	Head       float64  `json:"head_m"`
	Downstream *float64 `json:"downstream_head_m,omitempty"`
	AtLeast    *float64 `json:"flow_at_least,omitempty"` // 0 where flow is a bound: the flow lies between the two
	Flow       float64  `json:"flow"`
	Unit       string   `json:"flow_unit"`
	PerMM      float64  `json:"percent_per_mm"` // change of the free flow for 1 mm more head
	Status     string   `json:"status"`
}

// RatedHeading writes the header of rated flows as CSV, with a downstream head or without.
func RatedHeading(w io.Writer, unit quantity.Unit, below bool) {
	flow := "flow (" + unit.Symbol + ")"
	line := []string{"rating", "head (m)", flow, "percent per mm", "status"}
	if below {
		line = []string{
			"rating", "head (m)", "downstream head (m)", "flow at least (" + unit.Symbol + ")", flow,
			"percent per mm", "status",
		}
	}
	writeLine(w, line)
}

// CSV writes one line.
func (r *RatedFlow) CSV(w io.Writer) {
	number := func(v float64, format byte, digits int) string { return strconv.FormatFloat(v, format, digits, 64) }
	line := []string{r.Rating, number(r.Head, 'f', 4)}
	if r.Downstream != nil {
		least := r.Flow
		if r.AtLeast != nil {
			least = *r.AtLeast
		}
		line = append(line, number(*r.Downstream, 'f', 4), number(least, 'g', 6))
	}
	writeLine(w, append(line, number(r.Flow, 'g', 6), number(r.PerMM, 'f', 3), r.Status))
}

func writeLine(w io.Writer, line []string) {
	c := csv.NewWriter(w)
	c.Write(line)
	c.Flush()
}
