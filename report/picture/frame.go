package picture

import (
	"math"
	"strings"
)

// frame is where a plot lies on its sheet and what its axes measure.
type frame struct {
	*sheet
	left, right, top, bottom float64 // units
	from, until              int64   // instants
	low, high                float64 // values
	clock                    clock
}

// x is where an instant lies, within the plot.
func (f *frame) x(at int64) float64 {
	share := float64(at-f.from) / float64(max(f.until-f.from, 1))
	return f.left + math.Max(0, math.Min(share, 1))*(f.right-f.left)
}

// y is where a value lies, within the plot.
func (f *frame) y(v float64) float64 {
	share := (v - f.low) / (f.high - f.low)
	return f.bottom - math.Max(0, math.Min(share, 1))*(f.bottom-f.top)
}

// scaleTo sets the values of the axis from a least, or zero, to above a greatest.
func (f *frame) scaleTo(least, greatest, above float64) {
	f.low, f.high = math.Min(0, least), math.Max(greatest, 0)
	if f.high-f.low <= 0 || !finite(f.high-f.low) {
		f.low, f.high = 0, 1
	}
	f.high += above * (f.high - f.low)
	if f.low < 0 {
		f.low -= 0.05 * (f.high - f.low)
	}
}

// room is how wide the names of the values are, with their distance from the plot.
func room(low, high float64) float64 {
	list, step := rounds(low, high, 4.3)
	most := 0.0
	for _, v := range list {
		most = math.Max(most, width(minor, roundName(v, step)))
	}
	return math.Ceil(most) + 14
}

// values draws grid and names of the value axis.
func (f *frame) values() {
	list, step := rounds(f.low, f.high, 4.3)
	var grid [][4]float64
	for _, v := range list {
		grid = append(grid, [4]float64{f.left, f.y(v), f.right, f.y(v)})
		f.text(minor.to(rightOf), f.left-6, f.y(v)+4, roundName(v, step))
	}
	f.lines(pen{Grid, 0.8, nil}, grid)
}

// base draws the line of zero, or of the least value.
func (f *frame) base() {
	y := f.y(math.Max(f.low, math.Min(0, f.high)))
	f.line(pen{Ink, 1, nil}, point{f.left, y}, point{f.right, y})
}

// times draws the time axis below the plot, with names or without.
func (f *frame) times(named bool) {
	long, short := f.clock.ticks(f.from, f.until, f.right-f.left)
	var list [][4]float64
	for _, at := range short {
		list = append(list, [4]float64{f.x(at), f.bottom, f.x(at), f.bottom + 4})
	}
	ends := []int64{f.from, f.until}
	for _, t := range long {
		ends = append(ends, t.at)
	}
	for _, at := range ends {
		list = append(list, [4]float64{f.x(at), f.bottom, f.x(at), f.bottom + 8})
	}
	f.lines(pen{Ink, 1, nil}, list)
	f.line(pen{Ink, 1, nil}, point{f.left, f.bottom}, point{f.right, f.bottom})
	if named {
		f.timeNames(long)
	}
}

// timeNames writes names of long ticks, and of the beginning where the first tick is far.
func (f *frame) timeNames(long []tick) {
	y, last, edge := f.bottom+17, math.Inf(-1), f.right+f.margin()
	if len(long) == 0 || f.x(long[0].at)-f.left > 90 {
		l := heavy
		text := f.clock.name(f.from, f.until-f.from)
		if len(long) == 0 || f.left+4+width(l, text) < f.x(long[0].at) {
			f.text(l, f.left+4, y, text)
			last = f.left + 4 + width(l, text)
			f.clear(long)
		}
	}
	for _, t := range long {
		l := plain
		l.bold = t.bold
		if x := f.x(t.at) + 4; x > last+4 && x+width(l, t.label) <= edge {
			f.text(l, x, y, t.label)
			last = x + width(l, t.label)
		}
	}
}

// margin is how far names may stand out of the plot at its right.
func (f *frame) margin() float64 { return 8 }

// clear takes the year off the first name, since the beginning has it.
func (f *frame) clear(long []tick) {
	if len(long) > 0 && len(long[0].label) == len("Jan 2006") {
		if month, year, two := strings.Cut(long[0].label, " "); two && month != "Jan" && len(year) == 4 {
			long[0].label = month
		}
	}
}

// keyItem is a sign and what it means.
type keyItem struct {
	text string
	sign func(s *sheet, x, y float64) // in a field 14 wide and 9 high, whose lower left corner is given
}

// signWidth is the room of a sign and its distance from its text.
const signWidth = 18

// key is a title, its unit and the signs of a picture.
type key struct {
	title, unit string
	items       []keyItem
}

func (k *key) add(text string, sign func(s *sheet, x, y float64)) {
	k.items = append(k.items, keyItem{text, sign})
}

