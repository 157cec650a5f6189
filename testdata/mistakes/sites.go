package mistakes

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"time"

	"retotal/testdata/records"
)

// Plot is a site as its files tell it: a site file and a log, one of whose counter, reported figures, clock or level is
// known to be wrong, or nothing.
type Plot struct {
	Seed   uint64
	Number int
	Topic  string   // "counter", "reported", "clock", "level"; "right" for nothing
	Name   string   // the mistake as the catalogue of package cause names it, "" for none
	Value  float64  // in the units of the catalogue; NaN where there is none
	Within float64  // by how much a value may be off
	Since  int64    // when it began; 0 for from the first reading on
	Also   []string // names that no file could tell from it
	Card   string   // what was dealt
	Site   string   // text of the site file
	Log    string   // text of log.csv
}

// String names a case so that it can be made again.
func (p *Plot) String() string {
	return fmt.Sprintf("seed %d, number %d, %s: %s %.4f", p.Seed, p.Number, p.Card, p.Name, p.Value)
}

// Cards are what is dealt, each in turn, by topic.
var Cards = []struct {
	Topic string
	Cards []string
}{
	{"counter", []string{
		"multiplier", "reset", "multiplier since", "replaced", "counter cut-off", "log cut-off", "standing",
		"counter settings", "flow scaled",
	}},
	{"reported", []string{
		"unit", "day bound", "unit since", "repeated", "register", "corrected", "month unit", "month repeated",
		"month elsewhere", "month register", "month without days", "summer time",
	}},
	{"clock", []string{"offset", "drift", "follows summer time"}},
	{"level", []string{"stuck", "sound", "step", "ponding"}},
	{"right", []string{
		"counter", "reported", "month", "level", "level with air", "level", "all", "level with air",
	}},
}

// plot is a case under way.
type plot struct {
	*Plot
	r        *rand.Rand
	noise    Noise
	begins   time.Time
	fine     time.Duration // of the truth
	every    int           // of so many fine readings one is logged
	heads    []float64     // true ones, by the fine interval
	coef, of float64       // Q = coef × head^of, m³/s
	step     float64       // m, of the log's level
	shown    []float64     // heads as the sensor has them
	air      []float64     // °C; nil for none
	flows    []float64     // m³/s, of the log; nil for none
	counts   []float64     // m³, of the counter; nil for none
	clock    func(t time.Time) time.Time
	format   string
	lines    []string // further ones of the site file
	zone     string   // of the report
	rounding float64  // m³, of reported figures
	hidden   bool     // the mistake does not show
}

// MakePlot deals cards by number from a topic. Of noise it knows Coarse, levels to 1 cm and figures to three digits,
// and HourMeans, a reading an hour (no means); all else is Clean.
func MakePlot(seed uint64, topic string, number int, noise Noise) *Plot {
	k := slices.IndexFunc(Cards, func(c struct {
		Topic string
		Cards []string
	}) bool {
		return c.Topic == topic
	})
	card := Cards[k].Cards[number%len(Cards[k].Cards)]
	random := rand.New(rand.NewPCG(seed, uint64(k)<<40|uint64(number)))
	for {
		p := &plot{
			Plot: &Plot{Seed: seed, Number: number, Topic: topic, Card: card, Value: math.NaN()},
			r:    random, noise: noise,
		}
		if p.make(topic, card); !p.hidden {
			p.write()
			return p.Plot
		}
	}
}

// make makes one; it may turn out that the mistake does not show.
func (p *plot) make(topic, card string) {
	least := 45
	if strings.HasPrefix(card, "month") {
		least = 130
	}
	p.water(least)
	p.shown = slices.Clone(p.heads)
	p.clock = func(t time.Time) time.Time { return t }
	p.format, p.zone = "2006-01-02 15:04", "+00:00"
	switch topic {
	case "counter":
		p.counter(card)
	case "reported":
		p.reported(card)
	case "clock":
		p.clocks(card)
	case "level":
		p.level(card)
	case "right":
		p.right(card)
	}
}

