package audit

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"retotal/ingest/quantity"
	"retotal/ingest/reading"
	"retotal/ingest/site"
	"retotal/qa"
	"retotal/recompute"
	"retotal/recompute/audit/cause"
	"retotal/recompute/audit/cause/alone"
	"retotal/recompute/audit/cause/figures"
	"retotal/recompute/evidence"
	"retotal/recompute/settings"
	"retotal/recompute/total"
)

// Cause is what explains a finding best, of all that is tried.
type Cause = cause.Cause

// causesOf looks for what stands behind counter, reported figures, clock and level; the run must have kept the hours.
func causesOf(r *recompute.Result) []Cause {
	if len(r.Hours) == 0 {
		return nil
	}
	x := witness{Result: r, heads: map[headOf]float64{}}
	x.hours = x.hoursOf()
	var list []Cause
	if c := x.counter(); c != nil {
		list = append(list, c.Causes()...)
	}
	if c := x.reported(); c != nil {
		list = append(list, c.Causes()...)
	}
	if c := x.stamps(); c != nil {
		list = append(list, c.Causes()...)
	}
	if c := x.level(); c != nil {
		list = append(list, c.Causes()...)
	}
	return list
}

// witness puts a result into the terms of package cause.
type witness struct {
	*recompute.Result
	hours []cause.Hour
	heads map[headOf]float64 // memory
}

type headOf struct {
	segment int
	flow    float64
}

// covered is how much of an hour must be covered for its volume to be one.
const covered = 0.99

// ofLog reports whether the flow is that of the log, and not of the recorded settings.
func (x *witness) ofLog() bool { return x.FlowCheck.Recorded.Readings > 0 }

func (x *witness) hoursOf() (list []cause.Hour) {
	known := func(a evidence.Amount) float64 {
		if float64(a.Covered) < covered*3600e9 {
			return math.NaN()
		}
		return a.M3
	}
	for i := range x.Hours {
		h := &x.Hours[i]
		c := cause.Hour{
			At: h.Number * 3600e9, Flow: known(h.Flow), Rated: known(h.Flow), Counted: known(h.Counted),
			Head: h.Mean(), Least: h.Least, Most: h.Most, Air: math.NaN(),
			Jump: h.Jump, JumpAt: h.JumpAt,
		}
		if x.ofLog() {
			c.Flow = known(h.Logged)
		}
		if h.Air > 0 {
			c.Air = h.Air / float64(h.Readings)
		}
		list = append(list, c)
	}
	return list
}

// shift is the flow of a head that lies higher by the recorded settings; nil where these rate no level.
func (x *witness) shift() func(at int64, flow, datum float64) float64 {
	if x.Site.Log.Primary > reading.Head {
		return nil
	}
	return func(at int64, flow, datum float64) float64 {
		k := x.Recorded.At(at)
		s := &x.Recorded.Segments[k]
		head, known := x.heads[headOf{k, flow}]
		if !known {
			head = settings.Inverse(s.Rating, flow, 0.1)
			x.heads[headOf{k, flow}] = head
		}
		if head += datum; head <= 0 {
			return 0
		}
		return s.Rating.Flow(head)
	}
}

// comparable is a volume, or NaN where it is of another time than one it is compared with.
func comparable(v, with total.Volume) float64 {
	if v.Covered == 0 || v.Covered != with.Covered {
		return math.NaN()
	}
	return v.M3()
}

func (x *witness) counter() *figures.Counter {
	if !x.Facts.Has[reading.Counter] || x.Site.Log.Primary == reading.Counter {
		return nil
	}
	c := &figures.Counter{Hours: x.hours, Step: x.Facts.Resolution[reading.Counter], Shift: x.shift()}
	for i := range x.Days {
		d := &x.Days[i]
		flow, rated := d.Before, math.NaN()
		if x.ofLog() {
			flow, rated = d.Logged, comparable(d.Before, d.Logged)
		}
		if d.Counted.Covered == flow.Covered && flow.Covered > 0 {
			c.Days = append(c.Days, figures.Day{From: d.From, Until: d.Until, Flow: flow.M3(), Counted: d.Counted.M3(),
				Rated: rated})
		}
	}
	for _, f := range x.Falls {
		c.Falls = append(c.Falls, figures.Fall{At: f.At, From: f.From, To: f.To})
	}
	return c
}

