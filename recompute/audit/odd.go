package audit

import (
	"fmt"
	"time"

	"retotal/ingest/quantity"
	"retotal/qa/odd"
	"retotal/recompute"
)

// odds tells what is odd in the course of the level: the readings are kept as screening has them, and a person should
// look.
func odds(r *recompute.Result) (out []Finding) {
	w := oddWords{r}
	for i := range r.Odd.DropOuts {
		out = append(out, w.dropOuts(&r.Odd.DropOuts[i]))
	}
	for i := range r.Odd.Fades {
		out = append(out, w.fade(&r.Odd.Fades[i]))
	}
	for i := range r.Odd.Ponds {
		f := w.pond(&r.Odd.Ponds[i])
		f.from, f.until = r.Odd.Ponds[i].From, r.Odd.Ponds[i].Until
		out = append(out, f)
	}
	for i := range r.Odd.Echoes {
		out = append(out, w.echo(&r.Odd.Echoes[i]))
	}
	if r.Odd.Noise != nil {
		out = append(out, w.noise(r.Odd.Noise))
	}
	return out
}

// oddWords words what is odd in the units of a result.
type oddWords struct{ *recompute.Result }

// doubted is a finding on the level: what is odd, and what it is worth, may be and asks for.
func doubted(doubt, more, tolerance string) Finding {
	return Finding{
		Topic: "the level", Verdict: Doubtful, Doubts: []string{doubt},
		Sentence: "The level " + doubt + ". " + more, Tolerance: tolerance,
	}
}

func (w oddWords) volume(m3 float64) string {
	u := w.Site.Report.VolumeUnit
	return quantity.Digits(u.FromSI(m3), 4) + " " + u.Symbol
}

func (w oddWords) signed(m3 float64) string {
	if m3 >= 0 {
		return "+" + w.volume(m3)
	}
	return w.volume(m3)
}

// times says when a span was.
func (w oddWords) times(s *odd.Span) string {
	return fmt.Sprintf("from %s to %s UTC", utc(s.From), utc(s.Until))
}

func (w oddWords) hours(hours float64) string {
	return quantity.FormatDuration(time.Duration(hours * float64(time.Hour)).Round(time.Minute))
}

func extremeOf(high bool) string {
	if high {
		return "highest"
	}
	return "lowest"
}

func (w oddWords) dropOuts(d *odd.DropOuts) Finding {
	held := ""
	if d.Bounds > 0 {
		held = fmt.Sprintf("%d of them stand at an end of what the meter shows and are held as bounds. ", d.Bounds)
	}
	does, sound := "drops out", "a valve that is shut for a moment"
	if d.High {
		does, sound = "jumps", "a tank that is flushed"
	}
	return doubted(
		fmt.Sprintf("%s %d times to one and the same head of %.3f m, the %s of the record, %s (%d readings, %s)",
			does, d.Times, d.Head, extremeOf(d.High), w.times(&d.Span), d.Readings, w.hours(d.Hours)),
		fmt.Sprintf("Each time it returns to where it was: a loose cable, a failing supply or a lost echo does so, "+
			"and so may %s. %sAs logged they give %s against lines between the readings around them; their flags say "+
			"what counts. Look at cable, supply and mounting, and leave out by a ruling what still counts.",
			sound, held, w.signed(d.Effect)),
		"fewer than 6 stays of up to 12 readings at one extreme, after and before jumps over 6 times the noise, 5 "+
			"steps and 1.5 times any reversal elsewhere",
	)
}

func (w oddWords) fade(f *odd.Fade) Finding {
	return doubted(
		fmt.Sprintf("slides to a head of %.3f m, the %s of the record, stands there %s (%s) and leaves it by a jump "+
			"of %.0f mm, larger than the water makes", f.Head, extremeOf(f.High), w.times(&f.Span), w.hours(f.Hours),
			1000*f.Left),
		fmt.Sprintf("A sensor that fails does so until it is put right, and so does a channel that falls dry or is "+
			"dammed and is then flushed. As logged the time has %s (its flags say what counts); the slide before it "+
			"is in doubt too. Ask what was done at its end, and leave the time out by a ruling if it was the sensor.",
			w.volume(f.Volume)),
		"no time of 6 h or longer at the record's lowest or highest level that ends, and did not begin, with a jump "+
			"of over 3 times the largest elsewhere, 20 mm and 10 steps",
	)
}

func (w oddWords) pond(p *odd.Pond) Finding {
	return doubted(
		fmt.Sprintf("stands still at a head of %.3f m %s (%s), while it goes to %.3f m or lower at other times, where "+
			"it stands still for no longer than %s", p.Head, w.times(&p.Span), w.hours(p.Hours), p.Lower,
			w.hours(p.Usual)),
		fmt.Sprintf("Water that is ponded by a blocked outlet or by backwater does so, and flows less than the rating "+
			"says, or not at all: up to %s too much, which is what the time has as logged. A steady flow does so too. "+
			"Look for what blocked the channel below, and state the flow by a ruling if it was.", w.volume(p.Volume)),
		"no level well above zero flow that stands still for 48 h or longer, rises aside, and for 2.5 times as long "+
			"as the level does anywhere else",
	)
}

func (w oddWords) echo(e *odd.Echo) Finding {
	still := ""
	switch {
	case e.UpperStill:
		still = " The upper one hardly moves while the lower one does, as an edge or a wall."
	case e.LowerStill:
		still = " The lower one hardly moves while the upper one does, as an edge or the bed."
	}
	return doubted(
		fmt.Sprintf("jumps back and forth between two surfaces, heads of %.3f m and %.3f m, %s (%s; %.0f %% of the "+
			"readings on the upper one)", e.Lower, e.Upper, w.times(&e.Span), w.hours(e.Hours), 100*e.Aside),
		fmt.Sprintf("One of them may be a false echo, or a pump or a gate comes and goes within a few readings.%s As "+
			"logged the time has %s; by the lower surface alone it has %s, by the upper alone %s. Look at what is in "+
			"the beam and what discharges, and decide by a ruling which one is water if one is not.",
			still, w.volume(e.Volume), w.volume(e.ByLower), w.volume(e.ByUpper)),
		"no two windows of 64 readings that fall into two groups, each of 12 % or more, with a gap that is wide "+
			"against what either does, in a record that seldom does so",
	)
}

func (w oddWords) noise(n *odd.Noise) Finding {
	mm := func(m float64) string { return quantity.Digits(1000*m, 2) + " mm" }
	return doubted(
		fmt.Sprintf("scatters by %s (standard deviation of a reading; %s in the record's usual day) on %s %s, which "+
			"gives %+.1f %% too much flow there", mm(n.Deviation), mm(n.Usual), daysOf(n.Days), w.times(&n.Span),
			100*n.Share),
		fmt.Sprintf("Flow grows faster than head, so that readings too high add more than those too low take away: "+
			"half of Q'' times the square of the standard deviation in the mean, %s on these days of %s (%+.2f %% of "+
			"the whole record; %+.1f %% on %s, the worst). Where the scatter is that of the surface or the sensor, "+
			"still the water or let the meter average levels before it makes flows of them.", w.signed(n.Bias),
			w.volume(n.Volume), 100*n.Whole, 100*n.OfWorst, utc(n.Worst)[:len("2006-01-02")]),
		"noise that biases flow by less than 0.5 %: of the whole record, or of a day whose noise is over 3 times that "+
			"of the record",
	)
}

func daysOf(n int) string {
	if n == 1 {
		return "a day"
	}
	return fmt.Sprintf("%d days", n)
}
