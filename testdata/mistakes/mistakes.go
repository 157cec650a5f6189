// Package mistakes makes generated records of meters, pairs of level and flow, in which one or two settings are known
// to be wrong, and scores what is found of them. It is used by tests only.
//
// The flows are computed here from published equations; nothing of the program takes part. Of Record the names of the
// mistakes follow the catalogue of package explain. Two sets are written in two ways: other devices, other water,
// other noise. Nothing in them is taken from a real site.
package mistakes

import (
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"time"

	"retotal/recompute/explain"
)

// Noise is what lies between a meter and its log.
type Noise int

// The kinds of noise.
const (
	Clean        Noise = iota // figures are rounded: levels to 1 to 3 mm, flows to 0.01 to 0.1 L/s
	OtherFormula              // the meter uses another published equation, or its coefficient is up to 2 % off
	NotOneTime                // the flow is later than the level, or earlier, or damped
	Coarse                    // levels to 1 cm, flows to about 3 %
	HourMeans                 // means of level and flow over an hour
	noises
)

// String is the name of a kind of noise.
func (n Noise) String() string {
	return [...]string{"clean", "other equation", "not one instant", "coarse", "hourly means"}[n]
}

// Answer is one explanation: names of the catalogue, sorted, with their values; Since is when it began, 0 for from the
// first pair on. Values are in SI units: an angle in radians, a datum as logged head less the head that the meter
// used, a head factor as the head it used over the logged one, a span offset as the head it used at none.
type Answer struct {
	Names  []string
	Values []float64
	Since  int64
}

// String is the mistake in words.
func (a Answer) String() string {
	switch {
	case len(a.Names) == 0:
		return "none"
	case a.Since != 0:
		return strings.Join(a.Names, ", ") + " since"
	}
	return strings.Join(a.Names, ", ")
}

// Case is one record with its truth.
type Case struct {
	Set, Number int
	Seed        uint64
	Noise       Noise
	Record      explain.Record
	Truth       Answer   // without names for a meter that is right
	Right       []Answer // what counts as right: the truth, and what no log could tell from it
	// OnsetLow and OnsetHigh are the instants between which both settings agree within the steps of the log.
	OnsetLow, OnsetHigh int64
	Volume              float64 // m³, what a meter without the mistake would show over the pairs
	wrong               meter
}

// deck holds the mistakes as often as they are dealt. "own" is a dimension of the device.
var deck = []string{
	"", "datum", "own", "flow factor", "", "datum own", "head factor", "datum since", "", "cap", "own", "flow factor",
	"", "datum", "datum flow factor", "own since", "", "cut-off", "own", "flow factor", "", "kind", "cap datum",
	"flow factor since", "", "linear", "datum", "own", "", "datum own", "span offset", "flow factor", "", "head factor",
	"datum since", "cap own", "datum flow factor", "cap",
}

// Make makes one case of set 1 or 2. Numbers go through all kinds of noise and all mistakes in turns.
func Make(set int, seed uint64, number int) *Case {
	return deal(set, seed, number, Noise(number%int(noises)), card(seed, number), 0)
}

// card is the mistake of a number.
func card(seed uint64, number int) string {
	return deck[(number/int(noises)*7+int(seed%1000)*5)%len(deck)]
}

// Numbers are the first numbers of a seed by which Make makes so many meters with a mistake, and so many that are
// right, of a kind of noise.
func Numbers(seed uint64, noise Noise, wrong, right int) (list []int) {
	for number := int(noise); wrong > 0 || right > 0; number += int(noises) {
		left := &wrong
		if card(seed, number) == "" {
			left = &right
		}
		if *left > 0 {
			*left--
			list = append(list, number)
		}
	}
	return list
}

// Noises are all kinds of noise.
func Noises() (list []Noise) {
	for n := range noises {
		list = append(list, n)
	}
	return list
}

// Year makes a year of readings, 5 min apart, of a meter with two mistakes.
func Year(set int, seed uint64) *Case { return deal(set, seed, 0, Clean, "datum flow factor", 365) }

// deal makes one case of a card, as many days long as asked, or of a length of its own.
func deal(set int, seed uint64, number int, noise Noise, card string, days float64) *Case {
	b := &build{random: rand.New(rand.NewPCG(seed, uint64(set)<<32|uint64(number))), noise: noise, set: set}
	for {
		b.water(days)
		b.meters(card)
		if b.shows() {
			break
		}
	}
	c := b.log()
	c.Set, c.Seed, c.Number, c.Noise, c.wrong = set, seed, number, noise, b.wrong
	return c
}

