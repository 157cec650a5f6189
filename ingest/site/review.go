package site

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"retotal/ingest/problem"
	"retotal/ingest/quantity"
	"retotal/ingest/reading"
)

// readWhatIfs reads [[what_if]]: a name and settings, laid over the corrected ones.
func (s *Site) readWhatIfs(top *table) {
	seen := map[string]bool{}
	for _, t := range top.list("what_if") {
		w := WhatIf{
			Place: t.at(""),
			Name:  t.required("name", "notch of 88 degrees"),
			From:  t.instant("from", s.Log.Clock),
			Until: t.instant("until", s.Log.Clock),
		}
		w.Settings = t.settings(true, s.Log.Primary)
		if !w.Given() && len(t.doc.problems) == 0 {
			t.refuse("", "changes nothing", "a setting", `add for example empty_distance = "1.225 m"`)
		}
		if seen[w.Name] {
			t.refuse("name", fmt.Sprintf("%q is the name of another", w.Name), "a name of its own", "")
		}
		seen[w.Name] = true
		t.checkSpan(w.From, w.Until, &w.Settings)
		s.checkDatum(t, &w.Settings)
		t.close()
		s.WhatIfs = append(s.WhatIfs, w)
	}
}

// readVisits reads [[visit]]: when, and one of distance, level, head and flow, as tape, staff or a gauging gave it.
func (s *Site) readVisits(top *table) {
	for _, t := range top.list("visit") {
		v := Visit{Place: t.at(""), By: t.text("by", ""), Note: t.text("note", "")}
		v.Phase = t.oneOf("phase", "before-cleaning", "after-cleaning", "after-reset")
		at := t.instant("at", s.Log.Clock)
		if at == nil && !t.has("at") {
			t.refuse("at", "is missing", "", "add at = 2031-04-02T10:30:00")
		}
		found := 0
		for _, q := range []reading.Quantity{reading.Distance, reading.Level, reading.Head, reading.Flow} {
			if value := t.quantity(q.String(), q.Dimension()); value != nil {
				v.Quantity, v.Value = q, *value
				found++
			}
		}
		if found != 1 {
			t.refuse("", fmt.Sprintf("has %d readings", found), "one of distance, level, head and flow",
				`add head = "0.153 m"`)
		}
		v.Uncertainty = t.quantity("uncertainty", v.Quantity.Dimension())
		t.close()
		if at != nil && found == 1 {
			v.At = *at
			s.Visits = append(s.Visits, v)
		}
	}
}

// statuses are how far a correction can have come.
var statuses = []string{"draft", "checked", Signed}

// Signed is the status of a correction that is finished: its results are locked.
const Signed = "signed"

// formerStatuses are the words of earlier versions, with those in their place.
var formerStatuses = map[string]string{"working": "draft", "in-review": "checked", "approved": Signed}

// readStatus reads how far a correction has come; a former word is refused with the one in its place.
func readStatus(t *table) string {
	written, _ := t.values["status"].(string)
	if now, former := formerStatuses[written]; former {
		t.refuse("status", fmt.Sprintf("%q is not known", written), "one of "+strings.Join(statuses, ", "),
			fmt.Sprintf("did you mean %q?", now))
		t.get("status")
		return now
	}
	return t.choice("status", statuses...)
}

// readApproval reads [record]: who stands for the correction and how far it has come.
func (s *Site) readApproval(t *table) {
	r := &s.Approval
	*r = Approval{
		Place:      t.at(""),
		Status:     readStatus(t),
		Author:     t.text("author", ""),
		Reviewer:   t.text("reviewer", ""),
		Basis:      t.text("basis", ""),
		Evidence:   t.texts("evidence"),
		Supersedes: t.text("supersedes", ""),
	}
	for _, e := range t.list("examined") {
		x := Examined{
			From:   e.instant("from", s.Log.Clock),
			Until:  e.instant("until", s.Log.Clock),
			Reason: e.required("reason", "Staff and log agree within 2 mm at both visits"),
		}
		e.close()
		r.Examined = append(r.Examined, x)
	}
	if r.Status == Signed && (r.Author == "" || r.Reviewer == "" || r.Basis == "") {
		t.refuse("status", `"signed" needs author, reviewer and basis`, "", "")
	}
	if r.Reviewer != "" && strings.EqualFold(strings.TrimSpace(r.Author), strings.TrimSpace(r.Reviewer)) {
		t.refuse("reviewer", fmt.Sprintf("%q is the author too", r.Reviewer), "another person", "")
	}
	t.close()
}

