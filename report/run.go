package report

import (
	"fmt"
	"maps"
	"math"
	"slices"
	"strconv"
	"strings"
	"time"

	"retotal/ingest"
	"retotal/ingest/problem"
	"retotal/ingest/quantity"
	"retotal/ingest/site"
	"retotal/qa"
	"retotal/recompute"
	"retotal/recompute/audit"
	"retotal/recompute/total"
)

// Run is a result with what is said about it.
type Run struct {
	Result   *recompute.Result
	Log      *ingest.Log
	Findings []audit.Finding
	Used     []audit.Explained // what the meter used by its own log
	Over     []audit.DayOverLimit
	Limits   []audit.LimitFinding
	Proposal string // corrections that the site visits propose, as text for a site file
	Warnings problem.List
	Version  string
	Folder   string        // where the results go; "" when they go nowhere
	SiteFile string        // the site file as the record names it; "" for as seen from the results
	Beside   []site.Beside // files that were read beside site file and logs
	Without  []int         // corrections that lanes of their own leave out
}

// Site is the site file of the run.
func (r *Run) Site() *site.Site { return r.Result.Site }

// need is one reason why a person has to look before the result is used.
type need struct {
	kind   needKind
	reason string
	about  *finding // of what disagrees or is doubtful
	period string   // of a limit that is newly exceeded
}

type needKind int

// The kinds of reasons, in the order in which they are told.
const (
	disagreement needKind = iota
	doubt
	newlyOver
	cannotTellOver
	visitDiffers
	oddTotal
	littleCovered
)

// NeedsPerson says why a person has to look before the result is used; empty when nothing is odd.
func (r *Run) NeedsPerson() (reasons []string) {
	for _, n := range r.needs() {
		reasons = append(reasons, n.reason)
	}
	return reasons
}

func (r *Run) needs() (list []need) {
	for i := range r.Findings {
		f := &r.Findings[i]
		if r.answered(f) {
			continue
		}
		if f.Verdict == audit.Differs && !f.Allowed && !(f.Topic == audit.LoggedFlow && r.accepted()) {
			list = append(list, need{disagreement, strings.TrimSuffix(f.Topic+": differs, "+f.By, ", "), f, ""})
		}
		for _, text := range f.Doubts {
			list = append(list, need{doubt, f.Topic + " " + text, f, ""})
		}
	}
	list = append(list, r.limitNeeds()...)
	for i := range r.Result.Visits {
		if v := &r.Result.Visits[i]; r.visitVerdict(v) == "differs" {
			list = append(list, need{visitDiffers, fmt.Sprintf(
				"the visit of %s differs from the corrected log by %+.1f mm", v.Visit.At.Text, 1000*v.After()),
				nil, ""})
		}
	}
	for _, text := range r.totalReasons() {
		list = append(list, need{oddTotal, text, nil, ""})
	}
	if c := r.Result.Total.Coverage(); c < leastCoverage {
		list = append(list, need{littleCovered, fmt.Sprintf("coverage is %.1f %%", 100*c) + r.leftOutMost(), nil, ""})
	}
	return list
}

// accepted reports whether somebody answers for all settings that the meter used in place of those on file.
func (r *Run) accepted() bool {
	known := false
	for i := range r.Used {
		if x := &r.Used[i]; x.Differs() {
			if known = x.AcceptedBy(r.Site()) != nil; !known {
				return false
			}
		}
	}
	return known
}

// leftOutMost says which check made most of the time missing, if one made more than gaps in the log do; "" otherwise.
// Time that a ruling is about is no check's.
func (r *Run) leftOutMost() string {
	res := r.Result
	gaps, most, by := int64(0), int64(0), ""
	times := map[string]int64{}
	for _, e := range res.Events {
		if e.Flag == qa.Gap {
			gaps += e.Until - e.From
			continue
		}
		interval := res.Facts.Interval.Nanoseconds()
		since := e.Until - e.From + 2*interval // from the reading before to that after
		if e.Spans > 1 {
			since = int64(e.Rows+e.Spans) * interval
		}
		if !e.Drops() || e.Action == site.Bridge && since <= res.Screened.Limits.BridgeLimit.Nanoseconds() ||
			res.RulingIn(e.From, e.Until) {
			continue
		}
		if times[e.Check] += since; times[e.Check] > most {
			most, by = times[e.Check], e.Check
		}
	}
	if most <= gaps {
		return ""
	}
	most = min(most, res.Total.Until-res.Total.From-res.Total.After.Covered)
	return fmt.Sprintf("; of the checks, %s left out most of the time, about %s", by,
		quantity.FormatDuration(time.Duration(most).Round(time.Minute)))
}

// beforeIs says what the total before is: where the meter's own flow is another, that stands beside it.
func (r *Run) beforeIs() string {
	logged := r.Result.Total.Logged
	for _, f := range r.Findings {
		if f.Topic == audit.LoggedFlow && f.Verdict == audit.Differs && !logged.Missing() {
			return fmt.Sprintf("by the settings on file, NOT as the meter had it: its logged flow adds up to %s %s",
				r.volume(logged, r.decimals(logged.M3())), r.Site().Report.VolumeUnit.Symbol)
		}
	}
	return asTheMeter
}

