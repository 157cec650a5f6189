// Package cases makes two worked cases: sites, logs and what was reported, with the truth that they were built with.
// Nothing in them is taken from a real site. It is used by tests only.
//
// The flows are computed here from published equations; nothing of the program takes part.
package cases

import (
	"fmt"
	"math"
	"strings"
	"time"
)

// Truth is what the cases were built with.
const (
	// At Grindle Hatch the notch is 60 deg, as the set-up sheet has it; from the change of the display on, the meter
	// used 90 deg.
	GrindleAngle, GrindleUsed = 60.0, 90.0
	GrindleSince              = "2031-06-17T09:40:00Z"
	// At Pellam Sluice the crest is 0.60 m, as the meter has it; the logger takes the span of its input for four fifths
	// of what it is.
	PellamWidth, PellamFactor = 0.60, 0.8
)

// Volumes are totals of June 2031 in m³: what the meter counted, and what flowed.
type Volumes struct{ Counted, True float64 }

// gravity is the standard acceleration of free fall in m/s² (3rd CGPM 1901); foot is one in m.
const (
	gravity = 9.80665
	foot    = 0.3048
)

// notch is the flow in m³/s of a V-notch of an angle in degrees by Kindsvater and Shen, Q = (8/15) Ce √(2g) tan(α/2)
// (h + kh)^2.5 (USBR Water Measurement Manual eq. 7-3), Ce and kh by the polynomials in general use (from memory).
func notch(angle, head float64) float64 {
	if head <= 0 {
		return 0
	}
	ce := 0.607165052 + angle*(-0.000874466963+angle*6.10393334e-6)
	kh := foot * (0.0144902648 + angle*(-0.00033955535+angle*(3.29819003e-6-angle*1.06215442e-8)))
	return 8.0 / 15 * ce * math.Sqrt(2*gravity) * math.Tan(angle*math.Pi/360) * math.Pow(head+kh, 2.5)
}

// cipolletti is Q = 3.367 b h^1.5 in feet (USBR Water Measurement Manual eq. 7-7), in m³/s.
func cipolletti(width, head float64) float64 {
	return 3.367 * math.Sqrt(foot) * width * math.Pow(math.Max(head, 0), 1.5)
}

// begin is the first reading of both logs; step lies between readings, and there are so many of them.
var begin = time.Date(2031, time.June, 1, 0, 0, 0, 0, time.UTC)

const (
	step     = 10 * time.Minute
	readings = 30*24*6 + 1
)

// water is a head in m at reading i: a base that drifts, two peaks a day, and rain that dies away.
func water(i int, base, daily float64, rains []rain) float64 {
	hour := float64(i) / 6
	h := base * (1 + 0.06*math.Sin(hour/93))
	h += daily * (math.Sin(2*math.Pi*(hour-8)/24) + 0.6*math.Sin(4*math.Pi*(hour-5)/24))
	for _, r := range rains {
		if x := hour - r.at; x > 0 {
			h += r.lift * math.Min(x/r.rise, 1) * math.Exp(-math.Max(x-r.rise, 0)/r.fall)
		}
	}
	return h + 0.0006*math.Sin(float64(i)*2.399963) // ripples, by the golden angle so that none repeats
}

// rain lifts the head: from an hour on, by so many m, in so many hours, and falls off in so many.
type rain struct{ at, lift, rise, fall float64 }

// Files are the files of both cases by their names within this folder, and their volumes by the case.
func Files() (files map[string]string, volumes map[string]Volumes) {
	files, volumes = map[string]string{}, map[string]Volumes{}
	since, _ := time.Parse(time.RFC3339, GrindleSince)
	var text string
	text, volumes["grindle-hatch"] = log(
		func(i int) float64 {
			return water(i, 0.118, 0.012, []rain{{92, 0.07, 3, 14}, {231, 0.11, 2, 20}, {430, 0.09, 4, 16},
				{604, 0.13, 2, 18}})
		},
		func(at time.Time, level float64) float64 {
			if at.Before(since) {
				return notch(GrindleAngle, level)
			}
			return notch(GrindleUsed, level)
		},
		func(level float64) float64 { return notch(GrindleAngle, level) })
	files["grindle-hatch/2031-06.csv"] = text
	text, volumes["pellam-sluice"] = log(
		func(i int) float64 {
			return water(i, 0.092, 0.010, []rain{{60, 0.05, 4, 18}, {288, 0.12, 3, 22}, {511, 0.08, 2, 15}})
		},
		func(_ time.Time, level float64) float64 { return PellamFactor * cipolletti(PellamWidth, level) },
		func(level float64) float64 { return cipolletti(PellamWidth, level) })
	files["pellam-sluice/2031-06.csv"] = text
	return files, volumes
}

// log writes a log of levels to 1 mm, from which the meter takes its flow, and of flows to 0.01 L/s, and adds up what
// it shows and what flows.
func log(level func(i int) float64, shown func(time.Time, float64) float64,
	flows func(float64) float64) (string, Volumes) {
	var b strings.Builder
	b.WriteString("Time,Level (mm),Flow (L/s)\n")
	var v Volumes
	var shownBefore, flowBefore float64
	for i := range readings {
		at := begin.Add(time.Duration(i) * step)
		h := math.Round(1000*level(i)) / 1000
		q, flow := math.Round(1e5*shown(at, h))/1e5, flows(h)
		fmt.Fprintf(&b, "%s,%.0f,%.2f\n", at.Format("2006-01-02 15:04"), 1000*h, 1000*q)
		if i > 0 {
			v.Counted += (shownBefore + q) / 2 * step.Seconds()
			v.True += (flowBefore + flow) / 2 * step.Seconds()
		}
		shownBefore, flowBefore = q, flow
	}
	return b.String(), v
}
