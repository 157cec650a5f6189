package site

import (
	"fmt"
	"math"
	"path/filepath"
	"slices"
	"time"

	"retotal/ingest/quantity"
)

// Checks names the screening checks that a site file can set an action for, with the default action of each.
// Package qa runs them.
var Checks = []struct {
	Name    string
	Default Action
}{
	{"conflict", LeaveOut},
	{"unusable", LeaveOut},
	{"dead", LeaveOut},
	{"sensor_range", LeaveOut},
	{"loop_current", Keep},
	{"blanking", Hold},
	{"spike", Bridge},
	{"stuck", Bridge},
	{"odd_peak", Keep},
	{"still", Keep},
	{"cut_off", Hold},
	{"capped", Hold},
	{"below_zero", Zero},
	{"surcharge", Hold},
	{"validity", Keep},
	{"drowned", Keep},
	{"second_sensor", Keep},
	{"rate_of_change", Keep},
	{"step", Keep},
	{"attenuated", Keep},
	{"noise", Keep},
	{"flat_peak", Keep},
	{"abrupt_zeros", Keep},
	{"user_range", Keep},
}

// allowed actions of the checks that set a flow rather than drop a reading.
var flowActions = map[string][]Action{
	"below_zero": {Zero, Bridge, LeaveOut},
	"surcharge":  {Hold, Keep, Bridge, LeaveOut},
	"blanking":   {Hold, Keep, Bridge, LeaveOut},
	"cut_off":    {Hold, Keep, Bridge, LeaveOut},
	"capped":     {Hold, Keep, Bridge, LeaveOut},
	"unusable":   {LeaveOut, Bridge},
	"dead":       {LeaveOut, Bridge, Keep},
}

func (s *Site) readScreening(t *table) {
	s.Screening.Actions, s.Screening.Stated = map[string]Action{}, map[string]string{}
	keeps := t.keepsAll()
	for _, check := range Checks {
		t.asks(check.Name, "action or table", string(check.Default))
		raw, ok := t.get(check.Name)
		s.Screening.Actions[check.Name] = check.Default
		if keeps && check.Default != Keep && slices.Contains(ActionsOf(check.Name), Keep) {
			s.Screening.Actions[check.Name], s.Screening.Stated[check.Name] = Keep, "screening.default"
		}
		if !ok {
			continue
		}
		if text, isText := raw.(string); isText {
			s.setAction(t, check.Name, check.Name, text)
			continue
		}
		sub := t.sub(check.Name)
		if action := sub.text("action", ""); sub.has("action") {
			s.setAction(sub, "action", check.Name, action)
		}
		s.readCheck(check.Name, sub)
		sub.close()
	}
	s.Screening.BridgeLimit = t.duration("bridge_limit")
	s.Screening.Air = t.flag("air_temperature")
	if v := t.quantity("largest_correction", quantity.LengthDimension); v != nil {
		if s.Screening.TooLarge = v.SI; v.SI <= 0 {
			t.refuse("largest_correction", fmt.Sprintf("%q is not above 0", v.Text), "", "")
		}
	}
	t.close()
}

// keepsAll reads default, which sets the action of all checks that may keep a reading and have none of their own.
func (t *table) keepsAll() bool {
	t.asks("default", quoted([]string{string(Keep)}), "")
	raw, _ := t.get("default")
	word, isText := raw.(string)
	switch {
	case t.has("default") && !isText:
		t.refuse("default", "is not usable", `"keep", or no default at all`, `write default = "keep"`)
	case t.has("default") && word != string(Keep):
		t.refuse("default", fmt.Sprintf("%q is not usable", word), `"keep", or no default at all`,
			`write an action to each check, as in spike = "bridge"`)
	}
	return word == string(Keep)
}

// exactly is what a tolerance of zero counts as where zero stands for the default, m.
const exactly = 1e-9

