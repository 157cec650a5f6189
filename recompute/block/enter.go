package block

import (
	"math"
	"slices"

	"retotal/ingest/reading"
	"retotal/qa"
	"retotal/recompute/settings"
)

// entering is what becomes of a batch before screening, in this order: each step appends columns for the rows from
// start on.
var entering = []func(b *Block, from *reading.Batch, start int){
	(*Block).enterTimes,
	(*Block).enterQuantities,
	(*Block).enterPlaces,
	(*Block).enterMarks,
	(*Block).enterFlows,
	(*Block).enterTold,
	(*Block).enterAir,
	(*Block).enterFigures,
	(*Block).enterHeads,
	(*Block).markTooLarge,
}

// Enter appends a batch to the rows at hand.
func (b *Block) Enter(from *reading.Batch) {
	start := len(b.Time)
	for _, step := range entering {
		step(b, from, start)
	}
	b.alias()
}

// alias lets Value stand for what spikes and stuck readings are looked for in: the logged figure, or heads where it is
// a flow.
func (b *Block) alias() {
	if b.Value = b.Figure; b.OfFlow {
		b.Value = b.Head
	}
	if len(b.Site.Log.Checks) == 0 {
		b.Shown = b.Time
	}
}

// enterTimes appends instants, and what the logger's clock showed.
func (b *Block) enterTimes(from *reading.Batch, start int) {
	b.Time = append(b.Time, from.Time...)
	if len(b.Site.Log.Checks) == 0 {
		b.Shown = b.Time
		return
	}
	for _, at := range b.Time[start:] {
		b.Shown = append(b.Shown, b.Site.Log.Shown(at))
	}
}

func (b *Block) enterQuantities(from *reading.Batch, _ int) {
	take := func(values *[]float64, states *[]reading.State, q reading.Quantity) {
		*values, *states = append(*values, from.Value[q]...), append(*states, from.State[q]...)
	}
	take(&b.Logged, &b.LoggedState, reading.Flow)
	take(&b.Counter, &b.CounterState, reading.Counter)
	take(&b.Passed, &b.PassedState, reading.IntervalVolume)
	// the level of zero flow is taken off in enterHeads
	levels := func(heads *[]float64, known *[]bool, q reading.Quantity) {
		for i, level := range from.Value[q] {
			*heads, *known = append(*heads, level), append(*known, from.State[q][i] == reading.Present)
		}
	}
	levels(&b.DownstreamHead, &b.Downstream, reading.Downstream)
	levels(&b.SecondHead, &b.Second, reading.SecondLevel)
}

func (b *Block) enterPlaces(from *reading.Batch, _ int) {
	b.Line = append(b.Line, from.Line...)
	if from.File != nil {
		b.File = append(b.File, from.File...)
		return
	}
	for range from.Line {
		b.File = append(b.File, from.FileNumber)
	}
}

func (b *Block) enterMarks(from *reading.Batch, start int) {
	n := len(b.Time)
	b.Conflict = mark(b.Conflict, from.Conflict, start, n)
	b.Suspect = mark(b.Suspect, from.Suspect, start, n)
	b.Unusable = mark(b.Unusable, nil, start, n)
	b.Flags, b.Used = Grow(b.Flags, n), Grow(b.Used, n)
}

// mark appends marks that may be nil to marks that may be nil.
func mark(column, more []bool, start, n int) []bool {
	if column == nil && more == nil {
		return nil
	}
	column = Grow(column, n)
	copy(column[start:], more)
	return column
}

// enterFlows makes room for the flows, which Rate works out once the rows are screened.
func (b *Block) enterFlows(_ *reading.Batch, start int) {
	n := len(b.Time)
	room := func(l *Lane) { l.Flow = slices.Grow(l.Flow, n-start)[:n] }
	b.each(room, room)
	room(b.Corrected)
	if b.Kept != b.Recorded {
		room(b.Kept)
	}
	if b.DownstreamHead != nil {
		b.Free, b.AtMost = Grow(b.Free, n), Grow(b.AtMost, n)
	}
}

// enterTold marks the rows of which an earlier pass told more.
func (b *Block) enterTold(_ *reading.Batch, start int) {
	for k := range b.told {
		list := &b.told[k]
		for i := start; i < len(b.Time) && len(*list) > 0; i++ {
			for len(*list) > 0 && (*list)[0].Until < b.Time[i] {
				*list = (*list)[1:]
			}
			if len(*list) > 0 && b.Time[i] >= (*list)[0].From {
				b.tell(i, (*list)[0])
			}
		}
	}
	if b.Verdicts != nil {
		b.Verdicts = Grow(b.Verdicts, len(b.Time))
	}
	if b.Told != nil {
		b.Told = Grow(b.Told, len(b.Time))
	}
}

// tell marks one row.
func (b *Block) tell(i int, x Told) {
	if x.Verdict != qa.NoVerdict {
		b.Verdicts = Grow(b.Verdicts, len(b.Time))
		b.Verdicts[i] = x.Verdict
	}
	if x.Flags != 0 {
		b.Told = Grow(b.Told, len(b.Time))
		b.Told[i] |= x.Flags
	}
}

