package audit

import (
	"fmt"
	"math"
	"strings"
	"time"

	"retotal/ingest/quantity"
	"retotal/recompute"
	"retotal/recompute/evidence"
)

// What heads hardly are over a whole record. Common practice.
const (
	fewFar       = 0.005 // of the readings
	farNegative  = -0.02 // m, of the median
	leastHighest = 0.005 // m, of the highest
	leastShare   = 0.02  // of the maximum head, of the highest
)

// levels judges the record as a whole: whether its heads can be those of the device, and whether the sensor died. It
// says nothing of a record that nothing speaks against.
func levels(r *recompute.Result) []Finding {
	doubts := headDoubts(r)
	for _, x := range r.Dead {
		doubts = append(doubts, fmt.Sprintf(
			"stands at a head of %.3f m from %s to %s UTC (%s), %s: a dead sensor does so%s", x.Head, utc(x.From),
			utc(x.Until), quantity.FormatDuration(time.Duration(x.Until-x.From)), jumps(x), dropped(r, x)))
	}
	if len(doubts) == 0 {
		return nil
	}
	f := Finding{
		Topic: levelTopic, Verdict: Doubtful, Doubts: doubts,
		Sentence: "The level " + strings.Join(doubts, ", and ") + ".",
		Tolerance: fmt.Sprintf("half of the heads or more within what is expected of the device (or under %.0f m), "+
			"the median no lower than %.0f mm where nothing flows, the highest over %.0f mm and %.0f %% of the "+
			"maximum head; no run of one value for 12 h or longer between jumps over 3 times the largest elsewhere",
			float64(evidence.Deepest), 1000*farNegative, 1000*leastHighest, 100*leastShare),
	}
	if len(r.Dead) == 1 && len(doubts) == 1 {
		f.from, f.until = r.Dead[0].From, r.Dead[0].Until
	}
	return []Finding{f}
}

// dropped says that readings of a long run do not count in the corrected total, and by which flag; "" where all count,
// or where a ruling is about them.
func dropped(r *recompute.Result, x evidence.Still) string {
	if r.RulingIn(x.From, x.Until) {
		return ""
	}
	text := ""
	for _, e := range r.Events {
		if !e.Drops() || e.From > x.Until || e.Until < x.From {
			continue
		}
		if e.From <= x.From && e.Until >= x.Until {
			return "; none of it counts in the corrected total (flagged " + e.Check + ")"
		}
		if text == "" {
			text = "; part of it does not count in the corrected total (flagged " + e.Check + ")"
		}
	}
	return text
}

// units doubts a log whose headers name other units than the site file.
func units(r *recompute.Result) (out []Finding) {
	for _, odd := range r.Facts.Odd {
		out = append(out, Finding{
			Topic: "units:", Verdict: Doubtful, Doubts: []string{odd}, Sentence: "Units: " + odd + ".",
			Tolerance: "the unit of the header, where it has one",
		})
	}
	return out
}

// headDoubts says what speaks against the unit, the datum or the device.
func headDoubts(r *recompute.Result) (doubts []string) {
	const remedy = "check the unit of its column, its datum and the device"
	h := &r.Heads
	if h.Readings == 0 {
		return nil
	}
	last, least := &r.Corrected.Segments[len(r.Corrected.Segments)-1], leastHighest
	if !math.IsInf(last.MaximumHead, 1) {
		least = max(least, leastShare*last.MaximumHead)
	}
	switch {
	case float64(h.Surcharged) > mostOutside*float64(h.Readings):
		doubts = append(doubts, fmt.Sprintf("gives heads above the highest that is expected, %s m, in %.0f %% of the "+
			"readings (median %s m): %s", quantity.Digits(last.Usual, 3), part(h.Surcharged, h),
			quantity.Digits(h.Median, 4), remedy))
	case h.Median > evidence.Deepest:
		doubts = append(doubts, fmt.Sprintf("gives a median head of %s m: %s", quantity.Digits(h.Median, 4), remedy))
	case h.Median < farNegative && h.Highest <= 0: // an overflow stands below its crest most of the time
		doubts = append(doubts, fmt.Sprintf(
			"gives heads below zero flow in %.0f %% of the readings (median %.3f m): %s",
			part(h.Negative, h), h.Median, remedy))
	case float64(h.Far) > fewFar*float64(h.Readings):
		doubts = append(doubts, fmt.Sprintf(
			"gives heads that no such device has in %s %% of the readings (%s to %s m): %s",
			quantity.Digits(part(h.Far, h), 2), quantity.Digits(h.Least, 4), quantity.Digits(h.Highest, 4), remedy))
	case h.Median > 0 && h.Highest < least:
		doubts = append(doubts, fmt.Sprintf("gives no head above %s mm in the whole record: %s",
			quantity.Digits(1000*h.Highest, 3), remedy))
	}
	return doubts
}

// jumps says how a run was reached and left.
func jumps(x evidence.Still) string {
	var list []string
	for _, side := range []struct {
		word   string
		change float64
	}{{"reached", x.Entered}, {"left", x.Left}} {
		if !math.IsNaN(side.change) {
			list = append(list, fmt.Sprintf("%s by a jump of %.0f mm", side.word, 1000*side.change))
		}
	}
	return strings.Join(list, " and ")
}
