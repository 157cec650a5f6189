package stage

import (
	"retotal/recompute/block"
)

// Peaks follows the highest flow, and the highest mean flow over a window that trails.
type Peaks struct {
	Peak   float64 // m³/s
	PeakAt int64
	Most   float64 // highest upper bound of a reading that is only bounded, m³/s
	Mean   float64 // m³/s
	MeanAt int64   // end of its window
	window int64
	volume float64  // m³ since the stretch began
	line   []corner // end points of the stretch, as far back as the window reaches; none without a window
}

// corner is a volume at an instant, and the straight line of flow that leads to it.
type corner struct {
	at     int64
	m3     float64
	q0, q1 float64 // m³/s, at the begin and the end of the line
}

// NewPeaks prepares the stage for a pass.
func NewPeaks(b *block.Block) *Peaks { return &Peaks{window: b.Site.Report.PeakOver.Nanoseconds()} }

// Add takes in the steps of a block.
func (p *Peaks) Add(b *block.Block) {
	flows := b.Corrected.Flow
	for k := range b.Steps {
		switch s := &b.Steps[k]; s.Kind {
		case block.Run:
			for i := s.Low; i < s.High; i++ {
				q0 := flows[i-1]
				if b.Means {
					q0 = flows[i]
				}
				p.step(b.Time[i-1], q0, b.Time[i], flows[i], true)
			}
		case block.Counts:
			q0, joined := s.Last.Flow, s.Next
			if b.Means { // it flowed in its own interval, whatever was before
				if q0 = flows[s.Low]; !joined || s.From != s.Last.At {
					p.begin(s.From)
				}
				joined = true
			}
			p.step(s.From, q0, b.Time[s.Low], flows[s.Low], joined)
			p.Most = max(p.Most, s.Bound.Upper)
		}
	}
}

// begin begins a stretch at an instant.
func (p *Peaks) begin(at int64) { p.volume, p.line = 0, append(p.line[:0], corner{at: at}) }

// step takes in the step from one accepted reading to the next.
func (p *Peaks) step(t0 int64, q0 float64, t1 int64, q1 float64, joined bool) {
	if q1 > p.Peak || p.PeakAt == 0 {
		p.Peak, p.PeakAt = q1, t1
	}
	if !joined {
		p.begin(t1)
		return
	}
	if p.window == 0 {
		return
	}
	p.volume += (q0 + q1) / 2 * float64(t1-t0) * 1e-9
	p.line = append(p.line, corner{t1, p.volume, q0, q1})
	start := t1 - p.window
	if p.line[0].at > start {
		return
	}
	for len(p.line) > 1 && p.line[1].at <= start {
		p.line = p.line[1:]
	}
	a, b := p.line[0], p.line[1]
	flow := b.q0 + float64((b.q1-b.q0)*(float64(start-a.at)/float64(b.at-a.at)))
	before := a.m3 + float64((b.q0+flow)/2*float64(start-a.at)*1e-9)
	if mean := (p.volume - before) / (float64(p.window) * 1e-9); mean > p.Mean || p.MeanAt == 0 {
		p.Mean, p.MeanAt = mean, t1
	}
}
