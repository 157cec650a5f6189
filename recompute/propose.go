package recompute

import (
	"fmt"
	"math"
	"strings"

	"retotal/ingest/quantity"
	"retotal/ingest/site"
	"retotal/recompute/evidence"
	"retotal/recompute/settings"
)

// Propose writes corrections that would bring the corrected lane to the visits, as text for a site file; "" when it
// agrees with all of them already or no empty distance can carry the correction. Equal differences make a step;
// differences that grow make a drift from visit to visit.
func Propose(r *Result) string {
	step := r.Facts.Resolution[r.Site.Log.Primary]
	var found []*evidence.Visit
	explained := true
	for i := range r.Visits {
		if v := &r.Visits[i]; v.Found && v.Phase != "after-reset" {
			found = append(found, v)
			explained = explained && v.Explained(step)
		}
	}
	if explained || len(found) == 0 {
		return ""
	}
	low, high, u95 := found[0].After(), found[0].After(), 0.0
	for _, v := range found {
		low, high, u95 = math.Min(low, v.After()), math.Max(high, v.After()), math.Max(u95, v.U95())
	}
	if high-low <= 2*u95 {
		mean := 0.0
		for _, v := range found {
			mean += v.After() / float64(len(found))
		}
		value, ok := r.emptyLess(found[0], mean)
		if !ok {
			return ""
		}
		return fmt.Sprintf("[[correction]]                    # from and until: when it began and ended\n"+
			"reason = \"%s: the log reads %.0f mm too %s\"\n"+
			"empty_distance = %q\n",
			visitsInWords(found), math.Abs(mean)*1000, highOrLow(mean), value)
	}
	var b strings.Builder
	for i := 1; i < len(found); i++ {
		from, okFrom := r.emptyLess(found[i-1], found[i-1].After())
		to, okTo := r.emptyLess(found[i], found[i].After())
		if !okFrom || !okTo {
			return ""
		}
		fmt.Fprintf(&b, "[[correction]]\n"+
			"from   = %s\n"+
			"until  = %s\n"+
			"reason = \"%s: the difference goes from %+.0f to %+.0f mm\"\n"+
			"empty_distance = { from = %q, to = %q }\n",
			tomlTime(found[i-1]), tomlTime(found[i]),
			visitsInWords(found[i-1:i+1]), found[i-1].After()*1000, found[i].After()*1000, from, to)
	}
	return b.String()
}

// emptyLess is the corrected empty distance at a visit less a difference, in metres.
func (r *Result) emptyLess(v *evidence.Visit, difference float64) (text string, ok bool) {
	s := &r.Corrected.Segments[r.Corrected.At(v.At.UTC)]
	if s.Settings.Values[site.EmptyDistance] == nil {
		return "", false
	}
	empty := settings.Line(s.Settings.Values[site.EmptyDistance], s)
	value := empty.At - difference
	if empty.PerNs != 0 {
		value += float64(empty.PerNs * float64(v.At.UTC-s.Origin))
	}
	return fmt.Sprintf("%.4f m", value), true
}

func tomlTime(v *evidence.Visit) string { return v.At.Text }

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
