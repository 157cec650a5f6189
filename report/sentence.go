package report

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"retotal/ingest/site"
)

// sentence says in one sentence what the meter did and why, and what the site file gives as the reason.
func (r *Run) sentence() (text []Phrase, onFile string) {
	p := &r.Result.Total
	if p.After.Missing() || !p.Both() {
		return []Phrase{{Text: "Before and after cannot be compared: they have no time in common."}}, ""
	}
	causes, errors := r.causesOfChange(), r.errorsTold()
	if len(errors) == 0 {
		return r.stands(causes), ""
	}
	subject := "The meter counted "
	if r.beforeIs() != asTheMeter {
		subject = "The settings on file count "
	}
	text = append([]Phrase{{Text: subject}}, r.errorPhrases(errors)...)
	if len(causes) == 0 || !mostlySettings(p) {
		decimals := r.decimals(p.Before.M3())
		return append(text, Phrase{Text: fmt.Sprintf(". The difference of %s is made of %s.",
			r.withUnit(r.signed(p.Difference(), decimals)), r.splitText(p, decimals))}), ""
	}
	text = append(text, Phrase{Text: ", because " + because(causes) + "."})
	if len(causes) == 1 {
		onFile = strings.TrimSuffix(causes[0].reason, ".")
		if causes[0].by != "" {
			onFile += " (" + causes[0].by + ")"
		}
	}
	return text, onFile
}

// mostlySettings reports whether settings make half of what changes, or more.
func mostlySettings(p *period) bool {
	s := p.Split()
	rest := math.Abs(s.Limits) + math.Abs(s.Drowned) + math.Abs(s.Filled) + math.Abs(s.Screening)
	return math.Abs(s.Settings) >= rest
}

// leastTold is the least change of a day that is told as too much or too little, per cent; it is what rounds to 0.1.
const leastTold = 0.05

// overcount is an error of one sign: what stood before and after on the days that have it.
type overcount struct {
	before, after float64 // m³, over the same readings
	days          []*period
}

// errorsTold are the errors of both signs that are worth telling, in the order of time: of the days that the settings
// change, or where they change none, of those that anything does. Days of opposite errors are never added up: a month
// of 20 % too much and one of 20 % too little are not nothing.
func (r *Run) errorsTold() (told []overcount) {
	settings := func(d *period) float64 { return d.Split().Settings }
	for _, part := range []func(*period) float64{settings, (*period).Difference} {
		var over, under overcount
		for i := range r.Result.Days {
			d := &r.Result.Days[i]
			base := math.Max(d.CommonBefore(), d.CommonAfter())
			if !d.Both() || !(base > 0) || 100*math.Abs(part(d)) < leastTold*base {
				continue
			}
			of := &over
			if part(d) > 0 {
				of = &under
			}
			of.add(d, 1)
		}
		over.trim()
		under.trim()
		if over.size() < under.size() {
			over, under = under, over
		}
		if over.size() > 0 {
			told = append(told, over)
		}
		if under.size() > 0 && under.size() >= over.size()/20 {
			told = append(told, under)
		}
		if len(told) > 0 {
			slices.SortFunc(told, func(a, b overcount) int { return cmp.Compare(a.days[0].From, b.days[0].From) })
			return told
		}
	}
	return told
}

func (o *overcount) add(d *period, sign float64) {
	o.before, o.after = o.before+sign*d.CommonBefore(), o.after+sign*d.CommonAfter()
	if sign > 0 {
		o.days = append(o.days, d)
	}
}

// touched is the part of an error below which a day at its end is one that it only touches, by an hour or so: it does
// not make the span.
const touched = 0.1

// trim leaves out days that the error only touches at its ends.
func (o *overcount) trim() {
	little := func(d *period) bool {
		return math.Abs(d.CommonBefore()/d.CommonAfter()-1) < touched*math.Abs(o.before/o.after-1)
	}
	for len(o.days) > 1 && little(o.days[0]) {
		o.add(o.days[0], -1)
		o.days = o.days[1:]
	}
	for n := len(o.days) - 1; n > 0 && little(o.days[n]); n-- {
		o.add(o.days[n], -1)
		o.days = o.days[:n]
	}
}

