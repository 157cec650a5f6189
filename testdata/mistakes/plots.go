package mistakes

import (
	"fmt"
	"math"
	"slices"
	"strings"
)

// Said is one cause that was named, in the order in which they were.
type Said struct {
	Topic, Name      string
	Value, Low, High float64
	Since            int64
	AsWell           []string
	Cannot           bool // named as possible only
}

// PlotOutcome is what came of one plot.
type PlotOutcome struct {
	*Plot
	Right       bool // the mistake is named with its value and onset; of a right one: nothing is
	Named       bool // the mistake is named, or counts as well
	Claims      int  // that are not the mistake
	Asked, Held int  // intervals that were given, and those that hold the value
	Said        string
}

// sinceWithin is how far an onset may be off: a day, of reported days; of others two hours.
const sinceWithin = 24 * int64(36e11)

// JudgePlot compares what was said with the truth.
func JudgePlot(p *Plot, said []Said) PlotOutcome {
	o := PlotOutcome{Plot: p, Right: p.Name == ""}
	var words []string
	for _, s := range said {
		words = append(words, fmt.Sprintf("%s %.3f (%.3f to %.3f) day %.2f as well %v", s.Name, s.Value, s.Low, s.High,
			float64(s.Since)/86400e9, s.AsWell))
		if s.Cannot {
			continue
		}
		right := s.Name == p.Name || slices.Contains(p.Also, s.Name) || slices.Contains(s.AsWell, p.Name)
		if !right {
			o.Claims++
			continue
		}
		o.Named = true
		valued := math.IsNaN(p.Value) || math.Abs(s.Value-p.Value) <= p.Within
		dated := p.Since == 0 || s.Since != 0 && abs(s.Since-p.Since) <= sinceWithin+36e11
		o.Right = o.Right || valued && dated
		if s.Name == p.Name && !math.IsNaN(p.Value) && s.Low < s.High {
			o.Asked++
			if s.Low <= p.Value*(1+1e-9)+1e-12 && p.Value <= s.High*(1+1e-9)+1e-12 ||
				p.Value < 0 && s.Low <= p.Value+1e-9 && p.Value <= s.High+1e-9 {
				o.Held++
			}
		}
	}
	if p.Name == "" {
		o.Right = o.Claims == 0
	}
	o.Said = strings.Join(words, "; ")
	return o
}

func abs(x int64) int64 {
	if x < 0 {
		return -x
	}
	return x
}

// Plots are the outcomes of many.
type Plots []PlotOutcome

// Of counts those of a card, or all of a topic where it is "".
func (l Plots) Of(topic, card string) (right, named, of, claims int) {
	for _, o := range l {
		if o.Topic == topic && (card == "" || o.Card == card) {
			of++
			if o.Right {
				right++
			}
			if o.Named {
				named++
			}
			if o.Claims > 0 {
				claims++
			}
		}
	}
	return right, named, of, claims
}

// String is the table, and what went wrong.
func (l Plots) String() string {
	var b strings.Builder
	row := func(name, topic, card string) {
		if right, named, of, claims := l.Of(topic, card); of > 0 {
			fmt.Fprintf(&b, "%-34s right %5d of %5d, named %5d, other claims in %d\n", name, right, of, named, claims)
		}
	}
	asked, held := 0, 0
	for _, c := range Cards {
		row(c.Topic, c.Topic, "")
		var seen []string
		for _, card := range c.Cards {
			if !slices.Contains(seen, card) {
				row("    "+card, c.Topic, card)
				seen = append(seen, card)
			}
		}
	}
	for _, o := range l {
		asked, held = asked+o.Asked, held+o.Held
	}
	fmt.Fprintf(&b, "intervals that hold the value: %d of %d\n", held, asked)
	for _, o := range l {
		if !o.Right || o.Claims > 0 {
			fmt.Fprintf(&b, "%v since day %.2f, said: %s\n", o.Plot, float64(o.Since)/86400e9, o.Said)
		}
	}
	return b.String()
}
