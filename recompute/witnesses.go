package recompute

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"retotal/ingest/reading"
	"retotal/qa"
	"retotal/qa/witness"
	"retotal/recompute/block"
	"retotal/recompute/evidence"
	"retotal/recompute/settings"
)

// witnesses are the other quantities of a log that can contradict a reading that stands.
type witnesses []*ofQuantity

// ofQuantity is one of them, a stage of the pass that asks the record.
type ofQuantity struct {
	*witness.Witness
	name  string
	other func(b *block.Block, i int) float64 // what it says in row i; NaN for nothing
}

// newWitnesses begins a record.
func newWitnesses(b *block.Block) (list witnesses) {
	add := func(q reading.Quantity, name string, head func(at int64, other, near float64) float64,
		other func(b *block.Block, i int) float64) {
		if !b.Log.Has[q] || b.Log.Primary == q {
			return
		}
		s := witness.Settings{
			Interval: b.Log.Interval, Tolerance: b.Limits.StuckTolerance, Step: b.Limits.Resolution,
			OtherStep: b.Log.Resolution[q], Counts: q == reading.Counter, Head: head,
			Independent: q == reading.SecondLevel,
		}
		for _, x := range b.Log.Samplings {
			s.Interval = max(s.Interval, x.Interval)
		}
		list = append(list, &ofQuantity{witness.New(s), name, other})
	}
	recorded := b.Recorded.Lane
	ofFlow := func(at int64, flow, near float64) float64 {
		if flow <= 0 {
			return math.NaN()
		}
		return settings.Inverse(recorded.Segments[recorded.At(at)].Rating, flow, near)
	}
	add(reading.SecondLevel, "the second sensor", func(_ int64, head, _ float64) float64 { return head },
		func(b *block.Block, i int) float64 { return known(b.SecondHead[i], b.Second[i]) })
	add(reading.Flow, "the logged flow", ofFlow,
		func(b *block.Block, i int) float64 { return known(b.Logged[i], b.LoggedState[i] == reading.Present) })
	add(reading.Counter, "the counter", ofFlow,
		func(b *block.Block, i int) float64 { return known(b.Counter[i], b.CounterState[i] == reading.Present) })
	return list
}

// known is a value, or NaN where it is not known.
func known(value float64, is bool) float64 {
	if !is {
		return math.NaN()
	}
	return value
}

// Add takes in the rows of a block. What the sensor is doubted for, or stands at or below zero flow, is contradicted by
// nothing.
func (x *ofQuantity) Add(b *block.Block) {
	for i := b.Low; i < b.High; i++ {
		switch {
		case b.Flags[i]&noHabit != 0:
			x.End()
		case b.Head[i] <= 0:
			x.Witness.Add(b.Time[i], b.Value[i], b.Head[i], math.NaN())
		default:
			x.Witness.Add(b.Time[i], b.Value[i], b.Head[i], x.other(b, i))
		}
	}
}

// finish tells what is contradicted and what is confirmed, and of each witness in words how often.
func (w witnesses) finish() (told, confirmed []block.Told, notes []string) {
	for _, x := range w {
		list, apart := x.Finish()
		if apart {
			notes = append(notes, fmt.Sprintf("the level often stands while %s moves: the two are not of one water, "+
				"and none of these spells is flagged for it", x.name))
		}
		removed, n := 0, 0
		for _, v := range list {
			flag := qa.Still
			if v.Confirmed {
				confirmed = append(confirmed, block.Told{From: v.From, Until: v.Until})
				continue
			}
			if n++; v.Remove {
				flag = qa.Stuck
				removed++
			}
			told = append(told, block.Told{From: v.From, Until: v.Until, Flags: flag})
		}
		if n > 0 {
			notes = append(notes, fmt.Sprintf("%s while %s moves: %d flagged as stuck, %d as still, to be looked at",
				spells(n), x.name, removed, n-removed))
		}
	}
	return inOrder(told), confirmed, notes
}

// without is a list without the spans that overlap one of those that a second sensor confirms, and how many these are.
func without(list, confirmed []block.Told) (kept []block.Told, acquitted int) {
	for _, x := range list {
		if slices.ContainsFunc(confirmed, func(c block.Told) bool { return x.From <= c.Until && c.From <= x.Until }) {
			acquitted++
			continue
		}
		kept = append(kept, x)
	}
	return kept, acquitted
}

// unconfirmed are the long runs of a list that no second sensor confirms.
func (r *runner) unconfirmed(list []evidence.Still) []evidence.Still {
	return slices.DeleteFunc(list, func(x evidence.Still) bool {
		_, n := without([]block.Told{{From: x.From, Until: x.Until}}, r.confirmed)
		return n > 0
	})
}

// spells counts spells in words.
func spells(n int) string {
	if n == 1 {
		return "1 spell of one value"
	}
	return fmt.Sprintf("%d spells of one value", n)
}

// inOrder puts spans into the order of time. Of spans that overlap, as those of several witnesses do, stuck ones stand
// before still ones.
func inOrder(list []block.Told) (out []block.Told) {
	slices.SortStableFunc(list, func(a, b block.Told) int { return cmp.Compare(a.Flags, b.Flags) })
	for _, x := range list {
		if !slices.ContainsFunc(out, func(o block.Told) bool { return x.From <= o.Until && o.From <= x.Until }) {
			out = append(out, x)
		}
	}
	slices.SortFunc(out, func(a, b block.Told) int { return cmp.Compare(a.From, b.From) })
	return out
}