// build is a case under way. All flows are in m³/s.
type build struct {
	random       *rand.Rand
	noise        Noise
	set          int
	device       *primary
	interval     time.Duration
	heads        []float64 // true ones
	right, wrong meter
	truth        Answer
	onset        int // index of the first reading under the mistake
	levelStep    float64
	flowStep     float64
	maximumHead  float64
}

// mostRows is how many readings a record has at most, but for hourly means, which take many to one.
const mostRows = 9000

// water makes a device and its heads: so many days at 5 min, or else some weeks, of means some months.
func (b *build) water(days float64) {
	r := b.random
	minutes, n := 5, int(days*24*12)
	switch {
	case days > 0:
	case b.noise == HourMeans:
		minutes = one(r, 5, 10, 15)
		n = int(between(r, 50, 100)*24*60) / minutes
	default:
		minutes = one(r, 2, 5, 5, 10, 15)
		n = min(int(between(r, 14, 45)*24*60)/minutes, mostRows)
	}
	b.interval = time.Duration(minutes) * time.Minute
	if b.set == 1 {
		b.device = deviceOne(r)
		b.heads = waterOne(r, b.device, n, b.interval.Hours())
	} else {
		b.device = deviceTwo(r)
		b.heads = waterTwo(r, b.device, n, b.interval.Hours())
	}
	b.levelStep = one(r, 0.001, 0.001, 0.002, 0.003)
	if b.noise == Coarse {
		b.levelStep = 0.01
	}
}

// meters makes the right meter and the wrong one.
func (b *build) meters(dealt string) {
	second, coefficient := false, 1.0
	if b.noise == OtherFormula {
		second = b.device.second && b.random.IntN(3) > 0
		coefficient = 1 + between(b.random, -0.02, 0.02)
		if second {
			coefficient = 1
		}
	}
	rate := func(d dimensions) curve {
		r := b.device.rate(d, second)
		return func(h float64) float64 { return coefficient * r(h) }
	}
	b.right = meter{rate: rate, sizes: b.device.sizes, scale: 1, factor: 1, limit: math.Inf(1)}.ready()
	b.truth, b.onset, b.maximumHead = Answer{}, 0, math.Inf(1)
	highest := slices.Max(b.heads)
	if b.random.IntN(2) == 0 {
		b.maximumHead = math.Ceil((highest+0.07)*20) / 20
	}
	if dealt == "" || dealt == "datum" {
		b.recordedEnds(dealt)
	}
	since := strings.HasSuffix(dealt, " since")
	b.wrong = b.right
	for _, name := range names(strings.TrimSuffix(dealt, " since")) {
		b.mistake(name)
	}
	sortAnswer(&b.truth)
	if since {
		n := len(b.heads)
		b.onset = n/4 + b.random.IntN(n/2)
	}
}

// recordedEnds gives some meters a cap or a cut-off that the settings know of.
func (b *build) recordedEnds(dealt string) {
	if b.random.IntN(4) == 0 {
		b.right.limit = nice(b.quantile(&b.right, between(b.random, 0.97, 0.999)))
	}
	if dealt == "" && b.random.IntN(4) == 0 {
		b.right.cutOff = nice(b.quantile(&b.right, between(b.random, 0.02, 0.2)))
	}
}

// names takes a card of the deck apart; a cap comes last, since it is drawn for the flow that is shown.
func names(card string) (list []string) {
	for _, name := range []string{"datum", "own", "kind", "linear", "flow factor", "head factor", "span offset",
		"cut-off", "cap"} {
		if strings.Contains(card, name) {
			list = append(list, name)
		}
	}
	return list
}

