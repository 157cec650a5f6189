package report

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"time"

	"retotal/ingest"
	"retotal/ingest/problem"
	"retotal/ingest/reading"
	"retotal/ingest/site"
	"retotal/qa"
	"retotal/recompute"
	"retotal/recompute/audit"
	"retotal/recompute/device"
	"retotal/recompute/settings"
)

// Record is the correction record: what was read, decided, computed and found. Volumes are m³ rounded to 0.001, times are UTC. It
// holds no time of its own, so that the same input gives the same record.
type Record struct {
	Program     string                  `json:"program"`
	Version     string                  `json:"version"`
	Site        siteRecord              `json:"site"`
	Inputs      []inputRecord           `json:"inputs"`
	Log         logRecord               `json:"log"`
	Recorded    []segmentRecord         `json:"recorded_settings"`
	Corrected   []segmentRecord         `json:"corrected_settings"`
	Corrections []correctionRecord      `json:"corrections"`
	Screening   []recompute.FlagSummary `json:"screening"`
	Rulings     []rulingRecord          `json:"rulings,omitempty"`
	Rows        *ingest.Account         `json:"rows"`
	Total       periodRecord            `json:"total"`
	Months      []periodRecord          `json:"months"`
	Days        []periodRecord          `json:"days"`
	Split       splitRecord             `json:"difference_parts"`
	Witness     witnessRecord           `json:"logged_flow_against_lanes"`
	Drowned     recompute.Drowned       `json:"drowned"`
	Without     []int                   `json:"without,omitempty"`
	Lanes       []string                `json:"what_if,omitempty"`
	Changes     []recompute.ChangePoint `json:"change_points,omitempty"`
	Pattern     recompute.Pattern       `json:"pattern"`
	Averages    []averageRecord         `json:"average_daily_volume"`
	Limits      []limitRecord           `json:"limits,omitempty"`
	Budget      []partRecord            `json:"uncertainty_budget,omitempty"`
	Draws       *recompute.Draws        `json:"monte_carlo,omitempty"`
	Donor       *recompute.Match        `json:"filled_from_donor,omitempty"`
	Visits      []residualRecord        `json:"site_visits,omitempty"`
	Proposal    string                  `json:"proposed_by_visits,omitempty"`
	Approval    *approvalRecord         `json:"approval,omitempty"`
	Findings    []audit.Finding         `json:"findings"`
	OverLimit   []audit.DayOverLimit    `json:"days_over_daily_volume,omitempty"`
	NeedsPerson []string                `json:"needs_a_person,omitempty"`
	Warnings    []string                `json:"warnings,omitempty"`
	Review      string                  `json:"review"`
}

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

type siteRecord struct {
	ID     string `json:"id"`
	Name   string `json:"name"`
	File   string `json:"file"` // relative to the folder of this record
	SHA256 string `json:"sha256"`
}

type inputRecord struct {
	File      string             `json:"file"` // relative to the site file
	Bytes     int64              `json:"bytes"`
	SHA256    string             `json:"sha256"`
	Decisions []reading.Decision `json:"decisions,omitempty"` // none of what is no log
	Preamble  []string           `json:"preamble,omitempty"`
}

type logRecord struct {
	Primary    string  `json:"primary"`
	TimeZone   string  `json:"time_zone"`
	First      string  `json:"first_reading"`
	Last       string  `json:"last_reading"`
	IntervalS  float64 `json:"interval_s"`
	GapLimitS  float64 `json:"gap_limit_s"`
	GapDefault bool    `json:"gap_limit_is_default"`
	Resolution float64 `json:"level_step_m"`
	SpikeS     float64 `json:"spike_window_s"`
	SpikeFloor float64 `json:"spike_floor_m"`
	StuckS     float64 `json:"stuck_duration_s"`
	BridgeS    float64 `json:"bridge_limit_s"`
	ReportZone string  `json:"report_zone"`
	DayStarts  string  `json:"day_starts"`
	DayLabel   string  `json:"day_label"` // "start" or "end": the date that a day carries
}

