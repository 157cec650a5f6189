package fingerprint

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"

	"retotal/ingest/quantity"
	"retotal/recompute/explain/sample"
)

// Means says whether figures are means over the interval or of an instant.
type Means int

// What a log tells of it.
const (
	CannotTell Means = iota // the level moves too little within an interval
	OfMeans                 // the mean of the flow is logged beside the mean of the level
	OfInstants              // the flow is that of the logged level
)

// ends finds where the meter stops.
func (f *fitter) ends(p *Print, x fitted, logged func(head float64) float64) {
	s := f.s
	if !math.IsInf(s.Top, 1) {
		p.Cap.Flow = s.Top
		for _, i := range s.ByHead() {
			if x.flow(s.Head[i]) >= s.Top {
				p.Cap.Level = logged(s.Head[i])
				break
			}
		}
	}
	if !math.IsInf(s.Dry, -1) {
		p.CutOff = End{x.flow(s.Dry), logged(s.Dry)}
	}
}

// explains finds which part of the readings a fit explains, and whether those that it does not are those above a level.
func (f *fitter) explains(p *Print, x fitted, logged func(head float64) float64) {
	sample := &f.s.Sample
	var off []int // by head: 0 explained, 1 more flow, -1 less
	var heads []float64
	for k, i := range sample.Index {
		at := f.s.At[i]
		if sample.Flows[k] <= 0 || at < p.Before || p.After != 0 && at > p.After {
			continue
		}
		r, side := (sample.Flows[k]-f.at(&x, i))/sample.Tolerances[k], 0
		switch {
		case r > fits:
			side = 1
		case r < -fits:
			side = -1
		}
		off, heads = append(off, side), append(heads, sample.Heads[k])
	}
	right := 0
	for _, side := range off {
		if side == 0 {
			right++
		}
	}
	p.Fits = float64(right) / math.Max(float64(len(off)), 1)
	for _, side := range [...]int{1, -1} {
		// The place that splits best: explained below, on one side above.
		good, best, at := 0, 0, -1
		for k := len(off) - 1; k >= 0; k-- {
			if off[k] == side {
				good++
			} else {
				good--
			}
			if good > best {
				best, at = good, k
			}
		}
		if above := len(off) - at; at > 0 && above >= leastAbove && 10*best > 6*above && 5*at > len(off) {
			p.Above, p.More = logged(heads[at]), side == 1
		}
	}
}

// spells finds whether what a fit does not explain lies at the beginning or at the end of the record.
func (f *fitter) spells(p *Print, x fitted) {
	s := f.s
	var at []int64
	var off []bool
	for i := range s.At {
		if s.Flow[i] > 0 {
			at = append(at, s.At[i])
			off = append(off, math.Abs(s.Flow[i]-f.at(&x, i)) > fits*s.Tolerance(i))
		}
	}
	// longest is how many readings from one end on are off, but for a few.
	longest := func(reading func(k int) bool) int {
		good, best, count := 0, 0, 0
		for k := range off {
			if reading(k) {
				good++
			} else {
				good -= 4
			}
			if good > best {
				best, count = good, k+1
			}
		}
		return count
	}
	n := len(off)
	if k := longest(func(k int) bool { return off[k] }); k >= leastAbove && k < n/2 {
		p.Before = at[k]
	}
	if k := longest(func(k int) bool { return off[n-1-k] }); k >= leastAbove && k < n/2 {
		p.After = at[n-1-k]
	}
}

// leastAbove is how many readings of the sample show that a level divides them.
const leastAbove = 20

// Rules of means: from how many readings on, and how many standard errors make it sure.
const (
	leastBent  = 30
	surely     = 4.0
	meansShare = 0.3 // of what means would add, below which there is none
)

