// Package reading is a batch of readings in columns, exactly as logged, each row with its place.
package reading

import (
	"errors"
	"slices"
	"time"

	"retotal/ingest/quantity"
)

// Quantity is what a column of a log holds.
type Quantity int

// The quantities of a log. Distance, Level and Head are the primaries: one of them gives the head.
const (
	Distance Quantity = iota
	Level
	Head
	Flow
	Counter
	Temperature
	Downstream     // level of the water below the device, above the gauge datum
	IntervalVolume // what passed since the reading before
	SecondLevel    // level above the gauge datum by a second sensor
	AirPressure    // taken off levels that are logged as absolute pressures
	Count          // how many there are
)

var names = [Count]string{
	"distance", "level", "head", "flow", "counter", "temperature", "downstream", "interval_volume", "second_level",
	"air_pressure",
}

// String is the name of the quantity in a site file.
func (q Quantity) String() string { return names[q] }

// Names lists the quantities in their order.
func Names() []string { return names[:] }

// Dimension is what a quantity is measured in.
func (q Quantity) Dimension() quantity.Dimension {
	switch q {
	case Flow:
		return quantity.FlowDimension
	case Counter, IntervalVolume:
		return quantity.VolumeDimension
	case Temperature:
		return quantity.TemperatureDimension
	case AirPressure:
		return quantity.PressureDimension
	}
	return quantity.LengthDimension
}

// IsLevel reports whether a quantity is a height of water above some point, which a pressure there measures.
func (q Quantity) IsLevel() bool {
	return q == Level || q == Head || q == Downstream || q == SecondLevel
}

// State says whether a value is there; it stands beside the value, which is 0 when it is not.
type State uint8

// The states of a value.
const (
	Present    State = iota
	Empty            // nothing written
	Illegible        // something written that is not a number
	Impossible       // a number that is greater than any of the quantity can be
)

// ErrAgain ends a reading of a log that showed too late how the log must be read: what was handed over must be
// forgotten, and the log read again.
var ErrAgain = errors.New("the log must be read again from its beginning")

// Batch is a few ten thousand readings in columns. A reader fills it and the next call may reuse it, so
// whoever keeps values copies them.
type Batch struct {
	// Time is nanoseconds since 1970 UTC. Between a log reader and the clock it is the local clock reading
	// as if that were UTC, when the log writes no offset.
	Time []int64
	// Value[q] is SI; nil when the log has no such column.
	Value [Count][]float64
	// State[q] goes with Value[q] for the quantities other than the primary one, which is always Present.
	State [Count][]State
	// Line is the line (CSV) or row (Parquet) of each reading, from 1.
	Line []int32
	// File is the number of each reading's file in the log; nil when all are of FileNumber.
	File       []int32
	FileNumber int32
	// Conflict marks readings whose time stands a second time in the log with other values; nil when none.
	Conflict []bool
	// Suspect marks readings that the instrument itself casts doubt on; nil when none.
	Suspect []bool
	// Rising says that each time is after the one before it; false when that is not known.
	Rising bool
	// Whole says that every value is Present; false when that is not known.
	Whole bool
	// Misled counts values that cannot be read under the decimal sign that the beginning of the file showed, but can
	// under the other.
	Misled int
	// Read counts the rows of the log behind this batch: those above and those rejected.
	Read     int
	Rejected []Rejection
}

// Len is the number of readings.
func (b *Batch) Len() int { return len(b.Time) }

// Place returns the file number and line of reading i.
func (b *Batch) Place(i int) (file, line int32) {
	if b.File != nil {
		return b.File[i], b.Line[i]
	}
	return b.FileNumber, b.Line[i]
}

// Reset empties the batch for has[q] columns, keeping its memory.
func (b *Batch) Reset(has [Count]bool) {
	b.Time, b.Line, b.File, b.Conflict, b.Suspect = b.Time[:0], b.Line[:0], nil, nil, nil
	b.Read, b.Misled, b.Rejected = 0, 0, b.Rejected[:0]
	b.Rising, b.Whole = false, false
	for q := range has {
		if has[q] && b.Value[q] == nil {
			b.Value[q], b.State[q] = []float64{}, []State{}
		} else if has[q] {
			b.Value[q], b.State[q] = b.Value[q][:0], b.State[q][:0]
		} else {
			b.Value[q], b.State[q] = nil, nil
		}
	}
}

// Append copies reading i of another batch that has the same columns, with its place.
func (b *Batch) Append(from *Batch, i int) {
	file, line := from.Place(i)
	b.Time, b.Line, b.File = append(b.Time, from.Time[i]), append(b.Line, line), append(b.File, file)
	for q := range from.Value {
		if from.Value[q] != nil {
			b.Value[q] = append(b.Value[q], from.Value[q][i])
			b.State[q] = append(b.State[q], from.State[q][i])
		}
	}
	if b.Conflict != nil {
		b.Conflict = append(b.Conflict, from.Conflict != nil && from.Conflict[i])
	}
	if from.Suspect != nil && from.Suspect[i] {
		b.MarkSuspect(b.Len()-1, b.Len())
	} else if b.Suspect != nil {
		b.Suspect = append(b.Suspect, false)
	}
}

// Grow makes room for so many readings to be appended.
func (b *Batch) Grow(rows int) {
	b.Time, b.Line, b.File = slices.Grow(b.Time, rows), slices.Grow(b.Line, rows), slices.Grow(b.File, rows)
	for q := range b.Value {
		if b.Value[q] != nil {
			b.Value[q], b.State[q] = slices.Grow(b.Value[q], rows), slices.Grow(b.State[q], rows)
		}
	}
}

