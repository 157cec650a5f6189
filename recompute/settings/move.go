package settings

import (
	"retotal/ingest/reading"
	"retotal/ingest/site"
	"retotal/recompute/device"
)

// Moved applies a change to every segment of a lane, and works out anew what follows from it.
func (b *Builder) Moved(l *Lane, change func(s *Segment)) *Lane {
	for s := range l.stands() {
		if s.Rating != nil {
			change(s)
			s.derive(b.Site)
		}
	}
	return l
}

// Raise moves all heads of a segment by a length.
func (s *Segment) Raise(by float64) { s.chain.Raise(by) }

// Warm moves the air's temperature of a segment by some kelvin, where its way depends on it.
func (b *Builder) Warm(s *Segment, by float64) {
	if s.Settings.Air == nil {
		return
	}
	moved := *s.Settings.Air
	if moved.Fixed != nil {
		v := *moved.Fixed
		v.SI += by
		moved.Fixed = &v
	}
	moved.Plus += by
	s.Settings.Air = &moved
	b.link(s)
	s.chain.Exact = 0
}

// Rate puts another rating in the place of a segment's.
func (b *Builder) Rate(s *Segment, r device.Rating) {
	if s.Rating = r; b.Site.Log.Primary > reading.Head {
		s.chain.Exact = 0
	}
}

// Spans are corrections that correct nothing: they cut the recorded lane where a survey begins or ends to stand for the
// datum.
func Spans(corrections []site.Correction) (out []site.Correction) {
	for _, c := range corrections {
		out = append(out, site.Correction{From: c.From, Until: c.Until})
	}
	return out
}

// Learn tells lanes what the whole log shows under each recorded segment, works out anew where meters end, and reports
// whether any end is another.
func Learn(s *site.Site, recorded *Lane, shown []Extremes, lanes []*Lane) (news bool) {
	for k := range shown {
		recorded.Segments[k].Shown = &shown[k]
	}
	for _, lane := range lanes {
		for x := range lane.stands() {
			if x.Rating != nil {
				least, most := x.Ends.Least, x.Ends.Most
				x.derive(s)
				news = news || x.Ends.Least != least || x.Ends.Most != most
			}
		}
	}
	return news
}
