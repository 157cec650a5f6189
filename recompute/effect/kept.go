package effect

import (
	"retotal/ingest/site"
	"retotal/qa"
	"retotal/recompute/block"
	"retotal/recompute/stage"
	"retotal/recompute/total"
)

// Change is what the corrected total would change by: its volume, m³, and the time that would be missing, ns.
type Change struct {
	Volume  float64
	Missing int64
}

func (c *Change) add(o Change) { c.Volume, c.Missing = c.Volume+o.Volume, c.Missing+o.Missing }

// OfRating are the flags that doubt what is known of the device and not the reading. What leaving theirs out would do
// is told beyond that of all others, so that a doubtful reading among them stands for itself.
const OfRating = qa.Validity | qa.Drowned

// kept follows what the corrected total would be if all readings that are kept with a flag were dropped, and a straight
// line joined the accepted ones around them: first those whose flags doubt the reading, then all. The changes of all
// events add up to that of leaving out all readings at once.
type kept struct {
	joins       stage.Joins
	doubts, all leaving
}

// leaving follows the stretches that would be without the readings with some flags. A stretch belongs to the first flag
// of its first reading.
type leaving struct {
	flags, owns qa.Flags // whose readings are left out, and whose events a stretch belongs to
	open        bool
	owner       *Event
	last        block.Accepted // before the stretch
	apart       bool           // something in it is left out or missing already
	change      Change
}

func newKept(b *block.Block, joins stage.Joins) kept {
	k := kept{joins: joins}
	for f, action := range b.Actions {
		if action == site.Keep {
			k.all.flags |= f
		}
	}
	k.doubts.flags = k.all.flags &^ OfRating
	k.doubts.owns, k.all.owns = k.doubts.flags, k.all.flags&OfRating
	return k
}

// concerns reports whether row i, which counts as it is, has a say.
func (k *kept) concerns(b *block.Block, i int) bool { return k.all.open || b.Flags[i]&k.all.flags != 0 }

// take takes in a row that counts, with the open events of its flags.
func (k *kept) take(b *block.Block, s *block.Step, events *[32]*Event) {
	if k.concerns(b, s.Low) {
		told := k.doubts.take(b, s, events, &k.joins)
		k.all.untell(told)
		k.all.take(b, s, events, &k.joins)
	}
}

// finish ends the stretches that the log ends with: nothing joins them to anything.
func (k *kept) finish() {
	k.all.untell(k.doubts.close())
	k.all.close()
}

// untell takes off what is told of a stretch elsewhere.
func (x *leaving) untell(c Change) {
	x.change.Volume -= c.Volume
	x.change.Missing -= c.Missing
}

// take takes in a row that counts. It returns what the stretch would change, where the row ends one.
func (x *leaving) take(b *block.Block, s *block.Step, events *[32]*Event, joins *stage.Joins) Change {
	left := s.Ruling == nil && b.Flags[s.Low]&x.flags != 0
	switch {
	case !x.open && !left:
		return Change{}
	case !x.open:
		*x = leaving{flags: x.flags, owns: x.owns, open: true, last: s.Last}
	}
	x.apart = x.apart || s.Apart
	x.change.add(Change{-s.Volume - s.Filled, s.Covered})
	if left {
		if x.owner == nil {
			x.owner = events[index((b.Flags[s.Low] & x.owns).First())]
		}
		return Change{}
	}
	would := block.Step{Kind: block.Counts, Low: s.Low, High: s.High, Last: x.last, Apart: x.apart}
	joins.Decide(b, &would, true)
	joins.Put(b, &would, func(total.Class, int64, float64, int64, float64) {})
	x.change.add(Change{would.Volume + would.Filled, -would.Covered})
	return x.close()
}

// close ends a stretch and gives what it would change to its event.
func (x *leaving) close() Change {
	change := x.change
	if x.owner != nil {
		x.owner.Left.add(change)
	}
	x.open, x.owner, x.change = false, nil, Change{}
	return change
}
