package ingest

import (
	"cmp"
	"fmt"
	"math"
	"strings"

	"retotal/ingest/problem"
	"retotal/ingest/quantity"
	"retotal/ingest/reading"
)

// pressures are the levels of a log that are logged as pressures: each is a column of water already, under the pressure
// of the air where the log has that, which is taken off row by row. It sees no other levels.
type pressures struct {
	log   *Log
	has   bool // any
	air   bool // the log has the pressure of the air
	least [reading.Count]float64
	most  [reading.Count]float64
}

// newPressures finds the pressures of a log.
func newPressures(l *Log) pressures {
	p := pressures{log: l, air: l.Has[reading.AirPressure]}
	for q := range l.Site.Log.Columns {
		p.has = p.has || l.pressed(reading.Quantity(q))
		p.least[q], p.most[q] = math.Inf(1), math.Inf(-1)
	}
	return p
}

// pressed reports whether a quantity is a level that is logged as a pressure.
func (l *Log) pressed(q reading.Quantity) bool { return l.Has[q] && l.Site.Log.Columns[q].Water != nil }

// findPressures notes how pressures become levels, whose steps are those of the air's pressure where these are longer.
func (l *Log) findPressures() {
	for q, c := range l.Site.Log.Columns {
		if l.pressed(reading.Quantity(q)) {
			air := l.Resolution[reading.AirPressure] / (c.Water.Density.SI * c.Water.Gravity.SI)
			l.Resolution[q] = max(l.Resolution[q], air)
		}
	}
	for _, f := range l.Files {
		f.pressed = f.pressureDecisions(l)
	}
}

// takeAir makes levels of the pressures of a batch. A row without the pressure of the air has no level: it is rejected
// where flow is computed from it.
func (p *pressures) takeAir(b *reading.Batch) {
	if !p.has || b.Len() == 0 {
		return
	}
	n := 0
	for i := range b.Time {
		if reason := p.level(b, i); reason != "" {
			b.Rejected = append(b.Rejected, reading.Rejection{Line: b.Line[i], Reason: reason})
			continue
		}
		b.Keep(n, i)
		n++
	}
	b.Slice(0, n)
}

// level takes the air off the pressures of one reading, and returns why the reading cannot be used then, "" when it
// can.
func (p *pressures) level(b *reading.Batch, i int) (reason string) {
	for q, c := range p.log.Site.Log.Columns {
		if !p.log.pressed(reading.Quantity(q)) || b.State[q][i] != reading.Present {
			continue
		}
		if p.air {
			state, why := b.State[reading.AirPressure][i], ""
			if v := b.Value[reading.AirPressure][i]; state == reading.Present && (v < leastAir || v > mostAir) {
				state, why = reading.Impossible, reasonAir
			}
			if state != reading.Present {
				if reading.Quantity(q) == p.log.Site.Log.Primary {
					return cmp.Or(why, reading.AirPressure.Reason(state))
				}
				b.Value[q][i], b.State[q][i], b.Whole = 0, state, false
				continue
			}
			b.Value[q][i] -= b.Value[reading.AirPressure][i] / (c.Water.Density.SI * c.Water.Gravity.SI)
		}
		p.least[q], p.most[q] = min(p.least[q], b.Value[q][i]), max(p.most[q], b.Value[q][i])
	}
	return ""
}

// The pressure of the air lies between these wherever water is metered, Pa: at 4000 m above the sea it is 61.6 kPa
// (ICAO standard atmosphere, from memory), and the highest that was measured, taken to the sea, 108 to 109 kPa (from
// memory).
const (
	leastAir = 50e3
	mostAir  = 112e3
)

const reasonAir = "air pressure reading is that of no place (50 to 112 kPa)"

// found is a problem when a pressure is taken for gauge and never goes below that of the air, or when the air was taken
// off one from which it was off already: no channel holds so much or so little water.
func (p *pressures) found() error {
	for q, c := range p.log.Site.Log.Columns {
		if !p.log.pressed(reading.Quantity(q)) || p.most[q] < p.least[q] {
			continue
		}
		air := leastAir / (c.Water.Density.SI * c.Water.Gravity.SI)
		switch {
		case !p.air && p.least[q] > air:
			return problem.At(c.Place,
				fmt.Sprintf("%s never falls below %.1f m of water, as an absolute pressure does not: "+
					"the air's is in it", c.Title(), p.least[q]),
				"a gauge pressure, or the pressure of the air beside it",
				`add air_pressure = { name = "Air pressure", unit = "hPa" }`)
		case p.air && p.most[q] < -air:
			return problem.At(c.Place,
				fmt.Sprintf("%s is never above %.1f m of water once the air's pressure is taken off: it seems to be "+
					"off already", c.Title(), p.most[q]),
				"an absolute pressure, or no air_pressure", "leave air_pressure out if the sensor is vented")
		}
	}
	return nil
}

// pressureDecisions say how pressures became levels, for the certificate of a file.
func (f *File) pressureDecisions(l *Log) (list []reading.Decision) {
	for q, c := range l.Site.Log.Columns {
		if !l.pressed(reading.Quantity(q)) {
			continue
		}
		u := f.Unit(reading.Quantity(q))
		d := reading.Decision{
			Subject: "pressure",
			Found: fmt.Sprintf("%s is water of %s at %s, %s m for 1 %s",
				reading.Quantity(q), c.Water.Density.Text, c.Water.Gravity.Text, quantity.Digits(u.Factor, 5),
				u.Symbol),
		}
		if d.Found += ", gauge"; l.Has[reading.AirPressure] {
			d.Found = strings.TrimSuffix(d.Found, "gauge") + "less the air's in each row"
		} else {
			d.Because = "log.columns has no air_pressure"
			d.Otherwise = "absolute: the air's pressure would be needed"
		}
		list = append(list, d)
	}
	return list
}
