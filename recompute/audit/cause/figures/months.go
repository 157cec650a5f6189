package figures

import (
	"math"
	"slices"

	"retotal/recompute/audit/cause"
)

// How near a figure must come to be recognised: figures are reported to four digits or so, and may be those of a
// meter's own sum, from which the months that agree differ too. Factors lie further apart than a few thousandths.
const (
	matchWithin  = 0.0005
	mostWithin   = 0.002
	factorWithin = 0.003
)

// matches reports whether a figure is a value to a share of it, or to its digits.
func (f *Figure) matches(v, share float64) bool {
	return v > 0 && math.Abs(f.Value-v) <= math.Max(share*v, 0.6*f.Step)
}

// match is the same to what the months that agree differ by.
func (r *Reported) match(f *Figure, v float64) bool {
	share := matchWithin
	for i := range r.Months {
		if m := &r.Months[i]; m.agrees() {
			share = math.Max(share, math.Min(mostWithin, 1.5*math.Abs(m.Value/m.Flow-1)))
		}
	}
	return f.matches(v, share)
}

// guess is one way to explain a month: a cause, and whether it gives the figure.
type guess struct {
	cause.Cause
	fits bool
}

// ofMonths finds the one cause that explains all months that are off; false where there is none.
func (r *Reported) ofMonths() (cause.Cause, bool) {
	var off []int
	for i := range r.Months {
		if !r.Months[i].agrees() {
			off = append(off, i)
		}
	}
	if len(off) == 0 {
		return cause.Cause{}, false
	}
	var found []cause.Cause
	for _, way := range []func(i int) []guess{
		r.monthUnit, r.monthOthers, r.monthRepeated, r.monthElsewhere, r.monthRegister, r.monthDays,
	} {
		if x, ok := explainsAll(way, off); ok {
			found = append(found, x)
		}
	}
	if len(found) == 0 {
		return cause.Cause{}, false
	}
	best := found[0]
	for _, x := range found[1:] {
		if x.Name != best.Name {
			best.AsWell = append(best.AsWell, x.Name)
		}
	}
	best.Worth = 0
	for _, i := range off {
		best.Worth += r.Months[i].Value - r.Months[i].Flow
	}
	if n := len(r.Months) - len(off); best.Since == 0 && n > 0 {
		best.Since = r.Months[off[0]].From
	}
	if len(off) == 1 && best.Against == "" {
		best.Against = "one figure only"
	}
	return best, true
}

// explainsAll takes the first guess of a way that gives all months that are off, by one value.
func explainsAll(way func(i int) []guess, off []int) (cause.Cause, bool) {
	for _, g := range way(off[0]) {
		all := g.fits
		for _, i := range off[1:] {
			all = all && slices.ContainsFunc(way(i), func(o guess) bool {
				return o.fits && o.Name == g.Name && (o.Value == g.Value || math.IsNaN(g.Value) || g.Unit == "m3")
			})
		}
		if all {
			return g.Cause, true
		}
	}
	return cause.Cause{}, false
}

func (r *Reported) monthUnit(i int) (list []guess) {
	f := &r.Months[i]
	for _, x := range cause.Factors {
		g := guess{cause.Named("reported unit"), f.matches(x.Value*f.Flow, factorWithin)}
		g.Value, g.Low, g.High, g.Unit, g.Taken = x.Value, x.Value, x.Value, "x", x.Name
		list = append(list, g)
	}
	return list
}

func (r *Reported) monthOthers(i int) (list []guess) {
	f := &r.Months[i]
	return []guess{
		{cause.Named("corrected figures reported"), r.match(f, f.Corrected)},
		{cause.Named("logged flow reported"), r.match(f, f.Logged)},
		{cause.Named("counter reported"), r.match(f, f.Counted)},
	}
}

// monthRepeated is the figure of another month, to the last digit.
func (r *Reported) monthRepeated(i int) (list []guess) {
	f := &r.Months[i]
	g := guess{Cause: cause.Named("reported value repeated")}
	g.Since = f.From
	for k := range r.Months {
		o := &r.Months[k]
		if k != i && math.Abs(o.Value-f.Value) <= f.Step/2 && o.agrees() {
			g.fits = true
		}
	}
	return append(list, g)
}

// monthElsewhere is the volume of another month of the log.
func (r *Reported) monthElsewhere(i int) (list []guess) {
	f := &r.Months[i]
	for k := range r.All {
		o := &r.All[k]
		if len(o.Label) != len(f.Label) || o.Label == f.Label || math.IsNaN(o.Flow) {
			continue
		}
		g := guess{cause.Named("reported from elsewhere"), r.match(f, o.Flow)}
		g.Taken, g.Since = o.Label, f.From
		list = append(list, g)
	}
	return list
}

// monthRegister is what a register shows at the end of the month: the figure before and the month's volume, or all
// volumes since some month.
func (r *Reported) monthRegister(i int) (list []guess) {
	f := &r.Months[i]
	g := guess{Cause: cause.Named("register reported")}
	g.Unit = "m3"
	if i > 0 && r.Months[i-1].Until == f.From {
		g.fits = r.match(f, r.Months[i-1].Value+f.Flow)
	}
	sum := f.Flow
	for k := i - 1; k >= 0 && r.Months[k].Until == r.Months[k+1].From; k-- {
		if sum += r.Months[k].Flow; r.match(f, sum) {
			g.fits = true
		}
	}
	g.Value = f.Value - f.Flow
	g.Low, g.High = g.Value, g.Value
	return append(list, g)
}

// mostDays is how many days at an end of a month may be left out, or taken in from the next to it.
const mostDays = 10

// monthDays are months that lack days at an end, or hold days of the month next to it.
func (r *Reported) monthDays(i int) (list []guess) {
	f := &r.Months[i]
	const day = 24 * cause.HourNs
	one := func(name string, n int, from, until int64) {
		g := guess{cause.Named(name), r.match(f, r.Volumes.Between(from, until))}
		g.Value, g.Unit, g.Since = float64(n), "d", f.From
		g.Low, g.High = g.Value, g.Value
		g.Against = "any figure that is off by the volume of some days looks so"
		list = append(list, g)
	}
	for n := 1; n <= mostDays; n++ {
		by := int64(n) * day
		one("days left out", n, f.From+by, f.Until)
		one("days left out", n, f.From, f.Until-by)
		one("days taken in", n, f.From-by, f.Until)
		one("days taken in", n, f.From, f.Until+by)
	}
	return list
}