func (o *overcount) size() float64 { return math.Abs(o.before - o.after) }

// errorPhrases word the errors: about 25 % too much from 1 March to 2 April 2031. Where the total is only bounded, they
// say between what the error of the whole lies.
func (r *Run) errorPhrases(errors []overcount) (text []Phrase) {
	if bounds := r.boundedError(); bounds != "" {
		first, last := r.reportSpan()
		return []Phrase{{Text: bounds, Strong: true}, {Text: " over " + spanWords(first, last)}}
	}
	for i := range errors {
		if i > 0 {
			text = append(text, Phrase{Text: " and "})
		}
		e := &errors[i]
		text = append(text, Phrase{Text: r.muchOver(e), Strong: true}, Phrase{Text: " " + r.whenOf(e)})
	}
	return text
}

// whenOf names the days of an error: in July 2031, from 1 March to 2 April 2031, on 45 days from ... to ...
func (r *Run) whenOf(o *overcount) string {
	first, last := o.days[0], o.days[len(o.days)-1]
	between := 0
	for i := range r.Result.Days {
		if d := &r.Result.Days[i]; d.From >= first.From && d.From <= last.From && d.Both() {
			between++
		}
	}
	words := daysWords(first.Label, last.Label)
	switch {
	case len(o.days) == 1:
		return "on " + words
	case between == len(o.days):
		return words
	}
	return fmt.Sprintf("on %d days, %s", len(o.days), words)
}

// daysWords writes a span of days: in July 2031, from July to August 2031, from 1 March to 2 April 2031.
func daysWords(first, last string) string {
	a, err1 := time.Parse("2006-01-02", first)
	b, err2 := time.Parse("2006-01-02", last)
	if err1 != nil || err2 != nil {
		return "from " + first + " to " + last
	}
	day, year := "2 January", ""
	if a.Year() != b.Year() {
		year = " 2006"
	}
	end := b.AddDate(0, 0, 1)
	switch whole := a.Day() == 1 && end.Day() == 1; {
	case first == last:
		return a.Format("2 January 2006")
	case whole && a.AddDate(0, 1, 0).Equal(end):
		return "in " + a.Format("January 2006")
	case whole:
		day = "January"
	}
	return "from " + a.Format(day+year) + " to " + b.Format(day+" 2006")
}

// muchOver words an over- or undercount: about 25 % too much.
func (r *Run) muchOver(o *overcount) string {
	word := "too much"
	if o.before < o.after {
		word = "too little"
	}
	if !(o.after > 0) {
		return r.withUnit(Grouped(r.Site().Report.VolumeUnit.FromSI(o.size()), r.decimals(o.size()))) + " " + word
	}
	return "about " + sizeInWords(100*(o.before/o.after-1)) + " " + word
}

// sizeInWords writes a share without its sign: whole per cent, one decimal below 2.
func sizeInWords(percent float64) string {
	if size := math.Abs(percent); size >= 2 {
		return fmt.Sprintf("%.0f %%", size)
	}
	return fmt.Sprintf("%.1f %%", math.Abs(percent))
}

// boundedError words between what the error of before lies where the total is only known between bounds that make most
// of its uncertainty; "" where it is known better.
func (r *Run) boundedError() string {
	p := &r.Result.Total
	x, isWide := wide(p)
	if _, ok := sideOf(p); !ok || !isWide || !(x.Low > 0) {
		return ""
	}
	share := p.CommonAfter() / p.After.M3()
	of := func(total float64) float64 { return 100 * (p.CommonBefore()/(total*share) - 1) }
	most := of(x.Low)
	if x.Open {
		if most > 0 {
			return "at most " + sizeInWords(most) + " too much, and may have counted too little,"
		}
		return "at least " + sizeInWords(most) + " too little"
	}
	switch least := of(x.High); {
	case least > 0:
		return "between " + sizeInWords(least) + " and " + sizeInWords(most) + " too much"
	case most < 0:
		return "between " + sizeInWords(most) + " and " + sizeInWords(least) + " too little"
	default:
		return "between " + sizeInWords(least) + " too little and " + sizeInWords(most) + " too much"
	}
}

