package recompute

import (
	"fmt"
	"math"
	"strings"
	"time"

	"retotal/ingest/quantity"
	"retotal/ingest/site"
	"retotal/recompute/evidence"
	"retotal/recompute/settings"
)

// afterReset is the phase of a visit's reading that was taken when the meter had been set right.
const afterReset = "after-reset"

// Propose writes corrections that would bring the corrected lane to the visits, as text for a site file; "" when it
// agrees with all of them already. Equal differences make a step, since a move in the log that fits them if there is
// one. Differences that grow make a drift from visit to visit, or a step where a move between two visits fits; what the
// last one found goes on to the next evidence and is not made to grow. Where the meter knows no empty distance, as
// behind a log of heads, only the difference is proposed.
func Propose(r *Result) string {
	step := r.Facts.Resolution[r.Site.Log.Primary]
	var found []*evidence.Visit
	explained := true
	for i := range r.Visits {
		if v := &r.Visits[i]; v.Found && v.Phase != afterReset {
			found = append(found, v)
			explained = explained && v.Explained(step)
		}
	}
	if explained || len(found) == 0 {
		return ""
	}
	low, high, sum, u95 := found[0].After(), found[0].After(), 0.0, 0.0
	for _, v := range found {
		low, high, u95 = math.Min(low, v.After()), math.Max(high, v.After()), math.Max(u95, v.U95())
		sum += v.After()
	}
	p := proposal{Result: r, within: u95 + step}
	if high-low <= 2*u95 {
		p.step(found, sum/float64(len(found)))
	} else {
		p.course(found)
	}
	return p.String()
}

// proposal is the text of corrections under way.
type proposal struct {
	*Result
	within float64 // m, by which a move and a difference may differ
	strings.Builder
}

// step writes one difference of all visits.
func (p *proposal) step(found []*evidence.Visit, mean float64) {
	first, last := found[0], found[len(found)-1]
	from := ""
	if m := p.moved(math.MinInt64, first.At.UTC, mean); m != nil {
		from = utcText(m.After)
	}
	until := p.nextEvidence(last.At.UTC)
	comment := "      # from and until: when it began and ended"
	if from != "" {
		comment = "      # from: a move in the log that fits; until: when it ended"
	}
	p.correction(comment, from, until, fmt.Sprintf("%s: the log reads %.0f mm too %s", visitsInWords(found),
		math.Abs(mean)*1000, highOrLow(mean)), p.datum(first, mean, mean))
}

// course writes differences that change from visit to visit.
func (p *proposal) course(found []*evidence.Visit) {
	last := found[len(found)-1]
	for i, v := range found[1:] {
		before := found[i]
		from, to := before.After(), v.After()
		reason := func(a, b float64) string {
			return fmt.Sprintf("%s: the difference goes from %s to %s mm", visitsInWords(found[i:i+2]),
				wholeMillimetres(a), wholeMillimetres(b))
		}
		if m := p.moved(before.At.UTC, v.At.UTC, to-from); m != nil {
			at := utcText(m.After)
			p.correction("      # up to a move in the log that fits", before.At.Text, at, reason(from, to),
				p.datum(before, from, from))
			p.correction("      # from it on", at, v.At.Text, reason(from, to), p.datum(before, to, to))
			continue
		}
		p.correction("", before.At.Text, v.At.Text, reason(from, to), p.datum(before, from, to))
	}
	p.correction("      # as last found; nothing shows whether it grew on", last.At.Text, p.nextEvidence(last.At.UTC),
		fmt.Sprintf("%s: the log reads %.0f mm too %s", visitsInWords(found[len(found)-1:]),
			math.Abs(last.After())*1000, highOrLow(last.After())), p.datum(last, last.After(), last.After()))
}

// correction writes one correction; from and until may be "".
func (p *proposal) correction(comment, from, until, reason, datum string) {
	fmt.Fprintln(p, "[[correction]]"+comment)
	if from != "" {
		fmt.Fprintln(p, "from   = "+from)
	}
	if until != "" {
		fmt.Fprintln(p, "until  = "+until)
	}
	fmt.Fprintf(p, "reason = %q\n%s", reason, datum)
}

// datum is the line that takes a difference at a visit out of the corrected lane, or one that goes to another.
func (p *proposal) datum(v *evidence.Visit, from, to float64) string {
	s := &p.Corrected.Segments[p.Corrected.At(v.At.UTC)]
	which, sign := site.EmptyDistance, -1.0
	if s.Settings.Values[which] == nil {
		which, sign = site.LevelOfZeroFlow, 1
	}
	now := settings.Line(s.Settings.Values[which], s)
	value := now.At
	if now.PerNs != 0 {
		value += float64(now.PerNs * float64(v.At.UTC-s.Origin))
	}
	write := func(difference float64) string { return fmt.Sprintf("\"%.4f m\"", value+sign*difference) }
	if from == to {
		return fmt.Sprintf("%s = %s\n", which.Key(), write(from))
	}
	return fmt.Sprintf("%s = { from = %s, to = %s }\n", which.Key(), write(from), write(to))
}

// moved is the last move in the log between two instants that makes a difference; nil for none.
func (p *proposal) moved(from, until int64, difference float64) *evidence.Move {
	for i := len(p.Moves) - 1; i >= 0; i-- {
		m := &p.Moves[i]
		if m.After > from && m.After < until && math.Abs(m.Unexplained()-difference) <= p.within {
			return m
		}
	}
	return nil
}

// nextEvidence is when something is known again after a visit: the meter was set right or told something else, or the
// log shows a move; "" for never.
func (p *proposal) nextEvidence(after int64) string {
	next, text := int64(math.MaxInt64), ""
	take := func(at int64, written string) {
		if at >= after && at < next {
			next, text = at, written
		}
	}
	for i := range p.Visits {
		if v := &p.Visits[i]; v.Phase == afterReset {
			take(v.At.UTC, v.At.Text)
		}
	}
	for i := range p.Recorded.Segments {
		if at := p.Recorded.Segments[i].From; at > after {
			take(at, utcText(at))
		}
	}
	for i := range p.Moves {
		if at := p.Moves[i].After; at > after {
			take(at, utcText(at))
		}
	}
	if next == after {
		return ""
	}
	return text
}

// utcText writes an instant for a site file, in whole seconds after it.
func utcText(at int64) string {
	return time.Unix(0, at).UTC().Add(time.Second - 1).Truncate(time.Second).Format("2006-01-02T15:04:05Z")
}

// wholeMillimetres writes a difference in metres with its sign; less than half a millimetre is +0.
func wholeMillimetres(v float64) string { return quantity.Signed(math.Round(1000*v), 6) }

func highOrLow(v float64) string {
	if v > 0 {
		return "high"
	}
	return "low"
}

func visitsInWords(list []*evidence.Visit) string {
	if len(list) == 1 {
		return "Visit of " + list[0].At.Text
	}
	return fmt.Sprintf("%d visits from %s to %s", len(list), list[0].At.Text, list[len(list)-1].At.Text)
}

// steps are the steps found in the log, as defensible onsets of a correction.
func (r *Result) steps() (list []settings.Step) {
	for _, m := range r.Moves {
		what := fmt.Sprintf("a move of %s mm in what the sensor measured", quantity.Signed(1000*m.Size, 2))
		list = append(list, settings.Step{At: m.After, What: what})
	}
	for _, p := range r.Changes {
		if !p.Drift {
			what := fmt.Sprintf("a step of %s %s in the %s", quantity.Signed(p.Size, 2), p.Unit, p.Statistic)
			list = append(list, settings.Step{At: p.At, What: what})
		}
	}
	return list
}
