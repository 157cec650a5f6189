// Package site is the site file, strict, as typed values with the place of every key.
package site

import (
	"math"
	"slices"
	"sort"
	"time"

	"retotal/ingest/problem"
	"retotal/ingest/quantity"
	"retotal/ingest/reading"
)

// Site is one measuring site: its log, its settings as the meter had them, what was wrong with them, and how totals
// are to be reported.
type Site struct {
	File, Folder string // the site file as given, and its folder
	Text         []byte // the site file
	ID, Name     string
	Warnings     problem.List // of the site file: what is odd in it, and stops nothing
	Log          Log
	Settings     []Change // as the meter had them: the first from the beginning, then each change
	Corrections  []Correction
	WhatIfs      []WhatIf
	Visits       []Visit
	Rulings      []Ruling
	Approval     Approval
	Audit        Audit
	Accepted     []Accepted
	Screening    Screening
	Filling      Filling
	Uncertainty  Uncertainty
	Report       Report
	Beside       []Beside // other files that were read
	Places       map[string]problem.Place
}

// Log says where the readings are and how they are written.
type Log struct {
	Files   []string         // patterns as written, relative to the site file
	Clock   Clock            // what the logger's clock keeps
	Primary reading.Quantity // what the flow is computed from
	// figures are means over the interval that ends at their stamp, not readings of an instant
	Means     bool
	NeedsAir  bool // a setting asks for the logged air temperature
	Time      Column
	TimeOfDay Column                // when the date and the time of day stand in two columns
	Columns   [reading.Count]Column // by quantity; a Name of "" means the log has none
	// "day-first", "month-first" or "year-first" settles 03/04/2031 and 03/04/31 when the log does not; ""
	DateOrder      string
	Decimal        string          // "point" or "comma" settles 1,234 when the log does not; ""
	StampAt        string          // "instant", "start" or "end" of the interval that a reading stands for
	Checks         []ClockCheck    // how wrong the logger's clock was, in the order of time
	CounterChanges []CounterChange // declared changes of the counter, in the order of time
	UnpackLimit    int64           // most that a compressed log may unpack to, in times its size; 0: the default
	GapLimit       time.Duration   // 0: three times the log's interval
	ClockJumps     bool            // readings years apart are genuine: the clock was neither unset nor reset
	Place          problem.Place
}

// Reads reports whether the values of a quantity are read. Only corrections of sound use the air temperature: else its
// column must be there, but its values are passed over.
func (l *Log) Reads(q reading.Quantity) bool {
	return l.Columns[q].Given() && (q != reading.Temperature || l.NeedsAir)
}

// WantAir lets the air temperature be read where a log of levels has it, whether or not a setting asks for it: for an
// audit, which looks for what it does to the level.
func (l *Log) WantAir() {
	if l.Primary <= reading.Head && l.Columns[reading.Temperature].Given() {
		l.NeedsAir = true
	}
}

// ClockCheck is a comparison of the logger's clock with the true time.
type ClockCheck struct {
	At    Instant       // by the logger's clock
	Error time.Duration // logger's time less true time
}

// Shown returns what the logger's clock showed at a true instant, as an instant: the other way round of taking its
// error off.
func (l *Log) Shown(at int64) int64 {
	last := len(l.Checks) - 1
	if last < 0 {
		return at
	}
	true0 := func(i int) int64 { return l.Checks[i].At.UTC - int64(l.Checks[i].Error) }
	i := sort.Search(last+1, func(i int) bool { return true0(i) >= at })
	switch {
	case i == 0:
		return at + int64(l.Checks[0].Error)
	case i > last:
		return at + int64(l.Checks[last].Error)
	}
	share := float64(at-true0(i-1)) / float64(true0(i)-true0(i-1))
	return l.Checks[i-1].At.UTC + int64(math.Round(share*float64(l.Checks[i].At.UTC-l.Checks[i-1].At.UTC)))
}

// CounterChange is a counter that was set anew or replaced.
type CounterChange struct {
	At    Instant
	Last  *quantity.Value // what it showed last before; nil when nobody read it
	First quantity.Value  // what it showed first after
}

// Column is one column of the log.
type Column struct {
	Name       string
	Number     int            // from 1, in place of a name; 0 where there is a name
	Unit       *quantity.Unit // nil: read from the header
	Loop       bool           // a current loop of 4 to 20 mA: Unit scales it, and currents of failure are no values
	Missing    []string       // texts and numbers that stand for no value, as written
	MissingSet bool           // the site file says what stands for no value, if only that nothing does
	Codes      []float64      // those of them that are numbers
	Water      *Water         // of a level that is logged as a pressure; nil for others
	Rollover   float64        // counter only: m³ at which it starts again; 0 when not stated
	Place      problem.Place
}

// Ramp is a setting that stands still (From = To) or moves linearly in time.
type Ramp struct {
	From, To     quantity.Value
	Starts, Ends int64 // instants of From and To, for a ramp
	Place        problem.Place
}

// DeviceKeys is the table of a device as it is written; the device itself is built from it elsewhere.
type DeviceKeys struct {
	Kind   string // "" in a correction that changes single dimensions only
	Values map[string]any
	Prefix string // full key of the table, for messages
	Place  problem.Place
}

