package qa

import (
	"math"
	"math/rand/v2"
	"testing"
	"time"
)

// scenario is one generated month: heads in whole steps of the log, and what was put into them.
type scenario struct {
	interval   time.Duration
	resolution float64
	heads      []float64
	spike      []bool // injected
	stuck      []bool
	edge       []bool // first reading of a stuck run: true and repeated
	rise       []bool // rising limb of a storm
	storms     int
}

// generate makes a month with a diurnal wave, noise of the water's surface, and storms with rising limbs of 5 to 60
// minutes and recessions of hours. Spikes of one to three readings, 25 to 500 mm off, and runs stuck for 1.3 to 6 times
// the limit are put in when wanted.
func generate(random *rand.Rand, spoil bool) *scenario {
	s := &scenario{
		interval:   []time.Duration{time.Minute, 2 * time.Minute, 5 * time.Minute, 15 * time.Minute}[random.IntN(4)],
		resolution: []float64{0.001, 0.0005, 0.002}[random.IntN(3)],
	}
	n := int(30 * 24 * time.Hour / s.interval)
	s.heads, s.spike = make([]float64, n), make([]bool, n)
	s.stuck, s.edge, s.rise = make([]bool, n), make([]bool, n), make([]bool, n)
	base, wave, noise := 0.08+0.08*random.Float64(), 0.02+0.02*random.Float64(), math.Max(0.0012, 0.6*s.resolution)
	for i := range s.heads {
		day := 2 * math.Pi * float64(i) * s.interval.Hours() / 24
		s.heads[i] = base + wave*math.Sin(day-2) + wave/3*math.Sin(2*day-1)
	}
	for range 3 + random.IntN(5) {
		s.storm(random, random.IntN(n))
	}
	for i := range s.heads {
		s.heads[i] = math.Round((s.heads[i]+noise*random.NormFloat64())/s.resolution) * s.resolution
	}
	if spoil {
		s.putSpikes(random, n/200)
		s.putStuck(random, 4)
	}
	return s
}

// storm adds a rise of 20 to 200 mm in 5 to 60 minutes, rounded off at its crest, and a recession with a time constant
// of 1 to 6 hours.
func (s *scenario) storm(random *rand.Rand, start int) {
	s.storms++
	height, rise, fall := 0.02+0.18*random.Float64(), 5+55*random.Float64(), 60*(1+5*random.Float64())
	for i := start; i < len(s.heads); i++ {
		minutes := float64(i-start) * s.interval.Minutes()
		if minutes < rise {
			s.heads[i] += height * math.Sin(math.Pi/2*minutes/rise)
			s.rise[i] = true
		} else {
			s.heads[i] += height * math.Exp(-(minutes-rise)/fall)
		}
	}
}

func (s *scenario) putSpikes(random *rand.Rand, count int) {
	for range count {
		at, length := 10+random.IntN(len(s.heads)-20), 1+random.IntN(3)
		free := true
		for i := at - 8; i < at+length+8 && i < len(s.heads); i++ {
			free = free && !s.spike[i]
		}
		for i := at; free && i < at+length; i++ {
			off := 0.025 + 0.475*random.Float64()
			if random.IntN(2) == 0 {
				off = -off
			}
			s.heads[i] += math.Round(off/s.resolution) * s.resolution
			s.spike[i] = true
		}
	}
}

func (s *scenario) putStuck(random *rand.Rand, count int) {
	limit := max(time.Hour, 20*s.interval)
	for range count {
		length := int(float64(limit/s.interval) * (1.3 + 4.7*random.Float64()))
		at := 10 + random.IntN(len(s.heads)-length-20)
		if s.spike[at] || s.stuck[at] || s.stuck[at+length] || s.stuck[at-1] {
			continue
		}
		s.edge[at] = true
		for i := at + 1; i < at+length; i++ {
			s.heads[i], s.stuck[i], s.spike[i] = s.heads[at], true, false
		}
	}
}

// screen runs every check with its defaults.
func (s *scenario) screen() *Window {
	w := window(s.interval, s.heads)
	screener := Screener{Limits: NewLimits(byHand(s.interval), s.interval, 3*s.interval, s.resolution)}
	screener.Flag(w, 0, true)
	return w
}

// score counts what one check found of what was put in.
type score struct{ found, missed, false_ int }

func (x *score) add(is, flagged bool) {
	switch {
	case is && flagged:
		x.found++
	case is:
		x.missed++
	case flagged:
		x.false_++
	}
}

func (x score) recall() float64    { return float64(x.found) / float64(x.found+x.missed) }
func (x score) precision() float64 { return float64(x.found) / float64(x.found+x.false_) }

// scores runs so many generated months, by a fixed seed.
func scores(months int) (spike, stuck score) {
	random := rand.New(rand.NewPCG(41, 42))
	for range months {
		s := generate(random, true)
		w := s.screen()
		for i, f := range w.Flags {
			if !s.stuck[i] {
				spike.add(s.spike[i], f&Spike != 0)
			}
			if !s.edge[i] && !s.spike[i] {
				stuck.add(s.stuck[i], f&Stuck != 0)
			}
		}
	}
	return spike, stuck
}

// TestRecall: on generated months with storms, spikes and stuck runs are found, and little else.
func TestRecall(t *testing.T) {
	spike, stuck := scores(40)
	for name, x := range map[string]score{"spike": spike, "stuck": stuck} {
		if x.recall() < 0.98 || x.precision() < 0.95 {
			t.Errorf("%s: recall %.4f, precision %.4f of %d", name, x.recall(), x.precision(), x.found+x.missed)
		}
	}
}

// TestNoStormIsFlagged: of 500 generated storms no reading of a rise is flagged by any check that doubts a reading for
// its course.
func TestNoStormIsFlagged(t *testing.T) {
	random := rand.New(rand.NewPCG(43, 44))
	storms := 0
	for storms < 500 {
		s := generate(random, false)
		storms += s.storms
		w := s.screen()
		for i, f := range w.Flags {
			if s.rise[i] && f&(Spike|Stuck|Rate|Step|Clipped|Noise|Zeros|Attenuated) != 0 {
				t.Errorf("after %d storms: a rise at %d of %v data is flagged %q", storms, i, s.interval, f.Text())
				return
			}
		}
	}
}

// BenchmarkRecall prints how well spikes and stuck runs are found, over 200 generated months.
func BenchmarkRecall(b *testing.B) {
	var spike, stuck score
	for b.Loop() {
		spike, stuck = scores(200)
	}
	b.ReportMetric(100*spike.recall(), "%spikes-found")
	b.ReportMetric(100*spike.precision(), "%spikes-right")
	b.ReportMetric(100*stuck.recall(), "%stuck-found")
	b.ReportMetric(100*stuck.precision(), "%stuck-right")
}
