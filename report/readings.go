package report

import (
	"errors"
	"fmt"
	"math"
	"os"
	"reflect"
	"strings"
	"time"

	"github.com/klauspost/compress/zstd"
	"github.com/parquet-go/parquet-go"
	"github.com/parquet-go/parquet-go/compress"
	"github.com/parquet-go/parquet-go/format"

	"retotal/ingest"
	"retotal/ingest/problem"
	"retotal/ingest/reading"
	"retotal/qa"
	"retotal/recompute"
)

// readings is one row of readings.parquet, whose schema has its name: every reading that was used, with head, flows and
// flags. Numbers are in SI units and rounded: heads to 1 µm, flows to 10⁻⁹ m³/s. One name has one meaning, whatever the
// log holds; what it does not hold is null. Fields that may be null point at the row's own values.
//
// Levels repeat, and with them heads and flows: a dictionary halves both file and time where they do, and is left out
// where they do not, see unlike.
type readings struct {
	Site      string   `parquet:"site,dict"`
	TimeUTC   int64    `parquet:"time_utc,delta,timestamp(millisecond)"`
	TimeLocal int64    `parquet:"time_local,delta,timestamp(millisecond:local)"`
	Distance  *float64 `parquet:"logged_distance_m,optional,dict"`
	Level     *float64 `parquet:"logged_level_m,optional,dict"`
	LogHead   *float64 `parquet:"logged_head_m,optional,dict"`
	Flow      *float64 `parquet:"logged_flow_m3s,optional,dict"`
	MeanFlow  *float64 `parquet:"logged_mean_flow_m3s,optional,dict"`
	HeadThen  *float64 `parquet:"head_recorded_m,optional,dict"`
	Head      float64  `parquet:"head_corrected_m,dict"`
	Before    float64  `parquet:"flow_before_m3s,dict"`
	After     *float64 `parquet:"flow_after_m3s,optional,dict"`
	AtLeast   *float64 `parquet:"flow_at_least_m3s,optional,dict"`
	AtMost    *float64 `parquet:"flow_at_most_m3s,optional,dict"`
	U95       *float64 `parquet:"flow_u95_m3s,optional,dict"`
	State     string   `parquet:"state,dict"`
	Used      bool     `parquet:"used"`
	Ruling    *int32   `parquet:"ruling,optional,dict"`
	Grade     int32    `parquet:"grade,dict"`
	Flags     string   `parquet:"flags,dict"`
	Air       *float64 `parquet:"air_temperature_c,optional,dict"`
	Counter   *float64 `parquet:"counter_m3,optional,dict"`

	value, flow, then, after, least, most, u95, air, counter float64
	ruling                                                   int32
}

// toldOf is what is told of the flags of a reading.
type toldOf struct {
	text  string
	grade int32
}

const (
	rowsPerGroup = 1 << 17 // of readings.parquet: what a reader that looks for a day has to read
	rowsPerBatch = 2048    // handed to the other core at once
	batches      = 4       // under way
	mostDistinct = 1 << 18 // bytes of a dictionary
	flowSteps    = 1e9     // of a m³/s
)

// packing is how columns are laid out, beside what their tags say.
func packing(codec compress.Codec) []parquet.WriterOption {
	return []parquet.WriterOption{
		parquet.Compression(codec), parquet.CreatedBy("retotal", "", ""), parquet.DataPageVersion(1),
		parquet.DictionaryMaxBytes(mostDistinct),
	}
}

// readingsWriter writes readings.parquet beside the computation, or a file a year: rows are packed and compressed on
// another core.
type readingsWriter struct {
	folder   *Folder
	site     string
	location *time.Location
	primary  reading.Quantity
	batch    []readings
	full     chan []readings // to the writer
	free     chan []readings // and back
	done     chan error      // how the writer ended
	flags    qa.Flags
	told     toldOf // of these flags
	tells    map[qa.Flags]toldOf

	offset, offsetFrom, offsetUntil int64 // of the report's zone from UTC, and from when until when, ns
	yearFrom, yearUntil             int64 // of the rows at hand in UTC, ns, where there is a file a year
}

