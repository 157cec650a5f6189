// Package lake is what many sites come to: a row a site, a row a finding and totals in long form, as files that a
// program joins, and a page that ranks the sites.
package lake

import (
	"math"
	"slices"
	"strings"
	"time"

	"retotal/recompute"
	"retotal/recompute/audit"
	"retotal/recompute/total"
	"retotal/report"
)

// Schema is the version of the columns of sites, findings and totals; it changes when one of them does.
const Schema = "1"

// The states of a site in a batch.
const (
	Done   = "done"
	Failed = "failed"
)

// Piece is what one site adds to a batch.
type Piece struct {
	Schema   string    `json:"schema"`
	Key      string    `json:"key"` // of all that the results follow from, see Key
	Site     Site      `json:"site"`
	Findings []Finding `json:"findings,omitempty"`
	Course   *Course   `json:"course,omitempty"`
	Totals   []Total   `json:"-"` // kept beside the piece, in Parquet
}

// Site is one row of the list of sites. Instants are in ms since 1970 UTC, volumes in m³; what there is none of is
// null.
type Site struct {
	ID       string   `json:"id" parquet:"site"`
	Name     string   `json:"name,omitempty" parquet:"name"`
	State    string   `json:"state" parquet:"state,dict"`
	SiteFile string   `json:"site_file" parquet:"site_file"`
	Device   string   `json:"device,omitempty" parquet:"device,dict"`
	From     *int64   `json:"from_utc_ms,omitempty" parquet:"from_utc,optional,timestamp(millisecond)"`
	Until    *int64   `json:"until_utc_ms,omitempty" parquet:"until_utc,optional,timestamp(millisecond)"`
	Rows     int64    `json:"rows" parquet:"rows"`
	Before   *float64 `json:"before_m3,omitempty" parquet:"before_m3,optional"`
	After    *float64 `json:"after_m3,omitempty" parquet:"after_m3,optional"`
	Low      *float64 `json:"after_low_m3,omitempty" parquet:"after_low_m3,optional"`
	High     *float64 `json:"after_high_m3,omitempty" parquet:"after_high_m3,optional"`
	// Difference is after less before over the time that both cover.
	Difference *float64 `json:"difference_m3,omitempty" parquet:"difference_m3,optional"`
	Coverage   *float64 `json:"coverage,omitempty" parquet:"coverage,optional"`
	// AtStake is the largest of what the correction changed, what the logged flow has against the settings on file, and
	// what stands behind other findings, the latter two where nobody answers for it; without sign.
	AtStake float64 `json:"at_stake_m3" parquet:"at_stake_m3"`
	Needs   int64   `json:"needs_a_person" parquet:"needs_a_person"`
	First   string  `json:"first_need,omitempty" parquet:"first_need"`
	Visit   *int64  `json:"last_visit_utc_ms,omitempty" parquet:"last_visit_utc,optional,timestamp(millisecond)"`
	// SinceDays is up to the end of the log; Reason is why it failed.
	SinceDays *float64 `json:"days_since_visit,omitempty" parquet:"days_since_visit,optional"`
	Reason    string   `json:"reason,omitempty" parquet:"reason"`
}

// Finding is one row of the list of findings.
type Finding struct {
	Site     string `json:"site" parquet:"site,dict"`
	Topic    string `json:"topic" parquet:"topic,dict"`
	Verdict  string `json:"verdict" parquet:"verdict,dict"`
	Sentence string `json:"sentence" parquet:"sentence"`
	By       string `json:"by,omitempty" parquet:"by"` // what differs, in a few words
	Doubts   string `json:"doubts,omitempty" parquet:"doubts"`
	// Person says that a person has to look.
	Person bool `json:"person" parquet:"person"`
	// Cause is what stands behind it, by the name that a site file accepts; "" where nothing was found. Value is that
	// of what is free in it with its 95 % interval, in Unit; Worth is m³ that the doubted figures have too much by it.
	Cause  string   `json:"cause,omitempty" parquet:"cause,dict"`
	Value  *float64 `json:"value,omitempty" parquet:"value,optional"`
	Low    *float64 `json:"low,omitempty" parquet:"low,optional"`
	High   *float64 `json:"high,omitempty" parquet:"high,optional"`
	Unit   string   `json:"unit,omitempty" parquet:"unit,dict"`
	Since  *int64   `json:"since_utc_ms,omitempty" parquet:"since_utc,optional,timestamp(millisecond)"`
	Worth  *float64 `json:"worth_m3,omitempty" parquet:"worth_m3,optional"`
	AsWell string   `json:"fits_as_well,omitempty" parquet:"fits_as_well"`
}