// shows says that figures differ where they should: a tenth of the days, by 0.7 % or more.
func (p *plot) shows(figures, truth []float64) {
	off := 0
	for i := range figures {
		if math.Abs(figures[i]/truth[i]-1) > 0.007 {
			off++
		}
	}
	p.hidden = p.hidden || off*10 < len(figures)
}

// water makes the truth: that of a works, with its day and its week, or of a stream, both with rain.
func (p *plot) water(least int) {
	r := p.r
	days := least + r.IntN(60)
	p.fine = 5 * time.Minute
	p.every = one(r, 1, 2, 3, 3)
	p.begins = records.Begin.AddDate(0, 0, r.IntN(250))
	p.of = one(r, 1.5, 2.5, 1.55, 2.5)
	p.step = one(r, 0.001, 0.001, 0.002, 0.003)
	switch p.noise {
	case Coarse:
		p.step = 0.01
	case HourMeans:
		p.every = 12
	}
	const perDay = 288
	n := days * perDay
	p.heads = make([]float64, n)
	slow, quick := 0.0, 0.0
	storm, rain := 0.0, 0.0
	phase, swing := between(r, 6, 10), between(r, 0.15, 0.4)
	if r.IntN(3) == 0 {
		swing /= 6 // a stream
	}
	weekend := between(r, 0.7, 1)
	often := between(r, 0.1, 0.25)
	wander := between(r, 0.03, 0.1)
	base := between(r, 0.10, 0.22)
	for i := range p.heads {
		hour := float64(i) / 12
		slow += -slow/(10*perDay) + wander*math.Sqrt(2.0/(10*perDay))*r.NormFloat64()
		quick += -quick/24 + 0.02*math.Sqrt(2.0/24)*r.NormFloat64()
		if r.Float64() < often/perDay {
			rain = magnitude(r, 0.1, 1.2)
		}
		storm += (rain - storm) / 12
		rain *= 1 - 1.0/60
		storm *= 1 - 1.0/300
		day := 1 + swing*(math.Sin(2*math.Pi*(hour-phase)/24)+0.5*math.Sin(4*math.Pi*(hour-phase+2)/24))
		day *= 1 - (1-weekend)*restOf(hour)
		p.heads[i] = base * math.Pow(day*math.Exp(slow+quick)+storm, 0.5)
	}
	p.coef = between(r, 0.4, 1.4)
}

// restOf is how far it is weekend, at an hour since the record began: it comes and goes over the hours of a night.
func restOf(hour float64) float64 {
	week := math.Mod(hour, 168)
	return 1/(1+math.Exp(-(week-123)/1.5)) - 1/(1+math.Exp(-(week-165)/1.5))
}

// rate is the flow of a head, m³/s.
func (p *plot) rate(h float64) float64 {
	if h <= 0 {
		return 0
	}
	return p.coef * math.Pow(h, p.of)
}

// at is the time of a fine reading.
func (p *plot) at(i int) time.Time { return p.begins.Add(time.Duration(i) * p.fine) }

// measured puts a flow column into the log, of what the sensor shows, and a counter that adds it up.
func (p *plot) measured() {
	p.flows, p.counts = make([]float64, len(p.shown)), make([]float64, len(p.shown))
	total := math.Floor(magnitude(p.r, 10, 300000))
	for i, h := range p.shown {
		p.flows[i] = p.rate(h)
		if i > 0 {
			total += (p.flows[i] + p.flows[i-1]) / 2 * p.fine.Seconds()
		}
		p.counts[i] = total
	}
}

// recount lets the counter count other flows.
func (p *plot) recount(of func(i int, flow float64) float64) {
	total := p.counts[0]
	for i := range p.counts {
		if i > 0 {
			total += (of(i-1, p.flows[i-1]) + of(i, p.flows[i])) / 2 * p.fine.Seconds()
		}
		p.counts[i] = total
	}
}

// flowAt is the flow below which it stays for a part of the time.
func (p *plot) flowAt(part float64) float64 {
	sorted := slices.Clone(p.flows)
	slices.Sort(sorted)
	return sorted[int(part*float64(len(sorted)-1))]
}

