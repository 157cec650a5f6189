package report

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"time"

	"retotal/ingest/problem"
	"retotal/ingest/site"
	"retotal/recompute"
	"retotal/recompute/uncertainty"
)

// Record is the correction record: what was read, decided, computed and found. Volumes are m³ rounded to 0.001, times
// are UTC. It holds no time of its own, so that the same input gives the same record. A field is a key
// of record.json.
type Record struct {
	Program     string          `json:"program"`
	Version     string          `json:"version"`
	Site        siteRecord      `json:"site"`
	Inputs      []inputRecord   `json:"inputs"`
	Log         logRecord       `json:"log"`
	Recorded    []segmentRecord `json:"recorded_settings"`
	Corrected   []segmentRecord `json:"corrected_settings"`
	Corrections *Table          `json:"corrections"`
	Screening   *Table          `json:"screening"`
	Ruled       number          `json:"begun_by_rulings_m3"`
	AllLeft     leftRecord      `json:"all_left_out"`
	Worth       *Table          `json:"worth_a_look_first,omitzero"`
	Rulings     *Table          `json:"rulings,omitzero"`
	Rows        accountRecord   `json:"rows"`
	Total       entry           `json:"total"`
	Months      *Table          `json:"months"`
	Days        *Table          `json:"days"`
	Split       splitRecord     `json:"difference_parts"`
	FlowCheck   flowCheckRecord `json:"logged_flow_against_lanes"`
	Habits      []string        `json:"habits_of_the_record,omitempty"`
	Drowned     drownedRecord   `json:"drowned"`
	Without     []int           `json:"without,omitempty"`
	Lanes       []string        `json:"what_if,omitempty"`
	Changes     []changeRecord  `json:"change_points,omitempty"`
	Moves       []moveRecord    `json:"sensor_moves,omitempty"`
	Pattern     patternRecord   `json:"pattern"`
	Averages    *Table          `json:"average_daily_volume"`
	Limits      *Table          `json:"limits,omitzero"`
	Budget      *Table          `json:"uncertainty_budget,omitzero"`
	Draws       *drawsRecord    `json:"monte_carlo,omitempty"`
	Donor       *donorRecord    `json:"filled_from_donor,omitempty"`
	Used        *Table          `json:"what_the_meter_used,omitzero"`
	Causes      *Table          `json:"what_stands_behind,omitzero"`
	Visits      *Table          `json:"site_visits,omitzero"`
	Proposal    string          `json:"proposed_by_visits,omitempty"`
	Approval    *approvalRecord `json:"approval,omitempty"`
	Findings    *Table          `json:"findings"`
	OverLimit   *Table          `json:"days_over_daily_volume,omitzero"`
	NeedsPerson []string        `json:"needs_a_person,omitempty"`
	Warnings    []string        `json:"warnings,omitempty"`
	Review      string          `json:"review"`
}

// review stands in everything that is handed out.
const review = "A correction is for a competent person to review before it is reported."

// number is a value rounded to 0.001.
type number float64

// MarshalJSON implements json.Marshaler.
func (n number) MarshalJSON() ([]byte, error) {
	v := math.Round(float64(n)*1000) / 1000
	if v == 0 {
		v = 0 // no minus zero
	}
	return []byte(strconv.FormatFloat(v, 'f', -1, 64)), nil
}

// leftRecord is what leaving out the readings of all checks that keep would change.
type leftRecord struct {
	Volume  number `json:"m3"`
	Missing number `json:"missing_s"`
}

// splitRecord is the difference over the time that before and after cover, in parts that add up to it.
type splitRecord struct {
	Settings  number `json:"settings_m3"`
	Limits    number `json:"beyond_what_the_meter_shows_m3"`
	Drowned   number `json:"drowned_m3"`
	Filled    number `json:"filled_m3"`
	Screening number `json:"screening_m3"`
}

func newSplit(p *recompute.Period) splitRecord {
	s := p.Split()
	return splitRecord{number(s.Settings), number(s.Limits), number(s.Drowned), number(s.Filled), number(s.Screening)}
}

