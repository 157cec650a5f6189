package main

import (
	"encoding/json"
	"fmt"
	"io"
	"math"

	"retotal/ingest/quantity"
	"retotal/recompute/device"
	"retotal/report"
)

// headToRate is one head that the flags ask for, and what is said of it beside the status.
type headToRate struct {
	head float64
	note string
}

// allRows rates the heads of every rating. A flow that a rating does not reach is told in missed; when nothing at all
// is reached that is an error.
func allRows(
	ratings []rated, o rateOptions, unit quantity.Unit, below *float64,
) (rows [][]report.RatedFlow, missed []string, err error) {
	reached := 0
	for _, r := range ratings {
		heads, out, err := headsToRate(r, o, unit)
		if err != nil {
			return nil, nil, err
		}
		var own []report.RatedFlow
		for _, h := range heads {
			own = append(own, newRow(r, h, unit, below))
		}
		reached += len(own)
		rows, missed = append(rows, own), append(missed, out...)
	}
	if reached == 0 {
		return nil, nil, usage{missed[0]}
	}
	return rows, missed, nil
}

// headsToRate lists the heads that the flags ask for; without any, twenty steps up to the device's limit or 0.5 m.
func headsToRate(r rated, o rateOptions, unit quantity.Unit) (heads []headToRate, missed []string, err error) {
	for _, text := range o.heads {
		v, err := quantity.Parse(text, quantity.LengthDimension)
		if err != nil {
			return nil, nil, usage{"--head: " + err.Error()}
		}
		heads = append(heads, headToRate{v.SI, ""})
	}
	for _, text := range o.flows {
		v, err := quantity.Parse(text, quantity.FlowDimension)
		if err != nil {
			return nil, nil, usage{"--flow: " + err.Error()}
		}
		low, high, ok := device.Heads(r.rating, v.SI)
		switch {
		case !ok:
			missed = append(missed, fmt.Sprintf("--flow %s: the rating (%s) does not reach this flow%s",
				text, r.name, greatest(r.rating, unit)))
		case high > low:
			heads = append(heads, headToRate{low, "; the lower of two depths"},
				headToRate{high, "; the upper of two depths"})
		default:
			heads = append(heads, headToRate{low, ""})
		}
	}
	if len(o.heads)+len(o.flows) > 0 {
		return heads, missed, nil
	}
	heads, err = tableHeads(r.rating, o)
	return heads, nil, err
}

// greatest says what the greatest flow of a rating with an end is.
func greatest(r device.Rating, unit quantity.Unit) string {
	top := r.Limits().End
	if p, ok := r.(device.Peaked); ok && p.Peak() > 0 {
		top = p.Peak()
	}
	if math.IsInf(top, 1) {
		return ""
	}
	return fmt.Sprintf("; its greatest is %s %s at %s m", quantity.Digits(unit.FromSI(r.Flow(top)), 5), unit.Symbol,
		quantity.Digits(top, 4))
}

func tableHeads(r device.Rating, o rateOptions) ([]headToRate, error) {
	top := r.Limits().High
	if math.IsInf(top, 1) {
		top = 0.5
	}
	bounds := [3]float64{0, top, top / 20}
	for i, text := range []string{o.from, o.to, o.step} {
		if text == "" {
			continue
		}
		v, err := quantity.Parse(text, quantity.LengthDimension)
		if err != nil {
			return nil, usage{[]string{"--from", "--to", "--step"}[i] + ": " + err.Error()}
		}
		bounds[i] = v.SI
	}
	from, to, step := bounds[0], bounds[1], bounds[2]
	if step <= 0 || to < from || (to-from)/step > 1e5 {
		return nil,
			usage{"the table has no rows, or too many: --from must not be above --to, and --step must be above 0"}
	}
	var heads []headToRate
	for i := 0; from+float64(float64(i)*step) <= to+1e-9; i++ {
		heads = append(heads, headToRate{from + float64(float64(i)*step), ""})
	}
	return heads, nil
}

func newRow(r rated, h headToRate, unit quantity.Unit, below *float64) report.RatedFlow {
	q := r.rating.Flow(h.head)
	row := report.RatedFlow{
		Rating:     r.name,
		Head:       math.Round(h.head*1e6) / 1e6,
		Flow:       unit.FromSI(q),
		Unit:       unit.Symbol,
		Downstream: below,
		Status:     statusAt(r.rating, h.head) + h.note,
	}
	if q > 0 {
		row.PerMM = 0.1 * r.rating.Slope(h.head) / q
	}
	if below != nil {
		drown(&row, r.rating, h.head, *below, unit)
	}
	return row
}