type segmentRecord struct {
	From        string             `json:"from,omitempty"`
	Until       string             `json:"until,omitempty"`
	Settings    []string           `json:"settings,omitempty"`
	Device      device.Description `json:"device"`
	LowestHead  float64            `json:"lowest_valid_head_m"`
	HighestHead *float64           `json:"highest_valid_head_m,omitempty"`
	End         *float64           `json:"physical_end_head_m,omitempty"`
}

type periodRecord struct {
	Label      string    `json:"label"`
	Start      string    `json:"start"`
	End        string    `json:"end"`
	Before     *number   `json:"before_m3"` // null: missing
	After      *number   `json:"after_m3"`
	Difference *number   `json:"difference_m3"`
	Percent    *number   `json:"difference_percent"`
	Coverage   number    `json:"covered_percent"`
	Measured   *number   `json:"measured_m3"`
	Bridged    *number   `json:"bridged_m3"`
	Bounded    *number   `json:"bounded_below_m3"`
	Estimated  *number   `json:"estimated_m3"`
	Filled     *number   `json:"filled_m3,omitempty"`
	Logged     *number   `json:"logged_flow_m3"`
	Counted    *number   `json:"counter_m3"`
	Passed     *number   `json:"interval_volumes_m3"`
	Doubt      *number   `json:"u95_m3,omitempty"`      // expanded uncertainty of after, about 95 %
	Lower      *number   `json:"at_least_m3,omitempty"` // where readings are only bounded
	Upper      *number   `json:"at_most_m3,omitempty"`  // absent when nothing bounds it
	DiffDoubt  *number   `json:"difference_u95_m3,omitempty"`
	Low95      *number   `json:"interval_low_m3,omitempty"`  // of the interval of about 95 %, bounds and uncertainty together
	High95     *number   `json:"interval_high_m3,omitempty"` // absent when nothing bounds it
	Lost       *number   `json:"before_only_m3,omitempty"`   // what before counted in time that after does not cover
	Gained     *number   `json:"after_only_m3,omitempty"`    // what is filled in time that before does not cover
	WhatIf     []*number `json:"what_if_m3,omitempty"`
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
	s, res := r.site(), r.Result
	sum := sha256.Sum256(s.Text)
	rec := &Record{Program: "retotal", Version: r.Version,
		Site:     siteRecord{s.ID, s.Name, r.sitePath(), hex.EncodeToString(sum[:])},
		Log:      newLogRecord(r),
		Recorded: segments(res.Recorded, res.Log), Corrected: segments(res.Corrected, res.Log),
		Screening: slices.Clone(res.Flags), Rows: &res.Log.Account, Total: newPeriod(&res.Total), Split: newSplit(&res.Total),
		Witness: witnessRecord{newMisfit(res.Witness.Recorded, res.Log.Interval), newMisfit(res.Witness.Corrected, res.Log.Interval)}, Drowned: res.Drowned, Findings: r.Findings, OverLimit: r.Over, NeedsPerson: r.NeedsPerson(),
		Review: "A correction is for a competent person to review before it is reported.",
	}
	for _, l := range res.WhatIfs {
		rec.Lanes = append(rec.Lanes, l.Name)
	}
	if r.Draws != nil {
		d := *r.Draws
		d.Mean, d.Standard = math.Round(d.Mean*1000)/1000, math.Round(d.Standard*1000)/1000
		rec.Draws = &d
	}
	rec.Averages, rec.Limits = newAverages(r), newLimits(r)
	rec.Budget = newBudget(res.Total.Budget)
	rec.Pattern, rec.Donor = res.Pattern, r.Match
	for _, v := range []*float64{&rec.Pattern.PerKelvin, &rec.Pattern.Correlation, &rec.Pattern.Expected} {
		*v = math.Round(*v*1000) / 1000
	}
	rec.Without, rec.Rulings = r.Without, newRulings(res.Rulings)
	for _, c := range res.Changes {
		c.Size, c.Confidence = math.Round(c.Size*100)/100, math.Round(c.Confidence*1e4)/1e4
		rec.Changes = append(rec.Changes, c)
	}
	rec.Visits, rec.Proposal, rec.Approval = newResiduals(res.Visits), r.Proposal, newApproval(s)
	for i := range rec.Screening {
		rec.Screening[i].Effect = math.Round(rec.Screening[i].Effect*1000) / 1000
	}
	for _, f := range res.Log.Files {
		rec.Inputs = append(rec.Inputs, inputRecord{relative(s, f.Name), f.Size, f.SHA256, f.Decisions(), f.Preamble()})
	}
	for _, f := range r.Beside {
		rec.Inputs = append(rec.Inputs, inputRecord{File: relative(s, f.File), Bytes: f.Size, SHA256: f.SHA256})
	}
	rec.Corrections = newCorrections(r)
	for i := range res.Months {
		rec.Months = append(rec.Months, newPeriod(&res.Months[i]))
	}
	for i := range res.Days {
		rec.Days = append(rec.Days, newPeriod(&res.Days[i]))
	}
	for _, p := range r.Warnings {
		rec.Warnings = append(rec.Warnings, p.Error())
	}
	return rec
}

