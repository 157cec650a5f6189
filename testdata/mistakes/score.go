package mistakes

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"

	"retotal/recompute/device"
	"retotal/recompute/explain"
)

// Outcome is what came of one case.
type Outcome struct {
	Case            *Case
	First, TopThree bool    // the first answer is right, or one of three; of a right meter: nothing is claimed
	Claimed         bool    // a setting is said to be wrong
	Values, Held    int     // intervals of continuous values of the truth that were given, and those that hold it
	Onset, InTime   bool    // the first answer is right and began at some time, and at the right one
	Undone          float64 // volume after undoing the first answer over the right one, less one; NaN without an answer
	Said            string
}

// Judge compares a finding with the truth of its case.
func Judge(c *Case, f explain.Finding) Outcome {
	o := Outcome{Case: c, Undone: math.NaN(), Said: said(c, f)}
	o.Claimed = f.Verdict == explain.SettingDiffers && len(f.Best) > 0 && len(settings(f.Best[0])) > 0
	if len(c.Truth.Names) == 0 {
		o.First = !o.Claimed && f.Verdict != explain.CannotCompare
		o.TopThree = o.First
		return o
	}
	if !o.Claimed {
		return o
	}
	for i, e := range f.Best[:min(3, len(f.Best))] {
		if c.right(e) {
			o.First = o.First || i == 0
			o.TopThree = true
		}
	}
	o.intervals(c, f)
	e := f.Best[0]
	slack := c.Record.Interval
	o.Onset = o.First && c.Truth.Since != 0
	o.InTime = o.Onset && e.Since >= c.OnsetLow-slack && e.Since <= c.OnsetHigh+slack
	o.Undone = c.undone(e)/c.Volume - 1
	return o
}

// settings are the names of an explanation that speak of settings: when level and flow were taken, and which of the
// published equations is used, is none.
func settings(e explain.Explanation) (names []string) {
	for _, name := range e.Names {
		if !slices.Contains([]string{"same", "equation", "delay", "damping"}, name) {
			names = append(names, name)
		}
	}
	slices.Sort(names)
	return names
}

// right says that an explanation is one of those that count.
func (c *Case) right(e explain.Explanation) bool {
	return slices.ContainsFunc(c.Right, func(a Answer) bool {
		if !slices.Equal(a.Names, settings(e)) || (a.Since != 0) != (e.Since != 0) {
			return false
		}
		for i, name := range a.Names {
			k := slices.Index(e.Names, name)
			if k >= len(e.Values) || !c.near(name, e.Values[k], a.Values[i], len(a.Names) > 1) {
				return false
			}
		}
		return true
	})
}

// near says that a value is about the true one: to a tenth, of a datum to 3 mm or a step of the level too, of one of
// two settings, which may make up for each other, to three times that. What has no number is right by its name.
func (c *Case) near(name string, value, truth float64, pair bool) bool {
	part := 0.1
	if pair {
		part = 0.3
	}
	switch name {
	case "kind", "linear", "span offset", "exponent":
		return true
	case "datum":
		return math.Abs(value-truth) <= part*math.Max(math.Abs(truth), math.Max(0.03, 10*c.Record.LevelStep))
	case "throat", "size":
		part /= 2 // standard sizes lie further apart
	case "cut-off":
		part = 0.3
	}
	return math.Abs(value/truth-1) <= part
}

// continuous are the settings that can have any value.
var continuous = []string{"datum", "flow factor", "head factor", "width", "roughness", "slope", "coefficient", "cap",
	"cut-off"}

// intervals counts those of the first answer that has the names of the truth. A value that was taken for one of a
// catalogue has none.
func (o *Outcome) intervals(c *Case, f explain.Finding) {
	for _, e := range f.Best[:min(3, len(f.Best))] {
		if !slices.Equal(settings(e), c.Truth.Names) || (e.Since != 0) != (c.Truth.Since != 0) {
			continue
		}
		for i, name := range c.Truth.Names {
			k := slices.Index(e.Names, name)
			if !slices.Contains(continuous, name) || k >= min(len(e.Low), len(e.High)) {
				continue
			}
			if k < len(e.Snapped) && e.Snapped[k] != "" {
				continue
			}
			o.Values++
			if truth := c.Truth.Values[i]; truth >= e.Low[k] && truth <= e.High[k] {
				o.Held++
			}
		}
		return
	}
}

