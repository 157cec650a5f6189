package explore

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"retotal/ingest/quantity"
	"retotal/qa"
	"retotal/recompute/effect"
	"retotal/report"
)

// worth is a stretch that is worth a look: settings, then what is not known, then what is known at least, then what
// screening did, each by size.
type worth struct {
	span
	Volume float64 `json:"m3"`              // what it does to the corrected total, m³
	Known  string  `json:"known,omitempty"` // "not known", "at least", "if left out"; "" for a plain effect
	Kind   string  `json:"kind"`            // of block that is offered: ruling, correction or comment
	rank   int
	size   float64
}

// more is what is not listed.
type more struct {
	Spans  int     `json:"spans"`
	Volume float64 `json:"m3"`
}

// mostWorth is how many stretches are listed.
const mostWorth = 60

// worthALook lists the stretches that are worth a look first, and counts the others.
func worthALook(run *report.Run) (list []worth, rest more) {
	list = append(settingsWorth(run), eventsWorth(run)...)
	slices.SortStableFunc(list, func(a, b worth) int {
		return cmp.Or(cmp.Compare(a.rank, b.rank), cmp.Compare(b.size, a.size))
	})
	list = thinned(list)
	for len(list) > mostWorth {
		last := list[len(list)-1]
		if rest.Spans++; last.Known == "" {
			rest.Volume += last.Volume
		}
		list = list[:len(list)-1]
	}
	return list, rest
}

// mostAhead is how many stretches of one rank that is not known, or known at least, stand ahead of known effects.
const mostAhead = 3

// thinned puts those beyond mostAhead behind all others, so that many gaps do not hide what screening did.
func thinned(list []worth) []worth {
	ahead, behind := []worth{}, []worth{} // lists in JSON, even of nothing
	count := map[int]int{}
	for _, w := range list {
		if count[w.rank]++; count[w.rank] > mostAhead && (w.rank == unknown || w.rank == atLeast) {
			behind = append(behind, w)
			continue
		}
		ahead = append(ahead, w)
	}
	return append(ahead, behind...)
}

// The ranks of stretches, those of settings before all.
const (
	unknown = iota + 1
	atLeast
	acted
	kept
)

// corrections are the spans of the corrections, within the log.
func corrections(run *report.Run) (list []span) {
	r := run.Result
	for i := range run.Site().Corrections {
		c := &run.Site().Corrections[i]
		from, until := r.Total.From, r.Total.Until
		if c.From != nil {
			from = max(from, c.From.UTC)
		}
		if c.Until != nil {
			until = min(until, c.Until.UTC)
		}
		if from >= until {
			continue
		}
		words := c.Words()
		if c.Device != nil {
			words = append(words, "device")
		}
		if c.Unusable {
			words = append(words, "unusable")
		}
		list = append(list, span{from / 1e9, until / 1e9, strings.Join(words, ", ")})
	}
	return list
}

// settingsWorth are the corrections. What each does is the part of the difference by settings of the days that lie in
// it for the most part; where it is the only one, of all.
func settingsWorth(run *report.Run) (list []worth) {
	r, spans := run.Result, corrections(run)
	for _, s := range spans {
		w := worth{span: s, Kind: "correction"}
		w.What = "setting: " + s.What
		for i := range r.Days {
			d := &r.Days[i]
			if middle := (d.From/2 + d.Until/2) / 1e9; middle >= s.From && middle < s.Until && d.Both() {
				w.Volume += d.Split().Settings
			}
		}
		if len(spans) == 1 && r.Total.Both() {
			w.Volume = r.Total.Split().Settings
		}
		w.size = math.Abs(w.Volume)
		list = append(list, w)
	}
	return list
}

// eventsWorth are the events of screening that change the total, or would if their readings were left out.
func eventsWorth(run *report.Run) (list []worth) {
	for _, e := range run.Result.Events {
		w := worth{span: span{e.From / 1e9, e.Until / 1e9, eventWords(e)}, Kind: "ruling",
			Volume: e.Effect, size: math.Abs(e.Effect)}
		switch {
		case e.Flag == qa.Gap:
			w.rank, w.Known, w.Kind, w.Volume, w.size = unknown, "not known", "comment", 0, float64(e.Until-e.From)
		case holds(e):
			w.rank, w.Known = atLeast, "at least"
		case e.Effect != 0:
			w.rank = acted
		case e.Left.Volume != 0:
			w.rank, w.Known, w.Volume, w.size = kept, "if left out", e.Left.Volume, math.Abs(e.Left.Volume)
		default:
			continue
		}
		list = append(list, w)
	}
	return list
}

// holds reports whether an event is of readings of which only the least is known.
func holds(e *effect.Event) bool {
	return e.Flag&(qa.Capped|qa.CutOff|qa.Surcharge|qa.Blanking) != 0 && !e.Drops()
}

// eventWords says in a few words what an event is.
func eventWords(e *effect.Event) string {
	name := strings.ReplaceAll(e.Check, "_", " ")
	if e.Flag == qa.Gap {
		return name + ", " + quantity.FormatDuration(time.Duration(e.Until-e.From).Round(time.Minute))
	}
	if e.Rows == 1 {
		return name + ", 1 reading"
	}
	return fmt.Sprintf("%s, %d readings", name, e.Rows)
}
