package stage

import (
	"math"
	"testing"
	"time"

	"retotal/ingest/reading"
	"retotal/ingest/site"
	"retotal/recompute/block"
	"retotal/recompute/settings"
	"retotal/recompute/total"
)

const minute = int64(time.Minute)

// start is the beginning of day 0 of the blocks below.
var start = time.Date(2031, 3, 1, 0, 0, 0, 0, time.UTC).UnixNano()

// plain is a lane of one segment that shows the given flows, m³/s.
func plain(flows ...float64) *block.Lane {
	return &block.Lane{
		Lane: &settings.Lane{Segments: []settings.Segment{{
			From: settings.Always, Until: settings.Never,
			MaximumHead: math.Inf(1), MaximumFlow: math.Inf(1), Top: math.Inf(1), Usual: math.Inf(1),
		}}},
		Flow: flows,
	}
}

// hand is a block of rows at minutes of day 0, all decided, whose recorded and corrected flows are one lane: that of
// flows. Nothing is flagged.
func hand(minutes, flows []float64) *block.Block {
	b := &block.Block{Lanes: block.Lanes{Recorded: plain(flows...), Corrected: plain(append([]float64{}, flows...)...)}}
	b.Kept = b.Recorded
	b.Site = &site.Site{}
	b.Log = &reading.Facts{Interval: time.Minute, GapLimit: 10 * time.Minute, Clock: time.UTC}
	b.From, b.Until, b.First = math.MinInt64, math.MaxInt64, start
	b.Calendar = total.NewCalendar(time.UTC, 0, false, start)
	n := len(minutes)
	for i, m := range minutes {
		b.Time = append(b.Time, start+int64(m*float64(minute)))
		b.Line = append(b.Line, int32(i+2))
	}
	b.Shown, b.High = b.Time, n
	b.Flags, b.Used, b.File = block.Grow(b.Flags, n), block.Grow(b.Used, n), block.Grow(b.File, n)
	b.Figure, b.Head = block.Grow(b.Figure, n), block.Grow(b.Head, n)
	return b
}

// asShown moves the clock of the log of a block, which is ahead by so many minutes.
func asShown(b *block.Block, ahead float64) {
	b.Shown = nil
	for _, at := range b.Time {
		b.Shown = append(b.Shown, at+int64(ahead*float64(minute)))
	}
}

// loaded is a block of a site with a device of Q = 0.1 m²/s × h, rated: rows at minutes of day 0.
func loaded(t *testing.T, log, keys, more string, minutes, figures []float64) *block.Block {
	t.Helper()
	text := "id = \"hand\"\n[log]\nfiles = [\"log.csv\"]\ntime_zone = \"+00:00\"\n" + log + "[settings]\n" + keys +
		"[settings.device]\nkind = \"power\"\ncoefficient = 0.1\nexponent = 1\nhead_unit = \"m\"\n" +
		"flow_unit = \"m3/s\"\n" + more
	s, err := site.Parse("site.toml", []byte(text))
	if err != nil {
		t.Fatal(err)
	}
	l, err := settings.NewLanes(s, nil)
	if err != nil {
		t.Fatal(err)
	}
	facts := &reading.Facts{Interval: time.Minute, GapLimit: 10 * time.Minute, Clock: time.UTC}
	b := block.New(facts, s, block.NewLanes(l, len(s.Corrections) > 0), block.Record{}, start)
	n := len(minutes)
	for i, m := range minutes {
		b.Time = append(b.Time, start+int64(m*float64(minute)))
		b.Line = append(b.Line, int32(i+2))
	}
	b.Shown, b.High, b.Figure = b.Time, n, figures
	b.Flags, b.Used, b.File = block.Grow(b.Flags, n), block.Grow(b.Used, n), block.Grow(b.File, n)
	b.Head = block.Grow(b.Head, n)
	for _, l := range append([]*block.Lane{b.Recorded, b.Corrected, b.Kept}, b.WhatIfs...) {
		l.Flow = block.Grow(l.Flow, n)
	}
	b.EachSegment(b.Corrected.Lane, 0, n, func(s *settings.Segment, low, high int) {
		s.Heads(b.Head[low:high], b.Time[low:high], b.Figure[low:high], nil)
	})
	b.Rate()
	return b
}

// distances are the columns of a log of distances.
const distances = "[log.columns]\ntime = \"Time\"\ndistance = { name = \"D\", unit = \"m\" }\n"

// holds compares a volume with the m³ and minutes that it should hold.
func holds(t *testing.T, what string, v total.Volume, m3, minutes float64) {
	t.Helper()
	if math.Abs(v.M3()-m3) > 1e-9*math.Max(1, math.Abs(m3)) || v.Covered != int64(minutes*float64(minute)) {
		covered := float64(v.Covered) / float64(minute)
		t.Errorf("%s: %.9g m³ in %g min, want %.9g in %g", what, v.M3(), covered, m3, minutes)
	}
}

// counts is a step of one row that counts as it is, after the row before it.
func counts(b *block.Block, i int, fate block.Fate) block.Step {
	s := block.Step{Kind: block.Counts, Low: i, High: i + 1, Raw: b.Corrected.Flow[i], Fate: fate}
	s.Bound = settings.Exactly(s.Raw)
	if i > 0 {
		s.Last = block.Accepted{End: b.EndAt(i-1, b.Corrected.Flow[i-1])}
		s.Last.Bound = settings.Exactly(s.Last.Flow)
		s.From = s.Last.At
	}
	return s
}

// drops is a step of a row that does not count.
func drops(i int, hopeless bool) block.Step {
	return block.Step{Kind: block.Drops, Low: i, High: i + 1, Hopeless: hopeless}
}