// sitePath names the site file as seen from the results.
func (r *Run) sitePath() string {
	if r.Folder != "" {
		if path, err := filepath.Rel(r.Folder, r.site().File); err == nil {
			return filepath.ToSlash(path)
		}
	}
	return filepath.ToSlash(r.site().File)
}

// ReadRecord reads a correction record; file may also be the folder that it is in. It returns the record, its hash and its path.
func ReadRecord(file string) (rec *Record, sha string, path string, bad *problem.Problem) {
	if info, err := os.Stat(file); err == nil && info.IsDir() {
		file = filepath.Join(file, marker)
	}
	place := problem.Place{File: file}
	text, err := os.ReadFile(file)
	if err != nil {
		return nil, "", file, problem.At(place, "the record cannot be read: "+cause(err), "record.json of a result folder", "")
	}
	rec = &Record{}
	if err := json.Unmarshal(text, rec); err != nil || rec.Program != "retotal" {
		return nil, "", file, problem.At(place, "this is no correction record", "record.json of a result folder", "")
	}
	sum := sha256.Sum256(text)
	return rec, hex.EncodeToString(sum[:]), file, nil
}

// relative names a file as seen from the site file.
func relative(s *site.Site, name string) string {
	if path, err := filepath.Rel(s.Folder, name); err == nil {
		return filepath.ToSlash(path)
	}
	return filepath.ToSlash(name)
}

func newLogRecord(r *Run) logRecord {
	l, s := r.Result.Log, r.site()
	limits := r.Result.Limits
	return logRecord{Primary: s.Log.Primary.String(), TimeZone: s.Log.Clock.Name, First: utc(l.From), Last: utc(l.Till),
		IntervalS: l.Interval.Seconds(), GapLimitS: l.GapLimit.Seconds(), GapDefault: s.Log.GapLimit == 0, Resolution: l.Resolution[s.Log.Primary],
		SpikeS: limits.SpikeWindow.Seconds(), SpikeFloor: limits.SpikeFloor, StuckS: limits.StuckDuration.Seconds(), BridgeS: limits.BridgeLimit.Seconds(),
		ReportZone: s.Report.Clock.Name, DayStarts: clockTime(s.Report.DayStarts), DayLabel: dayLabel(s)}
}

func dayLabel(s *site.Site) string {
	if s.Report.LabelByEnd {
		return "end"
	}
	return "start"
}

func clockTime(d time.Duration) string {
	return time.Time{}.Add(d).Format("15:04")
}

