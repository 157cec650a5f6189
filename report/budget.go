package report

import (
	"cmp"
	"fmt"
	"io"
	"math"
	"slices"

	"retotal/recompute"
)

// budgetRow is one source of uncertainty as tables show it.
type budgetRow struct {
	Name, Text, Effect, Share string
	Width                     float64 // of its bar, per cent
}

// budgetRows lists the sources of a total's uncertainty, the largest first; those that add nothing are left out.
func (r *Run) budgetRows(b *recompute.Budget) (rows []budgetRow) {
	if b == nil {
		return nil
	}
	parts := slices.Clone(b.Parts)
	slices.SortStableFunc(parts, func(a, b recompute.Part) int { return cmp.Compare(math.Abs(b.Effect), math.Abs(a.Effect)) })
	for _, p := range parts {
		if math.Abs(p.Effect) < 1e-6*b.Standard {
			continue
		}
		share := p.Effect * p.Effect / (b.Standard * b.Standard)
		kind := "the same for all readings"
		if p.Source.Random {
			kind = "independent from reading to reading"
		} else if p.Source.BetweenDays() {
			kind = "independent from day to day"
		}
		rows = append(rows, budgetRow{p.Source.Name, p.Source.Text + "; " + kind, grouped(r.site().Report.VolumeUnit.FromSI(2*math.Abs(p.Effect)), 1), fmt.Sprintf("%.1f %%", 100*share), 100 * share})
	}
	return rows
}

// halveSentence says which single measurement would halve the uncertainty of the total.
func (r *Run) halveSentence(b *recompute.Budget) string {
	if b == nil {
		return ""
	}
	part, input, ok := b.Halve()
	switch {
	case part == nil:
		return ""
	case !ok:
		return fmt.Sprintf("No single measurement would halve it; the largest part is the %s.", part.Source.Name)
	case part.Source.Unit == "":
		return fmt.Sprintf("It would be halved by knowing the %s better.", part.Source.Name)
	}
	return fmt.Sprintf("It would be halved by knowing the %s to %.2g %s (95 %%).", part.Source.Name, 2*input, part.Source.Unit)
}

// drawsSentence says what the Monte Carlo check found; "" when there was none.
func (r *Run) drawsSentence(decimals int) string {
	d := r.Draws
	if d == nil {
		return ""
	}
	unit := r.site().Report.VolumeUnit
	value := func(v float64) string { return grouped(unit.FromSI(v), decimals) }
	return fmt.Sprintf("%d draws (seed %d) through the ratings themselves: standard uncertainty %s %s, by the budget %s; 95 %% of them between %s and %s.", d.Count, d.Seed, value(d.Standard), unit.Symbol,
		value(r.Result.Total.Budget.Standard), value(d.Low), value(d.High))
}

// uncertainty prints the budget of the total.
func uncertainty(w io.Writer, r *Run, decimals int) {
	p := &r.Result.Total
	rows := r.budgetRows(p.Budget)
	if len(rows) == 0 {
		return
	}
	unit := r.site().Report.VolumeUnit
	fmt.Fprintf(w, "\nUncertainty of the corrected total, %s (95 %%)\n", r.plusMinus(p, decimals))
	t := table{left: map[int]bool{0: true, 3: true}}
	t.add("source", "+/- "+unit.Symbol, "share", "")
	for _, row := range rows {
		t.add(row.Name, row.Effect, row.Share, row.Text)
	}
	t.write(w)
	if text := r.liftText(p, decimals); text != "" {
		fmt.Fprintf(w, "  %s\n", text)
	}
	if p.Both() {
		fmt.Fprintf(w, "  %s\n", r.differenceText(p, decimals))
	}
	if text := r.halveSentence(p.Budget); text != "" {
		fmt.Fprintf(w, "  %s\n", text)
	}
	if text := r.drawsSentence(decimals); text != "" {
		fmt.Fprintf(w, "  %s\n", text)
	}
}