// onset is a reading in the middle half.
func (p *plot) onset() int {
	n := len(p.heads)
	return n/4 + p.r.IntN(n/2)
}

func (p *plot) factor() float64 {
	return one(p.r, 10, 0.1, 100, 0.01, 1/3.6, 3.6, usPerImperial, 1/usPerImperial, 2, 0.5, 1.25, 0.8, 1.5,
		between(p.r, 0.7, 1.4))
}

// counter deals a mistake of the counter.
func (p *plot) counter(card string) {
	p.measured()
	r := p.r
	switch card {
	case "multiplier":
		k := p.factor()
		for math.Abs(k-1) < 0.03 {
			k = p.factor()
		}
		p.recount(func(_ int, q float64) float64 { return k * q })
		p.Name, p.Value, p.Within = "counter multiplier", k, 0.01*k
	case "multiplier since":
		k, from := one(r, 10, 0.1, 100, 0.01, 2, 0.5, 1/3.6), p.onset()
		p.recount(func(i int, q float64) float64 {
			if i >= from {
				return k * q
			}
			return q
		})
		p.Name, p.Value, p.Within, p.Since = "counter multiplier", k, 0.02*k, p.at(from).UnixNano()
	case "reset", "replaced":
		from := p.onset()
		lost := p.counts[from]
		if card == "replaced" {
			lost -= math.Floor(lost * between(r, 0.1, 0.9))
			if p.counts[from] < 1000 {
				lost = -math.Floor(magnitude(r, 10000, 100000))
			}
		}
		for i := from; i < len(p.counts); i++ {
			p.counts[i] -= lost
		}
		p.Name, p.Since = "counter "+card, p.at(from).UnixNano()
	case "counter cut-off":
		off := p.flowAt(between(r, 0.1, 0.35))
		p.recount(func(_ int, q float64) float64 {
			if q < off {
				return 0
			}
			return q
		})
		p.Name, p.Value, p.Within = card, off*1000, 0.1*off*1000
	case "log cut-off":
		off := p.flowAt(between(r, 0.1, 0.35))
		for i, q := range p.flows {
			if q < off {
				p.flows[i] = 0
			}
		}
		p.lines = append(p.lines, "[settings]", fmt.Sprintf("flow_cut_off = \"%.6f L/s\"", off*1000))
		p.Name = card
	case "standing":
		from := p.onset()
		until := from + int(magnitude(r, 1.2, 6)*288)
		p.recount(func(i int, q float64) float64 {
			if i >= from && i < until {
				return 0
			}
			return q
		})
		p.Name, p.Since = "counter standing", p.at(from).UnixNano()
	case "counter settings":
		by := one(r, -1.0, 1) * between(r, 0.008, 0.03)
		p.recount(func(i int, _ float64) float64 { return p.rate(p.shown[i] + by) })
		p.Name, p.Value, p.Within = card, by*1000, 2
	case "flow scaled":
		k := one(r, 3.6, 1/3.6, 10, 0.1, 1.25, 0.8, 2, 0.5)
		for i := range p.flows {
			p.flows[i] *= k
		}
		p.Name, p.Value, p.Within = "flow scaled after the meter", k, 0.01*k
	}
}

// volumes adds up the truth by the bounds of periods.
func (p *plot) volumes(bounds []time.Time) (list []float64) {
	sum := make([]float64, len(p.heads)) // up to reading i
	for i := 1; i < len(sum); i++ {
		sum[i] = sum[i-1] + (p.rate(p.shown[i])+p.rate(p.shown[i-1]))/2*p.fine.Seconds()
	}
	upTo := func(t time.Time) float64 {
		x := math.Min(math.Max(float64(t.Sub(p.begins))/float64(p.fine), 0), float64(len(sum)-1)-1e-9)
		k := int(x)
		return sum[k] + (sum[k+1]-sum[k])*(x-float64(k))
	}
	for i := 1; i < len(bounds); i++ {
		list = append(list, upTo(bounds[i])-upTo(bounds[i-1]))
	}
	return list
}