// means tells means from readings of an instant: by Jensen's inequality the mean of the flow is above the flow of the
// mean level by half the second derivative times the variance within the interval, a twelfth of the square of the swing
// where the level goes in a straight line.
func (f *fitter) means(x fitted) Means {
	s := f.s
	if p := f.record; p.Means {
		return OfMeans
	}
	if f.s.Sample.Blur > sample.EndSlack {
		return CannotTell
	}
	step := 0.0
	for k := 1; k < len(s.At); k++ {
		if d := s.At[k] - s.At[k-1]; d > 0 && (step == 0 || float64(d) < step) {
			step = float64(d)
		}
	}
	up, down, spread, count := 0.0, 0.0, 0.0, 0
	for i := 1; i+1 < len(s.At); i++ {
		h, q := s.Head[i], s.Flow[i]
		if float64(s.At[i+1]-s.At[i-1]) > 2.5*step || q <= 0 || q >= s.Top*(1-s.Sample.Blur) || h-x.datum <= 0 {
			continue
		}
		swing := (s.Head[i+1] - s.Head[i-1]) / 2
		by := math.Max(0.02*(h-x.datum), 1e-4)
		bend := (x.flow(h+by) - 2*x.flow(h) + x.flow(h-by)) / (by * by)
		adds, t := bend*swing*swing/24, s.Tolerance(i)
		if math.Abs(swing) < 4*s.LevelStep || adds < 0.2*t {
			continue
		}
		r := q - x.flow(h)
		w := 1 / (t * t * (1 + r*r/(9*t*t)))
		up, down, spread, count = up+w*adds*r, down+w*adds*adds, spread+w*w*adds*adds*r*r, count+1
	}
	if count < leastBent || down == 0 {
		return CannotTell
	}
	share, slack := up/down, math.Sqrt(spread)/down
	switch {
	case share-surely*slack > meansShare:
		return OfMeans
	case share+surely*slack < meansShare:
		return OfInstants
	}
	return CannotTell
}

// beside is what makes the same flow and is no device of the list: sizes with a factor, neighbours, other units.
func (f *fitter) beside(best fitted) (list []string) {
	switch best.kind {
	case "v-notch":
		list = append(list, f.angles(best)...)
	case "parshall":
		list = append(list, f.neighbours(best)...)
	case "rectangular", "cipolletti":
		list = append(list, "a straight crest: its width cannot be told from its coefficient, nor how wide the "+
			"channel is; a broad crest of another width makes the same")
	case "power", "linear":
		list = append(list, "a unit or a factor on the flow: the coefficient holds them all")
	}
	return append(list, f.units(best)...)
}

// angles are the next usual angles that make the same flow with a factor on it.
func (f *fitter) angles(best fitted) (list []string) {
	var texts []string
	try := func(h *hypothesis) {
		if h == nil {
			return
		}
		h.most = anyFactor
		if x := f.fit(*h, best.moved, true, 1); x.loss < best.loss+twinScore {
			texts = append(texts, fmt.Sprintf("%s with x %s", h.size, quantity.Digits(x.factor, 4)))
		}
	}
	lower, upper := next(best, best.equation, notches())
	try(lower)
	if try(upper); len(texts) > 0 {
		list = append(list, "the angle and a factor on the flow: "+strings.Join(texts, ", or ")+", makes the same")
	}
	return list
}

// next is the next smaller and the next larger size of the same kind, by one equation.
func next(best fitted, equation string, all []hypothesis) (lower, upper *hypothesis) {
	for _, h := range all {
		switch {
		case h.kind != best.kind || h.equation != equation || h.size == "":
		case h.value < 0.99*best.value && (lower == nil || h.value > lower.value):
			lower = &h
		case h.value > 1.01*best.value && (upper == nil || h.value < upper.value):
			upper = &h
		}
	}
	return lower, upper
}

// neighbours are the next throats, and by how much their flow differs.
func (f *fitter) neighbours(best fitted) (list []string) {
	heads := f.middle() - best.datum
	lower, upper := next(best, "", catalogue())
	var texts []string
	for _, h := range []*hypothesis{lower, upper} {
		if h != nil {
			texts = append(texts, fmt.Sprintf("%s makes %+.1f %%", h.size,
				100*(h.rating.Flow(heads)/best.rating.Flow(heads)-1)))
		}
	}
	return append(list, "neighbouring throats, by the flow at the middle head: "+strings.Join(texts, ", "))
}

// units are the devices in sizes that fit as well if a column is in another unit than was taken.
func (f *fitter) units(best fitted) (list []string) {
	type found struct {
		text string
		loss float64
	}
	var all []found
	try := func(level, flow float64, of string) {
		for _, h := range catalogue() {
			if h.size == "" {
				continue
			}
			x := fitted{hypothesis: h, times: level, factor: 1 / flow}
			if x = f.turned(x, 0, sample.Coarse); x.loss > best.loss+0.5 {
				continue
			}
			if x = f.turned(x, 0, 1); x.loss < best.loss+twinScore {
				all = append(all, found{fmt.Sprintf("%s %s, if the %s", h.kind, h.size, of), x.loss})
			}
		}
	}
	if !f.moves {
		for _, u := range f.record.LevelUnits {
			try(u.Times, 1, "level is in "+u.Name)
		}
		for _, u := range f.record.FlowUnits {
			try(1, u.Times, "flow is in "+u.Name)
		}
	}
	slices.SortStableFunc(all, func(a, b found) int { return cmp.Compare(a.loss, b.loss) })
	for _, x := range all {
		if !slices.Contains(list, x.text) && len(list) < 3 {
			list = append(list, x.text)
		}
	}
	return list
}
