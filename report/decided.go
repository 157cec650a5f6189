package report

import (
	"math"

	"retotal/ingest/site"
	"retotal/recompute"
	"retotal/recompute/audit"
)

// residualRecord is a site visit beside the log.
type residualRecord struct {
	At        string   `json:"at"`
	Reading   string   `json:"reading"`
	Phase     string   `json:"phase,omitempty"`
	By        string   `json:"by,omitempty"`
	Doubt     *float64 `json:"u95_mm,omitempty"`
	Recorded  *float64 `json:"recorded_less_visit_mm,omitempty"` // null: no reading near the visit
	Corrected *float64 `json:"corrected_less_visit_mm,omitempty"`
}

// rulingRecord is a person's decision over readings.
type rulingRecord struct {
	From   string   `json:"from"`
	Until  string   `json:"until"`
	Action string   `json:"action"`
	Checks []string `json:"checks,omitempty"`
	Flow   *float64 `json:"flow_m3s,omitempty"`
	Least  *float64 `json:"at_least_m3s,omitempty"`
	Most   *float64 `json:"at_most_m3s,omitempty"`
	Reason string   `json:"reason"`
	By     string   `json:"by"`
	Rows   int      `json:"readings"`
	Effect number   `json:"effect_m3"`
}

func newRulings(list []recompute.RulingResult) (out []rulingRecord) {
	for _, x := range list {
		r := x.Ruling
		rec := rulingRecord{From: utc(r.From.UTC), Until: utc(r.Until.UTC), Action: string(r.Action), Checks: r.Checks, Reason: r.Reason, By: r.By, Rows: x.Rows, Effect: number(x.Effect)}
		switch r.Action {
		case site.RuleValue:
			rec.Flow = &r.Flow
		case site.RuleBound:
			rec.Least = &r.Least
			if !math.IsInf(r.Most, 1) {
				rec.Most = &r.Most
			}
		}
		out = append(out, rec)
	}
	return out
}

// approvalRecord says who stands for a correction.
type approvalRecord struct {
	Status     string           `json:"status"`
	Author     string           `json:"author,omitempty"`
	Reviewer   string           `json:"reviewer,omitempty"`
	Basis      string           `json:"basis,omitempty"`
	Evidence   []string         `json:"evidence,omitempty"`
	Examined   []examinedRecord `json:"examined_and_left_alone,omitempty"`
	Supersedes string           `json:"supersedes_sha256,omitempty"`
}

type examinedRecord struct {
	From   string `json:"from,omitempty"`
	Until  string `json:"until,omitempty"`
	Reason string `json:"reason"`
}

func newApproval(s *site.Site) *approvalRecord {
	r := s.Approval
	out := &approvalRecord{Status: r.Status, Author: r.Author, Reviewer: r.Reviewer, Basis: r.Basis, Evidence: r.Evidence, Supersedes: r.Supersedes}
	for _, e := range r.Examined {
		x := examinedRecord{Reason: e.Reason}
		if e.From != nil {
			x.From = utc(e.From.UTC)
		}
		if e.Until != nil {
			x.Until = utc(e.Until.UTC)
		}
		out.Examined = append(out.Examined, x)
	}
	return out
}

func newResiduals(list []recompute.Residual) (out []residualRecord) {
	mm := func(v float64) *float64 { v = math.Round(v*1e4) / 10; return &v }
	for i := range list {
		v := &list[i]
		rec := residualRecord{At: utc(v.Visit.At.UTC), Reading: v.Visit.Quantity.String() + " " + v.Visit.Value.Text, Phase: v.Visit.Phase, By: v.Visit.By}
		if v.Found {
			rec.Doubt, rec.Recorded, rec.Corrected = mm(v.Doubt()), mm(v.Before()), mm(v.After())
		}
		out = append(out, rec)
	}
	return out
}

// partRecord is one source of the total's uncertainty.
type partRecord struct {
	Source string  `json:"source"`
	Size   string  `json:"size"`
	Random bool    `json:"independent_between_readings,omitempty"`
	U95    number  `json:"u95_m3"`
	Share  float64 `json:"share"`
}

func newBudget(b *recompute.Budget) (out []partRecord) {
	if b == nil {
		return nil
	}
	for _, p := range b.Parts {
		share := 0.0
		if b.Standard > 0 {
			share = math.Round(1e4*p.Effect*p.Effect/(b.Standard*b.Standard)) / 1e4
		}
		out = append(out, partRecord{p.Source.Name, p.Source.Text, p.Source.Random, number(2 * math.Abs(p.Effect)), share})
	}
	return out
}

// averageRecord is a month's average daily volume after correction, by each rule.
type averageRecord struct {
	Month       string  `json:"month"`
	Rule        string  `json:"rule"` // of the site
	Days        int     `json:"days"`
	Measured    int     `json:"days_measured"`
	Discharging int     `json:"days_with_flow"`
	Complete    string  `json:"completeness"`
	Withheld    bool    `json:"withheld,omitempty"`
	OverMeas    *number `json:"over_days_measured_m3"`
	OverFlow    *number `json:"over_days_with_flow_m3"`
	OverAll     *number `json:"over_all_days_m3"`
}

func newAverages(r *Run) (out []averageRecord) {
	some := func(v float64, days int) *number {
		if days == 0 {
			return nil
		}
		n := number(v)
		return &n
	}
	for _, m := range audit.MonthlyAverages(r.Result) {
		a := m.After
		out = append(out, averageRecord{m.Period.Label, string(r.site().Report.Average), a.Days, a.Measured, a.Discharging, r.completeness(), a.Withheld, some(a.OverMeasured, a.Measured), some(a.OverDischarging, a.Discharging), some(a.OverAll, min(a.Days, a.Measured))})
	}
	return out
}

// limitRecord is a figure over a limit, or of which it cannot be told.
type limitRecord struct {
	audit.LimitFinding
	Before  float64       `json:"before"` // m³, m³/s or a share
	After   float64       `json:"after"`
	Doubt   float64       `json:"u95"`
	Low     float64       `json:"at_least"`
	High    *float64      `json:"at_most,omitempty"` // absent when nothing bounds it
	Outcome audit.Outcome `json:"outcome"`
}

func newLimits(r *Run) (out []limitRecord) {
	for _, f := range r.Limits {
		scale := 1000.0
		if f.Flow {
			scale = 1e7
		}
		round := func(v float64) float64 { return math.Round(v*scale) / scale }
		x := limitRecord{LimitFinding: f, Before: round(f.Before), After: round(f.After), Doubt: round(f.Doubt), Low: round(f.Low), Outcome: f.Outcome()}
		if !math.IsInf(f.High, 1) {
			high := round(f.High)
			x.High = &high
		}
		out = append(out, x)
	}
	return out
}
