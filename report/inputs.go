package report

import (
	"errors"
	"path/filepath"
	"time"

	"retotal/ingest"
	"retotal/ingest/problem"
	"retotal/ingest/reading"
	"retotal/ingest/site"
)

type siteRecord struct {
	ID     string `json:"id"`
	Name   string `json:"name"`
	File   string `json:"file"` // relative to the folder of this record
	SHA256 string `json:"sha256"`
}

type inputRecord struct {
	File      string           `json:"file"` // relative to the site file
	Bytes     int64            `json:"bytes"`
	SHA256    string           `json:"sha256"`
	Decisions []decisionRecord `json:"decisions,omitempty"` // none of what is no log
	Preamble  []string         `json:"preamble,omitempty"`
}

type logRecord struct {
	Primary    string     `json:"primary"`
	TimeZone   string     `json:"time_zone"`
	First      string     `json:"first_reading"`
	Last       string     `json:"last_reading"`
	IntervalS  float64    `json:"interval_s"`
	GapLimitS  float64    `json:"gap_limit_s"`
	GapDefault bool       `json:"gap_limit_is_default"`
	Resolution float64    `json:"level_step_m"`
	Samplings  []sampling `json:"samplings,omitempty"` // where the log was not sampled in one way throughout
	SpikeS     float64    `json:"spike_window_s"`
	SpikeFloor float64    `json:"spike_floor_m"`
	StuckS     float64    `json:"stuck_duration_s"`
	BridgeS    float64    `json:"bridge_limit_s"`
	ReportZone string     `json:"report_zone"`
	DayStarts  string     `json:"day_starts"`
	DayLabel   string     `json:"day_label"` // "start" or "end": the date that a day carries
}

// sampling is how the log was sampled after an instant.
type sampling struct {
	After     string  `json:"after,omitempty"` // nothing for the beginning
	IntervalS float64 `json:"interval_s"`
	GapLimitS float64 `json:"gap_limit_s"`
	Step      float64 `json:"level_step_m"`
}

func samplings(list []reading.Sampling) (out []sampling) {
	for k, s := range list {
		x := sampling{IntervalS: s.Interval.Seconds(), GapLimitS: s.GapLimit.Seconds(), Step: s.Step}
		if k > 0 {
			x.After = utc(s.From)
		}
		out = append(out, x)
	}
	return out
}

// decisionRecord is one thing that was decided on how a log file is written.
type decisionRecord struct {
	Subject   string `json:"subject"`
	Found     string `json:"found"`
	Because   string `json:"because,omitempty"`
	Otherwise string `json:"otherwise,omitempty"` // what else was possible, and why it was not taken
}

// accountRecord places every row of a log in one class.
type accountRecord struct {
	Read        int             `json:"rows_read"`
	Used        int             `json:"used"`
	Repeated    int             `json:"repeated"`
	Conflicting int             `json:"conflicting"`
	OutOfPeriod int             `json:"out_of_period"`
	Rejected    map[string]int  `json:"rejected"` // by reason
	Examples    []exampleRecord `json:"rejected_examples,omitempty"`
	Missing     map[string]int  `json:"missing_values,omitempty"`
	Illegible   map[string]int  `json:"illegible_values,omitempty"`
	Unended     int             `json:"files_without_last_line_end,omitempty"`
}

type exampleRecord struct {
	File   string `json:"file"`
	Line   int    `json:"line"`
	Reason string `json:"reason"`
	Text   string `json:"text"`
}

func newAccount(s *site.Site, a *ingest.Account) accountRecord {
	example := func(e ingest.Example) exampleRecord {
		e.File = relative(s, e.File)
		return exampleRecord(e)
	}
	return accountRecord{a.Read, a.Used, a.Repeated, a.Conflicting, a.OutOfPeriod, a.Rejected,
		each(a.Examples, example), a.Missing,
		a.Illegible, a.Unended}
}

// each turns one list into another.
func each[A, B any](list []A, of func(A) B) (out []B) {
	for _, x := range list {
		out = append(out, of(x))
	}
	return out
}

// newInputs lists the files that were read beside the site file.
func newInputs(r *Run) (list []inputRecord) {
	decision := func(d reading.Decision) decisionRecord { return decisionRecord(d) }
	for _, f := range r.Log.Files {
		list = append(list, inputRecord{
			relative(r.Site(), f.Name), f.Size, f.SHA256, each(f.Decisions(), decision), f.Preamble(),
		})
	}
	for _, f := range r.Beside {
		list = append(list, inputRecord{File: relative(r.Site(), f.File), Bytes: f.Size, SHA256: f.SHA256})
	}
	return list
}

// sitePath names the site file as seen from the results, or as a record to be verified has it.
func (r *Run) sitePath() string {
	switch {
	case r.SiteFile != "":
		return r.SiteFile
	case r.Folder != "":
		return SeenFrom(r.Folder, r.Site().File)
	}
	return filepath.ToSlash(r.Site().File)
}

// relative names a file as seen from the site file.
func relative(s *site.Site, name string) string { return SeenFrom(s.Folder, name) }

// SeenFrom names a file as seen from a folder, wherever the program was called.
func SeenFrom(folder, name string) string {
	from, err1 := filepath.Abs(folder)
	to, err2 := filepath.Abs(name)
	if path, err := filepath.Rel(from, to); errors.Join(err, err1, err2) == nil {
		return filepath.ToSlash(path)
	}
	return filepath.ToSlash(name)
}

// LogFiles names the logs of a site as a record does.
func LogFiles(l *ingest.Log) []string {
	return each(l.Files, func(f *ingest.File) string { return relative(l.Site, f.Name) })
}

// worded is a problem that names its file as seen from the site file.
func worded(s *site.Site, p *problem.Problem) string {
	other := *p
	if other.Place.File != "" {
		other.Place.File = relative(s, other.Place.File)
	}
	return other.Error()
}

func newLogRecord(r *Run) logRecord {
	l, s := r.Log, r.Site()
	limits := r.Result.Limits
	return logRecord{
		Primary:    s.Log.Primary.String(),
		TimeZone:   s.Log.Clock.Name,
		First:      utc(l.From),
		Last:       utc(l.Until),
		IntervalS:  l.Interval.Seconds(),
		GapLimitS:  l.GapLimit.Seconds(),
		GapDefault: s.Log.GapLimit == 0,
		Resolution: l.Resolution[s.Log.Primary],
		Samplings:  samplings(l.Samplings),
		SpikeS:     limits.SpikeWindow.Seconds(),
		SpikeFloor: limits.SpikeFloor,
		StuckS:     limits.StuckDuration.Seconds(),
		BridgeS:    limits.BridgeLimit.Seconds(),
		ReportZone: s.Report.Clock.Name,
		DayStarts:  clockTime(s.Report.DayStarts),
		DayLabel:   dayLabel(s),
	}
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

// columnsRead names the columns that were used, for the page.
func columnsRead(l *ingest.Log) (out []string) {
	for q, has := range l.Has {
		if has {
			out = append(out, reading.Quantity(q).String())
		}
	}
	return out
}
