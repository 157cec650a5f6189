package report

import (
	"fmt"
	"math"

	"retotal/ingest/quantity"
	"retotal/recompute/evidence"
)

// changeRecord is a day on which a slow statistic of the log changes its level, or the drift of one over the whole log.
type changeRecord struct {
	Statistic  string  `json:"statistic"`
	Day        string  `json:"day"` // first day after the change
	Size       float64 `json:"size"`
	Drift      bool    `json:"drift,omitempty"`
	Unit       string  `json:"unit"`
	Confidence float64 `json:"confidence"`
}

func newChanges(list []evidence.ChangePoint) (out []changeRecord) {
	for _, c := range list {
		out = append(out, changeRecord{
			c.Statistic, c.Day, round(c.Size, 100), c.Drift, c.Unit, round(c.Confidence, 1e4),
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

// changeSentences words the steps found in slow statistics.
func (r *Run) changeSentences() (list []string) {
	for _, c := range r.Result.Changes {
		if c.Drift {
			list = append(list,
				fmt.Sprintf("the %s drifts by %s %s over the log (confidence %.2f %%): a sensor that moves, "+
					"or the season",
					c.Statistic, quantity.Signed(c.Size, 2), c.Unit, math.Floor(c.Confidence*1e4)/100))
			continue
		}
		list = append(list, fmt.Sprintf("%s: the %s goes by %s %s (confidence %.2f %%)",
			c.Day, c.Statistic, quantity.Signed(c.Size, 2), c.Unit, math.Floor(c.Confidence*1e4)/100))
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