// days are the bounds of the whole days of the record but the first and the last, by the zone of the report.
func (p *plot) days() (bounds []time.Time) {
	location, _ := time.LoadLocation("UTC")
	if p.zone != "+00:00" {
		location, _ = time.LoadLocation(p.zone)
	}
	first := p.begins.In(location)
	day := time.Date(first.Year(), first.Month(), first.Day()+2, 0, 0, 0, 0, location)
	for day.Before(p.at(len(p.heads)-1).AddDate(0, 0, -1)) {
		bounds = append(bounds, day)
		day = time.Date(day.Year(), day.Month(), day.Day()+1, 0, 0, 0, 0, location)
	}
	return bounds
}

// shifted moves bounds by hours that may change with the day.
func shifted(bounds []time.Time, hours func(t time.Time) float64) (out []time.Time) {
	for _, t := range bounds {
		out = append(out, t.Add(time.Duration(hours(t)*float64(time.Hour))))
	}
	return out
}

// report writes down figures of days or months.
func (p *plot) report(labels []string, figures []float64) {
	p.lines = append(p.lines, "[report]", fmt.Sprintf("time_zone = %q", p.zone), "[reported]")
	for i, label := range labels {
		decimals := max(0, int(-math.Floor(math.Log10(p.rounding)+0.5)))
		p.lines = append(p.lines, fmt.Sprintf("%q = \"%.*f m3\"", label, decimals,
			math.Round(figures[i]/p.rounding)*p.rounding))
	}
}

func labelsOf(bounds []time.Time, format string) (list []string) {
	for _, t := range bounds[:len(bounds)-1] {
		list = append(list, t.Format(format))
	}
	return list
}

// roundingOf is a step of figures that are about so large: four digits or five.
func (p *plot) roundingOf(size float64) float64 {
	digits := one(p.r, 3, 4)
	if p.noise == Coarse {
		digits = 2
	}
	return math.Pow(10, math.Floor(math.Log10(size))-float64(digits))
}

// reported deals a mistake of reported figures.
func (p *plot) reported(card string) {
	if strings.HasPrefix(card, "month") {
		p.months(card)
		return
	}
	r := p.r
	if card == "summer time" {
		p.zone = "Europe/Berlin"
		p.begins = time.Date(2031, time.Month(one(r, 3, 10)), 1+r.IntN(10), 0, 0, 0, 0, time.UTC)
	}
	bounds := p.days()
	v := p.volumes(bounds)
	p.rounding = p.roundingOf(v[len(v)/2])
	n := len(v)
	from := n/4 + r.IntN(n/2)
	since := func() { p.Since = bounds[from].UnixNano() }
	switch card {
	case "unit", "unit since":
		k := one(r, 10, 0.1, 1/3.6, 3.6, usPerImperial, 1/usPerImperial, 1000, 0.001, 35.3146667)
		start := 0
		if card == "unit since" {
			start = from
			since()
		}
		for i := start; i < n; i++ {
			v[i] *= k
		}
		if k < 1 {
			p.rounding /= 1000
		}
		p.Name, p.Value, p.Within = "reported unit", k, 0.01*k
	case "day bound":
		h := float64(one(r, -12, -8, -6, -5, -2, -1, 1, 2, 5, 6, 7, 8, 9, 12))
		v = p.volumes(shifted(bounds, func(time.Time) float64 { return h }))
		p.Name, p.Value, p.Within = "reported day bound", h, 0.1
		p.Also = []string{"clock offset"}
	case "summer time":
		_, before := bounds[0].Zone()
		v = p.volumes(shifted(bounds, func(t time.Time) float64 {
			_, off := t.Zone()
			return float64(off-before) / 3600
		}))
		for i := 1; i < len(bounds); i++ {
			if _, off := bounds[i].Zone(); off != before {
				p.Since = bounds[i].UnixNano()
				p.Value = float64(off-before) / 3600
				break
			}
		}
		p.Name, p.Within = "reported day bound", 0.15
	case "repeated":
		length := 2 + r.IntN(6)
		at := length + 1 + r.IntN(n-2*length-1)
		for i := range length {
			if p.Number/len(Cards[1].Cards)%2 == 0 {
				v[at+i] = v[at-1]
			} else {
				v[at+i] = v[at+i-length]
			}
		}
		p.Name, p.Since = "reported value repeated", bounds[at].UnixNano()
	case "register":
		sum := one(r, 0, math.Floor(magnitude(r, 100, 100000)))
		for i := range v {
			sum += v[i]
			v[i] = sum
		}
		p.Name = "register reported"
	case "corrected":
		p.correct()
		p.shown, p.heads = p.heads, p.shown
		v = p.volumes(bounds)
		p.shown, p.heads = p.heads, p.shown
		p.Name = "corrected figures reported"
	}
	if card == "day bound" || card == "summer time" {
		p.shows(v, p.volumes(bounds))
	}
	p.report(labelsOf(bounds, time.DateOnly), v)
}

