package odd

import (
	"math"
	"slices"
)

// Echo is a time in which readings alternate between two surfaces.
type Echo struct {
	Span
	Lower, Upper float64 // m, heads of the two, in the middle of the time
	Aside        float64 // share of the readings on the upper one
	LowerStill   bool    // it hardly moves while the other does: an edge or a wall, not water
	UpperStill   bool
	ByLower      float64 // m³ that the time would have by the readings on the lower surface alone
	ByUpper      float64
}

// split is a window that falls into two groups of readings.
type split struct {
	from, until  int64
	number       int // of the window in the record
	lower, upper float64
	above        int
	flow         [2]float64 // m³/s, means of the groups
	all          float64    // m³/s
	seconds      float64
}

// echoes follows the windows that fall into two groups.
type echoes struct {
	windows int
	list    []split
	left    int
}

const (
	mostSplits    = 20000
	leastGroup    = 0.12 // share of the readings of a window
	leastSwitches = 0.6  // of those that readings drawn at random would make; a pump runs for several of them
	gapMoves      = 4    // times the change within a group, in the median, of the gap between the two
	gapSteps      = 5
	gapSpread     = 0.5 // times the spread of a group
	spellWindows  = 2
	spellHole     = 2 // windows that are not split, within a spell
	mostSplit     = 0.25
	mostSpells    = 3
	mostStray     = 0.005
	stillWindows  = 5 // of a spell that shows whether a surface stands still
	otherMoves    = 4 // times as much as the one that stands still
)

func (e *echoes) add(r *Record, w window) {
	e.windows++
	s, ok := splitOf(w, r.step)
	if !ok {
		return
	}
	if len(e.list) == mostSplits {
		e.left++
		return
	}
	s.number, s.seconds = e.windows, windowReadings*r.seconds
	e.list = append(e.list, s)
}

// mayFall says whether a window can fall into two groups; it is quick, and passes over nearly all that do not. The gap
// is a fifth of the range at the least (gapSpread), so that two of sixteen equal parts of it are empty.
func mayFall(w window, step float64) bool {
	low, high := w[0].Level, w[0].Level
	for i := range w {
		low, high = min(low, w[i].Level), max(high, w[i].Level)
	}
	if high-low < gapSteps*step {
		return false
	}
	const parts = 16
	var count [parts]int
	scale := parts / (high - low)
	for i := range w {
		count[min(int((w[i].Level-low)*scale), parts-1)]++
	}
	least, below := int(math.Ceil(leastGroup*windowReadings)), count[0]
	for k := 1; k < parts-1; k++ {
		if below += count[k]; count[k]+count[k+1] == 0 && below >= least && windowReadings-below >= least {
			return true
		}
	}
	return false
}

// splitOf finds the widest gap between two groups of readings, and judges whether it is that of two surfaces: wide
// against what the readings of either group do, and crossed again and again.
func splitOf(w window, step float64) (s split, ok bool) {
	if !mayFall(w, step) {
		return s, false
	}
	var sorted [windowReadings]float64
	for i := range w {
		sorted[i] = w[i].Level
	}
	slices.Sort(sorted[:])
	n, at, gap := windowReadings, 0, 0.0
	least := int(math.Ceil(leastGroup * float64(n)))
	for k := least; k <= n-least; k++ {
		if g := sorted[k] - sorted[k-1]; g > gap {
			at, gap = k, g
		}
	}
	if gap < gapSteps*step || gap < gapSpread*max(sorted[at-1]-sorted[0], sorted[n-1]-sorted[at]) {
		return s, false
	}
	border := sorted[at-1] + gap/2
	var moves [windowReadings]float64
	same, switches := 0, 0
	for i := 1; i < n; i++ {
		if (w[i].Level > border) != (w[i-1].Level > border) {
			switches++
			continue
		}
		moves[same] = math.Abs(w[i].Level - w[i-1].Level)
		same++
	}
	p := float64(n-at) / float64(n)
	if float64(switches) < leastSwitches*2*p*(1-p)*float64(n-1) || gap < gapMoves*middle(moves[:same]) {
		return s, false
	}
	s = split{from: w[0].At, until: w[n-1].At, above: n - at}
	offset := w[n/2].Head - w[n/2].Level
	s.lower, s.upper = sorted[at/2]+offset, sorted[at+(n-at)/2]+offset
	for i := range w {
		k, of := 0, at
		if w[i].Level > border {
			k, of = 1, n-at
		}
		s.flow[k] += w[i].Flow / float64(of)
		s.all += w[i].Flow / float64(n)
	}
	return s, true
}

// tell returns the spells of windows that fall into two groups. A record that does so often, or now and then, is one of
// water that comes in pulses, unless one of the two surfaces stands still.
func (e *echoes) tell(r *Record) (list []Echo) {
	within, spells := 0, [][]split{}
	for i := 0; i < len(e.list); {
		k := i + 1
		for k < len(e.list) && e.list[k].number-e.list[k-1].number <= spellHole+1 {
			k++
		}
		if k-i >= spellWindows {
			spells = append(spells, e.list[i:k])
			within += k - i
		}
		i = k
	}
	stray := len(e.list) - within
	if e.left > 0 || len(spells) > mostSpells || float64(stray) > mostStray*float64(e.windows)+1 {
		return nil
	}
	for _, s := range spells {
		x := echoOf(s, r.step)
		if float64(within) <= mostSplit*float64(e.windows) || x.LowerStill || x.UpperStill {
			list = append(list, x)
		}
	}
	return list
}

func echoOf(spell []split, step float64) (x Echo) {
	var lower, upper []float64
	above := 0
	for _, s := range spell {
		lower, upper = append(lower, s.lower), append(upper, s.upper)
		above += s.above
		x.Hours += s.seconds / 3600
		x.Volume += float64(s.all * s.seconds)
		x.ByLower += float64(s.flow[0] * s.seconds)
		x.ByUpper += float64(s.flow[1] * s.seconds)
	}
	x.From, x.Until, x.Readings = spell[0].from, spell[len(spell)-1].until, len(spell)*windowReadings
	x.Lower, x.Upper, x.Aside = middle(lower), middle(upper), float64(above)/float64(x.Readings)
	low, high := spread(lower), spread(upper)
	if len(spell) >= stillWindows {
		x.LowerStill = high > otherMoves*max(low, 2*step)
		x.UpperStill = low > otherMoves*max(high, 2*step)
	}
	return x
}

func spread(list []float64) float64 { return slices.Max(list) - slices.Min(list) }
