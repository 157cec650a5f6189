package uncertainty

import (
	"math"

	"retotal/recompute/total"
)

// Moved are the volumes of a period when one source is moved.
type Moved struct {
	After         total.Volume
	Bracket       total.Bracket
	Before, Still total.Volume // of what the meter showed, moved and not, over the readings that count
}

// Merge adds the volumes of another period.
func (m *Moved) Merge(o *Moved) {
	m.After.Merge(o.After)
	m.Bracket.Merge(o.Bracket)
	m.Before.Merge(o.Before)
	m.Still.Merge(o.Still)
}

// Figures are those of a total that its uncertainty is worked out from.
type Figures struct {
	After      total.Volume
	Difference float64 // m³, after less before over the time that both cover
	Bracket    total.Bracket
	Classes    [total.Classes]total.Volume
	Moved      []Moved
	Tally      Tally
}

// Part is what one source adds to the uncertainty of a total.
type Part struct {
	Component  *Component
	Effect     float64 // m³, of one standard uncertainty
	Difference float64 // the same on after less before
}

// Budget is the uncertainty of one total, and of what is derived from it.
type Budget struct {
	Parts      []Part
	Standard   float64 // m³, combined
	Difference float64 // m³, the same of after less before over the time that both cover: what they share cancels
	// Low and High are the same of the least and of the most that can have flowed, where a flow is only known between
	// bounds, m³.
	Low, High float64
}

// Expanded is the uncertainty of about 95 %, m³.
func (b *Budget) Expanded() float64 { return Coverage * b.Standard }

// ExpandedDifference is that of the difference.
func (b *Budget) ExpandedDifference() float64 { return Coverage * b.Difference }

// Budget adds up the uncertainty of a total, of the bounds around it and of its difference from before.
func (l *Components) Budget(f *Figures) *Budget {
	b := &Budget{}
	var sum effect
	for i := range l.List {
		s := &l.List[i]
		e := s.effect(f)
		b.Parts = append(b.Parts, Part{s, e.total, e.difference})
		sum.total += float64(e.total * e.total)
		sum.difference += float64(e.difference * e.difference)
		sum.low += float64(e.low * e.low)
		sum.high += float64(e.high * e.high)
	}
	b.Standard, b.Difference = math.Sqrt(sum.total), math.Sqrt(sum.difference)
	b.Low, b.High = math.Sqrt(sum.low), math.Sqrt(sum.high)
	return b
}

// effect is what one standard uncertainty of a source changes, m³: in the total, in its difference from before, and in
// the least and the most that can have flowed.
type effect struct{ total, difference, low, high float64 }

// effect works it out for a total.
func (s *Component) effect(f *Figures) effect {
	after := f.After.M3()
	low, high := f.Bracket.Of(f.After)
	alike := func(total, difference float64) effect { return effect{total, difference, total, total} }
	t := &f.Tally
	switch s.Kind {
	case OfAll:
		m := &f.Moved[s.lane]
		movedLow, movedHigh := m.Bracket.Of(m.After)
		e := (m.After.M3() - after) / nudge
		return effect{e, e - (m.Before.M3()-m.Still.M3())/nudge, (movedLow - low) / nudge, (movedHigh - high) / nudge}
	case OfReading:
		return alike(s.Input/1000*math.Sqrt(t.Squares[0]), s.Input/1000*math.Sqrt(t.Squares[1]))
	case Sampling:
		return alike(math.Sqrt(t.Bends[0]), math.Sqrt(t.Bends[1]))
	case Joining:
		return alike(math.Sqrt(t.Joins[0]), math.Sqrt(t.Joins[1]))
	case OfClass:
		e := s.share * f.Classes[s.Class].M3()
		return alike(e, e)
	}
	p, more := s.share, t.Beyond
	return effect{p * (after + more), p * (f.Difference + more), p * (low + more), p * (high + more)}
}

// Without is the expanded uncertainty of the least and of the most of a total, without that of a class; none when no
// budget was asked for.
func (b *Budget) Without(class total.Class) (low, high float64) {
	if b == nil {
		return 0, 0
	}
	part := 0.0
	for _, x := range b.Parts {
		if s := x.Component; s.Kind == OfClass && s.Class == class {
			part = float64(x.Effect * x.Effect)
		}
	}
	rest := func(all float64) float64 { return Coverage * math.Sqrt(math.Max(0, float64(all*all)-part)) }
	return rest(b.Low), rest(b.High)
}

// Halve says which single source would have to be how much better known for half the uncertainty; input is its new
// standard uncertainty. It fails when no single one can do it, and names the largest then.
func (b *Budget) Halve() (part *Part, input float64, ok bool) {
	for i := range b.Parts {
		p := &b.Parts[i]
		if part == nil || math.Abs(p.Effect) > math.Abs(part.Effect) {
			part = p
		}
	}
	if part == nil || part.Effect == 0 {
		return nil, 0, false
	}
	all := float64(b.Standard * b.Standard)
	left := all/4 - (all - float64(part.Effect*part.Effect))
	if left <= 0 {
		return part, 0, false
	}
	return part, part.Component.Input * math.Sqrt(left) / math.Abs(part.Effect), true
}