// showsIn says that heads go over so much, m.
func (p *plot) showsIn(heads []float64, range0 float64) {
	p.hidden = p.hidden || slices.Max(heads)-slices.Min(heads) < range0
}

// correct lets the sensor show too much, and the site file say so.
func (p *plot) correct() {
	by := math.Round(between(p.r, 10, 30)) / 1000
	for i := range p.shown {
		p.shown[i] += by
	}
	p.lines = append(p.lines, "[[correction]]", "reason = \"survey\"",
		fmt.Sprintf("level_of_zero_flow = \"%.3f m\"", by))
}

// months deals a mistake of figures of months. The record begins with a month and has four.
func (p *plot) months(card string) {
	r := p.r
	p.begins = time.Date(2031, time.Month(1+r.IntN(8)), 1, 0, 0, 0, 0, time.UTC)
	var bounds []time.Time
	for m := range 5 {
		bounds = append(bounds, p.begins.AddDate(0, m, 0))
	}
	v := p.volumes(bounds)
	p.rounding = p.roundingOf(v[1])
	if p.rounding > v[1]/5000 && p.noise != Coarse {
		p.rounding /= 10
	}
	k := 1 + r.IntN(3)
	switch card {
	case "month unit":
		f := one(r, 10, 0.1, 1/3.6, 3.6, usPerImperial, 1/usPerImperial, 1000, 0.001)
		for i := range v {
			v[i] *= f
		}
		if f < 1 {
			p.rounding /= 1000
		}
		p.Name, p.Value, p.Within = "reported unit", f, 0.01*f
	case "month repeated":
		p.hidden = math.Abs(v[k-1]/v[k]-1) < 0.007
		v[k] = v[k-1]
		p.Name, p.Since = "reported value repeated", bounds[k].UnixNano()
		p.Also = []string{"reported from elsewhere"}
	case "month elsewhere":
		other := (k + 2) % 4
		p.hidden = math.Abs(v[other]/v[k]-1) < 0.007
		p.report(labelsOf(bounds, "2006-01")[k:k+1], []float64{v[other]})
		p.Name, p.Since = "reported from elsewhere", bounds[k].UnixNano()
		return
	case "month register":
		for i := 1; i < len(v); i++ {
			v[i] += v[i-1]
		}
		p.Name = "register reported"
	case "month without days":
		last := 1 + r.IntN(3)
		cut := slices.Clone(bounds[k : k+2])
		if r.IntN(2) == 0 {
			cut[1] = cut[1].AddDate(0, 0, -last)
		} else {
			cut[0] = cut[0].AddDate(0, 0, last)
		}
		v[k] = p.volumes(cut)[0]
		p.Name, p.Value, p.Within, p.Since = "days left out", float64(last), 0.1, bounds[k].UnixNano()
	}
	p.report(labelsOf(bounds, "2006-01"), v)
}