// undone is the volume when an explanation is undone from its onset on: what was logged goes by the ratio of what the
// recorded settings and the explanation make of the levels; where the log or the explanation has no flow, which no
// ratio brings back, what the recorded settings make of the level stands.
func (c *Case) undone(e explain.Explanation) float64 {
	r := &c.Record
	rating, _ := device.Build(r.Kind, r.Dimensions)
	var before, logged, right, shown, hidden float64
	for _, p := range r.Pairs {
		recorded := math.Min(rating.Flow(p.Head), r.MaximumFlow)
		if recorded < r.CutOff {
			recorded = 0
		}
		flow := 0.0
		if e.Flow != nil {
			flow = e.Flow(p.Head)
		}
		switch {
		case p.At < e.Since || e.Flow == nil:
			before += p.Flow
		case p.Flow <= 0 || flow <= 0:
			hidden += recorded
		default:
			logged, right, shown = logged+p.Flow, right+recorded, shown+flow
		}
	}
	if shown > 0 {
		logged *= right / shown
	}
	return (before + logged + hidden) * float64(r.Interval) / 1e9
}

// said is a finding in a few words.
func said(c *Case, f explain.Finding) string {
	verdict := "?"
	if int(f.Verdict) >= 0 && int(f.Verdict) < 4 {
		verdict = [...]string{"same", "another equation", "setting differs", "cannot compare"}[f.Verdict]
	}
	words := []string{verdict}
	for _, e := range f.Best[:min(3, len(f.Best))] {
		words = append(words, Answer{Names: e.Names, Values: e.Values, Since: e.Since}.words(c))
	}
	return strings.Join(words, "; ")
}

// words are names with values, and the days from the first pair to the onset.
func (a Answer) words(c *Case) string {
	var words []string
	for i, name := range a.Names {
		if i < len(a.Values) {
			name = fmt.Sprintf("%s %.4f", name, a.Values[i])
		}
		words = append(words, name)
	}
	text := strings.Join(words, ", ")
	if a.Since != 0 && len(c.Record.Pairs) > 0 {
		text += fmt.Sprintf(" since day %.2f", float64(a.Since-c.Record.Pairs[0].At)/86400e9)
	}
	return text
}

// Table is the outcomes of many cases.
type Table []Outcome

// Score judges the findings of cases, one a case.
func Score(cases []*Case, findings []explain.Finding) (t Table) {
	for i, c := range cases {
		t = append(t, Judge(c, findings[i]))
	}
	return t
}

// Tally is what the outcomes of some cases come to.
type Tally struct {
	Wrong, First, TopThree int // meters with a mistake, and answers that are right
	Sound, Claims          int // meters that are right, and those said to be wrong
	Values, Held           int // intervals
	Onsets, InTime         int
	Undone, Close          int // answers that were undone, and those that come within 0.5 % of the right volume
}

// undoneWithin is how close the volume has to come.
const undoneWithin = 0.005

// Of adds up the outcomes of some cases.
func (t Table) Of(some func(*Case) bool) (y Tally) {
	count := func(n *int, yes bool) {
		if yes {
			*n++
		}
	}
	for _, o := range t {
		if !some(o.Case) {
			continue
		}
		if len(o.Case.Truth.Names) == 0 {
			y.Sound++
			count(&y.Claims, o.Claimed)
			continue
		}
		y.Wrong++
		count(&y.First, o.First)
		count(&y.TopThree, o.TopThree)
		count(&y.Onsets, o.Onset)
		count(&y.InTime, o.InTime)
		count(&y.Undone, !math.IsNaN(o.Undone))
		count(&y.Close, math.Abs(o.Undone) <= undoneWithin)
		y.Values += o.Values
		y.Held += o.Held
	}
	return y
}

