// Package quantity holds physical values by meaning, and the units they are written in.
//
// Inside the program every value is SI: metres, cubic metres, seconds, kelvin, radians. Types follow
// meaning and not dimension: a distance, a level and a head are all metres, and mixing them is the very
// set-up error that this program corrects.
package quantity

import (
	"fmt"
	"strings"
	"time"
)

// Distance is from the sensor face down to the water, or down to a fixed point, in metres.
type Distance float64

// Level is water above the gauge datum, in metres.
type Level float64

// Head is water above the level of zero flow of the primary device, in metres.
type Head float64

// Length is a dimension of the structure, in metres.
type Length float64

// Flow is discharge, in cubic metres per second.
type Flow float64

// Volume is in cubic metres.
type Volume float64

// Angle is in radians.
type Angle float64

// Temperature is in kelvin.
type Temperature float64

// HeadFromDistance is the one place where a distance becomes a head:
// head = empty distance − distance − level of zero flow.
func HeadFromDistance(empty, d Distance, zeroFlow Level) Head {
	return Head(float64(empty) - float64(d) - float64(zeroFlow))
}

// HeadFromLevel turns a level above the gauge datum into a head above the level of zero flow.
func HeadFromLevel(l, zeroFlow Level) Head {
	return Head(float64(l) - float64(zeroFlow))
}

// FormatDuration writes a duration to the second, without parts that are zero: 3 h 20 min.
func FormatDuration(d time.Duration) string {
	if d < time.Second {
		return d.String()
	}
	var parts []string
	rest := d.Round(time.Second)
	for _, u := range []struct {
		size time.Duration
		name string
	}{{24 * time.Hour, "d"}, {time.Hour, "h"}, {time.Minute, "min"}, {time.Second, "s"}} {
		if n := rest / u.size; n > 0 {
			parts = append(parts, fmt.Sprintf("%d %s", n, u.name))
			rest -= n * u.size
		}
	}
	return strings.Join(parts, " ")
}
