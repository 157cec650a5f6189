package explore

import (
	"bytes"
	"encoding/base64"
	"math"

	"github.com/klauspost/compress/zlib"

	"retotal/recompute"
	"retotal/recompute/total"
	"retotal/report"
)

// packer puts columns of whole numbers one behind the other: of each the differences from number to number, as
// variable-length integers whose last bit is the sign.
type packer struct{ bytes []byte }

// column packs n numbers.
func (p *packer) column(n int, of func(i int) float64) {
	last := 0.0
	for i := range n {
		v := of(i)
		d := int64(v - last)
		last = v
		x := uint64(d)<<1 ^ uint64(d>>63)
		for ; x >= 0x80; x >>= 7 {
			p.bytes = append(p.bytes, byte(x)|0x80)
		}
		p.bytes = append(p.bytes, byte(x))
	}
}

// text is all columns, deflated, as text for a page.
func (p *packer) text() (string, error) {
	var b bytes.Buffer
	w, err := zlib.NewWriterLevel(&b, 6)
	if err != nil {
		return "", err
	}
	if _, err = w.Write(p.bytes); err == nil {
		err = w.Close()
	}
	return base64.StdEncoding.EncodeToString(b.Bytes()), err
}

// steps are what one whole number of a column stands for.
type steps struct {
	Head   float64 `json:"head"`   // m
	Flow   float64 `json:"flow"`   // m³/s
	Volume float64 `json:"volume"` // m³
}

// newSteps are fine enough that no figure that people read is another for them: heads to 0.1 mm, flows to a
// 100,000th of the greatest, volumes to 0.0005 m³ or less.
func newSteps(g *Gatherer, r *recompute.Result) steps {
	most, volume := 0.0, math.Max(math.Abs(r.Total.Before.M3()), math.Abs(r.Total.After.M3()))
	for i := range g.cells {
		for _, e := range []extreme{g.cells[i].before, g.cells[i].after} {
			if v := float64(e.high); v > most && !math.IsInf(v, 0) {
				most = v
			}
		}
	}
	return steps{
		Head: 1e-4,
		Flow: power(most / 1e5),
		// of sums beyond 10^12 m³ no float64 knows these digits
		Volume: math.Max(math.Min(5e-4, power(volume/1e9)), power(volume/1e15)),
	}
}

// dayColumns is how many figures of a day are packed.
const dayColumns = 7

// day is what is packed of a reporting day: start and end, s since 1970; volumes before, after, and the least and the
// most that the total can be, whole steps of volume; how much is covered, thousandths. What is missing is −1.
type day [dayColumns]float64

// packedDays are the days of a result.
func packedDays(r *recompute.Result, s steps) (list []day) {
	volume := func(v float64) float64 { return math.Round(v / s.Volume) }
	for i := range r.Days {
		p := &r.Days[i]
		d := day{float64(p.From / 1e9), float64(p.Until / 1e9), -1, -1, -1, -1, math.Floor(1000 * p.Coverage())}
		if !p.Before.Missing() {
			d[2] = volume(p.Before.M3())
		}
		if !p.After.Missing() {
			d[3] = volume(p.After.M3())
		}
		if x, ok := p.Interval(); ok {
			d[4] = volume(x.Low)
			if !x.Open {
				d[5] = volume(x.High)
			}
		}
		list = append(list, d)
	}
	return list
}

// power is the power of ten at a number or below it; of nothing, a millionth.
func power(v float64) float64 {
	if v <= 0 {
		return 1e-6
	}
	return math.Pow(10, math.Floor(math.Log10(v)))
}

// sums gives the running sums of volumes and of the time that they cover, as whole steps and ms: for every cell that at
// its end. A sum is rounded once, so that no rounding adds up.
func sums(n int, step float64, of func(i int) total.Volume) (volume, covered []float64) {
	var sum total.Volume
	for i := range n {
		sum.Merge(of(i))
		volume = append(volume, math.Round(sum.M3()/step))
		covered = append(covered, math.Round(float64(sum.Covered)/1e6))
	}
	return volume, covered
}

// pack packs days and cells; the script unpacks the columns in this order.
func pack(g *Gatherer, run *report.Run, s steps, days []day) (string, error) {
	p, r := &packer{}, run.Result
	for k := range dayColumns {
		p.column(len(days), func(i int) float64 { return days[i][k] })
	}
	g.grow(r.Cells.Calendar.Days())
	n := len(g.cells)
	p.column(n+1, func(i int) float64 { return g.startOf(i) })
	p.column(n, func(i int) float64 { return float64(g.cells[i].rows) })
	p.column(n, func(i int) float64 { return float64(g.cells[i].rows - g.cells[i].used) })
	p.column(n, func(i int) float64 { return float64(g.cells[i].state) })
	p.extremes(g.cells, s.Head, func(c *cell) extreme { return c.head })
	p.extremes(g.cells, s.Flow, func(c *cell) extreme { return c.before })
	p.extremes(g.cells, s.Flow, func(c *cell) extreme { return c.after })
	for _, of := range volumes(r) {
		volume, covered := sums(n, s.Volume, of)
		differences(volume)
		differences(covered)
		p.column(n, func(i int) float64 { return volume[i] })
		p.column(n, func(i int) float64 { return covered[i] })
	}
	for _, list := range g.flagged {
		if len(list) > 0 {
			p.column(len(list), func(i int) float64 { return float64(list[i].cell) })
			p.column(len(list), func(i int) float64 { return float64(list[i].rows) })
		}
	}
	return p.text()
}

// differences turns running sums into what each cell adds.
func differences(v []float64) {
	for i := len(v) - 1; i > 0; i-- {
		v[i] -= v[i-1]
	}
}

// volumes are the volumes by cell: before, after and, where the log has a counter, that of the counter.
func volumes(r *recompute.Result) []func(i int) total.Volume {
	list := []func(i int) total.Volume{r.Cells.Before.Volume, r.Cells.After.Volume}
	if hasCounter(r) {
		list = append(list, r.Cells.Counter.Volume)
	}
	return list
}

// extremes packs the least figures and how much the greatest are above them, of the cells that have any; one whose
// least is above its greatest has none.
func (p *packer) extremes(cells []cell, step float64, of func(c *cell) extreme) {
	low, span := make([]float64, len(cells)), make([]float64, len(cells))
	last := 0.0
	for i := range cells {
		e := of(&cells[i])
		a, b := math.Round(float64(e.low)/step), math.Round(float64(e.high)/step)
		if math.IsInf(a, 0) || math.IsInf(b, 0) {
			a, b = last, last-1
		}
		low[i], span[i] = a, b-a
		last = a
	}
	p.column(len(cells), func(i int) float64 { return low[i] })
	p.column(len(cells), func(i int) float64 { return span[i] })
}