// drown puts what is known of the flow under a downstream head in the place of the free flow.
func drown(row *report.RatedFlow, r device.Rating, h, below float64, unit quantity.Unit) {
	limit, d := math.Inf(1), device.Drownable(nil)
	if known, ok := r.(device.Drownable); ok {
		d = known
		limit, _ = d.ModularLimit()
	}
	if math.IsInf(limit, 1) {
		row.Status += "; nothing is known of drowned flow at this device: the flow is the free one"
		return
	}
	q, spread, ok := d.Drowned(h, below)
	row.Flow = unit.FromSI(q)
	if q > 0 { // of the drowned flow, at the same downstream head
		const step = 0.0005 // m
		more, _, _ := d.Drowned(h+step, below)
		less, _, _ := d.Drowned(h-step, below)
		row.PerMM = 100 * (more - less) / q
	}
	switch {
	case !ok:
		row.AtLeast = new(float64)
		row.Status += fmt.Sprintf("; drowned beyond any equation: between 0 and %s %s", quantity.Digits(row.Flow, 5),
			row.Unit)
	case below > limit*h:
		row.Status += fmt.Sprintf("; drowned, which adds %s %% (95 %%)", quantity.Digits(100*spread, 2))
	default:
		row.Status += "; free"
	}
}

func printRating(w io.Writer, r rated, rows []report.RatedFlow, unit quantity.Unit, o rateOptions, first bool) {
	below := o.downstream != ""
	switch {
	case o.csv && first:
		report.RatedHeading(w, unit, below)
	case !o.json && !o.csv:
		printHeading(w, r, unit)
	}
	encoder := json.NewEncoder(w)
	for _, row := range rows {
		switch {
		case o.json:
			encoder.Encode(row)
		case o.csv:
			row.CSV(w)
		default:
			fmt.Fprintf(w, "  %9.4f  %12s  %8.2f  %s\n", row.Head, range5(&row), row.PerMM, row.Status)
		}
	}
}

// range5 writes the flow to five digits, as a range where it is bounded only.
func range5(row *report.RatedFlow) string {
	if row.AtLeast != nil {
		return fmt.Sprintf("%s to %s", quantity.Digits(*row.AtLeast, 5), quantity.Digits(row.Flow, 5))
	}
	return quantity.Digits(row.Flow, 5)
}

// printHeading prints what the device is, its limits of validity, its physical end and what of it is assumed.
func printHeading(w io.Writer, r rated, unit quantity.Unit) {
	d, l := r.rating.Describe(), r.rating.Limits()
	fmt.Fprintf(w, "%s: %s\n  %s\n  source: %s\n", r.name, d.Name, d.Equation, d.Source)
	for _, line := range limitLines(l) {
		fmt.Fprintf(w, "  %s %s\n", line[0], line[1])
	}
	for _, text := range d.Assumed {
		fmt.Fprintf(w, "  assumed: %s\n", text)
	}
	fmt.Fprintf(w, "\n  %9s  %12s  %8s\n", "head m", "flow "+unit.Symbol, "% per mm")
}

// statusAt says how a head stands to the limits of a rating; within none that are known is not within limits.
func statusAt(r device.Rating, head float64) string {
	status := device.Assess(r, head)
	if l := r.Limits(); status == device.Within && l.Low == 0 && math.IsInf(l.High, 1) {
		return "no limits known"
	}
	return status.String()
}

// limitLines are the limits of validity and the physical end, each with its source.
func limitLines(l device.Limits) (lines [][2]string) {
	if l.Low > 0 {
		lines = append(lines, [2]string{"valid from", fmt.Sprintf("%s m: %s", quantity.Digits(l.Low, 3), l.LowSource)})
	}
	if !math.IsInf(l.High, 1) {
		lines = append(lines, [2]string{"valid to", fmt.Sprintf("%s m: %s", quantity.Digits(l.High, 3), l.HighSource)})
	}
	if !math.IsInf(l.End, 1) {
		lines = append(lines,
			[2]string{"ends at", fmt.Sprintf("%s m: %s (physical)", quantity.Digits(l.End, 3), l.EndSource)})
	}
	return lines
}
