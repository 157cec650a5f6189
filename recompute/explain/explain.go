// Package explain finds which setting explains pairs of level and flow.
//
// It answers what the meter used, from its log alone; whether that was right, only the site can tell. Every hypothesis
// is a curve of flow over head, and all are judged by one measure: the mean over a sample of ln(1 + (r/t)²), r what
// reading and curve differ by and t a tolerance that comes from the log and is common to all, so that no hypothesis
// gains by allowing itself more. A setting is claimed only where neither the recorded settings nor another published
// equation of the same device do nearly as well.
package explain

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"

	"retotal/ingest/quantity"
	"retotal/recompute/device"
	"retotal/recompute/explain/sample"
)

// Pair is a level and a flow logged at one instant.
type Pair struct {
	At   int64   // ns since 1970
	Head float64 // m, that the recorded settings make of the level, before any cap, floor or cut-off
	Flow float64 // m³/s, as logged
}

// Record is what is known of a meter and its log.
type Record struct {
	Pairs                            []Pair         // in the order of time, all of them
	Interval                         int64          // ns, the usual step
	LevelStep, FlowStep              float64        // m and m³/s, to which the log is rounded; 0 where not known
	Kind                             string         // of the device, as in device.Kinds
	Dimensions                       map[string]any // its keys, as device.Build takes them
	MaximumHead, MaximumFlow, CutOff float64        // recorded settings; +Inf, +Inf and 0 where there are none
	FlowFactor                       float64        // recorded factor on the flow; 1 (or 0) for none
	Means                            bool           // the figures are means over the interval
}

// Verdict grades log against settings.
type Verdict int

// The verdicts.
const (
	Same            Verdict = iota // the recorded settings make the logged flow
	AnotherEquation                // another published equation of the same device does
	SettingDiffers                 // the meter used another setting
	CannotCompare                  // the log does not tell
)

// String names a verdict.
func (v Verdict) String() string {
	return [...]string{"same settings", "another equation", "a setting differs", "cannot be compared"}[v]
}

// Explanation is one way to make the logged flow of the level: a setting, or two, or one that changed in time.
type Explanation struct {
	Names []string // of the catalogue, sorted: "datum", "angle", "flow factor"
	// Values are in SI, one a name: of a datum the logged head less the head that the meter used; of a factor what
	// it is times the recorded one; of a span offset the head that the meter has at a logged head of zero; of another
	// device its size; of "linear" flow over head; of "same" and "equation" the factor on the equation.
	Values              []float64
	Low, High           []float64 // interval of each, 95 %, with what published equations of a device differ by
	Snapped             []string  // the usual value that each is taken for ("90 deg"); "" for none
	Equation            string    // of the device under which it fits best
	Since               int64     // when it began; 0 for from the first pair on
	SinceLow, SinceHigh int64     // interval of the onset
	Score               float64   // of the fit, less is better
	Volume              float64   // m³ over the pairs: logged less what the recorded settings make of the level
	// Worth is m³ over the pairs, what it makes of the level less what the recorded settings do. WorthLow to WorthHigh
	// holds that against its own equation with the recorded settings, too, and what it leaves of the logged volume.
	Worth, WorthLow, WorthHigh float64
	Left                       float64 // what it leaves of the logged flow, as Finding.Unlike
	// Flow is what the meter shows at a head under it (after the onset).
	Flow func(head float64) float64
}

// String names an explanation with its values.
func (e Explanation) String() string {
	var parts []string
	for i, name := range e.Names {
		text := name + " " + quantity.Digits(e.Values[i], 5)
		if e.Snapped[i] != "" {
			text += " (" + e.Snapped[i] + ")"
		}
		parts = append(parts, text)
	}
	return strings.Join(parts, " and ")
}

// Finding is the answer.
type Finding struct {
	Verdict Verdict
	Why     string        // of CannotCompare
	Best    []Explanation // the best first; those that fit equally well directly behind it
	Twins   int           // how many of Best fit as well as the first, itself included
	Lag     float64       // s, by which flow follows level; 0 where it does not
	OnFile  float64       // what the recorded settings leave of the logged flow, as Unlike
	Unlike  float64       // what the best leaves of the disagreement, sums of absolute differences, part of the volume
}

