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

// OfRating are the flags that doubt what is known of the device and not the reading.
const OfRating = qa.Validity | qa.Drowned

// kept follows what the corrected total would be if the readings that are kept with a flag were dropped, and a straight
// line joined the accepted ones around them: those of each check alone, of each of its events alone, and of all checks.
type kept struct {
	joins stage.Joins
	flags qa.Flags
	one   [32]struct{ check, event leaving } // by flag
	open  qa.Flags                           // whose stretches are open
	all   leaving
	left  [32]Change // by flag: the check's
	total Change
}

// leaving follows the stretches that would be without some readings, from the accepted one before to that after them.
type leaving struct {
	to     *Change        // that the stretch adds to; nil outside of one
	last   block.Accepted // before the stretch
	apart  bool           // something in it is left out or missing already
	change Change
}

func newKept(b *block.Block, joins stage.Joins) kept {
	k := kept{joins: joins}
	for f, action := range b.Actions {
		if action == site.Keep {
			k.flags |= f
		}
	}
	return k
}

// concerns reports whether row i, which counts as it is, has a say.
func (k *kept) concerns(b *block.Block, i int) bool {
	return k.all.to != nil || b.Flags[i]&k.flags != 0
}

// take takes in a row that counts, with the open events of its flags.
func (k *kept) take(b *block.Block, s *block.Step, events *[32]*Event) {
	if !k.concerns(b, s.Low) {
		return
	}
	flags := b.Flags[s.Low] & k.flags
	if s.Ruling != nil {
		flags = 0
	}
	for rest := flags | k.open; rest != 0; rest &^= rest.First() {
		n := index(rest.First())
		var check, event *Change
		if flags&rest.First() != 0 {
			check, event = &k.left[n], &events[n].Left
		}
		k.one[n].check.take(b, s, &k.joins, check)
		k.one[n].event.take(b, s, &k.joins, event)
	}
	k.open = flags
	if flags != 0 {
		k.all.take(b, s, &k.joins, &k.total)
	} else {
		k.all.take(b, s, &k.joins, nil)
	}
}

// finish ends the stretches that the log ends with: nothing joins them to anything.
func (k *kept) finish() {
	for n := range k.one {
		k.one[n].check.close()
		k.one[n].event.close()
	}
	k.all.close()
}

// take takes in a row that counts. Where it is left out, its stretch adds to a change, and a stretch that adds to
// another ends with it.
func (x *leaving) take(b *block.Block, s *block.Step, joins *stage.Joins, left *Change) {
	if x.to != nil && x.to != left {
		x.pass(s)
		would := block.Step{Kind: block.Counts, Low: s.Low, High: s.High, Last: x.last, Apart: x.apart}
		joins.Decide(b, &would, true)
		joins.Put(b, &would, func(total.Class, int64, float64, int64, float64) {})
		x.change.add(Change{would.Volume + would.Filled, -would.Covered})
		x.close()
	}
	if left == nil {
		return
	}
	if x.to == nil {
		*x = leaving{to: left, last: s.Last}
	}
	x.pass(s)
}

// pass takes the time before a row of the stretch, or after its last, off the total.
func (x *leaving) pass(s *block.Step) {
	x.apart = x.apart || s.Apart
	x.change.add(Change{-s.Volume - s.Filled, s.Covered})
}

// close ends a stretch.
func (x *leaving) close() {
	if x.to != nil {
		x.to.add(x.change)
	}
	*x = leaving{}
}
