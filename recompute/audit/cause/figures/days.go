// Package figures weighs what may stand behind a counter or reported figures that are not those of the flow: what each
// hypothesis makes of every day, by pure functions over days and hours.
package figures

import (
	"fmt"
	"math"
	"slices"

	"retotal/recompute/audit/cause"
	"retotal/recompute/stat"
)

// trial is a hypothesis with the best of its free values: what it predicts of each day.
type trial struct {
	cause.Cause
	predicted []float64
	free      int // values that were fitted
	// again fits the value to some of the days; nil where it is no number
	again func(of func(i int) bool) float64
}

// days are figures of days, m³, that hypotheses have to predict.
type days struct {
	at     []int64   // their beginnings
	end    []int64   // and ends
	flow   []float64 // what the log has of them
	figure []float64 // what is to be explained
	least  float64   // m³, tolerance of a day at least: steps of the figures
	share  float64   // of a day's volume, tolerance common to all hypotheses
}

// Limits of the comparison; common practice, held to generated records by TestPlots.
const (
	leastShare  = 0.0004 // of a day: what sums over readings differ by from a meter's own
	roughShare  = 0.004  // of a day, while values are looked for
	mostShare   = 0.04   // of a day: figures that scatter more show nothing
	fewestDays  = 6
	betterBy    = 0.05 // by how much the mean loss must fall
	alikeWithin = 0.02 // of the mean loss: fits as well
	withinShare = 0.8  // of the days must be explained, to explainedBy tolerances
	explainedBy = 4.0
)

// loss is that of one day: Cauchy's, so that single bad days count little.
func (d *days) loss(i int, predicted float64) float64 {
	x := d.off(i, predicted)
	return math.Log1p(x * x)
}

// off is by how many tolerances a day is off.
func (d *days) off(i int, predicted float64) float64 {
	scale := math.Max(math.Abs(d.figure[i]), math.Abs(predicted))
	return math.Abs(d.figure[i]-predicted) / math.Max(d.share*scale, d.least)
}

// score is the mean loss, with what every fitted value has to be worth.
func (d *days) score(t *trial) float64 {
	sum, n := 0.0, float64(len(d.figure))
	for i, p := range t.predicted {
		sum += d.loss(i, p)
	}
	return (sum + float64(t.free)*math.Log(n)) / n
}

// scatter is by how much, as a share, a hypothesis is usually off: by half of the days and by four in five of them,
// as a standard deviation or nearly (1.4826 and a third).
func (d *days) scatter(t *trial) float64 {
	var off []float64
	for i, p := range t.predicted {
		if scale := math.Max(math.Abs(d.figure[i]), math.Abs(p)); scale > 0 {
			off = append(off, math.Max(math.Abs(d.figure[i]-p)-d.least, 0)/scale)
		}
	}
	if len(off) == 0 {
		return 0
	}
	slices.Sort(off)
	return math.Max(1.4826*stat.Percentile(off, 0.5), stat.Percentile(off, 0.8)/3)
}

// explained counts the days that a hypothesis explains.
func (d *days) explained(t *trial) (n int) {
	for i, p := range t.predicted {
		if d.off(i, p) <= explainedBy {
			n++
		}
	}
	return n
}

// plain is that the figures are the flow.
func (d *days) plain() trial { return trial{predicted: d.flow} }

// weigh returns the best of several hypotheses where it is better than that nothing is wrong; false where none is. The
// tolerance is that of the one that scatters least, common to all: own ones would let wide ones win.
func (d *days) weigh(trials []trial) (best trial, ok bool) {
	plain := d.plain()
	d.share = d.scatter(&plain)
	for i := range trials {
		d.share = math.Min(d.share, d.scatter(&trials[i]))
	}
	if d.share *= 1.5; len(trials) == 0 || d.share > mostShare {
		return best, false
	}
	d.share = math.Max(d.share, leastShare)
	slices.SortStableFunc(trials, func(a, b trial) int { return sign(d.score(&a) - d.score(&b)) })
	best = trials[0]
	score := d.score(&best)
	best.Days, best.Of = d.explained(&best), len(d.figure)
	if d.score(&plain)-score < betterBy || float64(best.Days) < withinShare*float64(best.Of) {
		return best, false
	}
	for i := range trials[1:] {
		if t := &trials[i+1]; d.score(t)-score < alikeWithin && t.Name != best.Name &&
			!slices.Contains(best.AsWell, t.Name) {
			best.AsWell = append(best.AsWell, t.Name)
		}
	}
	if best.again != nil {
		best.Jackknife(len(d.figure), best.again)
	}
	best.Worth = d.worth()
	best.Against = d.against(&best)
	return best, true
}