// asTheMeter says that the settings on file are those that the meter used, as far as its log tells.
const asTheMeter = "as the meter had it"

// How much of a total screening may change, and how little may be known of it, before a person has to look. Common
// practice.
const (
	muchScreened = 0.05
	littleKnown  = 0.5
)

// totalReasons says what is odd in the total as a whole.
func (r *Run) totalReasons() (reasons []string) {
	p := &r.Result.Total
	if before := p.CommonBefore(); p.Both() && before > 0 {
		if part := p.Split().Screening / before; math.Abs(part) > muchScreened && len(r.Result.Rulings) == 0 {
			reasons = append(reasons, fmt.Sprintf("screening alone changes the total by %+.1f %%", 100*part))
		}
	}
	if x, ok := p.Interval(); ok && !x.Open && p.After.M3() > 0 {
		if u := (x.High - x.Low) / 2 / p.After.M3(); u > littleKnown {
			reasons = append(reasons, "the total is known to "+r.known(p, x)+" only")
		}
	}
	return reasons
}

// known writes how well a total is known as the headline does: in per cent, or by what it lies between.
func (r *Run) known(p *recompute.Period, x recompute.Interval) string {
	if x.Wide {
		return "lie " + r.range95(x, r.decimals(p.Before.M3())) + " " + r.Site().Report.VolumeUnit.Symbol
	}
	return fmt.Sprintf("+/- %.0f %%", 100*p.Budget.Expanded()/p.After.M3())
}

// limitNeeds says which limits are newly exceeded, and of which it cannot be told; not where the permit's own rule has
// them below or not counted.
func (r *Run) limitNeeds() (list []need) {
	open := map[string][]string{}
	for _, l := range r.Limits {
		switch {
		case l.Outcome() == audit.Newly:
			list = append(list, need{newlyOver, l.Limit + " newly exceeded in " + l.Period, nil, l.Period})
		case l.Verdict() == recompute.CannotTell:
			open[l.Limit] = append(open[l.Limit], l.Period)
		}
	}
	for _, limit := range slices.Sorted(maps.Keys(open)) {
		list = append(list, need{
			cannotTellOver, fmt.Sprintf("%s: cannot tell for %s", limit, days(open[limit])), nil, "",
		})
	}
	return list
}

// leastCoverage is the part of the time below which a total is called incomplete; common practice, no permit text sets
// one.
const leastCoverage = recompute.WholeDay

// missing is what stands in the place of a volume that is none.
const missing = "missing"

// volume writes a volume in the report's unit with the given decimals, or "missing".
func (r *Run) volume(v total.Volume, decimals int) string {
	if v.Missing() {
		return missing
	}
	return Grouped(r.Site().Report.VolumeUnit.FromSI(v.M3()), decimals)
}

// withUnit puts the unit behind a written volume, and none behind a word.
func (r *Run) withUnit(volume string) string {
	if volume == missing {
		return missing
	}
	return volume + " " + r.Site().Report.VolumeUnit.Symbol
}

// signed writes a difference of volumes, given in m³, with its sign.
func (r *Run) signed(m3 float64, decimals int) string {
	return signed(r.Site().Report.VolumeUnit.FromSI(m3), decimals)
}

// signed writes a number with its sign and commas between thousands.
func signed(v float64, decimals int) string {
	text := Grouped(v, decimals)
	if !strings.HasPrefix(text, "-") {
		text = "+" + text
	}
	return text
}

// decimals returns how many decimals give a volume of this size, in m³, about six digits.
func (r *Run) decimals(m3 float64) int {
	v := math.Abs(r.Site().Report.VolumeUnit.FromSI(m3))
	switch {
	case v >= 10000:
		return 0
	case v >= 100:
		return 1
	case v >= 1:
		return 3
	case v == 0:
		return 0
	}
	return 5
}

// Grouped writes a number with commas between thousands.
func Grouped(v float64, decimals int) string {
	text := strconv.FormatFloat(v, 'f', decimals, 64)
	sign := ""
	if strings.HasPrefix(text, "-") {
		sign, text = "-", text[1:]
	}
	if strings.Trim(text, "0.") == "" {
		sign = "" // no minus zero
	}
	whole, fraction, _ := strings.Cut(text, ".")
	for i := len(whole) - 3; i > 0; i -= 3 {
		whole = whole[:i] + "," + whole[i:]
	}
	if fraction != "" {
		whole += "." + fraction
	}
	return sign + whole
}

// percent writes a difference in per cent, "" when it has no meaning.
func percent(p *recompute.Period) string {
	v, ok := p.Percent()
	if !ok {
		return ""
	}
	return fmt.Sprintf("%+.2f %%", v)
}

// local writes an instant in the report's zone: 2 April 2031 10:30.
func (r *Run) local(at int64) string {
	return time.Unix(0, at).In(r.Site().Report.Clock.Location).Format("2 January 2006 15:04")
}

// stamp writes an instant in the report's zone for tables: 2031-04-02 10:30:00.
func (r *Run) stamp(at int64) string { return r.Site().Report.Clock.Format(at) }

// Title is the site's name, or its id.
func (r *Run) Title() string {
	if s := r.Site(); s.Name != "" {
		return s.Name
	}
	return r.Site().ID
}