// clocks deals a mistake of the clock, beside reported days that are right.
func (p *plot) clocks(card string) {
	r := p.r
	bounds := p.days()
	switch card {
	case "offset":
		by := one(r, -1.0, 1) * between(r, 0.3, 2.8)
		for math.Abs(by*2-math.Round(by*2)) < 0.2 {
			by = one(r, -1.0, 1) * between(r, 0.3, 2.8)
		}
		p.clock = func(t time.Time) time.Time { return t.Add(time.Duration(by * float64(time.Hour))) }
		p.Name, p.Value, p.Within = "clock offset", by, 0.15
		p.shows(p.volumes(bounds), p.volumes(shifted(bounds, func(time.Time) float64 { return -by })))
	case "drift":
		by := one(r, -1.0, 1) * between(r, 40, 180) // seconds a day
		p.clock = func(t time.Time) time.Time {
			return t.Add(time.Duration(by * t.Sub(p.begins).Hours() / 24 * float64(time.Second)))
		}
		p.format = "2006-01-02 15:04:05"
		p.Name, p.Value, p.Within = "clock drift", by, 0.25*math.Abs(by)
		p.shows(p.volumes(bounds), p.volumes(shifted(bounds, func(t time.Time) float64 {
			return -by * t.Sub(p.begins).Hours() / 24 / 3600
		})))
	case "follows summer time":
		location, _ := time.LoadLocation("Europe/Berlin")
		p.begins = time.Date(2031, time.Month(one(r, 3, 10)), 1+r.IntN(10), 0, 0, 0, 0, time.UTC)
		_, before := p.begins.In(location).Zone()
		p.clock = func(t time.Time) time.Time {
			_, off := t.In(location).Zone()
			return t.Add(time.Duration(off-before) * time.Second)
		}
		for i := range p.heads {
			if _, off := p.at(i).In(location).Zone(); off != before {
				p.Since = p.at(i).UnixNano()
				break
			}
		}
		p.Name = "summer time in the log"
		at := int(time.Duration(p.Since-p.begins.UnixNano()) / p.fine)
		p.showsIn(p.heads[at-12:at+12], 3*p.step) // hours that are equal are told once
		return
	}
	v := p.volumes(bounds)
	p.rounding = p.roundingOf(v[len(v)/2])
	p.report(labelsOf(bounds, time.DateOnly), v)
}

// warmth makes the temperature of the air, °C.
func (p *plot) warmth() {
	p.air = make([]float64, len(p.heads))
	weather, mean, day := 0.0, between(p.r, 4, 16), between(p.r, 2, 6)
	for i := range p.air {
		weather += -weather/(3*288) + 4*math.Sqrt(2.0/(3*288))*p.r.NormFloat64()
		p.air[i] = mean + weather + day*math.Sin(2*math.Pi*(float64(i)/12-9)/24)
	}
}

// level deals a mistake of a log that has nothing but levels.
func (p *plot) level(card string) {
	r := p.r
	if r.IntN(3) == 0 {
		p.warmth()
	}
	from := p.onset()
	p.Since = p.at(from).UnixNano()
	switch card {
	case "stuck":
		until := from + int(magnitude(r, 0.7, 6)*288)
		jitter := p.Number/len(Cards[3].Cards)%2 == 1
		at := p.shown[from]
		for i := from; i < min(until, len(p.shown)); i++ {
			if p.shown[i] = at; jitter {
				p.shown[i] += float64(r.IntN(3)-1) * p.step
			}
		}
		p.Name = "sensor stuck"
		p.showsIn(p.heads[from:min(until, len(p.heads))], 8*p.step)
	case "step":
		by := one(r, -1.0, 1) * between(r, 0.015, 0.06)
		for i := from; i < len(p.shown); i++ {
			p.shown[i] += by
		}
		p.Name, p.Value, p.Within = "datum step", by*1000, 4
	case "ponding":
		until := from + int(magnitude(r, 2, 12)*288)
		sorted := slices.Clone(p.heads)
		slices.Sort(sorted)
		pool := sorted[int(between(r, 0.6, 0.98)*float64(len(sorted)-1))] + between(r, 0, 0.05)
		rise := between(r, 1, 40)
		keeps := between(r, 0, 0.25)
		for i := from; i < min(until, len(p.shown)); i++ {
			in := math.Min(float64(i-from)/rise, float64(until-i)/6)
			ponded := math.Max(p.heads[i], pool+keeps*(p.heads[i]-pool))
			p.shown[i] += math.Min(in, 1) * (ponded - p.heads[i])
		}
		p.Name = card
		lift := 0.0
		for i := from; i < min(until, len(p.shown)); i++ {
			lift += (p.shown[i] - p.heads[i]) / float64(until-from)
		}
		p.hidden = lift < 0.012 || until > len(p.shown)
	case "sound":
		p.warmth()
		distance := between(r, 1, 3)
		for i, t := range p.air {
			p.shown[i] += distance * (t - 20) / (2 * 293.15)
		}
		p.lift()
		p.Name, p.Value, p.Within, p.Since = card, distance*1000/(2*283.15), 0.8, 0
	}
}

