package report

import (
	"encoding/json"
	"fmt"
	"maps"
	"slices"
	"strconv"
	"strings"

	"retotal/ingest/site"
	"retotal/recompute/evidence"
)

// headsRecord is the heads of the readings in a correction's span, m, to 0.1 mm.
type headsRecord struct {
	Least   float64 `json:"least_m"`
	Median  float64 `json:"median_m"`
	Highest float64 `json:"highest_m"`
}

func newHeads(h evidence.Heads) *headsRecord {
	return &headsRecord{round(h.Least, 1e4), round(h.Median, 1e4), round(h.Highest, 1e4)}
}

// String writes the three heads.
func (h *headsRecord) String() string {
	return fmt.Sprintf("%.4f, %.4f, %.4f", h.Least, h.Median, h.Highest)
}

type correction = site.Correction

// corrections is the table of the corrections, with what each makes of the heads in its span.
func (r *Run) corrections() *Table {
	trials := map[*correction]*evidence.Trial{}
	for i := range r.Result.Trials {
		if t := &r.Result.Trials[i]; t.Before.Readings > 0 && t.After.Readings > 0 {
			trials[&r.Site().Corrections[t.Number]] = t
		}
	}
	heads := func(key, title string, of func(*evidence.Trial) evidence.Heads) figure[correction] {
		return figure[correction]{
			Column{Key: key, Title: title, Kind: Spread, Optional: true}, func(c *correction) any {
				if t := trials[c]; t != nil {
					return newHeads(of(t))
				}
				return nil
			},
		}
	}
	return tabulate(r, r.Site().Corrections, []figure[correction]{
		count("site_file_line", "", func(c *correction) int { return c.Place.Line }),
		instant(r, "from", "from", "first reading", func(c *correction) *site.Instant { return c.From }),
		instant(r, "until", "until", "last reading", func(c *correction) *site.Instant { return c.Until }),
		words("what", "should have been", changes),
		words("reason", "reason", func(c *correction) string { return c.Reason }),
		words("by", "by", func(c *correction) string { return c.By }).optional(),
		heads("heads_before", "head before, m (least, median, highest)",
			func(t *evidence.Trial) evidence.Heads { return t.Before }),
		heads("heads_after", "after", func(t *evidence.Trial) evidence.Heads { return t.After }),
	})
}

// instant is a figure of an end of a span, which may be open; people read it in the report's zone.
func instant[T any](r *Run, key, title, open string, of func(*T) *site.Instant) figure[T] {
	return figure[T]{Column{Key: key, Title: title, Kind: Instant, Missing: open, Optional: true}, func(x *T) any {
		if at := of(x); at != nil {
			return told{at.UTC, strings.TrimSuffix(r.stamp(at.UTC), ":00")}
		}
		return nil
	}}
}

// deviceWords says in words what is set of a device: "device: angle 60 deg".
func deviceWords(d *site.DeviceKeys) string {
	var list []string
	for _, key := range slices.Sorted(maps.Keys(d.Values)) {
		text := fmt.Sprint(d.Values[key])
		if number, is := d.Values[key].(float64); is {
			text = strconv.FormatFloat(number, 'f', -1, 64)
		}
		if from, to, moves := site.DeviceRamp(d.Values[key]); moves {
			text = fmt.Sprintf("%v to %v", from, to)
		} else if _, isList := d.Values[key].([]any); isList {
			written, _ := json.Marshal(d.Values[key]) // texts and numbers always can be written
			text = string(written)
		}
		list = append(list, strings.ReplaceAll(key, "_", " ")+" "+text)
	}
	return "device: " + strings.Join(list, ", ")
}

// changes says in words what a correction sets.
func changes(c *site.Correction) string {
	list := c.Words()
	if c.Device != nil {
		list = append(list, deviceWords(c.Device))
	}
	if c.Unusable {
		list = append(list, "unusable: nothing can be made of the readings")
	}
	return strings.Join(list, ", ")
}