// readCheck reads the limits of one check beside its action. A limit of zero would flag all and is refused; a tolerance
// may be zero.
func (s *Site) readCheck(name string, t *table) {
	tolerance := func(otherwise float64) float64 {
		v := t.quantity("tolerance", quantity.LengthDimension)
		if v == nil {
			return 0
		}
		if v.SI < 0 {
			t.refuse("tolerance", fmt.Sprintf("%q is below 0", v.Text), "", "")
		}
		return max(v.SI, otherwise)
	}
	length := func(key string) float64 {
		v := t.quantity(key, quantity.LengthDimension)
		if v == nil {
			return 0
		}
		if v.SI <= 0 {
			t.refuse(key, fmt.Sprintf("%q is not above 0", v.Text), "", "leave it out for the default")
		}
		return v.SI
	}
	switch name {
	case "spike":
		s.Screening.SpikeWindow = t.duration("window")
		s.Screening.SpikeFloor = length("floor")
		if v := t.quantity("threshold", quantity.None); v != nil {
			s.Screening.SpikeThreshold = v.SI
			if v.SI <= 0 || v.SI > 1000 {
				t.refuse("threshold", fmt.Sprintf("%v is not usable", v.Text), "above 0 and up to 1000, usually 3", "")
			}
		}
		for _, key := range []string{"floor", "window"} {
			if t.has(key) && !t.has("threshold") {
				t.refuse(key, "goes with a threshold; without one the record tells what is a spike",
					"a threshold beside it, usually 3", "add threshold = 3, or leave "+key+" out")
			}
		}
	case "stuck":
		s.Screening.StuckDuration = t.duration("duration")
		s.Screening.StuckTolerance = tolerance(0)
	case "below_zero":
		s.Screening.BelowZero = tolerance(exactly)
	case "sensor_range":
		s.Screening.SensorRange = s.span(t)
	case "user_range":
		s.Screening.UserRange = s.span(t)
	case "rate_of_change":
		s.Screening.RateUp, s.Screening.RateDown, s.Screening.RatePer = length("up"), length("down"), t.duration("per")
	case "step":
		s.Screening.StepLimit, s.Screening.StepWindow = length("limit"), t.duration("window")
	case "attenuated":
		s.Screening.FlatRange, s.Screening.FlatWindow = length("range"), t.duration("window")
	case "noise":
		s.Screening.NoiseLimit = length("limit")
	case "second_sensor":
		s.Screening.SecondLimit = length("limit")
	}
}

// span reads least and most of the logged figure; one that is not given does not limit.
func (s *Site) span(t *table) Range {
	r := Range{math.Inf(-1), math.Inf(1)}
	if v := t.quantity("least", s.Log.Primary.Dimension()); v != nil {
		r.Least = v.SI
	}
	if v := t.quantity("most", s.Log.Primary.Dimension()); v != nil {
		r.Most = v.SI
	}
	if r.Least >= r.Most {
		t.refuse("most", "is not above least", "", "")
	}
	return r
}

// readFilling reads [filling]: rule, limit and, for same-time, days.
func (s *Site) readFilling(t *table) {
	f := &s.Filling
	f.Rule = FillRule(t.choice("rule", string(FillNot), string(FillLinear), string(FillHold), string(FillSameTime),
		string(FillDonorRegression), string(FillDonorPercentiles)))
	f.Donor = t.text("donor", "")
	t.refuseEscapes("donor", f.Donor)
	switch {
	case f.Rule.ByDonor() && f.Donor == "":
		t.refuse("donor", "is missing", "the site file of the donor", `add donor = "../mill-brook/site.toml"`)
	case f.Donor != "" && !f.Rule.ByDonor():
		t.refuse("donor", "goes with the donor rules and with no others", "",
			`as in rule = "donor-regression", donor = "../mill-brook/site.toml"`)
	}
	if f.Donor != "" && !filepath.IsAbs(f.Donor) {
		f.Donor = filepath.Join(s.Folder, filepath.FromSlash(f.Donor))
	}
	f.Limit, f.Days = t.duration("limit"), 7
	if v := t.quantity("days", quantity.None); v != nil {
		if f.Days = int(v.SI); v.SI < 1 || v.SI > 60 || v.SI != math.Trunc(v.SI) {
			t.refuse("days", fmt.Sprintf("= %s is not usable", v.Text), "1 to 60", "")
		}
	}
	if f.Rule != FillNot && f.Limit == 0 {
		t.refuse("limit", "is missing", "the longest missing time that is filled", `add limit = "4 h"`)
	}
	t.close()
}