const keyLine = 18

// each calls put for every item with its place: lines break where the room ends.
func (k *key) each(left, right float64, put func(item keyItem, x float64, line int)) (lines int) {
	x := left + width(heavy, k.title)
	if k.unit != "" {
		x += width(minor, ", "+k.unit)
	}
	x += 18
	line := 0
	for _, item := range k.items {
		w := signWidth + width(plain, item.text)
		if x+w > right && x > left {
			x, line = left, line+1
		}
		put(item, x, line)
		x += w + 16
	}
	return line + 1
}

// lineCount is how many lines it takes.
func (k *key) lineCount(left, right float64) int {
	return k.each(left, right, func(keyItem, float64, int) {})
}

// draw writes it at the top of a sheet.
func (k *key) draw(s *sheet, left, right, top float64) {
	s.text(heavy, left, top+12, k.title)
	if k.unit != "" {
		s.text(minor, left+width(heavy, k.title), top+12, ", "+k.unit)
	}
	k.each(left, right, func(item keyItem, x float64, line int) {
		y := top + 12 + float64(line)*keyLine
		item.sign(s, x, y)
		s.text(plain, x+signWidth, y, item.text)
	})
}

// The signs of keys.
func lineSign(p pen) func(*sheet, float64, float64) {
	return func(s *sheet, x, y float64) { s.line(p, point{x, y - 4}, point{x + 14, y - 4}) }
}

func boxSign(t Tint) func(*sheet, float64, float64) {
	return func(s *sheet, x, y float64) { s.box(t, x+1, y-9, x+12, y) }
}

func hatchSign(p pen, step float64, falling bool) func(*sheet, float64, float64) {
	return func(s *sheet, x, y float64) {
		s.hatch(p, step, falling, x+1, y-10, x+12, y)
		s.outline(p, x+1, y-10, x+12, y)
	}
}

// spanOfTime is a stretch of time with words.
type spanOfTime struct {
	from, until int64
	text        string
	open        int64 // since when it may have lasted instead of from; from for sure
}

// gapPen is how time without readings is hatched.
var gapPen = pen{Hatch, 0.8, nil}

// shade draws the corrected spans behind a plot.
func (f *frame) shade(spans []spanOfTime) {
	for _, s := range joined(spans) {
		if x0, x1 := f.x(s.from), f.x(s.until); x1 > x0 {
			f.box(Span, x0, f.top, x1, f.bottom)
		}
	}
}

// joined are spans without what they share.
func joined(spans []spanOfTime) (list []spanOfTime) {
	for _, s := range spans {
		if n := len(list); n > 0 && s.from <= list[n-1].until {
			list[n-1].until = max(list[n-1].until, s.until)
		} else {
			list = append(list, s)
		}
	}
	return list
}

// gaps hatches spans over the full height, at least 2.5 wide, and joins those that would touch.
func (f *frame) gaps(spans []spanOfTime) {
	last := [2]float64{math.Inf(-1), math.Inf(-1)}
	flush := func() {
		if last[1] > last[0] {
			f.box(Paper, last[0], f.top, last[1], f.bottom)
			f.hatch(gapPen, 5, false, last[0], f.top, last[1], f.bottom)
			f.outline(gapPen, last[0], f.top, last[1], f.bottom)
		}
	}
	for _, s := range spans {
		x0, x1 := f.x(s.from), f.x(s.until)
		if x1-x0 < 2.5 {
			m := math.Max(f.left+1.25, math.Min((x0+x1)/2, f.right-1.25))
			x0, x1 = m-1.25, m+1.25
		}
		if x0 <= last[1] {
			last[1] = math.Max(last[1], x1)
			continue
		}
		flush()
		last = [2]float64{x0, x1}
	}
	flush()
}

// shelf keeps labels of a few rows from meeting.
type shelf struct {
	most  int
	taken [][][2]float64
}

// place finds the lowest row in which there is room from x0 to x1; false when there is none.
func (s *shelf) place(x0, x1 float64) (row int, ok bool) {
	for row := range s.most {
		if s.free(row, x0, x1) {
			s.take(row, x0, x1)
			return row, true
		}
	}
	return 0, false
}

// take takes the room in a row.
func (s *shelf) take(row int, x0, x1 float64) {
	for len(s.taken) <= row {
		s.taken = append(s.taken, nil)
	}
	s.taken[row] = append(s.taken[row], [2]float64{x0, x1})
}

// free reports whether there is room in a row.
func (s *shelf) free(row int, x0, x1 float64) bool {
	if row >= len(s.taken) {
		return true
	}
	for _, t := range s.taken[row] {
		if x1 >= t[0] && x0 <= t[1] {
			return false
		}
	}
	return true
}
