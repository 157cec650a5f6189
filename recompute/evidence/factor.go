package evidence

import (
	"math"

	"retotal/ingest/reading"
	"retotal/recompute/block"
	"retotal/recompute/settings"
)

// Factor is the one number by which a lane's flows must be multiplied to agree with most of the logged ones.
type Factor struct {
	Value    float64
	Readings int // that were tried: each of the first, then one in many
	Within   int // that agree with it, within the log's rounding of flow and level
	Plain    int // that agree without it
}

// Explains reports whether the factor, and nothing else, stands between the logged flow and the lane's: as when a
// coefficient was rounded.
func (f Factor) Explains() bool {
	return f.Value != 1 && f.Within > f.Plain && float64(f.Within) >= factorShare*float64(f.Readings)
}

// RoundedCoefficient is by how much a coefficient of four digits may be rounded: half a unit of the last digit of
// 1.000.
const RoundedCoefficient = 0.0005

// Rules for a common factor.
const (
	factorShare = 0.99 // of the readings must agree with it
	factorStep  = 1e-5
	factorSteps = 50 // on either side of 1, up to RoundedCoefficient
	factorAll   = 4096
	factorEvery = 32
)

// factors counts how many readings agree with each factor near 1.
type factors struct {
	seen, tried int
	begins      [2*factorSteps + 2]int // how many more agree from this factor on
}

// sample tries some of the rows of a block.
func (w *FlowCheck) sample(b *block.Block, f *follower, s *settings.Segment, flows []float64, first int, half float64) {
	for i := 0; i < len(flows); i++ {
		if n := f.factors.seen + i; n >= factorAll && n%factorEvery != 0 {
			i += factorEvery - 1 - n%factorEvery
			continue
		}
		logged := b.Logged[first+i]
		if b.LoggedState[first+i] != reading.Present || !(flows[i] > 0) || flows[i] == s.MaximumFlow || logged <= half {
			continue
		}
		h := s.Head(b.Time[first+i], b.Figure[first+i], b.AirAt(first+i))
		least := math.Min(flows[i], s.MeterFlow(h-w.levelStep/2))
		most := math.Max(flows[i], s.MeterFlow(h+w.levelStep/2))
		f.factors.add((logged-half)/most, (logged+half)/math.Max(least, 1e-300))
	}
	f.factors.seen += len(flows)
}

// add takes in the least and the largest factor with which a reading agrees.
func (f *factors) add(least, most float64) {
	f.tried++
	number := func(v float64) float64 {
		return math.Min(math.Max((v-1)/factorStep, -factorSteps-1), factorSteps+1) + factorSteps
	}
	from, until := int(math.Ceil(number(least)-1e-9)), int(math.Floor(number(most)+1e-9))
	if from = max(from, 0); until < from || from > 2*factorSteps {
		return
	}
	f.begins[from]++
	f.begins[min(until, 2*factorSteps)+1]--
}

// best is the middle of the factors with which most readings agree.
func (f *factors) best() Factor {
	out := Factor{Value: 1, Readings: f.tried}
	count, from, until := 0, 0, 0
	for i, more := range f.begins[:2*factorSteps+1] {
		count += more
		if i == factorSteps {
			out.Plain = count
		}
		if count > out.Within {
			out.Within, from = count, i
		}
		if count == out.Within {
			until = i
		}
	}
	if out.Within > out.Plain {
		out.Value = 1 + factorStep*(float64(from+until)/2-factorSteps)
	}
	return out
}