// ActionsOf lists the actions that a site file can choose for a check.
func ActionsOf(check string) []Action {
	if special, ok := flowActions[check]; ok {
		return special
	}
	return []Action{Keep, Bridge, LeaveOut}
}

func (s *Site) setAction(t *table, key, check, text string) {
	allowed := ActionsOf(check)
	if !slices.Contains(allowed, Action(text)) {
		t.refuse(key, fmt.Sprintf("%q is not an action of %s", text, check), fmt.Sprintf("one of %v", allowed), "")
		return
	}
	s.Screening.Actions[check], s.Screening.Stated[check] = Action(text), "screening."+check
}

func (s *Site) readReport(top *table) {
	t := top.sub("report")
	r := &s.Report
	r.Clock = t.clock("time_zone", s.Log.Clock.Name)
	r.DayStarts = t.dayStart("day_starts")
	r.LabelByEnd = t.choice("day_label", "start", "end") == "end"
	r.FlowUnit = t.unit("flow_unit", "L/s", quantity.FlowDimension)
	r.VolumeUnit = t.unit("volume_unit", "m3", quantity.VolumeDimension)
	r.From, r.Until = t.instant("from", r.Clock), t.instant("until", r.Clock)
	if r.From != nil && r.Until != nil && r.Until.UTC <= r.From.UTC {
		t.refuse("until", "is not after from", "", "")
	}
	limits := t.sub("limits")
	if r.DailyVolume = limits.quantity("daily_volume", quantity.VolumeDimension); r.DailyVolume != nil &&
		r.DailyVolume.SI <= 0 {
		limits.refuse("daily_volume", fmt.Sprintf("%q is not above 0", r.DailyVolume.Text), "", "")
	}
	r.MonthlyMean = limits.quantity("monthly_average", quantity.FlowDimension)
	r.Peak = limits.quantity("peak", quantity.FlowDimension)
	r.DailyUncertainty = limits.share("daily_uncertainty")
	r.DaysOver = limits.share("days_over")
	if r.DaysOver > 0 && r.DailyVolume == nil {
		limits.refuse("days_over", "says how many days may be over daily_volume, which is not set", "", "")
	}
	limits.close()
	r.Average = AverageRule(t.choice("average", string(AverageMeasured), string(AverageDischarging),
		string(AverageAll)))
	r.PeakOver = t.duration("peak_over")
	r.Complete = t.completeness()
	r.RulesDays = r.Complete.LeastDay > 0 || t.has("completeness") && r.Complete.MostMissing < 0
	r.RulesMonths = r.RulesDays || r.Complete.MostMissing >= 0 || t.has("average")
	r.Comments = t.comments(r.Clock)
	if v := t.quantity("figures", quantity.None); v != nil {
		if r.Figures = int(v.SI); v.SI != math.Trunc(v.SI) || v.SI < 1 || v.SI > 15 {
			t.refuse("figures", fmt.Sprintf("= %s is not usable", v.Text), "1 to 15 significant figures", "")
		}
	}
	r.HalfUp = t.choice("rounding", "half-even", "half-up") == "half-up"
	t.close()
	s.readSubmitted(top.sub("reported"))
}

