package profile

import "math"

// impossible is a run of readings that cannot be levels at all, between levels that can.
type impossible struct {
	from, until int64
	readings    int
	before      float64 // level before it
	first, last float64
	after       float64
}

// mostImpossible is how many of them are listed.
const mostImpossible = 20000

// Impossible takes a reading that cannot be a level at all: below the bed, above the channel's depth. It is no part of
// the record; a few of them that leave the level and return to it are a spike, at any interval.
func (p *Profile) Impossible(at int64, level float64) {
	x := &p.beyond
	n := len(p.at)
	near := n > 0 && at > p.lastAt && at-p.lastAt < p.apart
	switch {
	case x.readings > 0 && near:
		x.readings, x.until, x.last = x.readings+1, at, level
	case near:
		*x = impossible{from: at, until: at, readings: 1, before: p.level[n-1], first: level, last: level}
	default:
		*x = impossible{}
		p.end()
		return
	}
	p.lastAt = at
}

// returned takes in the level that follows impossible ones.
func (p *Profile) returned(level float64) {
	x := &p.beyond
	if x.after = level; x.readings <= mostSpikes {
		if len(p.beyonds) < mostImpossible {
			p.beyonds = append(p.beyonds, *x)
		} else {
			p.left++
		}
	}
	*x = impossible{}
}

// tellImpossible turns those that jump off their level and back, by what removes other spikes, into verdicts.
func (r *record) tellImpossible(p *Profile) {
	for _, x := range p.beyonds {
		n := r.at(x.before).noise * beyondTies
		in, out := x.first-x.before, x.last-x.after
		jump := min(math.Abs(in), math.Abs(out))
		if in*out <= 0 || jump < 6*n || math.Abs(x.after-x.before) > float64(0.3*jump)+float64(0.5*n) {
			continue
		}
		r.result.Verdicts = append(r.result.Verdicts, Verdict{
			From: x.from, Until: x.until, Readings: x.readings, Kind: Spike, Remove: true, Size: x.first - x.before,
			Why: "jumps to where no level can be, and back",
		})
	}
	if p.left > 0 {
		r.result.Notes = append(r.result.Notes, Note{Kind: Left, Count: p.left})
	}
}
