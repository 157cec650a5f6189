package explore

import (
	"bytes"
	_ "embed" // script and style
	"encoding/json"
	"errors"
	"html/template"
	"math"
	"slices"
	"time"

	"retotal/ingest/quantity"
	"retotal/ingest/site"
	"retotal/qa"
	"retotal/report"
)

// Section is the explorer, ready to stand in a page of html/template.
type Section struct {
	Style  template.CSS  // for a style element
	HTML   template.HTML // for the body, with all data
	Script template.JS   // for a script element after it
}

//go:embed uplot/uplot.min.js
var plotScript string

//go:embed uplot/uplot.min.css
var plotStyle string

//go:embed explorer.js
var script string

//go:embed explorer.css
var style string

//go:embed section.html
var body string

var page = template.Must(template.New("explorer").Parse(body))

// Section makes the explorer of a result from what was gathered in its pass. A result of no readings, or without cells,
// has none: nil.
func (g *Gatherer) Section(run *report.Run) (*Section, error) {
	if run.Result.Cells == nil || len(g.cells) == 0 {
		return nil, nil
	}
	s := newSteps(g, run.Result)
	packed, err := pack(g, run, s, packedDays(run.Result, s))
	if err != nil {
		return nil, err
	}
	facts, err := json.Marshal(newFacts(g, run, s)) // with < > & escaped
	var b bytes.Buffer
	err = errors.Join(err, page.Execute(&b, struct {
		Facts  template.JS
		Packed template.HTML // of letters, digits, + / and =
	}{template.JS(facts), template.HTML(packed)}))
	return &Section{
		Style:  template.CSS(plotStyle + style),
		HTML:   template.HTML(b.String()),
		Script: template.JS(plotScript + script),
	}, err
}

// facts are all texts and single numbers that the script needs.
type facts struct {
	Site        string     `json:"site"`
	Days        int        `json:"days"`
	Cells       int        `json:"cells"`
	From        int64      `json:"from"`  // s since 1970
	Until       int64      `json:"until"` // s
	CellSeconds float64    `json:"cell_s"`
	Interval    float64    `json:"interval_s"`
	Means       bool       `json:"means,omitempty"`
	Counter     bool       `json:"counter,omitempty"`
	Zone        zone       `json:"zone"` // of the report
	LogZone     zone       `json:"log_zone"`
	Units       []unit     `json:"units"` // of flow, the report's first
	Volume      unit       `json:"volume"`
	Steps       steps      `json:"steps"`
	Flags       []flag     `json:"flags"`
	Limit       float64    `json:"daily_limit_m3,omitempty"`
	Corrections []span     `json:"corrections,omitempty"`
	Worth       []worth    `json:"worth"`
	More        more       `json:"more"`
	Recorded    []recorded `json:"recorded,omitempty"`
	By          string     `json:"by,omitempty"`
}

// unit is a unit with what one of it is in SI.
type unit struct {
	Symbol string  `json:"symbol"` // as a site file has it
	Factor float64 `json:"factor"`
}

// flag is a check that flagged readings; its lists follow the columns of cells in the order of flags.
type flag struct {
	Name    string `json:"name"`
	Means   string `json:"means"` // what a flagged reading is
	Rows    int    `json:"rows"`
	Marks   int    `json:"marks"` // cells
	Changes bool   `json:"changes,omitempty"`
}

// span is a stretch of the record with a word.
type span struct {
	From  int64  `json:"from"`
	Until int64  `json:"until"`
	What  string `json:"what"`
}

// recorded is a setting as the meter had it first.
type recorded struct {
	Key   string `json:"key"`
	Value string `json:"value"`
}

func newFacts(g *Gatherer, run *report.Run, s steps) *facts {
	r, file := run.Result, run.Site()
	start, end := r.Cells.Calendar.Bounds(0)
	f := &facts{
		Site: run.Title(), Days: len(r.Days), Cells: len(g.cells),
		From: r.Total.From / 1e9, Until: r.Total.Until / 1e9,
		CellSeconds: float64(end-start) / 1e9, Interval: r.Facts.Interval.Seconds(), Means: file.Log.Means,
		Counter: hasCounter(r), Flags: []flag{},
		Zone:    newZone(file.Report.Clock, r.Total.From, r.Total.Until),
		LogZone: newZone(file.Log.Clock, r.Total.From, r.Total.Until),
		Units:   flowUnits(file.Report.FlowUnit), Volume: newUnit(file.Report.VolumeUnit), Steps: s,
		Corrections: corrections(run), Recorded: recordedSettings(file), By: file.Approval.Author,
	}
	if limit := file.Report.DailyVolume; limit != nil {
		f.Limit = limit.SI
	}
	for k := range g.flagged {
		if len(g.flagged[k]) > 0 {
			f.Flags = append(f.Flags, newFlag(g, run, k))
		}
	}
	f.Worth, f.More = worthALook(run)
	return f
}

// newFlag tells of flag number k.
func newFlag(g *Gatherer, run *report.Run, k int) flag {
	c := qa.Checks[slices.IndexFunc(qa.Checks, func(c qa.Check) bool { return c.Flag == 1<<k })]
	f := flag{Name: c.Name, Means: c.Sentence, Marks: len(g.flagged[k]), Changes: c.Flag == qa.Gap}
	for _, m := range g.flagged[k] {
		f.Rows += int(m.rows)
	}
	for _, x := range run.Result.Flags {
		if x.Flag == c.Flag && x.Action != site.Keep && x.Action != "" {
			f.Changes = true
		}
	}
	return f
}

func newUnit(u quantity.Unit) unit { return unit{u.Symbol, u.Factor} }

// flowUnits are the unit of the report and common others.
func flowUnits(first quantity.Unit) []unit {
	list := []unit{newUnit(first)}
	for _, symbol := range []string{"L/s", "m3/h", "m3/d"} {
		u := quantity.MustLookUp(symbol)
		if !slices.ContainsFunc(list, func(x unit) bool { return math.Abs(x.Factor/u.Factor-1) < 1e-9 }) {
			list = append(list, newUnit(u))
		}
	}
	return list
}

// recordedSettings are the numbers that the meter worked with first.
func recordedSettings(s *site.Site) (list []recorded) {
	for i, v := range s.Settings[0].Values {
		if v != nil {
			list = append(list, recorded{site.Setting(i).Key(), v.From.Text})
		}
	}
	return list
}

// zone is the clock of a place: from each instant on, s since 1970, it is so many s ahead of UTC.
type zone struct {
	Name    string  `json:"name"`
	At      []int64 `json:"at"`
	Offsets []int64 `json:"offsets"`
}

// newZone looks a zone up for a span and a year around it.
func newZone(c site.Clock, from, until int64) zone {
	z := zone{Name: c.Name}
	at := time.Unix(0, from).AddDate(-1, 0, 0)
	for end := time.Unix(0, until).AddDate(1, 0, 0); at.Before(end); {
		in := at.In(c.Location)
		_, offset := in.Zone()
		if n := len(z.Offsets); n == 0 || z.Offsets[n-1] != int64(offset) {
			z.At, z.Offsets = append(z.At, at.Unix()), append(z.Offsets, int64(offset))
		}
		_, next := in.ZoneBounds()
		if next.IsZero() {
			break
		}
		if !next.After(at) {
			next = at.Add(time.Hour)
		}
		at = next
	}
	return z
}