// Total is one row of the totals: one figure of one site, lane and period. Instants are in ms since 1970 UTC.
type Total struct {
	Site     string   `parquet:"site,dict"`
	Lane     string   `parquet:"lane,dict"`        // "before", "after", "logged" or "counter"
	Kind     string   `parquet:"period_kind,dict"` // "day", "month" or "total"
	Start    int64    `parquet:"start_utc,timestamp(millisecond)"`
	End      int64    `parquet:"end_utc,timestamp(millisecond)"`
	Label    string   `parquet:"label,dict"` // in the report's zone: 2031-03-18, 2031-03
	Value    *float64 `parquet:"value,optional"`
	Unit     string   `parquet:"unit,dict"`
	Coverage float64  `parquet:"coverage"` // part of the period that the figure covers
	Low      *float64 `parquet:"low,optional"`
	High     *float64 `parquet:"high,optional"` // null where nothing bounds it
}

// Course is the daily means of both lanes for a picture as large as a stamp, m³ a day, in as many parts as it has room
// for; NaN, written as null, where nothing is known.
type Course struct {
	Before []*float64 `json:"before"`
	After  []*float64 `json:"after"`
}

// mostParts is the room of a Course.
const mostParts = 60

// NewPiece gathers what a site adds to a batch; out is the folder of the batch.
func NewPiece(key, out string, r *report.Run) *Piece {
	res := r.Result
	p := &Piece{Schema: Schema, Key: key, Findings: findings(r), Course: course(res.Days), Totals: totals(res)}
	t := &res.Total
	s := &p.Site
	*s = Site{
		ID: res.Site.ID, Name: res.Site.Name, State: Done, SiteFile: report.SeenFrom(out, res.Site.File),
		Device: res.Corrected.Segments[len(res.Corrected.Segments)-1].Rating.Describe().Name,
		From:   milliseconds(t.From), Until: milliseconds(t.Until), Rows: int64(res.Readings),
		Before: volume(t.Before), After: volume(t.After),
	}
	coverage := round(t.Coverage(), 1e6)
	s.Coverage = &coverage
	s.Low, s.High = bounds(t)
	if t.Both() {
		s.Difference = metres(t.Difference())
		s.AtStake = math.Abs(*s.Difference)
	}
	s.AtStake = round(max(s.AtStake, math.Abs(openVolume(r))), 1e3)
	if needs := r.NeedsPerson(); len(needs) > 0 {
		s.Needs, s.First = int64(len(needs)), needs[0]
	}
	s.lastVisit(res)
	return p
}

// NewFailure is the piece of a site that could not be done; file is as seen from the folder of the batch.
func NewFailure(key, id, file, reason string) *Piece {
	return &Piece{Schema: Schema, Key: key, Site: Site{ID: id, State: Failed, SiteFile: file, Reason: reason}}
}

// openVolume is the largest of what the logged flow has against the settings on file and what open causes are worth,
// where nobody answers for it, m³.
func openVolume(r *report.Run) (sum float64) {
	a := report.NewAudit(r)
	if a.Open() {
		sum = float64(a.Worth)
	}
	for _, worth := range r.OpenWorths() {
		if math.Abs(worth) > math.Abs(sum) {
			sum = worth
		}
	}
	return sum
}

// lastVisit tells how long before the end of the log somebody was there.
func (s *Site) lastVisit(res *recompute.Result) {
	last := int64(math.MinInt64)
	for i := range res.Site.Visits {
		if at := res.Site.Visits[i].At.UTC; at <= res.Total.Until {
			last = max(last, at)
		}
	}
	if last != math.MinInt64 {
		days := round(float64(res.Total.Until-last)/float64(24*time.Hour), 10)
		s.Visit, s.SinceDays = milliseconds(last), &days
	}
}

func findings(r *report.Run) (list []Finding) {
	for i := range r.Findings {
		f := &r.Findings[i]
		x := Finding{Site: r.Result.Site.ID, Topic: f.Topic, Verdict: string(f.Verdict), Sentence: f.Sentence, By: f.By,
			Person: len(f.Doubts) > 0 || f.Verdict == audit.Differs && !f.Allowed}
		for k, doubt := range f.Doubts {
			if k > 0 {
				x.Doubts += "; "
			}
			x.Doubts += doubt
		}
		switch {
		case f.Cause != nil:
			x.cause(f.Cause)
		case f.Topic == audit.LoggedFlow:
			x.setting(r.Used)
		}
		list = append(list, x)
	}
	return list
}