// Reverse turns the order of the readings round.
func (b *Batch) Reverse() {
	slices.Reverse(b.Time)
	slices.Reverse(b.Line)
	slices.Reverse(b.File)
	slices.Reverse(b.Conflict)
	slices.Reverse(b.Suspect)
	for q := range b.Value {
		slices.Reverse(b.Value[q])
		slices.Reverse(b.State[q])
	}
}

// Keep moves reading i to place n ≤ i, for compacting a batch in place.
func (b *Batch) Keep(n, i int) {
	if n == i {
		return
	}
	b.Time[n], b.Line[n] = b.Time[i], b.Line[i]
	for q := range b.Value {
		if b.Value[q] != nil {
			b.Value[q][n], b.State[q][n] = b.Value[q][i], b.State[q][i]
		}
	}
	if b.File != nil {
		b.File[n] = b.File[i]
	}
	if b.Conflict != nil {
		b.Conflict[n] = b.Conflict[i]
	}
	if b.Suspect != nil {
		b.Suspect[n] = b.Suspect[i]
	}
}

// MarkSuspect marks reading i as suspect, in a batch of at least rows readings.
func (b *Batch) MarkSuspect(i, rows int) {
	if n := len(b.Suspect); n < rows {
		b.Suspect = append(b.Suspect, make([]bool, rows-n)...)
	}
	b.Suspect[i] = true
}

// Slice narrows the batch to readings low to high−1.
func (b *Batch) Slice(low, high int) {
	b.Time, b.Line = b.Time[low:high], b.Line[low:high]
	for q := range b.Value {
		if b.Value[q] != nil {
			b.Value[q], b.State[q] = b.Value[q][low:high], b.State[q][low:high]
		}
	}
	if b.File != nil {
		b.File = b.File[low:high]
	}
	if b.Conflict != nil {
		b.Conflict = b.Conflict[low:high]
	}
	if b.Suspect != nil {
		b.Suspect = b.Suspect[low:high]
	}
}

// Same reports whether reading i of b and j of c hold the same values at the same time.
func (b *Batch) Same(i int, c *Batch, j int) bool {
	if b.Time[i] != c.Time[j] {
		return false
	}
	for q := range b.Value {
		if b.Value[q] != nil && (b.Value[q][i] != c.Value[q][j] || b.State[q][i] != c.State[q][j]) {
			return false
		}
	}
	return true
}

// Rejection is one row of a log that cannot be used.
type Rejection struct {
	Line   int32
	Reason string // one of a few fixed sentences, so that rejections can be counted
	Text   string // the row, shortened
}

// MixedDates is the reason of a row whose date can only be read in the other order of day and month than the rest
// of its file: then the whole file cannot be trusted.
const MixedDates = "date only makes sense in the other order of day and month"

// Start is what the beginning of a log file shows.
type Start struct {
	First    int64   // time of the first reading of the body of the rows, as Batch.Time
	Unset    []int64 // times of readings before it, which the clock showed before it was set
	Absolute bool    // stamps carry an offset from UTC, or are instants
	// median step of the first readings, or of all of a file that is sorted, nanoseconds; 0 when there are fewer than
	// two
	Interval   int64
	Resolution [Count]float64 // SI step of the last decimal written; 0 when unknown
}

// A clock that was not set shows a date of its own in a few rows, then jumps. A record may lack years; rows further
// apart are of a clock that was reset. Common practice.
const (
	mostUnset = 10                               // rows
	unsetJump = int64(366 * 24 * time.Hour)      // at least
	unsetStep = 100                              // intervals of the log, at least
	FarJump   = 20 * 365 * 24 * int64(time.Hour) // ns
)

// Look takes in the times of the first readings, in the order of the file.
func (s *Start) Look(times []int64) {
	step := MedianStep(times)
	for i := 1; i < len(times) && i <= mostUnset && i*2 < len(times); i++ {
		if jump := times[i] - times[i-1]; max(jump, -jump) > max(unsetJump, unsetStep*step) {
			s.Unset = times[:i]
		}
	}
	if times = body(times[len(s.Unset):]); len(times) > 0 {
		s.First, s.Interval = times[0], MedianStep(times)
	}
}

// body is the longest stretch of times without a far jump.
func body(times []int64) (longest []int64) {
	start := 0
	for i := 1; i <= len(times); i++ {
		if i < len(times) {
			if jump := times[i] - times[i-1]; max(jump, -jump) <= FarJump {
				continue
			}
		}
		if i-start > len(longest) {
			longest = times[start:i]
		}
		start = i
	}
	return longest
}

// MedianStep returns the median of the differences between distinct times in their order, whatever order they are given
// in; 0 when there is none.
func MedianStep(times []int64) int64 {
	if !slices.IsSorted(times) {
		times = slices.Sorted(slices.Values(times))
	}
	var steps []int64
	for i := 1; i < len(times); i++ {
		if d := times[i] - times[i-1]; d > 0 {
			steps = append(steps, d)
		}
	}
	if len(steps) == 0 {
		return 0
	}
	slices.Sort(steps)
	return steps[len(steps)/2]
}

// Decision is one thing that was decided on how a log file is written.
type Decision struct {
	Subject   string
	Found     string
	Because   string
	Otherwise string // what else was possible, and why it was not taken
}
