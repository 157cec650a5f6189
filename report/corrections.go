package report

import (
	"encoding/json"
	"fmt"
	"strings"

	"retotal/ingest/site"
	"retotal/recompute"
)

// correctionRecord is a correction with what it makes of the heads in its span.
type correctionRecord struct {
	Line   int          `json:"site_file_line"`
	From   string       `json:"from,omitempty"`
	Until  string       `json:"until,omitempty"`
	Reason string       `json:"reason"`
	By     string       `json:"by,omitempty"`
	What   string       `json:"what"`
	Before *headsRecord `json:"heads_before,omitempty"`
	After  *headsRecord `json:"heads_after,omitempty"`
}

// headsRecord is the heads of the readings in a correction's span, m, to 0.1 mm.
type headsRecord struct {
	Least   float64 `json:"least_m"`
	Median  float64 `json:"median_m"`
	Highest float64 `json:"highest_m"`
}

func newHeads(h recompute.Heads) *headsRecord {
	return &headsRecord{round(h.Least, 1e4), round(h.Median, 1e4), round(h.Highest, 1e4)}
}

// String writes the three heads.
func (h *headsRecord) String() string {
	return fmt.Sprintf("%.4f, %.4f, %.4f", h.Least, h.Median, h.Highest)
}

func newCorrection(c *site.Correction) correctionRecord {
	out := correctionRecord{Line: c.Place.Line, Reason: c.Reason, By: c.By, What: changes(c)}
	if c.From != nil {
		out.From = utc(c.From.UTC)
	}
	if c.Until != nil {
		out.Until = utc(c.Until.UTC)
	}
	return out
}

// newCorrections lists the corrections.
func newCorrections(r *Run) (list []correctionRecord) {
	for i := range r.site().Corrections {
		list = append(list, newCorrection(&r.site().Corrections[i]))
	}
	for i := range r.Result.Trials {
		if t := &r.Result.Trials[i]; t.Before.Readings > 0 && t.After.Readings > 0 {
			list[t.Number].Before, list[t.Number].After = newHeads(t.Before), newHeads(t.After)
		}
	}
	return list
}

// changes says in words what a correction sets.
func changes(c *site.Correction) string {
	list := c.Words()
	if c.Device != nil {
		text, _ := json.Marshal(c.Device.Values) // maps of texts and numbers always can be written
		list = append(list, "device "+string(text))
	}
	if c.Unusable {
		list = append(list, "unusable: nothing can be made of the readings")
	}
	return strings.Join(list, ", ")
}
