package block

import (
	"slices"

	"retotal/ingest/site"
	"retotal/qa"
)

// Rulings are the decisions of persons, over what screening found.
type Rulings struct {
	List     []site.Ruling
	PassOver []int      // numbers of the rulings that are passed over, to see what they did
	checks   []qa.Flags // of each: the flags that it is about; 0 for all readings
}

func newRulings(s *site.Site) Rulings {
	r := Rulings{List: s.Rulings}
	for _, x := range s.Rulings {
		flags := qa.Flags(0)
		for _, c := range qa.Checks {
			for _, name := range x.Checks {
				if c.Name == name {
					flags |= c.Flag
				}
			}
		}
		r.checks = append(r.checks, flags)
	}
	return r
}

// of returns the ruling that a reading is under, the last one that is about it, and its number; nil and −1 for none.
func (r *Rulings) of(at int64, flags qa.Flags) (*site.Ruling, int) {
	for i := len(r.List) - 1; i >= 0; i-- {
		x := &r.List[i]
		if !slices.Contains(r.PassOver, i) && at >= x.From.UTC && at < x.Until.UTC &&
			(r.checks[i] == 0 || r.checks[i]&flags != 0) {
			return x, i
		}
	}
	return nil, -1
}

// RulingOf returns the ruling that row i is under and its number; nil and −1 for none.
func (b *Block) RulingOf(i int) (*site.Ruling, int) { return b.Rulings.of(b.Time[i], b.Flags[i]) }

// careful are the flags of readings whose flow is not simply what it shows, even where the site file keeps them.
const careful = qa.Drowned | qa.CutOff | qa.Capped | qa.Blanking | qa.Spike

func (f *Frame) setActions() {
	f.Actions = map[qa.Flags]site.Action{}
	for _, c := range qa.Checks {
		action := f.Site.Screening.Actions[c.Name]
		if action == "" {
			action = site.LeaveOut // gaps: nothing is put in their place
		}
		f.Actions[c.Flag] = action
		if action != site.Keep || c.Flag&careful != 0 {
			f.Drops |= c.Flag
		}
	}
}

// strength orders actions: of several the strongest holds.
var strength = map[site.Action]int{site.Keep: 0, site.Zero: 1, site.Hold: 2, site.Bridge: 3, site.LeaveOut: 4}

// ActionOf returns what becomes of a reading: the strongest action of its flags.
func (f *Frame) ActionOf(flags qa.Flags) site.Action {
	strongest := site.Keep
	for _, c := range qa.Checks {
		if flags&c.Flag&^qa.Gap != 0 && strength[f.Actions[c.Flag]] > strength[strongest] {
			strongest = f.Actions[c.Flag]
		}
	}
	return strongest
}

// HoldsTop reports whether readings above the channel or the rating are held.
func (f *Frame) HoldsTop() bool { return f.Actions[qa.Surcharge] == site.Hold }