func (x *witness) reported() *figures.Reported {
	submitted := x.Site.Report.Reported
	if len(submitted) == 0 {
		return nil
	}
	r := &figures.Reported{Report: x.Site.Report.Clock.Location, Step: x.Facts.Interval.Hours(),
		Volumes: cause.NewVolumes(x.hours, func(h *cause.Hour) float64 { return h.Rated })}
	ofPeriods := func(list []recompute.Period) (out []figures.Figure) {
		for i := range list {
			p := &list[i]
			f := figures.Figure{
				Label: p.Label, From: p.From, Until: p.Until, Value: math.NaN(), Flow: p.Before.M3(),
				Corrected: comparable(p.After, p.Before), Logged: comparable(p.Logged, p.Before),
				Counted: comparable(p.Counted, p.Before),
			}
			if x.Covered(p, p.Before) < 1 {
				f.Flow = math.NaN()
			}
			if s, ok := submitted[p.Label]; ok {
				f.Value, f.Step = volumeOf(s, p)
			}
			r.All = append(r.All, f)
			if !math.IsNaN(f.Value) && f.Flow > 0 {
				out = append(out, f)
			}
		}
		return out
	}
	if len(x.Site.Corrections) == 0 {
		defer func() {
			for _, list := range [][]figures.Figure{r.Days, r.Months, r.All} {
				for i := range list {
					list[i].Corrected = math.NaN()
				}
			}
		}()
	}
	r.Days, r.Months = ofPeriods(x.Days), ofPeriods(x.Months)
	return r
}

// volumeOf is a submitted figure of a period and the step of its last digit, m³; an average over days is taken for one
// of the whole period.
func volumeOf(s site.Reported, p *recompute.Period) (m3, step float64) {
	m3, step = s.Volume.SI, s.Volume.Unit.ToSI(lastDigit(s.Volume.Text))
	if s.Volume.Unit.Dimension == quantity.FlowDimension {
		seconds := float64(p.Until-p.From) * 1e-9
		m3, step = m3*seconds, step*seconds
	}
	return m3, step
}

// lastDigit is what the last digit of a number counts, as written: 0.01 of "12.50 m3", 1 of "1200 m3".
func lastDigit(text string) float64 {
	number, _, _ := strings.Cut(strings.TrimSpace(text), " ")
	_, decimals, _ := strings.Cut(number, ".")
	return math.Pow10(-len(decimals))
}

func (x *witness) stamps() *alone.Stamps {
	if x.Stamps == nil {
		return nil
	}
	spells := func(list []evidence.StampSpan) (out []alone.Spell) {
		for _, s := range list {
			out = append(out, alone.Spell{From: s.From, Until: s.Until, Readings: s.Readings})
		}
		return out
	}
	return &alone.Stamps{
		Clock: x.Facts.Clock, Report: x.Site.Report.Clock.Location,
		Gaps: spells(x.Stamps.Gaps), Doubles: spells(x.Stamps.Doubles), Hours: x.hours,
	}
}

// leastStuck is how long a sensor must have been stuck, by the checks, for a person to have to look.
const leastStuck = 12 * time.Hour

func (x *witness) level() *alone.Level {
	if x.Site.Log.Primary > reading.Head || x.Site.Log.Means {
		return nil
	}
	l := &alone.Level{
		Hours: x.hours, Clock: x.Facts.Clock, Step: x.Facts.Resolution[x.Site.Log.Primary], Shift: x.shift(),
		Interval: x.Facts.Interval,
	}
	if empty := x.Recorded.Segments[0].Settings.Values[site.EmptyDistance]; empty != nil {
		l.Distance = empty.From.SI
	}
	for _, s := range x.Dead {
		l.Stills = append(l.Stills, alone.Still{From: s.From, Until: s.Until, Head: s.Head})
	}
	for _, e := range x.Events {
		if e.Flag&qa.Stuck != 0 && e.Until-e.From >= int64(leastStuck) && e.Spans <= 1 {
			l.Stills = append(l.Stills, alone.Still{From: e.From, Until: e.Until, Head: e.Lowest})
		}
	}
	for i := range x.Moves {
		if m := &x.Moves[i]; m.Entry == 0 && !m.Out {
			l.Moves = append(l.Moves, alone.Move{Before: m.Before, After: m.After, Size: m.Size, Scatter: m.Scatter})
		}
	}
	for i := range x.Odd.Ponds {
		p := &x.Odd.Ponds[i]
		l.Ponds = append(l.Ponds, alone.Still{From: p.From, Until: p.Until, Head: p.Head})
	}
	for i := range x.Changes {
		if c := &x.Changes[i]; c.Drift && c.Unit == "mm" && len(x.Days) > 1 {
			l.Drift = &alone.Drift{From: c.At, Until: x.Days[len(x.Days)-1].Until, Size: c.Size / 1000}
		}
	}
	return l
}