// cause puts in what stands behind a finding.
func (x *Finding) cause(c *audit.Cause) {
	x.Cause, x.Unit, x.AsWell = c.Name, c.Unit, strings.Join(c.AsWell, "; ")
	x.Value, x.Low, x.High, x.Worth = told(c.Value), told(c.Low), told(c.High), told(c.Worth)
	if c.Since != 0 {
		x.Since = milliseconds(c.Since)
	}
}

// setting puts in the setting that the meter used in place of that on file: of the first recorded settings of which one
// differs, by the explanation that fits best. Of two settings the first has the value.
func (x *Finding) setting(used []audit.Explained) {
	i := slices.IndexFunc(used, func(u audit.Explained) bool { return u.Differs() })
	if i < 0 {
		return
	}
	u := &used[i]
	e := &u.Best[0]
	x.Cause, x.Unit = u.Name(), audit.Unit(e.Names[0])
	x.Value, x.Low, x.High, x.Worth = told(e.Values[0]), told(e.Low[0]), told(e.High[0]), told(e.Worth)
	var others []string
	for k := range u.Best[1:u.Twins] {
		others = append(others, strings.Join(u.Best[k+1].Names, " and "))
	}
	if x.AsWell = strings.Join(others, "; "); e.Since != 0 {
		x.Since = milliseconds(e.Since)
	}
}

// told is a number to six digits; nil where it is none.
func told(v float64) *float64 {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return nil
	}
	if v != 0 {
		steps := math.Pow(10, 5-math.Floor(math.Log10(math.Abs(v))))
		v = math.Round(v*steps) / steps
	}
	return &v
}

// totals are the figures of days, months and the whole log.
func totals(res *recompute.Result) (list []Total) {
	add := func(kind string, p *recompute.Period) {
		low, high := bounds(p)
		for _, x := range []struct {
			lane      string
			v         total.Volume
			low, high *float64
		}{{"before", p.Before, nil, nil}, {"after", p.After, low, high}, {"logged", p.Logged, nil, nil},
			{"counter", p.Counted, nil, nil}} {
			if x.v.Missing() && x.lane != "before" && x.lane != "after" {
				continue
			}
			list = append(list, Total{Site: res.Site.ID, Lane: x.lane, Kind: kind, Label: p.Label,
				Start: p.From / 1e6, End: p.Until / 1e6,
				Value: volume(x.v), Unit: "m3", Low: x.low, High: x.high,
				Coverage: round(float64(x.v.Covered)/float64(max(p.Until-p.From, 1)), 1e6)})
		}
	}
	for i := range res.Days {
		add("day", &res.Days[i])
	}
	for i := range res.Months {
		add("month", &res.Months[i])
	}
	add("total", &res.Total)
	return list
}

// bounds are the ends of the interval of a corrected total; nil for none.
func bounds(p *recompute.Period) (low, high *float64) {
	x, ok := p.Interval()
	if !ok {
		return nil, nil
	}
	if low = metres(x.Low); !x.Open {
		high = metres(x.High)
	}
	return low, high
}

// course takes the means of days in as many parts as there is room for.
func course(days []recompute.Period) *Course {
	c := &Course{}
	parts := min(len(days), mostParts)
	for k := range parts {
		of := days[k*len(days)/parts : (k+1)*len(days)/parts]
		c.Before = append(c.Before, meanOf(of, func(p *recompute.Period) total.Volume { return p.Before }))
		c.After = append(c.After, meanOf(of, func(p *recompute.Period) total.Volume { return p.After }))
	}
	return c
}

// meanOf is the mean of a lane over the time of some days that it covers, m³ a day; nil where it covers none.
func meanOf(days []recompute.Period, of func(*recompute.Period) total.Volume) *float64 {
	sum, covered := 0.0, int64(0)
	for i := range days {
		if v := of(&days[i]); !v.Missing() {
			sum, covered = sum+v.M3(), covered+v.Covered
		}
	}
	if covered == 0 {
		return nil
	}
	return metres(sum * float64(24*time.Hour) / float64(covered))
}

func milliseconds(at int64) *int64 {
	v := at / 1e6
	return &v
}

func volume(v total.Volume) *float64 {
	if v.Missing() {
		return nil
	}
	return metres(v.M3())
}

// metres is a volume to 0.001 m³.
func metres(m3 float64) *float64 {
	v := round(m3, 1e3)
	return &v
}

// round rounds to 1/steps, without a minus zero.
func round(v, steps float64) float64 { return math.Round(v*steps)/steps + 0 }
