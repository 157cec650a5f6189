package audit

import (
	"fmt"
	"math"
	"strings"
	"time"

	"retotal/ingest/quantity"
	"retotal/ingest/reading"
	"retotal/recompute"
	"retotal/recompute/evidence"
)

// Limits of what the logged flow and the recorded settings may disagree by, common practice.
const (
	worthWithin    = 0.002 // of the volume
	standingWithin = 0.02  // of the volume of a span of evidence.StandingSpan or longer
	listedFrom     = 1e-6  // of the volume: a span worth less is not listed
	capReadings    = 2     // above the most that the settings let a meter show
)

// reproduces reports whether a lane's settings give the logged flow: what disagrees is worth next to nothing, over the
// whole and wherever it stands.
func reproduces(m evidence.Misfit) bool {
	return m.Part() <= worthWithin*(1+1e-9) && m.Standing.Part() <= standingWithin*(1+1e-9) && m.AboveCap < capReadings
}

// oneWay reports whether differences lie on one side in general, and not in some readings alone: their mean is over a
// tenth of the largest.
func oneWay(m evidence.Misfit) bool { return math.Abs(m.Mean()) >= m.Largest/10 }

// LoggedFlow is the topic of the finding whether the settings on file are those that the meter used.
const LoggedFlow = "logged flow and recorded settings"

// loggedFlow decides whether the settings on file are those that the meter used.
func loggedFlow(r *recompute.Result, used []Explained) Finding {
	f := Finding{Topic: LoggedFlow, Verdict: CannotTell,
		Tolerance: fmt.Sprintf("what differs by more than the log's rounding of flow and level, two readings or "+
			"more, is worth no more than %.1f %% of the volume, and %.0f %% of that of any %s in which it stands",
			worthWithin*100, standingWithin*100, quantity.FormatDuration(time.Duration(evidence.StandingSpan)))}
	m, c := r.FlowCheck.Recorded, r.FlowCheck.Corrected
	switch primary := r.Site.Log.Primary; {
	case primary > reading.Head:
		f.Sentence = fmt.Sprintf("The flow is computed from the logged %s itself, so nothing shows whether the "+
			"recorded settings are those the meter used.", primary)
		return f
	case m.Readings == 0:
		f.Sentence = "The log has no flow column, so nothing shows whether the recorded settings are those " +
			"the meter used."
		return f
	}
	if net := (m.Logged - m.Lane) / math.Max(m.Logged, m.Lane); reproduces(m) &&
		oneWay(m) && math.Abs(net) > worthWithin*(1+1e-9) {
		f.Sentence = fmt.Sprintf("Reading by reading the recorded settings give the logged flow within the log's "+
			"rounding, but all one way: together %+.2f %% of the volume, as levels that are cut off and not rounded, "+
			"or a datum off by up to half a step of the log, would make it: %s.",
			100*net, agreement(r, m))
		return f
	}
	if reproduces(m) {
		f.Verdict = Agrees
		f.Sentence = "The recorded settings reproduce the logged flow: " + agreement(r, m) + "."
		return f
	}
	if verdict, ok := graded(m, used); ok && len(used) > 0 {
		f.Verdict = verdict
		f.Sentence = sentences(used) + " " + upper(agreement(r, m)) + "."
		return f
	}
	f.Verdict, f.By = Differs, "what differs is worth "+percent(m.Part())+" of the volume"
	f.Sentence = "The recorded settings do NOT reproduce the logged flow: " + agreement(r, m) +
		". The settings on file are then not what the meter used."
	if differs(used) {
		f.Sentence = sentences(used) + " " + f.Sentence
	} else if len(used) > 0 {
		f.Sentence += " No setting that was tried explains it better."
	}
	if len(r.Site.Corrections) > 0 && reproduces(c) {
		f.Sentence += " The corrected settings do reproduce it (" + agreement(r, c) +
			"): the logged flow seems to have been corrected already."
	}
	f.allow(m.Part(), r.Site.Audit.LoggedFlow)
	return f
}

// agreement says how many readings agree, by what the others differ, what that is worth and where.
func agreement(r *recompute.Result, m evidence.Misfit) string {
	unit := r.Site.Report.FlowUnit
	text := fmt.Sprintf("%d of %d readings agree within the log's rounding, the largest difference is %s %s",
		m.Within, m.Readings, quantity.Digits(unit.FromSI(m.Largest), 4), unit.Symbol)
	if m.Within == m.Readings {
		return text
	}
	if m.At != 0 {
		text += " at " + utc(m.At) + " UTC"
	}
	if m.Lag > 0 {
		text += fmt.Sprintf("; it lags behind the level by about %s, as a damped flow does, which is taken out",
			quantity.FormatDuration(time.Duration(m.Lag*float64(r.Facts.Interval)).Round(time.Second)))
	}
	if m.Factor.Explains() && reproduces(m) {
		text += fmt.Sprintf("; a coefficient rounded to four digits explains the rest: times %.5f, %d of %d "+
			"readings tried agree",
			m.Factor.Value, m.Factor.Within, m.Factor.Readings)
	}
	if m.AboveCap >= capReadings {
		text += fmt.Sprintf("; %d readings are above %s %s, the most that these settings let a meter show",
			m.AboveCap, quantity.Digits(unit.FromSI(m.Cap), 4), unit.Symbol)
	}
	if m.Worth > 0 {
		text += "; what differs is worth " + percent(m.Part()) + " of the volume"
	}
	return text + spans(r, m)
}

// spans lists where the disagreement is worth most.
func spans(r *recompute.Result, m evidence.Misfit) string {
	volume, flow := r.Site.Report.VolumeUnit, r.Site.Report.FlowUnit
	var list []string
	for i := range m.Spans {
		if s := &m.Spans[i]; math.Abs(s.Net()) > listedFrom*m.Logged {
			list = append(list, fmt.Sprintf("%s to %s UTC (logged %s %s, %s, up to %s %s)", utc(s.From),
				utc(s.Until), quantity.Signed(volume.FromSI(s.Net()), 3), volume.Symbol, percent(s.Part()),
				quantity.Digits(flow.FromSI(s.Largest), 4), flow.Symbol))
		}
	}
	text := ""
	if len(list) > 0 {
		text = ", most in " + strings.Join(list, ", ")
	}
	if s := &m.Standing; s.Part() > standingWithin*(1+1e-9) {
		text += fmt.Sprintf("; from %s to %s UTC it is %s", utc(s.From), utc(s.Until), percent(s.Part()))
	}
	return text
}

// percent writes a part: 0.025 %, 3.1 %, 100 %.
func percent(part float64) string {
	switch v := 100 * part; {
	case v >= 99.5:
		return fmt.Sprintf("%.0f %%", v)
	default:
		return fmt.Sprintf("%s %%", quantity.Digits(v, 2))
	}
}