// String is the table: by set and noise, by mistake, and the cases that went wrong, each with its seed and number.
func (t Table) String() string {
	var b strings.Builder
	row := func(name string, some func(*Case) bool) {
		if y := t.Of(some); y.Wrong+y.Sound > 0 {
			fmt.Fprintf(&b, "%-24s %14s %14s %12s %14s %14s %14s\n", name, share(y.First, y.Wrong),
				share(y.TopThree, y.Wrong), share(y.Claims, y.Sound), share(y.Held, y.Values),
				share(y.InTime, y.Onsets), share(y.Close, y.Undone))
		}
	}
	fmt.Fprintf(&b, "%-24s %14s %14s %12s %14s %14s %14s\n", "", "first", "top three", "false claims", "intervals",
		"onset", "undone")
	for noise := range noises {
		for set := 1; set <= 2; set++ {
			row(fmt.Sprintf("set %d, %v", set, noise), func(c *Case) bool { return c.Set == set && c.Noise == noise })
		}
	}
	row("all", func(*Case) bool { return true })
	var mistakes []string
	for _, o := range t {
		mistakes = append(mistakes, o.Case.Truth.String())
	}
	slices.Sort(mistakes)
	for _, mistake := range slices.Compact(mistakes) {
		row(mistake, func(c *Case) bool { return c.Truth.String() == mistake })
	}
	for _, o := range t {
		if bad := o.bad(); bad != "" {
			fmt.Fprintf(&b, "%s: %s: %s; said: %s\n", o.Case, bad, o.Case.Truth.words(o.Case), o.Said)
		}
	}
	return b.String()
}

// bad says what is wrong with an outcome; "" for nothing.
func (o Outcome) bad() string {
	var words []string
	switch {
	case len(o.Case.Truth.Names) == 0 && o.Claimed:
		words = append(words, "false claim")
	case len(o.Case.Truth.Names) == 0:
	case !o.TopThree:
		words = append(words, "not found")
	case !o.First:
		words = append(words, "not first")
	}
	if o.Held < o.Values {
		words = append(words, "outside the interval")
	}
	if o.Onset && !o.InTime {
		words = append(words, "onset")
	}
	if math.Abs(o.Undone) > undoneWithin {
		words = append(words, fmt.Sprintf("undone %+.2f %%", 100*o.Undone))
	}
	return strings.Join(words, ", ")
}

// share is a count of a count, with its percentage.
func share(n, of int) string {
	if of == 0 {
		return "-"
	}
	return fmt.Sprintf("%d/%d %5.1f", n, of, 100*float64(n)/float64(of))
}

// String names a case so that Make can make it again, its site and its mistake.
func (c *Case) String() string {
	return fmt.Sprintf("set %d seed %d number %d (%v, %s)", c.Set, c.Seed, c.Number, c.Noise, c.Record.Kind)
}

// AtMost is how likely it is that at most so many of a number are good where each is with a chance.
func AtMost(good, of int, chance float64) (sum float64) {
	for k := range good + 1 {
		all, _ := math.Lgamma(float64(of + 1))
		some, _ := math.Lgamma(float64(k + 1))
		rest, _ := math.Lgamma(float64(of - k + 1))
		sum += math.Exp(all - some - rest + float64(k)*math.Log(chance) + float64(of-k)*math.Log(1-chance))
	}
	return sum
}

// Look is a case for the eye: its log, its truth with the twins, and what was said of it.
func Look(c *Case, f explain.Finding) string {
	r := &c.Record
	var heads, flows []float64
	for _, p := range r.Pairs {
		heads, flows = append(heads, p.Head), append(flows, p.Flow*1000)
	}
	slices.Sort(heads)
	slices.Sort(flows)
	var b strings.Builder
	fmt.Fprintf(&b, "%v, %v\n%d pairs, %d s apart; steps %.4f m, %.4f L/s; "+
		"ends %.3f m, %.2f L/s; cut-off %.2f L/s\n", c, r.Dimensions,
		len(heads), r.Interval/1e9, r.LevelStep, r.FlowStep*1000, r.MaximumHead, r.MaximumFlow*1000, r.CutOff*1000)
	for _, p := range []float64{0, 0.05, 0.25, 0.5, 0.75, 0.95, 1} {
		i := int(p * float64(len(heads)-1))
		fmt.Fprintf(&b, "%4.0f %%  %.4f m  %.3f L/s\n", 100*p, heads[i], flows[i])
	}
	for _, a := range c.Right {
		fmt.Fprintf(&b, "right: %s\n", a.words(c))
	}
	o := Judge(c, f)
	fmt.Fprintf(&b, "said: %s\n%s\n", o.Said, cmp.Or(o.bad(), "all right"))
	return b.String()
}
