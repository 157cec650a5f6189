package settings

import (
	"fmt"

	"retotal/ingest/problem"
	"retotal/ingest/quantity"
	"retotal/ingest/site"
	"retotal/recompute/device"
)

// Builder turns the tables of a site file into segments.
type Builder struct {
	Site     *site.Site
	Problems problem.List
	seen     map[string]bool // messages already given: a device may serve several segments
	Recorded []Segment       // as the meter was set
	Ratings  map[*site.DeviceKeys]device.Rating
}

// Add takes in a problem, each but once.
func (b *Builder) Add(p *problem.Problem) {
	if b.seen == nil {
		b.seen = map[string]bool{}
	}
	if !b.seen[p.Error()] {
		b.seen[p.Error()] = true
		b.Problems.Add(p)
	}
}

// Rating builds a device, once for each table of keys, and words what is wrong with them.
func (b *Builder) Rating(keys *site.DeviceKeys) device.Rating {
	if keys == nil || keys.Kind == "" {
		return nil // reported when the file was read
	}
	if r, ok := b.Ratings[keys]; ok {
		return r
	}
	r, issues := device.Build(keys.Kind, keys.Values)
	for _, issue := range issues {
		_, own := b.Site.Places[keys.Prefix+"."+issue.Key]
		if told := "device: " + issue.Found; own || !b.seen[told] { // what is inherited was told where it stands
			b.Add(b.worded(keys, issue))
			b.seen[told] = true
		}
	}
	if len(issues) > 0 {
		r = nil
	}
	b.Ratings[keys] = r
	return r
}

// worded puts what is wrong with a device into words, at the key at fault.
func (b *Builder) worded(keys *site.DeviceKeys, issue device.Issue) *problem.Problem {
	place, ok := b.Site.Places[keys.Prefix+"."+issue.Key]
	if !ok {
		place = keys.Place
	}
	remedy := issue.Remedy
	if issue.Unknown {
		name := issue.Key
		if issue.Key == "kind" {
			name = keys.Kind
		}
		remedy = problem.Suggest(name, issue.Known)
	}
	return problem.At(place, b.Site.Named(keys.Prefix)+": "+issue.Found, issue.Expected, remedy)
}

// warnOfLimit tells a maximum head for which the device's rating is not valid.
func (b *Builder) warnOfLimit(s *Segment) {
	limits := s.Rating.Limits()
	if m := s.Settings.Values[site.MaximumHead]; m != nil && m.From.SI > limits.High+1e-6 {
		b.Add(problem.Warn(m.Place,
			fmt.Sprintf("maximum_head %q is above the highest head, %s m, for which the rating is valid",
				m.From.Text, quantity.Digits(limits.High, 3)),
			limits.HighSource, "readings above that limit are flagged, and kept"))
	}
}