// enterAir appends the logged temperature of the air; a reading without one has that of the reading before it.
func (b *Block) enterAir(from *reading.Batch, start int) {
	for i, v := range from.Value[reading.Temperature] {
		switch {
		case from.State[reading.Temperature][i] == reading.Present:
		case start+i > 0:
			v = b.Air[start+i-1]
		default:
			v = standardAir
			if b.soundByLog() {
				b.markUnusable(start, start+1)
			}
		}
		b.Air = append(b.Air, v)
	}
}

// soundByLog reports whether the corrected lane takes the speed of sound from logged temperatures.
func (b *Block) soundByLog() bool {
	return slices.ContainsFunc(b.Corrected.Segments, func(s settings.Segment) bool { return s.TakesSound() })
}

// enterFigures appends the logged figures: levels and flows as they are, volumes as the mean flow of their interval.
func (b *Block) enterFigures(from *reading.Batch, start int) {
	values := from.Value[b.primary]
	switch b.primary {
	case reading.IntervalVolume:
		for i, v := range values {
			seconds := float64(b.Time[start+i]-b.Opens(start+i)) * 1e-9
			b.Figure = append(b.Figure, v/math.Max(seconds, 1e-9))
		}
	case reading.Counter:
		for i, v := range values {
			flow, ok := b.counter.next(from.Time[i], v)
			if b.Figure = append(b.Figure, flow); !ok && start+i > 0 {
				b.markUnusable(start+i, start+i+1)
			}
		}
		if start == 0 && len(values) > 1 { // nothing ends at the first reading
			b.Figure[0] = b.Figure[1]
		}
	default:
		b.Figure = append(b.Figure, values...)
	}
}

// enterHeads works out the corrected heads.
func (b *Block) enterHeads(_ *reading.Batch, start int) {
	n := len(b.Time)
	b.Head = slices.Grow(b.Head, n-start)[:n]
	b.EachSegment(b.Corrected.Lane, start, n, func(s *settings.Segment, low, high int) {
		s.Heads(b.Head[low:high], b.Time[low:high], b.Figure[low:high], b.AirOf(low, high))
		if s.Unusable {
			b.markUnusable(low, high)
		}
		s.BelowZero(b.DownstreamHead, b.Time, low, high)
		s.BelowZero(b.SecondHead, b.Time, low, high)
	})
}

// markUnusable marks rows of which nothing can be made.
func (b *Block) markUnusable(low, high int) {
	b.Unusable = Grow(b.Unusable, len(b.Time))
	for i := low; i < high; i++ {
		b.Unusable[i] = true
	}
}

// markTooLarge marks readings that the correction moves by more than the site file allows.
func (b *Block) markTooLarge(_ *reading.Batch, start int) {
	most := b.Limits.TooLarge
	if most == 0 {
		return
	}
	b.EachSegment(b.Recorded.Lane, start, len(b.Time), func(s *settings.Segment, low, high int) {
		for i := low; i < high; i++ {
			if math.Abs(b.Head[i]-s.Head(b.Time[i], b.Figure[i], b.AirAt(i))) > most+1e-9 {
				b.markUnusable(i, i+1)
			}
		}
	})
}

// Forget drops the first k rows, which nothing needs any more.
func (b *Block) Forget(k int) {
	if k <= 0 {
		return
	}
	b.Time, b.Flags = shift(b.Time, k), shift(b.Flags, k)
	b.Verdicts, b.Told = shift(b.Verdicts, k), shift(b.Told, k)
	if len(b.Site.Log.Checks) > 0 {
		b.Shown = shift(b.Shown, k)
	}
	b.Figure, b.Head, b.Air = shift(b.Figure, k), shift(b.Head, k), shift(b.Air, k)
	b.Conflict, b.Suspect, b.Unusable = shift(b.Conflict, k), shift(b.Suspect, k), shift(b.Unusable, k)
	b.DownstreamHead, b.Downstream = shift(b.DownstreamHead, k), shift(b.Downstream, k)
	b.SecondHead, b.Second = shift(b.SecondHead, k), shift(b.Second, k)
	b.Logged, b.LoggedState = shift(b.Logged, k), shift(b.LoggedState, k)
	b.Counter, b.CounterState = shift(b.Counter, k), shift(b.CounterState, k)
	b.Passed, b.PassedState = shift(b.Passed, k), shift(b.PassedState, k)
	b.File, b.Line = shift(b.File, k), shift(b.Line, k)
	b.Used, b.Free, b.AtMost = shift(b.Used, k), shift(b.Free, k), shift(b.AtMost, k)
	move := func(l *Lane) { l.Flow = shift(l.Flow, k) }
	b.each(move, move)
	move(b.Corrected)
	if b.Kept != b.Recorded {
		move(b.Kept)
	}
	b.alias()
}

func shift[T any](column []T, k int) []T {
	if len(column) == 0 {
		return column
	}
	return column[:copy(column, column[k:])]
}

// Grow lengthens a column to n rows, zero in the new ones.
func Grow[T any](column []T, n int) []T {
	old := len(column)
	if n <= old {
		return column
	}
	column = slices.Grow(column, n-old)[:n]
	clear(column[old:])
	return column
}