// mistake draws the value of one mistake and puts it into the wrong meter.
func (b *build) mistake(name string) {
	r, value := b.random, 1.0
	switch name {
	case "own":
		if len(b.device.sizes) == 0 {
			b.mistake("flow factor")
			return
		}
		name, value = b.own()
	case "datum":
		value = math.Round(magnitude(r, 5, 60)) / 1000 * one(r, -1.0, 1)
	case "flow factor":
		value = one(r, 3.6, 1/3.6, usPerImperial, 1/usPerImperial, 10, 0.1, 1.25, 0.8, 1.5, 0.6, 2,
			between(r, 0.7, 1.4))
	case "head factor":
		value = one(r, 0.3/0.25, 0.25/0.3, 0.5/0.4, 0.4/0.5, 2, 0.5, 1/foot, foot, 0.6/0.5)
	case "span offset":
		value = one(r, 0.2, -0.25) * one(r, 0.3, 0.4, 0.5)
	case "cap":
		value = nice(b.quantile(&b.wrong, between(r, 0.85, 0.97)))
	case "cut-off":
		value = nice(b.quantile(&b.wrong, between(r, 0.1, 0.5)))
	case "linear":
		top := math.Ceil(slices.Max(b.heads)*20) / 20
		value = b.right.show(top) / top
	case "kind":
		b.wrong.stranger = stranger(r, b.device.kind)
	}
	b.truth.Names, b.truth.Values = append(b.truth.Names, name), append(b.truth.Values, value)
	b.wrong = b.wrong.with(name, value)
}

// usPerImperial is an imperial gallon, 4.54609 L, in US gallons, 3.785411784 L.
const usPerImperial = 4.54609 / 3.785411784

// own draws a dimension of the device and another value of it.
func (b *build) own() (name string, value float64) {
	var all []string
	for n := range b.device.sizes {
		all = append(all, n)
	}
	slices.Sort(all)
	name = one(b.random, all...)
	for {
		value = one(b.random, b.device.others[name]...)
		if math.Abs(value/b.device.sizes[name]-1) > 0.01 {
			return name, value
		}
	}
}

// quantile is the flow of a meter below which it stays for a part of the time.
func (b *build) quantile(m *meter, part float64) float64 {
	var flows []float64
	for i := 0; i < len(b.heads); i += 1 + len(b.heads)/1000 {
		flows = append(flows, m.show(b.heads[i]))
	}
	slices.Sort(flows)
	return flows[int(part*float64(len(flows)-1))]
}

// nice rounds to two digits.
func nice(x float64) float64 {
	if x <= 0 {
		return 0
	}
	step := math.Pow(10, math.Floor(math.Log10(x))-1)
	return math.Round(x/step) * step
}

func sortAnswer(a *Answer) {
	if len(a.Names) == 2 && a.Names[0] > a.Names[1] {
		slices.Reverse(a.Names)
		slices.Reverse(a.Values)
	}
}

// unlike says at which heads two meters show flows more than 5 % apart.
func (m *meter) unlike(other *meter) func(float64) bool {
	return func(head float64) bool {
		q := other.show(head)
		return math.Abs(m.show(head)-q) > 0.05*q
	}
}

// shows says that every part of the mistake can be seen: without it the volume would be 3 % other (5 % where the log
// says less), two do not make up for each other, a cap or a cut-off acts on some of the readings, and most of the time
// the meter shows a flow, and not its cap.
func (b *build) shows() bool {
	least := 0.03
	if b.noise != Clean {
		least = 0.05
	}
	heads := b.heads[b.onset:]
	if part(heads, b.wrong.dry) > 0.5 || part(heads, b.right.dry) > 0.3 || part(heads, b.wrong.full) > 0.3 {
		return false
	}
	if len(b.truth.Names) == 2 && math.Abs(volume(&b.wrong, heads)/volume(&b.right, heads)-1) < least {
		return false
	}
	for i, name := range b.truth.Names {
		without := b.right
		for k, other := range b.truth.Names {
			if k != i {
				without = without.with(other, b.truth.Values[k])
			}
		}
		switch change := math.Abs(volume(&b.wrong, heads)/volume(&without, heads) - 1); {
		case name == "cap" || name == "cut-off":
			if part(heads, b.wrong.unlike(&without)) < 0.02 || change < 0.002 {
				return false
			}
		case change < least:
			return false
		}
	}
	return true
}

func volume(m *meter, heads []float64) (sum float64) {
	for _, h := range heads {
		sum += m.show(h)
	}
	return sum
}

// part is the part of the heads at which something is so.
func part(heads []float64, so func(float64) bool) float64 {
	count := 0
	for _, h := range heads {
		if so(h) {
			count++
		}
	}
	return float64(count) / float64(len(heads))
}

// dry says that a meter shows no flow at a head, full that it is at its cap.
func (m *meter) dry(head float64) bool { return m.show(head) == 0 }

func (m *meter) full(head float64) bool { return m.show(head) == m.limit }