// NewRecord makes the correction record of a run.
func NewRecord(r *Run) *Record {
	s, res := r.Site(), r.Result
	rec := &Record{
		Program:     "retotal",
		Version:     r.Version,
		Site:        siteRecord{s.ID, s.Name, r.sitePath(), hexSum(s.Text)},
		Inputs:      newInputs(r),
		Log:         newLogRecord(r),
		Recorded:    segments(res.Recorded, r.Log),
		Corrected:   segments(res.Corrected, r.Log),
		Corrections: r.corrections(),
		Screening:   r.flags(),
		Ruled:       number(res.Ruled),
		AllLeft:     leftRecord{number(res.Left.Volume), number(float64(res.Left.Missing) / 1e9)},
		Worth:       r.worth(),
		Rulings:     r.rulings(),
		Rows:        newAccount(s, &r.Log.Account),
		Total:       entry{r.total()},
		Months:      r.months(),
		Days:        r.days(),
		Split:       newSplit(&res.Total),
		FlowCheck:   newFlowCheck(res),
		Drowned:     drownedRecord(res.Drowned),
		Without:     r.Without,
		Changes:     newChanges(res.Changes),
		Moves:       r.moves(),
		Pattern:     newPattern(&res.Pattern),
		Averages:    r.averages(),
		Limits:      r.limits(),
		Budget:      r.budget(),
		Draws:       newDraws(r.Result.Draws),
		Donor:       (*donorRecord)(r.Result.Fit),
		Used:        r.used(),
		Causes:      r.causes(),
		Visits:      r.visits(),
		Proposal:    r.Proposal,
		Approval:    newApproval(s),
		Findings:    r.findings(),
		OverLimit:   r.daysOver(),
		NeedsPerson: r.NeedsPerson(),
		Habits:      r.Result.Habits,
		Review:      review,
	}
	for _, l := range res.WhatIfs {
		rec.Lanes = append(rec.Lanes, l.Name)
	}
	for _, p := range r.Warnings {
		rec.Warnings = append(rec.Warnings, worded(s, p))
	}
	return rec
}

// drownedRecord is what was made of drowned readings.
type drownedRecord struct {
	Readings int `json:"readings"`
	// by a drowned equation; of the others only the most that can have flowed is known
	Computed int     `json:"computed"`
	Spread   float64 `json:"largest_added_u95"` // a part of the flow
	Source   string  `json:"source,omitempty"`
}

// drawsRecord is what a Monte Carlo check found of the corrected total.
type drawsRecord struct {
	Count    int    `json:"draws"`
	Seed     uint64 `json:"seed"`
	Mean     number `json:"mean_m3"`
	Standard number `json:"standard_uncertainty_m3"`
}

func newDraws(d *uncertainty.Draws) *drawsRecord {
	if d == nil {
		return nil
	}
	return &drawsRecord{d.Count, d.Seed, number(d.Mean), number(d.Standard)}
}

// donorRecord is how the hours of this site go together with those of the one that missing time is filled from.
type donorRecord struct {
	Hours       int     `json:"hours"`
	Correlation float64 `json:"correlation"`
}

// mostRecord is more than any record takes, bytes.
const mostRecord = 512 << 20

// ReadRecord reads a correction record; file may also be the folder that it is in. It returns the record, its hash and
// its path.
func ReadRecord(file string) (rec *Record, sha string, path string, bad *problem.Problem) {
	if info, err := os.Stat(file); err == nil && info.IsDir() {
		file = filepath.Join(file, marker)
	}
	place := problem.Place{File: file}
	text, err := site.ReadPlain(file, mostRecord)
	if err != nil {
		return nil, "", file,
			problem.At(place, "the record cannot be read: "+cause(err), "record.json of a result folder", "")
	}
	rec = &Record{}
	if err := json.Unmarshal(text, rec); err != nil || rec.Program != "retotal" {
		return nil, "", file, problem.At(place, "this is no correction record", "record.json of a result folder", "")
	}
	return rec, hexSum(text), file, nil
}

// hexSum is the SHA-256 of a text.
func hexSum(text []byte) string {
	sum := sha256.Sum256(text)
	return hex.EncodeToString(sum[:])
}

// recordJSON writes the record.
func recordJSON(r *Run) ([]byte, error) {
	var b bytes.Buffer
	e := json.NewEncoder(&b)
	e.SetEscapeHTML(false)
	e.SetIndent("", " ")
	err := e.Encode(NewRecord(r))
	return b.Bytes(), err
}

// utc writes an instant; the ends of time are left empty.
func utc(at int64) string {
	if at == math.MinInt64 || at == math.MaxInt64 {
		return ""
	}
	return time.Unix(0, at).UTC().Format(time.RFC3339)
}