// stands says that the total changes by nothing that is told.
func (r *Run) stands(causes []changed) []Phrase {
	p := &r.Result.Total
	decimals := r.decimals(p.Before.M3())
	what := "no setting was corrected"
	if len(causes) > 0 {
		what = "the corrected settings change less than 0.1 % of it"
	}
	words := "; screening changes nothing."
	if by := p.Difference() - p.Split().Settings; Grouped(r.Site().Report.VolumeUnit.FromSI(math.Abs(by)), decimals) !=
		Grouped(0, decimals) {
		words = fmt.Sprintf("; screening and what the meter could not show change %s.",
			r.withUnit(r.signed(by, decimals)))
	}
	if slices.ContainsFunc(r.needs(), func(n need) bool { return n.kind <= doubt || n.kind == visitDiffers }) {
		return []Phrase{
			{Text: strings.ToUpper(what[:1]) + what[1:] + words},
			{Text: " Whether the settings are right is open", Strong: true}, {Text: ": see below."},
		}
	}
	return []Phrase{{Text: "The totals stand: ", Strong: true}, {Text: what + words}}
}

// changed is what one correction changes, in words.
type changed struct{ told, reason, by string }

// causesOfChange are the corrections that set something else than what was recorded.
func (r *Run) causesOfChange() (list []changed) {
	for i := range r.Site().Corrections {
		c := &r.Site().Corrections[i]
		if c.Unusable || slices.Contains(r.Without, i+1) {
			continue
		}
		list = append(list, changed{r.told(c), c.Reason, c.By})
	}
	return list
}

// because words the causes: the one there is, or how many there are.
func because(causes []changed) string {
	if len(causes) == 1 {
		return causes[0].told
	}
	return fmt.Sprintf("of %d corrections, which stand below", len(causes))
}

// told words what the meter was told and what should have been, where a correction changes one thing only; what it
// sets, where it changes several.
func (r *Run) told(c *site.Correction) string {
	now, was := settingsOf(&c.Settings), settingsOf(r.recordedAt(c))
	if len(now) == 1 {
		for name, value := range now {
			switch old, ok := was[name]; {
			case ok && old != value:
				return fmt.Sprintf("it was told %s of %s in place of %s", withArticle(name), old, value)
			case !ok:
				return strings.TrimSpace("of a correction on file: " + name + " " + value)
			}
		}
	}
	return "its settings were not those that should have been: " + changes(c)
}

// recordedAt are the settings as the meter had them when a correction begins.
func (r *Run) recordedAt(c *site.Correction) *site.Settings {
	var all site.Settings
	for i, change := range r.Site().Settings {
		if i == 0 || c.From != nil && change.At != nil && change.At.UTC <= c.From.UTC {
			all = all.Overlay(&change.Settings)
		}
	}
	return &all
}

// settingsOf are settings by name, as they were written.
func settingsOf(s *site.Settings) map[string]string {
	all := map[string]string{}
	for i, v := range s.Values {
		if v == nil {
			continue
		}
		name := strings.ReplaceAll(site.Setting(i).Key(), "_", " ")
		if all[name] = v.Written(); v.From.SI != v.To.SI {
			all[name] = v.From.Text + ", which drifted to " + v.To.Text
		}
	}
	rest := site.Settings{Loop: s.Loop, Air: s.Air, EchoAt: s.EchoAt, Shift: s.Shift, Clamped: s.Clamped}
	for _, text := range rest.Words() {
		all[text] = ""
	}
	if s.Device != nil {
		for key, v := range s.Device.Values {
			if key != "kind" || s.Device.Kind != "" {
				all[strings.ReplaceAll(key, "_", " ")] = fmt.Sprint(v)
			}
		}
	}
	return all
}

// withArticle puts a or an before a name.
func withArticle(name string) string {
	if strings.ContainsAny(name[:1], "aeiou") {
		return "an " + name
	}
	return "a " + name
}