// Instant is a time in the site file.
type Instant struct {
	UTC   int64 // nanoseconds since 1970
	Text  string
	Place problem.Place
}

// Change is settings that hold from an instant on. The first change of a site has no instant.
type Change struct {
	At *Instant
	// whether sensor, datum or device moved, or only a number was entered anew; nil: told by the corrections
	Moved *bool
	Settings
}

// Correction is what should have been set during a span, where it differs from the recorded settings.
type Correction struct {
	From, Until *Instant // nil: from the first reading, to the last one
	Reason, By  string
	Settings
	U95      float64 // m, expanded uncertainty (95 %) of what the correction sets the datum to; 0 when none is stated
	Unusable bool    // nothing can be made of the readings of the span
	Onset    *Onset
	Sure     bool // somebody stands for it, however unlikely it looks
	Place    problem.Place
}

// Onset is what is known of when an error began, when that is not sure.
type Onset struct {
	LastGood *Instant      // the last check that found nothing wrong
	Cap      time.Duration // most that the half-way rule goes back; 0 for none
	Place    problem.Place
}

// WhatIf is a further timeline: the corrected settings with others in their place.
type WhatIf struct {
	Name        string
	From, Until *Instant
	Settings
	Place problem.Place
}

// Visit is a reading that somebody took beside the meter.
type Visit struct {
	At          Instant
	Quantity    reading.Quantity // Distance, Level, Head or Flow
	Value       quantity.Value
	Uncertainty *quantity.Value // expanded (95 %); nil when none is stated
	Phase       string          // "", "before-cleaning", "after-cleaning" or "after-reset"
	By, Note    string
	Place       problem.Place
}

// AverageRule says which days an average is over.
type AverageRule string

// The rules.
const (
	AverageMeasured    AverageRule = "measured"    // days with a total
	AverageDischarging AverageRule = "discharging" // days with flow
	AverageAll         AverageRule = "all"         // all days, missing ones as if without flow
)

// Ruling is a person's decision over the readings of a span, above what screening found.
type Ruling struct {
	From, Until Instant // until no longer belongs to the span, as in a correction
	Checks      []string
	Action      RulingAction
	Flow        float64 // m³/s, for value
	Least, Most float64 // m³/s, for bound; Most is +Inf when nothing bounds it
	Reason, By  string
	Place       problem.Place
}

// RulingAction is what a ruling makes of readings.
type RulingAction string

// The actions of rulings.
const (
	RuleKeep     RulingAction = "keep"      // used as they are, whatever screening says
	RuleLeaveOut RulingAction = "leave-out" // dropped; the time counts as missing
	RuleBridge   RulingAction = "bridge"    // dropped; a straight line joins the accepted readings around
	RuleValue    RulingAction = "value"     // count with a stated flow
	RuleBound    RulingAction = "bound"     // only bounds of the flow are known
)

// Approval says who stands for a correction and how far it has come.
type Approval struct {
	Status           string // "draft", "checked" or "signed"
	Author, Reviewer string
	Basis            string
	Evidence         []string
	Examined         []Examined
	Supersedes       string // hash of the signed record that this one replaces
	Place            problem.Place
}

// Examined is a period that was looked at and left alone.
type Examined struct {
	From, Until *Instant
	Reason      string
}

// Audit is what log, settings, counter and reported totals may differ by without a person having to look, as parts of
// the volume; 0 for nothing beyond what is told as agreeing.
type Audit struct {
	LoggedFlow float64 // logged flow and recorded settings
	Volumes    float64 // counter, interval volumes and reported totals
}

// Accepted is a finding of an audit that somebody knows of and answers for.
type Accepted struct{ Finding, Reason, By string }

// Action is what becomes of a flagged reading.
type Action string

// The actions.
const (
	Keep     Action = "keep"      // used as it is, flagged
	Bridge   Action = "bridge"    // dropped; a straight line joins the accepted readings around it
	Zero     Action = "zero"      // counts as no flow
	LeaveOut Action = "leave-out" // dropped; nothing is put in its place, the time counts as missing
	Hold     Action = "hold"      // counts as the flow at the limit, a lower bound
)

// Screening holds limits and actions as the site file changes them, a field a
// key; zero fields mean the default.
type Screening struct {
	Actions        map[string]Action // by check name
	Stated         map[string]string // by check name: the key that set its action; none where it is its default
	SpikeWindow    time.Duration
	SpikeThreshold float64 // in scaled median absolute deviations
	SpikeFloor     float64 // m, least standard deviation assumed of honest noise
	StuckDuration  time.Duration
	StuckTolerance float64 // m
	BridgeLimit    time.Duration
	BelowZero      float64 // m
	Air            bool    // the night minimum is compared with the air temperature
	SensorRange    Range
	UserRange      Range
	RateUp         float64 // m in RatePer
	RateDown       float64
	RatePer        time.Duration
	StepLimit      float64 // m
	StepWindow     time.Duration
	FlatRange      float64 // m
	FlatWindow     time.Duration
	NoiseLimit     float64 // m
	SecondLimit    float64 // m
	// m, largest difference of corrected and recorded head that is still a correction; 0 for no limit
	TooLarge float64
}