// needAir decides whether the air temperature is read, and refuses settings that ask for one that is not there or that
// cannot be used.
func (s *Site) needAir(top *table) {
	all := []*Settings{}
	for i := range s.Settings {
		all = append(all, &s.Settings[i].Settings)
	}
	for i := range s.Corrections {
		all = append(all, &s.Corrections[i].Settings)
	}
	for i := range s.WhatIfs {
		all = append(all, &s.WhatIfs[i].Settings)
	}
	for _, x := range all {
		if x.Air == nil || !x.Air.Logged {
			continue
		}
		if s.Log.NeedsAir = s.Log.Columns[reading.Temperature].Given(); !s.Log.NeedsAir {
			top.doc.problems.Add(problem.At(x.Air.Place,
				"air_temperature is \"logged\", but the log has no temperature column", "log.columns.temperature",
				"name the column, or give one temperature"))
		}
	}
	if s.Screening.Air {
		if s.Log.NeedsAir = s.Log.Columns[reading.Temperature].Given(); !s.Log.NeedsAir {
			top.doc.problems.Add(problem.At(s.Places["screening.air_temperature"],
				"screening.air_temperature needs the logged temperature, and the log has no temperature column",
				"log.columns.temperature", ""))
		}
	}
	if q := s.Log.Primary; q > reading.Head && s.Log.NeedsAir && q != reading.Flow {
		top.doc.problems.Add(problem.At(s.Log.Place, "sound cannot be corrected from "+q.String(),
			"a log of distance, level, head or flow", ""))
	}
}

func checkNames() (names []string) {
	for _, c := range Checks {
		names = append(names, c.Name)
	}
	return names
}

// readAudit reads [audit], what may differ without a person having to look, and [[audit.accepted]], findings that stay
// as they are, and who says so and why.
func (s *Site) readAudit(t *table) {
	s.Audit = Audit{LoggedFlow: t.share("logged_flow"), Volumes: t.share("volumes")}
	for _, a := range t.list("accepted") {
		s.Accepted = append(s.Accepted, Accepted{
			Finding: a.required("finding", "datum"),
			Reason:  a.required("reason", "known since the survey of 2 April, corrected here"),
			By:      a.required("by", "initials or role"),
		})
		a.close()
	}
	t.close()
}

// readRulings reads [[ruling]]: from and until, what becomes of the readings between them, and who says so and why.
func (s *Site) readRulings(top *table) {
	for _, t := range top.list("ruling") {
		r := Ruling{
			Place:  t.at(""),
			Reason: t.required("reason", "foam on 12 May, seen at the visit"),
			By:     t.required("by", "initials or role"),
			Most:   math.Inf(1),
		}
		from, until := t.instant("from", s.Log.Clock), t.instant("until", s.Log.Clock)
		if from == nil || until == nil {
			if !t.has("from") || !t.has("until") {
				t.refuse("", "lacks from or until", "", "add both; a reading at until is no longer in it")
			}
			from, until = &Instant{}, &Instant{}
		} else if until.UTC <= from.UTC {
			t.refuseEmpty(from, until)
		}
		r.From, r.Until, r.Checks = *from, *until, t.texts("checks")
		for _, name := range r.Checks {
			if names := checkNames(); !slices.Contains(names, name) {
				t.refuse("checks", fmt.Sprintf("%q is not a check", name),
					"names of checks, as retotal check lists them", nearKey(name, names))
			}
		}
		r.Action = RulingAction(t.oneOf("action", string(RuleKeep), string(RuleLeaveOut), string(RuleBridge),
			string(RuleValue), string(RuleBound)))
		if !t.has("action") {
			t.refuse("action", "is missing", "", `add action = "leave-out"`)
		}
		s.readRulingFlows(t, &r)
		t.close()
		s.Rulings = append(s.Rulings, r)
	}
}

// readRulingFlows reads the flows that value and bound need.
func (s *Site) readRulingFlows(t *table, r *Ruling) {
	flow := t.quantity("flow", quantity.FlowDimension)
	least := t.quantity("least", quantity.FlowDimension)
	most := t.quantity("most", quantity.FlowDimension)
	if (flow != nil) != (r.Action == RuleValue) {
		t.refuse("flow", "goes with action = \"value\" and with no other", "",
			`as in action = "value", flow = "12 L/s"`)
	}
	if (least != nil) != (r.Action == RuleBound) || most != nil && r.Action != RuleBound {
		t.refuse("least", "goes with action = \"bound\" and with no other; most may go with it", "",
			`as in action = "bound", least = "0 L/s", most = "30 L/s"`)
	}
	if flow != nil {
		r.Flow = flow.SI
	}
	if least != nil {
		r.Least = least.SI
	}
	if most != nil {
		if r.Most = most.SI; r.Most < r.Least {
			t.refuse("most", "is below least", "", "")
		}
	}
	for _, v := range []*quantity.Value{flow, least, most} {
		if v != nil && v.SI < 0 {
			t.refuse("", fmt.Sprintf("has a flow below 0, %q", v.Text), "", "")
		}
	}
}