// Rules of the answer; each held by what the tests measure.
const (
	leastGain    = 0.03  // in score, by which a setting must beat recorded settings and equations
	leastWorth   = 0.004 // part of the volume, by which it must differ from them
	clearGain    = 0.1   // in score, from which on less is enough
	clearWorth   = 0.0003
	certainGain  = 0.3 // from which on it is enough beside a lag, too
	lagWorth     = 0.02
	twinScore    = 0.02  // within which two scores are equal
	twinVolume   = 0.005 // part of the volume, within which two curves are equal
	twinFarthest = 0.1   // in score, beyond which equal volumes make no twins
	mostHeld     = 0.9   // of the readings with flow, that may be held at the top
	mostListed   = 8
	halfStepPart = 0.1  // of a step of the level, within which a datum is half a step
	mostUnlike   = 0.15 // of the volume, which an explanation may leave beside the tolerance
)

// Explain finds what makes the logged flow of the level.
func Explain(r *Record) Finding {
	at, heads, flows := make([]int64, len(r.Pairs)), make([]float64, len(r.Pairs)), make([]float64, len(r.Pairs))
	for i, p := range r.Pairs {
		at[i], heads[i], flows[i] = p.At, p.Head, p.Flow
	}
	s := sample.New(at, heads, flows, r.Interval, r.LevelStep, r.FlowStep, r.Means)
	if why := s.Unfit(); why != "" {
		return Finding{Verdict: CannotCompare, Why: why}
	}
	base, issues := device.Build(r.Kind, r.Dimensions)
	if len(issues) > 0 {
		return Finding{Verdict: CannotCompare, Why: "the device cannot be built: " + issues[0].Found}
	}
	lag := s.Align()
	if s.Measure(); s.Held() > mostHeld {
		return Finding{Verdict: CannotCompare, Why: "nearly all the time the flow stands at one most"}
	}
	c := newCatalogue(r, s, base)
	split := c.split(s)
	if split > 0 {
		s.Cut = split
		s.Focus(s.ByHead())
	}

	list := search(c, s)
	if split > 0 {
		list = append(list, c.changes(s, split)...)
	}
	return judge(c, s, list, lag)
}

// judge puts candidates in order and grades them.
func judge(c *catalogue, s *sample.Series, list []candidate, lag sample.Lag) Finding {
	list = rank(list)
	j := jury{s: s, lag: lag, list: list, volume: s.Sum(func(i int) float64 { return s.Flow[i] })}
	j.same = list[slices.IndexFunc(list, func(x candidate) bool { return x.layer == 0 })]
	best := j.claim()
	f := Finding{Lag: lag.Seconds}
	f.Unlike = s.Sum(func(i int) float64 { return math.Abs(best.at(s, i) - s.Flow[i]) }) / j.volume
	f.OnFile = s.Sum(func(i int) float64 { return math.Abs(j.same.at(s, i) - s.Flow[i]) }) / j.volume
	f.Verdict, f.Why = j.grade(best, f.Unlike)
	net := s.Sum(func(i int) float64 { return s.Flow[i] - j.same.at(s, i) }) * s.StepSeconds()
	order, twins := j.order(best)
	if f.Twins = twins; lag.Seconds != 0 && best.layer <= 1 {
		f.Best = append(f.Best, Explanation{Names: []string{lag.Name}, Values: []float64{lag.Seconds},
			Low: []float64{lag.Low}, High: []float64{lag.High}, Snapped: []string{""}, Equation: best.model.equation(),
			Score: best.score, Volume: net, Flow: best.model.flow})
		f.Twins = 1
	}
	for _, x := range order[:min(len(order), mostListed)] {
		e := x.explanation(c, s, lag)
		e.Volume = net
		j.weigh(&e, x, c)
		f.Best = append(f.Best, e)
	}
	return f
}

// jury is what a judgement goes by.
type jury struct {
	s      *sample.Series
	lag    sample.Lag
	list   []candidate // in order
	same   candidate   // the recorded settings
	volume float64     // logged, in steps of the log
}

