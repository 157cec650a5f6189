package report

import (
	"math"
	"time"

	"retotal/recompute"
	"retotal/recompute/evidence"
)

// flowCheckRecord is the logged flow beside that of each lane.
type flowCheckRecord struct {
	Recorded  misfitRecord `json:"recorded"`
	Corrected misfitRecord `json:"corrected"`
}

type misfitRecord struct {
	Readings int          `json:"readings"`
	Within   int          `json:"within_rounding"`
	LagS     float64      `json:"lag_s,omitempty"`
	AboveCap int          `json:"above_the_lanes_most,omitempty"`
	Largest  float64      `json:"largest_m3s"`
	At       string       `json:"largest_at,omitempty"`
	Worth    number       `json:"worth_m3"`
	Percent  number       `json:"worth_percent"`
	Factor   float64      `json:"rounded_coefficient_factor,omitempty"`
	Spans    []spanRecord `json:"spans,omitempty"`
}

// spanRecord is a stretch in which logged flow and lane disagree.
type spanRecord struct {
	From     string  `json:"from"`
	Until    string  `json:"until"`
	Readings int     `json:"readings"`
	Net      number  `json:"logged_less_lane_m3"`
	Largest  float64 `json:"largest_m3s"`
}

func newFlowCheck(r *recompute.Result) flowCheckRecord {
	return flowCheckRecord{
		newMisfit(r.FlowCheck.Recorded, r.Facts.Interval), newMisfit(r.FlowCheck.Corrected, r.Facts.Interval),
	}
}

func newMisfit(m evidence.Misfit, interval time.Duration) misfitRecord {
	out := misfitRecord{
		Readings: m.Readings,
		Within:   m.Within,
		LagS:     math.Round(m.Lag * interval.Seconds()),
		AboveCap: m.AboveCap,
		Largest:  flowOf(m.Largest),
		Worth:    number(m.Worth),
		Percent:  number(100 * m.Part()),
	}
	if out.Largest > 0 {
		out.At = utc(m.At)
	}
	if m.Factor.Explains() {
		out.Factor = math.Round(m.Factor.Value*1e6) / 1e6
	}
	for i := range m.Spans {
		s := &m.Spans[i]
		out.Spans = append(out.Spans, spanRecord{
			utc(s.From), utc(s.Until), s.Readings, number(s.Net()), flowOf(s.Largest),
		})
	}
	return out
}

// flowOf rounds a flow to 10⁻⁷ m³/s, as readings.parquet does.
func flowOf(v float64) float64 { return math.Round(v*1e7) / 1e7 }
