package report

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"retotal/ingest/site"
)

// sentence says in one sentence what the meter did and why, and what the site file gives as the reason.
func (r *Run) sentence() (text []Phrase, onFile string) {
	p := &r.Result.Total
	subject := "The meter counted"
	if r.beforeIs() != asTheMeter {
		subject = "The settings on file count"
	}
	n, when, ok := r.overcount()
	causes := r.causesOfChange()
	switch {
	case p.After.Missing() || !p.Both():
		return []Phrase{{Text: "Before and after cannot be compared: they have no time in common."}}, ""
	case !ok || math.Abs(n) < leastTold:
		return r.stands(causes), ""
	}
	text = []Phrase{{Text: subject + " "}, {Text: r.muchOver(n), Strong: true}, {Text: " " + when}}
	split := p.Split()
	all := math.Abs(split.Settings) + math.Abs(split.Limits) + math.Abs(split.Drowned) + math.Abs(split.Filled) +
		math.Abs(split.Screening)
	if len(causes) == 0 || math.Abs(split.Settings) < all/2 {
		decimals := r.decimals(p.Before.M3())
		text = append(text, Phrase{Text: fmt.Sprintf(". The difference of %s is made of %s %s.",
			r.withUnit(r.signed(p.Difference(), decimals)), r.splitText(p, decimals), ""), Strong: false})
		text[len(text)-1].Text = strings.Replace(text[len(text)-1].Text, " .", ".", 1)
		return text, ""
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

// leastTold is the least change of a total that is told as too much or too little, per cent; it is what rounds to 0.1.
const leastTold = 0.05

// overcount is by how much, in per cent of the corrected volume over the same readings, before is above it, over the
// months that changed, and which these are.
func (r *Run) overcount() (percent float64, when string, ok bool) {
	var before, after float64
	var changed []period
	for i := range r.Result.Months {
		m := &r.Result.Months[i]
		if v, is := m.Percent(); is && math.Abs(v) >= leastTold {
			before, after = before+m.CommonBefore(), after+m.CommonAfter()
			changed = append(changed, *m)
		}
	}
	if len(changed) == 0 || !(after > 0) {
		return 0, "", false
	}
	return 100 * (before/after - 1), r.whenOf(changed), true
}

// whenOf names the months that changed: in July 2031, from July to September 2031, in 3 of 12 months.
func (r *Run) whenOf(changed []period) string {
	first, last := &changed[0], &changed[len(changed)-1]
	between := 0
	for i := range r.Result.Months {
		if m := &r.Result.Months[i]; m.From >= first.From && m.From <= last.From {
			between++
		}
	}
	switch oneYear := first.Label[:4] == last.Label[:4]; {
	case len(changed) == 1:
		return "in " + monthName(first.Label, false)
	case between == 2 && len(changed) == 2:
		return "in " + monthName(first.Label, oneYear) + " and " + monthName(last.Label, false)
	case between == len(changed):
		return "from " + monthName(first.Label, oneYear) + " to " + monthName(last.Label, false)
	}
	return fmt.Sprintf("in %d of %d months", len(changed), len(r.Result.Months))
}

// muchOver words an over- or undercount: about 25 % too much. Where a total is only bounded, so is the share.
func (r *Run) muchOver(percent float64) string {
	word, size := "too much", math.Abs(percent)
	if percent < 0 {
		word = "too little"
	}
	figure := fmt.Sprintf("%.0f %%", size)
	if size < 2 {
		figure = fmt.Sprintf("%.1f %%", size)
	}
	switch s, bounded := sideOf(&r.Result.Total); {
	case !bounded:
		return "about " + figure + " " + word
	case s == least && percent > 0, s == most && percent < 0:
		return figure + " " + word + " or less"
	case s == least, s == most:
		return "at least " + figure + " " + word
	}
	return "about " + figure + " " + word + " by figures that are bounds"
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

// because words the causes: the one there is, or how many there are and one of them.
func because(causes []changed) string {
	if len(causes) == 1 {
		return causes[0].told
	}
	return fmt.Sprintf("of %d corrected settings; for one, %s", len(causes), causes[0].told)
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
				return fmt.Sprintf("it was not told %s of %s", withArticle(name), value)
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
		if v != nil {
			all[strings.ReplaceAll(site.Setting(i).Key(), "_", " ")] = v.Written()
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
