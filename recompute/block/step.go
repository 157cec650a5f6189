package block

import (
	"retotal/ingest/site"
	"retotal/qa"
	"retotal/recompute/settings"
	"retotal/recompute/total"
)

// Kind is what a step of the corrected total is.
type Kind uint8

// The kinds of steps.
const (
	Run    Kind = iota // rows Low to High−1 each follow an accepted neighbour and count as they are
	Counts             // row Low counts, with what Step says of it
	Drops              // row Low does not count
)

// Fate is what becomes of the time between the last accepted reading and one that counts.
type Fate uint8

// The fates.
const (
	Joined Fate = iota // a line, or the interval of a mean
	ToFill             // missing, and the site file asks for something in its place
	Lost               // missing
	Begins             // nothing was accepted before
)

// Accepted is a reading that counts.
type Accepted struct {
	Any bool // false where nothing was accepted yet
	End
	Bound settings.Bound // what is known of its flow
	Flags qa.Flags       // those that matter
}

// Step is one step of the corrected total through the rows of a block, as the stages after acceptance go by it. Those
// in a block follow each other and hold each of its rows once.
type Step struct {
	Kind      Kind
	Low, High int
	Hopeless  bool         // of a dropped row: nothing will be put in the place of the time since the last accepted one
	Ruling    *site.Ruling // that a single row is under; nil for none

	// The rest is of a row that counts.

	Raw        float64 // its corrected flow before screening, m³/s
	Bound      settings.Bound
	Action     site.Action
	Changed    bool     // screening or a ruling gave it another flow than it has when it is kept
	Stated     bool     // a person stated the flow, whatever the settings
	Last       Accepted // the last accepted reading
	From       int64    // where it begins: at the last accepted reading, or where the interval of a mean opens
	Fate       Fate     // of the time from there
	Class      total.Class
	Next       bool    // nothing was dropped or missing since the last accepted reading
	Apart      bool    // something was left out or missing since then, over which nothing is bridged
	Pends      bool    // the time since the row before belongs to a stretch whose fate was open
	Bridges    bool    // of means: the time from the last accepted one to From is bridged
	Bracketed  bool    // the flow is only known between bounds at one end or both
	Volume     float64 // m³ that the step adds, without what is filled
	Filled     float64 // m³ that is put in the place of missing time
	Covered    int64   // ns that both cover
	Unscreened float64 // m³ that the time since the last accepted reading would have if every reading had been kept
}

// Start is the end at which the step begins: of a mean, where its interval opens.
func (s *Step) Start() End {
	start := s.Last.End
	start.At = s.From
	return start
}

// Single is the step of a row within a run, which follows an accepted neighbour and counts as it is.
func (b *Block) Single(i int) Step {
	last := Accepted{Any: true, End: b.EndAt(i-1, b.Corrected.Flow[i-1])}
	return Step{
		Kind: Counts, Low: i, High: i + 1, Raw: b.Corrected.Flow[i], Last: last, From: last.At, Next: true,
		Volume:  b.Trapezoid(last.At, last.Flow, b.Time[i], b.Corrected.Flow[i]),
		Covered: b.Within(last.At, b.Time[i]),
	}
}
