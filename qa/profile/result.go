package profile

// Result is what is not normal in a record, and what is.
type Result struct {
	Verdicts []Verdict // in the order of time
	Notes    []Note
	Step     float64 // m: the record's own step, at least the stated one
	Bands    []Band  // by level; the outermost two reach to −Inf and +Inf
	// m: the most that this water rises and falls by from a reading to the next, three times what 999 of its 1,000
	// rises or falls do not exceed; 0 where there are too few
	Rise, Fall float64
}

// Band is what is normal in a range of levels: the noise of a reading, and how far the level usually goes from a
// reading to the next, its slope aside (99 of 100 go less far). Where a band has few changes, those of the bands around
// it are taken in.
type Band struct {
	Low, High float64 // m
	Changes   int     // of the band alone
	Noise     float64 // m
	Usual     float64 // m
}

// NoteKind is what a note is about.
type NoteKind uint8

// The kinds of notes.
const (
	OwnPulses  NoteKind = iota // many excursions of one class, or alike ones: the site's own, not flagged
	Left                       // a list was full: so many of the weakest were not looked at
	CannotTell                 // so many runs of equal values stand where the record holds too little to tell
)

// Note is something about the record as a whole.
type Note struct {
	Kind      NoteKind
	Check     Kind // which check it is about
	Count     int
	Low, High float64 // m, sizes of own pulses
	Rising    bool    // own pulses go up
	Alike     bool    // own pulses are alike, not many
}

// Noise is the noise of a reading at a level, in metres; the record's step at least. It is 0 for an empty record.
func (r *Result) Noise(level float64) float64 {
	for _, b := range r.Bands {
		if level < b.High {
			return b.Noise
		}
	}
	return 0
}