// weigh works out what an explanation is worth.
func (j *jury) weigh(e *Explanation, x candidate, c *catalogue) {
	volume := func(y candidate) float64 {
		return j.s.Sum(func(i int) float64 { return y.at(j.s, i) }) * j.s.StepSeconds()
	}
	makes := volume(x)
	e.Worth = makes - volume(j.same)
	e.WorthLow, e.WorthHigh = e.Worth, e.Worth
	if x.eq != nil && x.eq.name != recorded {
		m := c.model(x.eq)
		c.strict(&m)
		own := makes - volume(candidate{model: m})
		e.WorthLow, e.WorthHigh = min(e.Worth, own), max(e.Worth, own)
	}
	left := math.Abs(j.volume*j.s.StepSeconds() - makes)
	e.WorthLow, e.WorthHigh = e.WorthLow-left, e.WorthHigh+left
	e.Left = j.s.Sum(func(i int) float64 { return math.Abs(x.at(j.s, i) - j.s.Flow[i]) }) / j.volume
}

// apart is what two candidates differ by, part of the volume.
func (j *jury) apart(a, b candidate) float64 {
	return j.s.Sum(func(i int) float64 { return math.Abs(a.at(j.s, i) - b.at(j.s, i)) }) / j.volume
}

// claim is the best candidate where it claims no setting, or beats those that claim none by enough; else the best of
// these.
func (j *jury) claim() candidate {
	best, plain := j.list[0], j.same
	for _, x := range j.list {
		if x.layer <= 1 && x.score < plain.score-twinScore {
			plain = x
		}
	}
	gain, worth := leastGain, leastWorth
	switch {
	case best.onlyEnds() && j.s.Sample.Blur <= sample.EndSlack: // seen themselves, in readings that stay
		gain, worth = 0, clearWorth
	case best.score < plain.score-certainGain:
		worth = clearWorth
	case j.lag.Seconds != 0: // what is left of a lag looks like a small error of any setting
		worth = lagWorth
	case best.score < plain.score-clearGain:
		worth = clearWorth
	}
	if best.layer <= 1 || best.score > plain.score-gain || j.apart(best, plain) < worth {
		return plain
	}
	return best
}

// grade is the verdict on the best candidate, and why where it is that none is possible.
func (j *jury) grade(best candidate, unlike float64) (Verdict, string) {
	switch {
	case unlike > mostUnlike+min(j.s.Sum(j.s.Tolerance)/j.volume, mostUnlike):
		return CannotCompare, fmt.Sprintf("no setting explains the flow: the best leaves %.0f %% of the volume",
			100*unlike)
	case best.layer == 0 && j.lag.Seconds != 0:
		return CannotCompare, "level and flow are not of one instant; else the settings agree"
	case best.layer == 0:
		return Same, ""
	case best.layer == 1:
		return AnotherEquation, ""
	case best.halfStep(j.s):
		return CannotCompare, "a datum of half a step of the level looks like a level cut down to the step"
	}
	return SettingDiffers, ""
}

// halfStep reports whether all that a candidate says of a coarse level is that it is off by half its step.
func (x candidate) halfStep(s *sample.Series) bool {
	return s.Coarse() && x.before == nil && len(x.names) == 1 && x.names[0] == "datum" &&
		math.Abs(math.Abs(x.values[0])-s.LevelStep/2) < halfStepPart*s.LevelStep
}

// order is the candidates with the best in front and those that fit as well behind it, and how many these are.
func (j *jury) order(best candidate) (order []candidate, twins int) {
	var behind []candidate
	order = append(order, best)
	for _, x := range j.list {
		switch {
		case x.key() == best.key():
		case x.layer >= best.layer && (x.score < best.score+twinScore ||
			x.score < best.score+twinFarthest && j.apart(x, best) < twinVolume):
			order = append(order, x)
		default:
			behind = append(behind, x)
		}
	}
	return append(order, behind...), len(order)
}

// onlyEnds reports whether a candidate differs from an equation by its ends alone, all the time.
func (x candidate) onlyEnds() bool {
	return x.layer > 1 && x.before == nil && !slices.ContainsFunc(x.dials, func(d *dial) bool { return d != nil })
}

// rank keeps the best candidate of each set of names, the best first.
func rank(list []candidate) (out []candidate) {
	slices.SortStableFunc(list, func(a, b candidate) int { return cmp.Compare(a.score, b.score) })
	seen := map[string]bool{}
	for _, x := range list {
		if k := x.key(); !seen[k] {
			seen[k] = true
			out = append(out, x)
		}
	}
	return out
}