func sign(x float64) int {
	switch {
	case x < 0:
		return -1
	case x > 0:
		return 1
	}
	return 0
}

// worth is what the figures have too much.
func (d *days) worth() (m3 float64) {
	for i := range d.figure {
		m3 += d.figure[i] - d.flow[i]
	}
	return m3
}

// against says what a cause leaves open.
func (d *days) against(t *trial) string {
	if t.Days == t.Of {
		return ""
	}
	return count(t.Of-t.Days, "day") + " of " + count(t.Of, "") + " it does not explain"
}

// split finds the day from which on a second prediction is better than a first: the losses of both are added up on
// either side.
func (d *days) split(before, after []float64) (at int, least float64) {
	sum := 0.0
	for i := range after {
		sum += d.loss(i, after[i])
	}
	least = math.Inf(1)
	for i := range before {
		if i > 0 && sum < least {
			at, least = i, sum
		}
		sum += d.loss(i, before[i]) - d.loss(i, after[i])
	}
	return at, least
}

// fewestSince is how many days there must be on either side of a change.
const fewestSince = 3

// since makes of a hypothesis about all days one about those from a day on, with what was so before; false where too
// few days are on one side.
func (d *days) since(before, after []float64) (predicted []float64, at int, ok bool) {
	at, _ = d.split(before, after)
	if at < fewestSince || len(before)-at < fewestSince {
		return nil, 0, false
	}
	return slices.Concat(before[:at], after[at:]), at, true
}

// ratio is the median ratio of figure and flow over some days of a usual size.
func (d *days) ratio(of func(i int) bool) float64 {
	middle := stat.Median(slices.Clone(d.flow))
	var list []float64
	for i, q := range d.flow {
		if of(i) && q > 0.2*middle && q > 0 {
			list = append(list, d.figure[i]/q)
		}
	}
	if len(list) == 0 {
		return math.NaN()
	}
	return stat.Median(list)
}

// leastFactor is the least by which a factor must differ from 1 to be one. Common practice.
const leastFactor = 0.01

// times is the flow times a factor.
func (d *days) times(k float64) []float64 {
	out := slices.Clone(d.flow)
	for i := range out {
		out[i] *= k
	}
	return out
}

// factor tries one factor on all days, from a day on, and up to a day.
func (d *days) factor(name string) (list []trial) {
	every := func(int) bool { return true }
	if k := d.ratio(every); k > 0 && math.Abs(k-1) >= leastFactor {
		t := trial{Cause: cause.Named(name), predicted: d.times(k), free: 1, again: d.ratio}
		t.Value, t.Unit = k, "x"
		list = append(list, t)
	}
	d.share = roughShare
	for _, later := range []bool{true, false} {
		if t, ok := d.factorPart(name, later); ok {
			list = append(list, t)
		}
	}
	return list
}

// factorPart tries a factor on the days from one on, or on those before it.
func (d *days) factorPart(name string, later bool) (t trial, ok bool) {
	n, least := len(d.flow), math.Inf(1)
	for _, i := range tries(n) {
		part := func(k int) bool { return (k >= i) == later }
		k := d.ratio(part)
		if !(k > 0) || math.Abs(k-1) < leastFactor {
			continue
		}
		predicted, sum := slices.Clone(d.flow), 0.0
		for j := range predicted {
			if part(j) {
				predicted[j] *= k
			}
			sum += d.loss(j, predicted[j])
		}
		if sum < least {
			least, ok = sum, true
			t = trial{Cause: cause.Named(name), predicted: predicted, free: 2,
				again: func(of func(int) bool) float64 {
					return d.ratio(func(k int) bool { return part(k) && of(k) })
				}}
			t.Value, t.Unit, t.Since, t.Until = k, "x", d.at[i], 0
			if !later {
				t.Since, t.Until = 0, d.at[i]
			}
		}
	}
	return t, ok
}

// tries are the days at which a change is tried: all but the first and last of a record of months, some of one of
// years.
func tries(n int) (list []int) {
	for i := fewestSince; i <= n-fewestSince; i += 1 + n/500 {
		list = append(list, i)
	}
	return list
}

// count writes a number of things.
func count(n int, thing string) string {
	switch {
	case thing == "":
		return fmt.Sprint(n)
	case n == 1:
		return "1 " + thing
	}
	return fmt.Sprintf("%d %ss", n, thing)
}