// completenessRules are the rules that a site file can name. No permit that was read sets one for flow totals: all but
// the first are borrowed from other fields, and the last three from other periods: an hour (Directive 2008/50/EC, annex
// VII), a month of sea level (JASL note, nodc.noaa.gov), a year of river flow (nrfa.ceh.ac.uk/node/107).
var completenessRules = []Completeness{
	{"coverage", 0, -1, "every day with a reading counts, and its coverage is stated"},
	{"five-half-hours", 43.0 / 48, -1, "a day counts with no more than five half-hours missing; borrowed from Directive 2010/75/EU, annex VI part 8"},
	{"three-quarters", 0.75, -1, "a day counts when 75 % of it is covered; borrowed from what an hour needs under Directive 2008/50/EC, annex VII"},
	{"seven-days", 0, 7, "a month has an average when no more than seven days are missing; borrowed from monthly means of sea level"},
	{"five-days", 0, 5, "a month has an average when no more than five days are missing; borrowed from what a year of river flow needs for percentiles"},
}

// completeness reads completeness, the name of a rule, or least_coverage and most_missing_days.
func (t *table) completeness() Completeness {
	var names []string
	for _, c := range completenessRules {
		names = append(names, c.Rule)
	}
	c := completenessRules[slices.Index(names, t.choice("completeness", names...))]
	own := Completeness{
		Rule: "own", LeastDay: t.share("least_coverage"), MostMissing: -1, Source: "set in the site file",
	}
	if v := t.quantity("most_missing_days", quantity.None); v != nil {
		if own.MostMissing = int(v.SI); v.SI < 0 || v.SI > 31 || v.SI != math.Trunc(v.SI) {
			t.refuse("most_missing_days", fmt.Sprintf("= %s is not usable", v.Text), "0 to 31", "")
		}
	}
	if !t.has("least_coverage") && !t.has("most_missing_days") {
		return c
	}
	if t.has("completeness") {
		t.refuse("completeness", "names a rule, and the table sets its own beside it",
			"either completeness or least_coverage and most_missing_days", "")
	}
	return own
}

// comments reads [[report.comment]]: from, until, text and perhaps code.
func (t *table) comments(clock Clock) (list []Comment) {
	for _, c := range t.list("comment") {
		from, until := c.instant("from", clock), c.instant("until", clock)
		comment := Comment{Text: c.required("text", "sensor out for repair"), Code: c.text("code", ""), Place: c.at("")}
		c.close()
		if from == nil || until == nil {
			if !c.has("from") || !c.has("until") {
				c.refuse("", "lacks from or until", "",
					"write from = 2031-05-12T00:00:00 and until = 2031-05-14T00:00:00")
			}
			continue
		}
		if until.UTC <= from.UTC {
			c.refuse("until", "is not after from", "", "")
			continue
		}
		comment.From, comment.Until = *from, *until
		list = append(list, comment)
	}
	return list
}

// dayStart reads "00:00" to "23:59".
func (t *table) dayStart(key string) time.Duration {
	t.asks(key, "time of day", "00:00")
	text := t.text(key, "00:00")
	at, err := time.Parse("15:04", text)
	if err != nil {
		t.refuse(key, fmt.Sprintf("%q is not a time of day", text), `"00:00" to "23:59"`, "")
		return 0
	}
	return time.Duration(at.Hour())*time.Hour + time.Duration(at.Minute())*time.Minute
}

// unit reads a unit symbol.
func (t *table) unit(key, fallback string, dim quantity.Dimension) quantity.Unit {
	t.asks(key, "unit", fallback)
	text := t.text(key, fallback)
	u, err := quantity.LookUp(text)
	if err != nil {
		t.refuse(key, err.Error(), "one of "+quantity.Listed(dim), "")
		return quantity.MustLookUp(fallback)
	}
	if u.Dimension != dim {
		t.refuse(key, fmt.Sprintf("%q is %s, not %s", text, u.Dimension, dim),
			"one of "+quantity.Listed(dim), "")
		return quantity.MustLookUp(fallback)
	}
	return u
}
