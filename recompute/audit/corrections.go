package audit

import (
	"fmt"
	"math"
	"strings"

	"retotal/ingest/site"
	"retotal/recompute"
	"retotal/recompute/evidence"
)

// What a structure hardly allows, common practice.
const (
	mostOutside = 0.5   // of the readings may be negative, above the highest expected head or below validity
	nearZero    = 0.005 // m: a night minimum within it stands at zero flow
	mostTimes   = 2     // by which a correction changes the volume of its span
)

// corrections judges every correction by what it makes of the readings in its span.
func corrections(r *recompute.Result) (out []Finding) {
	for i := range r.Trials {
		t := &r.Trials[i]
		if !t.Correction.Given() {
			continue
		}
		topic := r.Site.Named(fmt.Sprintf("correction[%d]", t.Number))
		f := Finding{Topic: strings.Replace(topic, "the", "The", 1), Verdict: CannotTell,
			Tolerance: fmt.Sprintf("most readings within the device's limits as before, a night minimum at zero flow "+
				"(%.0f mm) stays there, something changes, and the volume of its span changes by less "+
				"than %d times", nearZero*1000, mostTimes)}
		if t.After.Readings == 0 || t.Before.Readings == 0 {
			if !r.Site.Report.Holds(t.Correction.From, t.Correction.Until) {
				continue // it concerns another part of the site's life
			}
			f.Sentence = f.Topic + " has no reading in its span by which it could be judged."
			out = append(out, f)
			continue
		}
		f.Sentence = fmt.Sprintf("%s takes heads from %s (least, median, highest) to %s%s",
			f.Topic, three(&t.Before), three(&t.After), volumeTimes(t))
		f.Verdict = Plausible
		if f.Doubts = doubts(t); len(f.Doubts) > 0 {
			f.Verdict = Doubtful
			f.Sentence += "; but it " + strings.Join(f.Doubts, ", and ") + ": check unit, sign and dates"
		}
		f.Sentence += "."
		out = append(out, f)
	}
	return out
}

// three writes the three heads.
func three(h *evidence.Heads) string {
	return fmt.Sprintf("%.4f, %.4f and %.4f m", h.Least, h.Median, h.Highest)
}

// volumeTimes says what becomes of the volume.
func volumeTimes(t *evidence.Trial) string {
	if t.VolumeBefore <= 0 {
		return ""
	}
	return fmt.Sprintf(", and the volume of its span to %.3f times, before screening", t.VolumeAfter/t.VolumeBefore)
}

// doubts says what a correction does that a structure hardly allows.
func doubts(t *evidence.Trial) (list []string) {
	before, after := outside(&t.Before), outside(&t.After)
	if after > mostOutside && before <= mostOutside {
		list = append(list, fmt.Sprintf("makes %.0f %% of the readings negative, above the highest head that is "+
			"expected or below validity (%.0f %%, %.0f %% and %.0f %%; before %.0f %% in all)", 100*after,
			part(t.After.Negative, &t.After), part(t.After.Surcharged, &t.After),
			part(t.After.Low, &t.After), 100*before))
	}
	near := nearZero + 1e-9
	if t.Nights > 0 && math.Abs(t.NightBefore) <= near &&
		math.Abs(t.NightAfter) > near && math.Abs(t.NightAfter-t.NightBefore) > near {
		list = append(list,
			fmt.Sprintf("moves the night minimum away from zero flow, from %+.1f to %+.1f mm (median of %d days)",
				1000*t.NightBefore, 1000*t.NightAfter, t.Nights))
	}
	if v := &t.Correction.Values; t.Changed == 0 && v[site.BlankingDistance] == nil &&
		v[site.ChannelDepth] == nil && t.Correction.Clamped == nil {
		list = append(list, "changes nothing")
	}
	if a, b := t.VolumeAfter, t.VolumeBefore; a >= mostTimes*b*(1-1e-9) && a > 0 {
		list = append(list, "doubles the volume of its span or more")
	} else if a*mostTimes <= b*(1+1e-9) && b > 0 {
		list = append(list, "halves the volume of its span or more")
	}
	return list
}

// outside is the part of the readings that are negative, above the highest expected head or below validity.
func outside(h *evidence.Heads) float64 {
	return float64(h.Outside()) / math.Max(float64(h.Readings), 1)
}

// part is a number of readings in per cent.
func part(n int, h *evidence.Heads) float64 {
	return 100 * float64(n) / math.Max(float64(h.Readings), 1)
}
