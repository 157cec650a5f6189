package recompute

import (
	"testing"

	"retotal/qa/profile"
)

// TestNotesInWords: what a record says of itself, each kind of note as it is printed.
func TestNotesInWords(t *testing.T) {
	for _, c := range []struct {
		note profile.Note
		want string
	}{
		{profile.Note{Kind: profile.OwnPulses, Count: 40, Low: 0.01, High: 0.1234, Rising: true},
			"40 short rises of 10 to 123 mm are so many that they are this record's own, as a pump's " +
				"are: none of them is flagged"},
		{profile.Note{Kind: profile.OwnPulses, Count: 40, Low: 0.01, High: 0.02},
			"40 short falls of 10 to 20 mm are so many that they are this record's own, as a pump's " +
				"are: none of them is flagged"},
		{profile.Note{Kind: profile.OwnPulses, Count: 7, Low: 0.08, High: 0.09, Rising: true, Alike: true},
			"7 short rises of 80 to 90 mm are so alike that they are this record's own, as a pump's " +
				"are: none of them is flagged"},
		{profile.Note{Kind: profile.CannotTell, Count: 1},
			"a run of one value stands where the record holds too little to tell whether it is stuck: it is kept"},
		{profile.Note{Kind: profile.CannotTell, Count: 3},
			"3 runs of one value stand where the record holds too little to tell whether they are " +
				"stuck: they are kept"},
		{profile.Note{Kind: profile.Left, Count: 7},
			"7 of the weakest excursions were not looked at, since there are so many"},
	} {
		if got := noteText(c.note); got != c.want {
			t.Errorf("%q, want %q", got, c.want)
		}
	}
}