// lift keeps levels above zero flow.
func (p *plot) lift() {
	if least := slices.Min(p.shown); least < 0.02 {
		for i := range p.shown {
			p.shown[i] += 0.02 - least
		}
	}
}

// right deals a site at which nothing is wrong.
func (p *plot) right(card string) {
	switch card {
	case "counter":
		p.measured()
	case "reported", "all":
		bounds := p.days()
		v := p.volumes(bounds)
		p.rounding = p.roundingOf(v[len(v)/2])
		if card == "all" {
			p.measured()
			// So it is, where the rounding of the level makes a difference.
			p.Also = []string{"counter reported", "logged flow reported"}
		}
		p.report(labelsOf(bounds, time.DateOnly), v)
	case "month":
		p.months(card)
	case "level with air":
		p.warmth()
	}
}

// write makes the texts.
func (p *plot) write() {
	var b strings.Builder
	b.WriteString("Time,Level (m)")
	columns := "level = \"Level (m)\"\n"
	if p.flows != nil {
		b.WriteString(",Flow (L/s)")
		columns += "flow = \"Flow (L/s)\"\n"
	}
	if p.counts != nil {
		b.WriteString(",Total (m3)")
		columns += "counter = \"Total (m3)\"\n"
	}
	if p.air != nil {
		b.WriteString(",Air (degC)")
		columns += "temperature = \"Air (degC)\"\n"
	}
	b.WriteString("\n")
	decimals := one(p.r, 0, 1, 2)
	for i := 0; i < len(p.shown); i += p.every {
		level := math.Round((p.shown[i]+0.15*p.step*p.r.NormFloat64())/p.step) * p.step
		fmt.Fprintf(&b, "%s,%.3f", p.clock(p.at(i)).Format(p.format), level)
		if p.flows != nil {
			fmt.Fprintf(&b, ",%.3f", p.flows[i]*1000)
		}
		if p.counts != nil {
			fmt.Fprintf(&b, ",%.*f", decimals, math.Floor(p.counts[i]*math.Pow10(decimals))/math.Pow10(decimals))
		}
		if p.air != nil {
			fmt.Fprintf(&b, ",%.1f", p.air[i]+0.2*p.r.NormFloat64())
		}
		b.WriteString("\n")
	}
	p.Log = b.String()
	p.Site = p.siteFile(columns)
}

// siteFile puts the site file together; lines of [settings] go where they belong.
func (p *plot) siteFile(columns string) string {
	text := "id = \"plot\"\n[log]\nfiles = [\"log.csv\"]\ntime_zone = \"+00:00\"\n[log.columns]\ntime = \"Time\"\n" +
		columns + "[settings]\n"
	lines := p.lines
	if len(lines) > 0 && lines[0] == "[settings]" {
		text += lines[1] + "\n"
		lines = lines[2:]
	}
	text += "[settings.device]\nkind = \"power\"\n" +
		fmt.Sprintf("coefficient = %.6f\nexponent = %.2f\n", p.coef, p.of) +
		"head_unit = \"m\"\nflow_unit = \"m3/s\"\n"
	return text + strings.Join(lines, "\n") + "\n"
}