func newReadingsWriter(folder *Folder, l *ingest.Log) (*readingsWriter, error) {
	w := &readingsWriter{
		folder: folder, site: l.Site.ID, location: l.Site.Report.Clock.Location, primary: l.Site.Log.Primary,
		full: make(chan []readings, batches), free: make(chan []readings, batches), done: make(chan error, 1),
		flags: ^qa.Flags(0), tells: map[qa.Flags]toldOf{}, yearFrom: math.MinInt64, yearUntil: math.MaxInt64,
	}
	if folder.yearly != "" {
		w.yearUntil = math.MinInt64
	}
	for range batches {
		w.free <- make([]readings, 0, rowsPerBatch)
	}
	w.batch = <-w.free
	codec, err := newZstd()
	if err != nil {
		return nil, err
	}
	options := append(packing(codec),
		parquet.KeyValueMetadata("schema", ReadingsSchema),
		parquet.KeyValueMetadata("site", l.Site.ID),
		parquet.KeyValueMetadata("time_local_zone", l.Site.Report.Clock.Name),
		parquet.KeyValueMetadata("head_recorded_m, head_corrected_m",
			"above the level of zero flow under the recorded and the corrected settings"),
		parquet.KeyValueMetadata("logged_", "as the log says, in SI units"),
		parquet.KeyValueMetadata("flow_after_m3s", "null where the reading does not count"),
		parquet.KeyValueMetadata("flow_at_least_m3s, flow_at_most_m3s",
			"null where the flow is exact; the most is null, too, where nothing bounds it"),
	)
	full := w.full // finish takes it off, maybe before the writer has begun
	go func() { w.done <- w.write(full, options) }()
	return w, nil
}

// ReadingsSchema is the version of the columns of readings.parquet; it changes when one of them does.
const ReadingsSchema = "2"

// zstdCodec is the codec of the one goroutine that packs, with a window as small as its pages: the library's own keeps
// 8 MB for each of two encoders.
type zstdCodec struct{ *zstd.Encoder }

const zstdWindow = 1 << 18 // bytes

func newZstd() (zstdCodec, error) {
	encoder, err := zstd.NewWriter(nil, zstd.WithEncoderConcurrency(1), zstd.WithEncoderLevel(zstd.SpeedFastest),
		zstd.WithWindowSize(zstdWindow), zstd.WithLowerEncoderMem(true), zstd.WithZeroFrames(true),
		zstd.WithEncoderCRC(false))
	return zstdCodec{encoder}, err
}

// String implements compress.Codec.
func (zstdCodec) String() string { return "ZSTD" }

// CompressionCodec implements compress.Codec.
func (zstdCodec) CompressionCodec() format.CompressionCodec { return format.Zstd }

// Encode implements compress.Codec.
func (c zstdCodec) Encode(to, from []byte) ([]byte, error) { return c.EncodeAll(from, to[:0]), nil }

// Decode implements compress.Codec; a writer does not use it.
func (zstdCodec) Decode(_, _ []byte) ([]byte, error) { return nil, errors.ErrUnsupported }

// packed is a file of readings under way.
type packed struct {
	out  *os.File
	file *parquet.GenericWriter[readings]
	rows int // since the last group ended
}

// begin makes the file that a batch belongs to.
func (w *readingsWriter) begin(batch []readings, options []parquet.WriterOption) (*packed, error) {
	name := "readings.parquet"
	if w.folder.yearly != "" {
		name = fmt.Sprintf("%s/%04d.parquet", yearlyName, time.UnixMilli(batch[0].TimeUTC).UTC().Year())
	}
	out, err := w.folder.Create(name)
	if err != nil {
		return nil, err
	}
	return &packed{out: out, file: parquet.NewGenericWriter[readings](out, append(options, unlike(batch)...)...)}, nil
}

// add packs a batch.
func (p *packed) add(batch []readings) error {
	_, err := p.file.Write(batch)
	if p.rows += len(batch); err == nil && p.rows >= rowsPerGroup {
		p.rows = 0
		err = p.file.Flush()
	}
	return err
}

