package recompute

import (
	"context"
	"fmt"
	"math"
	"slices"
	"time"

	"retotal/ingest/quantity"
	"retotal/ingest/reading"
	"retotal/ingest/site"
	"retotal/qa"
	"retotal/qa/profile"
	"retotal/recompute/block"
	"retotal/recompute/evidence"
	"retotal/recompute/settings"
)

// habits is the stage that takes in what is normal in the record: a pass of its own, before any that screens by it.
type habits struct {
	record *profile.Profile
	sign   float64 // −1 for distances, which fall as the water rises
	// readings with flow, and those of them at whose end the signal hardly moved
	flowing, resting int
}

// noHabit are the flags of readings that say nothing of what the water does.
const noHabit = qa.Conflict | qa.Unusable | qa.SensorRange | qa.Loop | qa.Blanking

// newHabits begins a record.
func newHabits(b *block.Block) *habits {
	h := &habits{sign: 1}
	if b.Site.Log.Primary == reading.Distance {
		h.sign = -1
	}
	h.record = profile.New(settingsAt(b, math.MinInt64))
	return h
}

// settingsAt are what a record must be told of its sampling at a time.
func settingsAt(b *block.Block, at int64) profile.Settings {
	s := b.Log.At(at)
	resolution := s.Step
	if b.OfFlow {
		resolution = 0 // heads are computed, not logged
	}
	return profile.Settings{
		Resolution: resolution, Interval: s.Interval, Tolerance: b.Limits.StuckTolerance,
	}
}

// Add takes in the rows of a block.
func (h *habits) Add(b *block.Block) {
	b.EachSegment(b.Corrected.Lane, b.Low, b.High, func(s *settings.Segment, low, high int) {
		bed, depth := channelOf(s)
		for i := low; i < high; i++ {
			if len(b.Log.Samplings) > 0 {
				h.record.Sampling(settingsAt(b, b.Time[i]))
			}
			if b.Head[i] > 0 {
				h.flowing++
			}
			if b.Flags[i]&qa.Attenuated != 0 {
				h.resting++
			}
			level, doubted := h.sign*b.Value[i], b.Flags[i]&noHabit != 0
			switch {
			case !doubted && (b.Head[i] > depth || b.Head[i] < bed):
				h.record.Impossible(b.Time[i], level)
			default:
				h.record.Add(b.Time[i], level, !doubted)
			}
		}
	})
}

// mostResting is the share of the readings with flow from which on a signal that hardly moves is this record's own.
// Common practice.
const mostResting = 0.05

// rests reports whether the record often hardly moves, as water in coarse steps does.
func (h *habits) rests() bool { return float64(h.resting) > mostResting*float64(h.flowing) }

// channelOf is the head at the bed of the channel and that at its depth, between which levels lie; ∓Inf where the site
// file does not say.
func channelOf(s *settings.Segment) (bed, depth float64) {
	bed, depth = math.Inf(-1), math.Inf(1)
	if v := s.Settings.Values[site.ChannelDepth]; v != nil {
		depth = max(v.From.SI, v.To.SI)
	}
	if d := s.Settings.Device; d != nil {
		text, _ := d.Values["crest_height"].(string)
		if v, err := quantity.Parse(text, quantity.LengthDimension); err == nil {
			bed = -v.SI
		}
	}
	return bed, depth
}

// flagOf is the flag of what a record says of readings.
func flagOf(v profile.Verdict) qa.Flags {
	switch {
	case v.Kind == profile.Spike && v.Remove:
		return qa.Spike
	case v.Kind == profile.Spike:
		return qa.OddPeak
	case v.Remove:
		return qa.Stuck
	}
	return qa.Still
}

// ask reads the log once for what is normal in it, which tells spikes and stuck readings, and for moves of the sensor.
func (r *runner) ask(ctx context.Context) error {
	asker := r.bare(false)
	asker.asks = true
	p, err := asker.read(ctx)
	if err == nil {
		err = p.drain()
	}
	if err != nil {
		return err
	}
	r.last = r.log.Known().Until
	r.tellMoves(p.moves.Find())
	if r.site.Log.Means {
		return nil // means over intervals tell neither spikes nor stuck readings
	}
	r.rests = p.habits.rests()
	found := p.habits.record.Finish()
	r.rise, r.fall = found.Rise, found.Fall
	for _, v := range found.Verdicts {
		list := &r.told[1]
		if v.Kind == profile.Stuck {
			list = &r.told[2]
		}
		*list = append(*list, block.Told{From: v.From, Until: v.Until, Flags: flagOf(v)})
	}
	for _, n := range found.Notes {
		r.habits = append(r.habits, noteText(n))
	}
	contradicted, confirmed, notes := p.witnesses.finish()
	r.told[3], r.confirmed, r.habits = contradicted, confirmed, append(r.habits, notes...)
	acquitted := 0
	if r.told[2], acquitted = without(r.told[2], confirmed); acquitted > 0 {
		r.habits = append(r.habits, spells(acquitted)+" that the second sensor shows too: kept")
	}
	return nil
}

// tellMoves takes in moves of the sensor, those over the limit where one is stated for a step. The readings while it
// was out of its place are flagged with the first after it.
func (r *runner) tellMoves(list []evidence.Move) {
	limit := r.site.Screening.StepLimit
	r.moves = slices.DeleteFunc(list, func(m evidence.Move) bool { return math.Abs(m.Size) <= limit })
	for _, m := range r.moves {
		r.told[4] = append(r.told[4], block.Told{From: m.Before + 1, Until: m.After, Flags: qa.Step})
	}
}

// tellLimits puts in what the record tells of how fast its water rises and falls, where a device has no highest head,
// and whether it often rests, where the site file does not say how long it may.
func (r *runner) tellLimits(b *block.Block) {
	endless := func(s settings.Segment) bool { return math.IsInf(s.Usual, 1) }
	topless := slices.ContainsFunc(b.Corrected.Segments, endless)
	put := func(l *qa.Limits, interval time.Duration) {
		if share := float64(l.RatePer) / float64(max(interval, time.Second)); topless {
			l.ToldUp, l.ToldDown = r.rise*share, r.fall*share
		}
		l.Rests = r.rests && r.site.Screening.FlatRange == 0 && r.site.Screening.FlatWindow == 0
	}
	put(&b.Limits, b.Log.Interval)
	for i := range b.Limited {
		put(&b.Limited[i].Limits, b.Log.At(b.Limited[i].From+1).Interval)
	}
}

// noteText says what a record says of itself.
func noteText(n profile.Note) string {
	mm := func(v float64) string { return quantity.Digits(1000*v, 3) }
	switch n.Kind {
	case profile.OwnPulses:
		way := "falls"
		if n.Rising {
			way = "rises"
		}
		so := "many"
		if n.Alike {
			so = "alike"
		}
		return fmt.Sprintf("%d short %s of %s to %s mm are so %s that they are this record's own, as a pump's are: "+
			"none of them is flagged", n.Count, way, mm(n.Low), mm(n.High), so)
	case profile.CannotTell:
		if n.Count == 1 {
			return "a run of one value stands where the record holds too little to tell whether it is stuck: it is kept"
		}
		return fmt.Sprintf("%d runs of one value stand where the record holds too little to tell whether they are "+
			"stuck: they are kept", n.Count)
	}
	return fmt.Sprintf("%d of the weakest excursions were not looked at, since there are so many", n.Count)
}
