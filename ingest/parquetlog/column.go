package parquetlog

import (
	"encoding/binary"
	"fmt"
	"math"
	"math/big"
	"slices"
	"time"

	"github.com/apache/arrow/go/v15/parquet"
	"github.com/apache/arrow/go/v15/parquet/file"

	"retotal/ingest/quantity"
	"retotal/ingest/reading"
	"retotal/ingest/site"
)

// column is one column of the current row group. After read, either integers or floats holds a value for every
// row, 0 where the row has none.
type column struct {
	quantity int // −1 for the time
	chunk    file.ColumnChunkReader
	optional bool
	spec     *site.Column // what the site file says of it; nil for the time
	divisor  float64      // of the integers of a decimal column; 1 for others
	half     bool         // numbers in 16 bits
	levels   []int16      // definition levels: 0 for a row without value
	integers []int64
	floats   []float64
	narrow   any // memory of a column of 32 bits
}

func (c *column) missing(i int) bool {
	return c.optional && c.levels[i] == 0 || c.spec != nil && c.spec.Absent(c.value(i))
}

func (c *column) value(i int) float64 {
	if c.floats != nil {
		return c.floats[i]
	}
	return float64(c.integers[i]) / c.divisor
}

// reading is the value of row i in SI, and what it is.
func (c *column) reading(i int, unit quantity.Unit) (float64, reading.State) {
	if c.missing(i) {
		return 0, reading.Empty
	}
	v := unit.ToSI(c.value(i))
	if state := reading.Quantity(c.quantity).Check(v); state != reading.Present {
		return 0, state
	}
	return v, reading.Present
}

// read reads the next n rows.
func (c *column) read(n int64) error {
	c.levels = slices.Grow(c.levels[:0], int(n))[:n]
	switch r := c.chunk.(type) {
	case *file.Int64ColumnChunkReader:
		var err error
		c.integers, err = readRows(c, n, c.integers, r.ReadBatch)
		return err
	case *file.Int96ColumnChunkReader:
		memory, _ := c.narrow.([]parquet.Int96)
		stamps, err := readRows(c, n, memory, r.ReadBatch)
		c.narrow, c.integers = stamps, slices.Grow(c.integers[:0], int(n))[:n]
		for i := range stamps {
			c.integers[i] = math.MinInt64 // out of range, unless the stamp fits nanoseconds
			if day := binary.LittleEndian.Uint32(stamps[i][8:]); day >= firstDay && day <= lastDay {
				c.integers[i] = stamps[i].ToTime().UnixNano()
			}
		}
		return err
	case *file.Int32ColumnChunkReader:
		memory, _ := c.narrow.([]int32)
		narrow, err := readRows(c, n, memory, r.ReadBatch)
		c.narrow, c.integers = narrow, widen(narrow, c.integers)
		return err
	case *file.Float64ColumnChunkReader:
		var err error
		c.floats, err = readRows(c, n, c.floats, r.ReadBatch)
		return err
	case *file.Float32ColumnChunkReader:
		memory, _ := c.narrow.([]float32)
		narrow, err := readRows(c, n, memory, r.ReadBatch)
		c.narrow, c.floats = narrow, widen(narrow, c.floats)
		return err
	}
	switch r := c.chunk.(type) {
	case *file.FixedLenByteArrayColumnChunkReader:
		var err error
		number := func(b parquet.FixedLenByteArray) float64 { return decimal(b, c.divisor) }
		if c.half {
			number = halfFloat
		}
		c.floats, err = readRows(c, n, c.floats, byteBatches(number, r.ReadBatch))
		return err
	case *file.ByteArrayColumnChunkReader:
		var err error
		number := func(b parquet.ByteArray) float64 { return decimal(b, c.divisor) }
		c.floats, err = readRows(c, n, c.floats, byteBatches(number, r.ReadBatch))
		return err
	}
	return fmt.Errorf("columns of %T are not read", c.chunk)
}

// byteBatches reads numbers that are written as bytes and turns them into numbers before the library reuses their
// memory.
func byteBatches[T ~[]byte](
	number func(T) float64, readBatch func(int64, []T, []int16, []int16) (int64, int, error),
) func(int64, []float64, []int16, []int16) (int64, int, error) {
	return func(n int64, out []float64, levels, none []int16) (int64, int, error) {
		raw := make([]T, n)
		rows, present, err := readBatch(n, raw, levels, none)
		for i, b := range raw[:max(present, 0)] {
			out[i] = number(b)
		}
		return rows, present, err
	}
}