// end writes the footer; of no file it does nothing.
func (p *packed) end() error {
	if p == nil {
		return nil
	}
	return errors.Join(p.file.Close(), p.out.Close())
}

// write packs all batches, a group of rows at a time. In a file a year, no batch holds rows of two.
func (w *readingsWriter) write(full <-chan []readings, options []parquet.WriterOption) (err error) {
	var file *packed
	year := 0
	guarded := func(call func() error) {
		if err == nil {
			err = problem.Guard("readings.parquet", call)
		}
	}
	for batch := range full { // one at least, maybe empty
		guarded(func() (err error) {
			if w.folder.yearly != "" {
				if len(batch) == 0 {
					return nil
				}
				if of := time.UnixMilli(batch[0].TimeUTC).UTC().Year(); of != year {
					year, err = of, file.end()
					file = nil
				}
			}
			if file == nil && err == nil {
				file, err = w.begin(batch, options)
			}
			if err != nil {
				return err
			}
			return file.add(batch)
		})
		w.free <- batch[:0]
	}
	guarded(func() error { return file.end() })
	if err != nil && file != nil {
		file.out.Close() // it is of no use
	}
	return err
}

// mostUnlike is the share of the first rows that have a number of their own, above which a column gets no dictionary.
const mostUnlike = 0.75

// unlike takes the dictionary off the columns whose numbers hardly repeat in the first rows, where it would only cost
// time.
func unlike(first []readings) (options []parquet.WriterOption) {
	all := reflect.TypeFor[readings]()
	for i := range all.NumField() {
		field, own := all.Field(i), map[float64]bool{}
		if !field.IsExported() || !strings.HasSuffix(field.Type.String(), "float64") {
			continue
		}
		for k := range first {
			if v := reflect.Indirect(reflect.ValueOf(&first[k]).Elem().Field(i)); v.IsValid() {
				own[v.Float()] = true
			}
		}
		if float64(len(own)) > mostUnlike*rowsPerBatch {
			tag := strings.Replace(string(field.Tag), ",dict", "", 1)
			options = append(options, parquet.StructTag(reflect.StructTag(tag), field.Name))
		}
	}
	return options
}

// add takes in rows.
func (w *readingsWriter) add(rows *recompute.Rows) error {
	for i := range rows.Time {
		at := rows.Time[i]
		if of := at >= w.yearFrom && at < w.yearUntil; len(w.batch) == rowsPerBatch || !of {
			w.full <- w.batch
			if w.batch = <-w.free; !of {
				year := time.Unix(0, at).UTC().Year()
				w.yearFrom = time.Date(year, 1, 1, 0, 0, 0, 0, time.UTC).UnixNano()
				w.yearUntil = time.Date(year+1, 1, 1, 0, 0, 0, 0, time.UTC).UnixNano()
			}
		}
		w.batch = w.batch[:len(w.batch)+1]
		w.fill(&w.batch[len(w.batch)-1], rows, i)
	}
	return nil
}

// fill makes a row of reading i.
func (w *readingsWriter) fill(r *readings, rows *recompute.Rows, i int) {
	at, used := rows.Time[i], rows.Used[i]
	*r = readings{
		Site:      w.site,
		TimeUTC:   at / int64(time.Millisecond),
		TimeLocal: (at + w.offsetAt(at)) / int64(time.Millisecond),
		Head:      round(rows.Head[i], 1e6),
		Before:    round(rows.Before[i], flowSteps),
		State:     "lost",
		Used:      used,
	}
	w.tell(rows.Flags[i])
	r.Flags, r.Grade = w.told.text, w.told.grade
	if rows.Logged != nil && rows.State[i] == reading.Present {
		r.flow = round(rows.Logged[i], flowSteps)
		r.Flow = &r.flow
	}
	w.fillFigure(r, rows.Value[i])
	r.fillOthers(rows, i)
	if used {
		r.after = round(rows.After[i], flowSteps)
		r.After = &r.after
		r.fillBounds(rows.Lower[i], rows.Upper[i])
	}
	if u95, known := rows.U95(i); known {
		r.u95 = round(u95, flowSteps)
		r.U95 = &r.u95
	}
	if n := rows.Ruling(i); n >= 0 {
		r.ruling = int32(n + 1) // from 1 in all that is written
		r.Ruling = &r.ruling
	}
}

