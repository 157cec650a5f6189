package stage

import (
	"retotal/ingest/reading"
	"retotal/qa"
	"retotal/recompute/block"
	"retotal/recompute/total"
)

// Logged adds up what the log itself says: its flow, its interval volumes and its counter. It stands before screening.
type Logged struct {
	Counter *total.Counter
	flow    *total.Series
	volumes *total.Series
}

// NewLogged prepares the stage for a pass.
func NewLogged(b *block.Block) *Logged {
	counter := func(days *total.Calendar) *total.Counter {
		c := total.NewCounter(
			days, b.From, b.Until,
			b.Site.Log.Columns[reading.Counter].Rollover,
			greatest(b.Recorded.Lane),
			b.Log.Resolution[reading.Counter],
		)
		c.Changes = block.CounterChanges(&b.Site.Log, b.Site.Log.Shown)
		return c
	}
	c := counter(b.Calendar)
	if b.Cells != nil {
		b.Cells.Counter = counter(b.Cells.Calendar)
		c.Also = b.Cells.Counter
	}
	return &Logged{Counter: c, flow: b.Series(), volumes: b.Series()}
}

// Add takes in the rows of a block.
func (l *Logged) Add(b *block.Block) {
	if len(b.Logged) > 0 {
		l.addFlow(b)
	}
	if len(b.Counter) > 0 {
		l.addCounter(b)
	}
	if len(b.Passed) > 0 {
		l.addPassed(b)
	}
}

// addFlow integrates the logged flow over readings that have one.
func (l *Logged) addFlow(b *block.Block) {
	if b.Means {
		for i := b.Low; i < b.High; i++ {
			if b.LoggedState[i] == reading.Present {
				l.flow.Step(b.Opens(i)+b.Shown[i]-b.Time[i], b.Logged[i], b.Shown[i], b.Logged[i])
			}
		}
		return
	}
	for low := max(b.Low-1, 0); low < b.High; {
		end := low
		for end < b.High && b.LoggedState[end] == reading.Present && (end == low || b.Flags[end]&qa.Gap == 0) {
			end++
		}
		l.flow.Run(b.Shown[low:end], b.Logged[low:end])
		low = max(end, low+1)
	}
}

// addCounter takes in the counter over readings that have one.
func (l *Logged) addCounter(b *block.Block) {
	for low := b.Low; low < b.High; {
		end := low
		for end < b.High && b.CounterState[end] == reading.Present {
			end++
		}
		l.Counter.Run(b.Shown[low:end], b.Counter[low:end])
		low = max(end, low+1)
	}
}

// addPassed spreads each interval's volume evenly over the interval, where the log says one.
func (l *Logged) addPassed(b *block.Block) {
	for i := b.Low; i < b.High; i++ {
		if from := b.Opens(i); b.PassedState[i] == reading.Present && from < b.Time[i] {
			flow, off := b.Passed[i]/(float64(b.Time[i]-from)*1e-9), b.Shown[i]-b.Time[i]
			l.volumes.Step(from+off, flow, b.Shown[i], flow)
		}
	}
}

// Day is the volumes of day i: of the logged flow, of the counter, and of interval volumes.
func (l *Logged) Day(i int) (flow, counted, passed total.Volume) {
	return l.flow.Volume(i), l.Counter.Volume(i), l.volumes.Volume(i)
}