// decimal is a decimal number that is written in two's complement, the highest byte first.
func decimal(b []byte, divisor float64) float64 {
	whole := new(big.Int).SetBytes(b)
	if len(b) > 0 && b[0] >= 0x80 {
		whole.Sub(whole, new(big.Int).Lsh(big.NewInt(1), uint(8*len(b))))
	}
	v, _ := new(big.Float).SetInt(whole).Float64()
	return v / divisor
}

// halfFloat is a number of 16 bits (IEEE 754-2008, binary16: sign, 5 bits of exponent, 10 of fraction), the lowest byte
// first (apache/parquet-format, LogicalTypes.md, FLOAT16).
func halfFloat(b parquet.FixedLenByteArray) float64 {
	if len(b) != 2 {
		return math.NaN()
	}
	bits := binary.LittleEndian.Uint16(b)
	exponent, fraction := int(bits>>10&0x1f), float64(bits&0x3ff)
	v := math.Ldexp(1024+fraction, exponent-25)
	switch {
	case exponent == 0:
		v = math.Ldexp(fraction, -24)
	case exponent == 0x1f && fraction == 0:
		v = math.Inf(1)
	case exponent == 0x1f:
		v = math.NaN()
	}
	if bits>>15 == 1 {
		return -v
	}
	return v
}

// round turns times that are numbers with a fraction into nanoseconds, to the nearest microsecond: 64 bits hold no
// finer ones. What is no time is out of range.
func (c *column) round(perTick int64) {
	c.integers = slices.Grow(c.integers[:0], len(c.floats))[:len(c.floats)]
	for i, v := range c.floats {
		c.integers[i] = math.MinInt64
		if us := math.Round(v * (float64(perTick) / 1e3)); math.Abs(us) < math.MaxInt64/1e3 {
			c.integers[i] = int64(us) * 1e3
		}
	}
}

// addHours joins dates and times of day into nanoseconds; a row that lacks either has a time out of range.
func (c *column) addHours(hours *column, perTick int64) {
	const century = 36525 * 2 // days either side of 1970
	for i, day := range c.integers {
		c.integers[i] = math.MinInt64
		if !hours.missing(i) && day > -century && day < century {
			c.integers[i] = day*int64(24*time.Hour) + hours.integers[i]*perTick
		}
	}
}

// firstDay and lastDay are the Julian days of 1900-01-01 and 2199-12-31: beyond them nanoseconds overflow, and no log
// is from there.
const (
	firstDay = 2415021
	lastDay  = 2524593
)

func widen[From int32 | float32, To int64 | float64](values []From, memory []To) []To {
	out := slices.Grow(memory[:0], len(values))[:len(values)]
	for i, v := range values {
		out[i] = To(v)
	}
	return out
}

// readRows reads n rows with a typed reader, which may stop at the end of a page, and spreads the values, which come
// packed without the missing ones, over the rows.
func readRows[T any](
	c *column, n int64, memory []T, readBatch func(int64, []T, []int16, []int16) (int64, int, error),
) ([]T, error) {
	values := slices.Grow(memory[:0], int(n))[:n]
	var rows, packed int64
	for rows < n {
		if !c.hasNext() {
			break
		}
		got, present, err := readBatch(n-rows, values[packed:], c.levels[rows:], nil)
		if err != nil {
			return nil, err
		}
		if got == 0 {
			break
		}
		rows, packed = rows+got, packed+int64(present)
	}
	if err := c.err(); err != nil {
		return nil, err
	}
	if rows != n {
		return nil, fmt.Errorf("a column ends %d rows early", n-rows)
	}
	if c.optional {
		spread(values, c.levels, packed)
	}
	return values, nil
}

// spread moves packed values to the rows whose level says that they have one, from the back.
func spread[T any](values []T, levels []int16, packed int64) {
	var none T
	for i := len(values) - 1; i >= 0; i-- {
		if levels[i] == 0 {
			values[i] = none // fewer than i values are left to move, all of them below i
			continue
		}
		packed--
		values[i] = values[packed]
	}
}

func (c *column) hasNext() bool {
	h, ok := c.chunk.(interface{ HasNext() bool })
	return ok && h.HasNext()
}

func (c *column) err() error {
	e, ok := c.chunk.(interface{ Err() error })
	if !ok {
		return nil
	}
	return e.Err()
}