// kelvinAtZero is 0 degC in K.
const kelvinAtZero = 273.15

// fillOthers puts in what else the log holds, and the head by the recorded settings.
func (r *readings) fillOthers(rows *recompute.Rows, i int) {
	if rows.RecordedHead != nil {
		r.then = round(rows.RecordedHead[i], 1e6)
		r.HeadThen = &r.then
	}
	if rows.Air != nil {
		r.air = round(rows.Air[i]-kelvinAtZero, 1e3)
		r.Air = &r.air
	}
	if rows.Counter != nil && rows.CounterState[i] == reading.Present {
		r.counter = round(rows.Counter[i], 1e6)
		r.Counter = &r.counter
	}
}

// fillFigure puts the logged figure under its own name.
func (w *readingsWriter) fillFigure(r *readings, v float64) {
	digits := 1e6
	if w.primary >= reading.Flow {
		digits = flowSteps
	}
	switch r.value = round(v, digits); w.primary {
	case reading.Distance:
		r.Distance = &r.value
	case reading.Level:
		r.Level = &r.value
	case reading.Head:
		r.LogHead = &r.value
	case reading.Flow:
		r.Flow = &r.value
	default:
		r.MeanFlow = &r.value
	}
}

// fillBounds says between which flows the truth lies, where that is more than one.
func (r *readings) fillBounds(least, most float64) {
	if r.State = "exact"; least == most {
		return
	}
	r.State, r.least, r.most = "bounded", round(least, flowSteps), round(most, flowSteps)
	r.AtLeast = &r.least
	if !math.IsInf(most, 1) {
		r.AtMost = &r.most
	}
}

// round rounds to 1/steps. Values of any honest log stay far below the integers that float64 cannot count.
func round(v, steps float64) float64 { return math.Round(v*steps) / steps }

// offsetAt returns the report zone's offset from UTC, looked up once per span of one offset.
func (w *readingsWriter) offsetAt(at int64) int64 {
	if at >= w.offsetFrom && at < w.offsetUntil {
		return w.offset
	}
	t := time.Unix(0, at).In(w.location)
	_, seconds := t.Zone()
	w.offset, w.offsetFrom, w.offsetUntil = int64(seconds)*int64(time.Second), math.MinInt64, math.MaxInt64
	if start, end := t.ZoneBounds(); !start.IsZero() || !end.IsZero() {
		if !start.IsZero() {
			w.offsetFrom = start.UnixNano()
		}
		if !end.IsZero() {
			w.offsetUntil = end.UnixNano()
		}
	}
	return w.offset
}

// tell brings to hand what is told of flags: mostly those of the reading before, and always of few kinds.
func (w *readingsWriter) tell(f qa.Flags) {
	if f == w.flags {
		return
	}
	told, known := w.tells[f]
	if !known {
		told = toldOf{f.Text(), int32(f.Grade())}
		w.tells[f] = told
	}
	w.flags, w.told = f, told
}

// finish waits until all rows are packed.
func (w *readingsWriter) finish() error {
	if w.full == nil {
		return nil
	}
	w.full <- w.batch
	close(w.full)
	w.full = nil
	return <-w.done
}

// close writes the last rows and the footer.
func (w *readingsWriter) close() error {
	err := w.finish()
	if fault := (*os.PathError)(nil); errors.As(err, &fault) {
		return fmt.Errorf("readings.parquet cannot be written: %s; make room for it, or give another folder with --out",
			cause(fault))
	}
	return err
}

// abandon closes the file as it is, for a pass that is given up.
func (w *readingsWriter) abandon() {
	w.finish()
}