// explained puts causes to the findings that they explain, and finds what no finding is about yet.
func explained(r *recompute.Result, out []Finding) []Finding {
	list := causesOf(r)
	for i := range list {
		c := &list[i]
		taken := false
		for k := range out {
			if f := &out[k]; f.Cause == nil && about(f, c) {
				f.because(c, r)
				taken = true
			}
		}
		if !taken && !onlyWithDifference(c) {
			out = append(out, newFinding(c, r))
		}
	}
	return out
}

// about reports whether a finding is what a cause explains.
func about(f *Finding, c *Cause) bool {
	switch c.Topic {
	case "counter":
		return f.Topic == counterTopic && f.Verdict == Differs
	case "reported", "clock":
		return f.Verdict == Differs && strings.HasPrefix(f.Topic, "reported figure")
	}
	return f.Topic == levelTopic && f.from != 0 && f.from <= c.Until && c.Since <= f.until
}

// onlyWithDifference reports whether a cause is none where the two figures agree.
func onlyWithDifference(c *Cause) bool {
	return c.Of > 0 || c.Topic == "reported" || c.Topic == "counter" && c.Since == 0
}

// The topics of findings that causes are about.
const (
	counterTopic = "counter and integrated flow"
	levelTopic   = "the level"
)

// because puts a cause to a finding.
func (f *Finding) because(c *Cause, r *recompute.Result) {
	f.Cause = c
	f.Sentence += " " + upper(sentenceOf(c, r)) + "."
	if f.Verdict == Differs {
		f.By = strings.TrimPrefix(f.By+": "+inWords(c), ": ")
	}
}

// newFinding is one of a cause that stands for itself.
func newFinding(c *Cause, r *recompute.Result) Finding {
	f := Finding{Topic: "the " + c.Topic, Verdict: Doubtful, Cause: c,
		Sentence: upper(sentenceOf(c, r)) + ".", Tolerance: c.Predicts}
	if c.Cannot {
		f.Verdict = CannotTell
		return f
	}
	text := "may be wrong: " + inWords(c)
	if since := c.Began(); since != "" {
		text += ", " + since
	}
	f.Doubts = []string{text}
	return f
}

// inWords is a cause with its value: "counter multiplier x 0.1 (a tenth)".
func inWords(c *Cause) string {
	return strings.TrimSpace(c.Name + " " + c.Valued(c.Value))
}

// sentenceOf says what a cause explains.
func sentenceOf(c *Cause, r *recompute.Result) string {
	text := "what explains it best is " + inWords(c)
	if c.Cannot {
		text = "it may be " + inWords(c)
	} else if c.Of == 0 {
		text = "it looks like " + inWords(c)
	}
	if interval := c.Interval(); interval != "" {
		text += " (" + interval + ")"
	}
	if since := c.Began(); since != "" {
		text += ", " + since
	}
	if unit := r.Site.Report.VolumeUnit; !math.IsNaN(c.Worth) {
		text += fmt.Sprintf(", worth %s %s", quantity.Signed(unit.FromSI(c.Worth), 4), unit.Symbol)
	}
	if len(c.AsWell) > 0 {
		text += "; as well fits " + strings.Join(c.AsWell, ", or ")
	}
	if c.Confounded != "" {
		text += "; the record cannot tell it from " + c.Confounded
	}
	if c.Against != "" {
		text += "; against it: " + c.Against
	}
	return text
}

// LoggedReported is the cause that says that what was reported is what the meter showed: where that is not what the
// settings on file make, it follows from the finding on the logged flow.
const LoggedReported = "logged flow reported"

// Causes are those of findings, each once.
func Causes(findings []Finding) (list []*Cause) {
	for i := range findings {
		if c := findings[i].Cause; c != nil && !slices.Contains(list, c) {
			list = append(list, c)
		}
	}
	return list
}

// Accepts is who answers for a cause; nil for nobody. It is known by its name, or by that of one that fits as well.
func Accepts(s *site.Site, c *Cause) *site.Accepted {
	for i := range s.Accepted {
		if a := &s.Accepted[i]; a.Finding == c.Name || slices.Contains(c.AsWell, a.Finding) {
			return a
		}
	}
	return nil
}