// Filling says what is put in the place of missing time; nothing unless the site file asks for it.
type Filling struct {
	Rule  FillRule
	Limit time.Duration // longest missing time that is filled; a longer one is not filled at all
	Days  int           // same-time: how many days before and after are looked at
	Donor string        // path of another site's file, for the rules that take its flows
}

// FillRule is how missing time is filled.
type FillRule string

// The rules.
const (
	FillNot      FillRule = "none"
	FillLinear   FillRule = "linear"    // along a straight line between the flows on either side
	FillHold     FillRule = "hold"      // with the flow before
	FillSameTime FillRule = "same-time" // with the mean flow at the same time of day on days before and after
	// From the hourly flows of another site: by a straight line through hours that both have, or by the flow of the
	// same rank among them.
	FillDonorRegression  FillRule = "donor-regression"
	FillDonorPercentiles FillRule = "donor-percentiles"
)

// ByHours reports whether a rule fills from hourly flows of a first run.
func (r FillRule) ByHours() bool { return r == FillSameTime || r.ByDonor() }

// ByDonor reports whether a rule takes another site's flows.
func (r FillRule) ByDonor() bool { return r == FillDonorRegression || r == FillDonorPercentiles }

// Range is a span of the logged figure; ∓Inf where it has no end, zero when none is set.
type Range struct{ Least, Most float64 }

// Report says how totals are to be stated, a field a key of [report].
type Report struct {
	Clock       Clock
	DayStarts   time.Duration // after midnight
	LabelByEnd  bool          // a day carries the date on which it ends, not the one on which it begins
	FlowUnit    quantity.Unit
	VolumeUnit  quantity.Unit
	From, Until *Instant
	DailyVolume *quantity.Value // limits of the permit: of a reporting day,
	MonthlyMean *quantity.Value // of the average of a month, a flow, by the rule of Average
	Peak        *quantity.Value // of any single flow
	// DailyUncertainty is to what part every daily volume is to be known, 95 %; 0 for not asked.
	DailyUncertainty float64
	DaysOver         float64 // share of days that may be over DailyVolume; 0: none is asked for
	Average          AverageRule
	Complete         Completeness // how much must be covered for averages to stand
	// the site file says what becomes of missing time in a day; a default is no permit's rule
	RulesDays    bool
	RulesMonths  bool                // the same of a month
	Comments     []Comment           // why periods have no data, or what else must be said of them
	PeakOver     time.Duration       // time over which peaks are averaged; 0 for none
	Figures      int                 // significant figures of figures to report; 0: none are rounded
	HalfUp       bool                // ties are rounded up and not to even
	Reported     map[string]Reported // by month, 2031-03, or day
	ReportedFile string              // CSV file that they were read from, beside those in the site file; ""
}

// Holds reports whether a span lies wholly in the period that is reported; nil is an open end. What does not may
// concern another part of the life of the site.
func (r *Report) Holds(from, until *Instant) bool {
	return (r.From == nil || from != nil && from.UTC >= r.From.UTC) &&
		(r.Until == nil || until != nil && until.UTC <= r.Until.UTC)
}

// HoldsLabel does the same for the label of a month or a day: 2031-05, 2031-05-17.
func (r *Report) HoldsLabel(label string) bool {
	date := func(utc int64) string { return r.Clock.Format(utc)[:len(label)] }
	last := int64(1)
	if r.LabelByEnd {
		last = 0
	}
	return (r.From == nil || label >= date(r.From.UTC)) && (r.Until == nil || label <= date(r.Until.UTC-last))
}

// Absent reports whether a number, as written, stands for no value: one of the codes, or a loop current that tells of a
// failure, 3.6 mA and less or 21 mA and more (NAMUR NE 43; figures read second hand). It is neither zero nor full scale
// then.
func (c *Column) Absent(v float64) bool {
	return slices.Contains(c.Codes, v) || c.Loop && (v <= 3.6 || v >= 21)
}

// IsSuspect reports whether a loop current, as written, is in the bands between measurement and failure: 3.6 to 3.8 mA
// and 20.5 to 21 mA (NAMUR NE 43; figures read second hand).
func (c *Column) IsSuspect(v float64) bool {
	return c.Loop && (v > 3.6 && v < 3.8 || v > 20.5 && v < 21)
}

// Completeness says how much must be covered for averages to stand. Totals are never withheld: they carry their
// coverage.
type Completeness struct {
	Rule        string  // the name of one that is borrowed; "own" when the site file sets the numbers
	LeastDay    float64 // part of a day that must be covered for the day to count
	MostMissing int     // days of a month that may be missing; beyond, its averages are withheld; below 0: any
	Source      string
}

// Comment is what somebody says of a period: why there are no data, and the code that the authority asks for, if it
// asks for one.
type Comment struct {
	From, Until Instant
	Text, Code  string
	Place       problem.Place
}

// Reported is a figure that was submitted.
type Reported struct {
	Volume quantity.Value
	Place  problem.Place
}