// utc writes an instant; the ends of time are left empty.
func utc(at int64) string {
	if at == math.MinInt64 || at == math.MaxInt64 {
		return ""
	}
	return time.Unix(0, at).UTC().Format(time.RFC3339)
}

// segments lists the settings that were in force at some time of the log.
func segments(l *settings.Lane, log *ingest.Log) (out []segmentRecord) {
	for i := range l.Segments {
		s := &l.Segments[i]
		if s.Until <= log.From || s.From > log.Till {
			continue
		}
		limits := s.Rating.Limits()
		rec := segmentRecord{From: utc(s.From), Until: utc(s.Until), Settings: s.Settings.Words(), Device: s.Rating.Describe(), LowestHead: limits.Low}
		if !math.IsInf(limits.High, 1) {
			rec.HighestHead = &limits.High
		}
		if !math.IsInf(limits.End, 1) {
			rec.End = &limits.End
		}
		out = append(out, rec)
	}
	return out
}

func newPeriod(p *recompute.Period) periodRecord {
	out := periodRecord{Label: p.Label, Start: utc(p.Start), End: utc(p.End), Before: volume(p.Before), After: volume(p.After), Coverage: number(100 * p.Coverage()),
		Measured: volume(p.Classes[recompute.Measured]), Bridged: volume(p.Classes[recompute.Bridged]), Bounded: volume(p.Classes[recompute.Bounded]), Estimated: volume(p.Classes[recompute.Estimated]), Filled: volume(p.Classes[recompute.Filled]),
		Logged: volume(p.Logged), Counted: volume(p.Counted), Passed: volume(p.Passed)}
	if p.Both() {
		difference := number(p.Difference())
		out.Difference = &difference
	}
	if !p.Bracketed.Counted.Missing() {
		lower := number(p.Lower())
		out.Lower = &lower
		if upper, known := p.Upper(); known {
			most := number(upper)
			out.Upper = &most
		}
	}
	for _, v := range p.WhatIf {
		out.WhatIf = append(out.WhatIf, volume(v))
	}
	if p.Budget != nil {
		doubt := number(p.Budget.Expanded())
		out.Doubt = &doubt
		if p.Both() {
			difference := number(p.Budget.ExpandedDifference())
			out.DiffDoubt = &difference
		}
	}
	if x, ok := p.Interval(); ok {
		low, high := number(x.Low), number(x.High)
		if out.Low95 = &low; !x.Open {
			out.High95 = &high
		}
	}
	out.Lost, out.Gained = volume(p.Parts.Lost), volume(p.Parts.Gained)
	if v, ok := p.Percent(); ok {
		percent := number(v)
		out.Percent = &percent
	}
	return out
}

func volume(v recompute.Volume) *number {
	if v.Missing() {
		return nil
	}
	n := number(v.M3())
	return &n
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

// columnsRead names the columns that were used, for the page.
func columnsRead(l *ingest.Log) (out []string) {
	for q, has := range l.Has {
		if has {
			out = append(out, reading.Quantity(q).String())
		}
	}
	return out
}

// shownFlags are the checks that flagged something.
func shownFlags(list []recompute.FlagSummary) (out []recompute.FlagSummary) {
	for _, f := range list {
		if f.Rows > 0 {
			out = append(out, f)
		}
	}
	return out
}

// notShown names the checks that flagged nothing, or were not run and why.
func notShown(list []recompute.FlagSummary) (out []string) {
	for _, f := range list {
		switch {
		case f.NotRun != "":
			out = append(out, f.Title+" (not run: "+f.NotRun+")")
		case f.Rows == 0:
			out = append(out, f.Title)
		}
	}
	return out
}

// sentence says what a reading flagged by a check is.
func sentence(check string) string {
	for _, c := range qa.Checks {
		if c.Name == check {
			return c.Sentence
		}
	}
	return ""
}
