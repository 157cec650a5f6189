package report

import (
	"fmt"
	"math"

	"retotal/ingest/quantity"
	"retotal/ingest/reading"
	"retotal/recompute/evidence"
)

// changeRecord is a day on which a slow statistic of the log changes its level, or the drift of one over the whole log.
type changeRecord struct {
	Statistic string  `json:"statistic"`
	Day       string  `json:"day"` // first day after the change
	Size      float64 `json:"size"`
	Drift     bool    `json:"drift,omitempty"`
	Unit      string  `json:"unit"`
	P         float64 `json:"p"` // of the test
	Test      string  `json:"test"`
}

// testOf names the test that p is of.
func testOf(c *evidence.ChangePoint) string {
	if c.Drift {
		return "Mann-Kendall"
	}
	return "Pettitt"
}

// moveRecord is a move of the sensor; times in UTC.
type moveRecord struct {
	Last    string  `json:"last_before"`
	First   string  `json:"first_after"`
	Size    float64 `json:"size_mm"`
	Scatter float64 `json:"scatter_mm"`
	Out     bool    `json:"out_of_place,omitempty"`
	Rests   bool    `json:"rests_at_bottom,omitempty"`
	Entered string  `json:"setting_entered,omitempty"`
	Entry   float64 `json:"entry_mm,omitempty"`
	Left    float64 `json:"unexplained_mm,omitempty"`
}

// moves are the moves of the sensor.
func (r *Run) moves() (out []moveRecord) {
	mm := func(v float64) float64 { return round(1000*v, 100) }
	for i := range r.Result.Moves {
		m := &r.Result.Moves[i]
		one := moveRecord{
			Last: utc(m.Before), First: utc(m.After), Size: mm(m.Size), Scatter: mm(m.Scatter),
			Out: m.Out, Rests: m.Rests,
		}
		if m.Entry != 0 {
			one.Entered, one.Entry, one.Left = utc(m.Entered), mm(m.Entry), mm(m.Unexplained())
		}
		out = append(out, one)
	}
	return out
}

// moveSentences words the moves of the sensor.
func (r *Run) moveSentences() (list []string) {
	for i := range r.Result.Moves {
		list = append(list, r.moveSentence(&r.Result.Moves[i]))
	}
	return list
}

func (r *Run) moveSentence(m *evidence.Move) string {
	mm := func(v float64) string { return quantity.Signed(1000*v, 3) + " mm" }
	what, of := "what the sensor measured", " of level"
	if r.Site().Log.Primary > reading.Head {
		what, of = "the head by the settings", "" // the log holds flows
	}
	text := fmt.Sprintf(
		"between %s and %s %s moves by %s%s, and stays (the level goes by %s mm over such a time anyway)",
		r.stamp(m.Before), r.stamp(m.After), what, mm(m.Size), of, quantity.Digits(1000*m.Scatter, 2))
	if m.Entry != 0 {
		text += fmt.Sprintf("; the setting entered at %s makes %s of it; %s of head stay unexplained",
			r.stamp(m.Entered), mm(m.Entry), mm(m.Unexplained()))
	}
	text += ": a sensor that moved or was set anew, or a setting that changed"
	if m.Rests {
		text += ", or the flow was shut off"
	}
	if m.Out {
		text += "; the readings in between are of neither side"
	}
	for k := range r.Site().Corrections {
		if from := r.Site().Corrections[k].From; from != nil && from.UTC > m.Before && from.UTC <= m.After {
			text += fmt.Sprintf("; the correction from %s begins there", r.stamp(from.UTC))
		}
	}
	return text
}

// changesZone says in which zone the times of moves are; "" where there are none.
func (r *Run) changesZone() string {
	if len(r.Result.Moves) == 0 {
		return ""
	}
	return "; times in " + r.Site().Report.Clock.Name
}

func newChanges(list []evidence.ChangePoint) (out []changeRecord) {
	for i := range list {
		c := &list[i]
		out = append(out, changeRecord{
			c.Statistic, c.Day, round(c.Size, 100), c.Drift, c.Unit, round(c.P, 1e4), testOf(c),
		})
	}
	return out
}

// patternRecord is what the days' courses say of the log.
type patternRecord struct {
	Broken      []string `json:"days_unlike_those_before,omitempty"`
	PerKelvin   float64  `json:"night_minimum_mm_per_kelvin,omitempty"`
	Correlation float64  `json:"night_minimum_with_air,omitempty"`
	Expected    float64  `json:"uncompensated_sound_mm_per_kelvin,omitempty"`
	Days        int      `json:"days_with_air,omitempty"`
}

func newPattern(p *evidence.Pattern) patternRecord {
	return patternRecord{p.Broken, round(p.PerKelvin, 1e3), round(p.Correlation, 1e3), round(p.Expected, 1e3), p.Days}
}

// leastPerKelvin is the least that the night minimum follows the air by and that is told, mm per K: 0.1 mm over the
// 20 K of a year's nights.
const leastPerKelvin = 0.005

// chanceOf words the p of a test.
func chanceOf(c *evidence.ChangePoint) string {
	p := "p < 0.0001"
	if c.P >= 0.0001 {
		p = fmt.Sprintf("p %.4f", c.P)
	}
	return p + " by " + testOf(c) + "'s test, autocorrelation allowed for"
}

// changeSentences words the moves of the sensor, and the steps and drifts found in slow statistics.
func (r *Run) changeSentences() (list []string) {
	list = r.moveSentences()
	for i := range r.Result.Changes {
		c := &r.Result.Changes[i]
		if c.Drift {
			list = append(list, fmt.Sprintf("the %s drifts by %s %s over the log (%s): a sensor that moves, or the "+
				"season", c.Statistic, quantity.Signed(c.Size, 2), c.Unit, chanceOf(c)))
			continue
		}
		list = append(list, fmt.Sprintf("%s: the %s goes by %s %s (%s)", c.Day, c.Statistic,
			quantity.Signed(c.Size, 2), c.Unit, chanceOf(c)))
	}
	p := &r.Result.Pattern
	if len(p.Broken) > 0 {
		list = append(list,
			fmt.Sprintf("the course of the day is unlike that of the days before on %s", days(p.Broken)))
	}
	if math.Abs(p.Correlation) >= 0.5 && math.Abs(p.PerKelvin) >= leastPerKelvin {
		text := fmt.Sprintf("the night minimum follows the air temperature: %s mm per K over %d days (rank "+
			"correlation %+.2f)",
			quantity.Signed(p.PerKelvin, 2), p.Days, p.Correlation)
		if p.Expected > 0 {
			text += fmt.Sprintf("; sound without compensation would give %s mm per K", quantity.Digits(p.Expected, 2))
		}
		list = append(list, text)
	}
	return list
}
