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
	End
	Bound settings.Bound // what is known of its flow
	Flags qa.Flags       // those that matter
}

// Step is one step of the corrected total through the rows of a block, as the stages after acceptance go by it. Those
// in a block follow each other and hold each of its rows once.
type Step struct {
	Kind      Kind
	Low, High int
	Hopeless  bool // of a dropped row: nothing will be put in the place of the time since the last accepted reading

	// The rest is of a row that counts.

	Raw        float64 // its corrected flow before screening, m³/s
	Bound      settings.Bound
	Action     site.Action
	Ruling     *site.Ruling // nil for none
	Stated     bool         // a person stated the flow, whatever the settings
	Last       Accepted     // the last accepted reading
	From       int64        // where it begins: at the last accepted reading, or where the interval of a mean opens
	Fate       Fate         // of the time from there
	Class      total.Class
	Next       bool    // nothing was dropped or missing since the last accepted reading
	Pends      bool    // the time since the row before belongs to a stretch whose fate was open
	Bridges    bool    // of means: the time from the last accepted one to From is bridged
	Bracketed  bool    // the flow is only known between bounds at one end or both
	Volume     float64 // m³ that the step adds
	Unscreened float64 // m³ that the time since the last accepted reading would have if every reading had been kept
}

// Start is the end at which the step begins: of a mean, where its interval opens.
func (s *Step) Start() End {
	start := s.Last.End
	start.At = s.From
	return start
}
