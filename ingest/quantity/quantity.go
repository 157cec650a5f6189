// Package quantity is the units that physical values are written in, by the dimension of their quantity.
//
// Inside the program every value is SI: metres, cubic metres, seconds, kelvin, radians. What a number of metres means
// (a distance, a level, a head) is told by its name; one place turns distances and levels into heads: the signal chain
// of package settings.
package quantity

import (
	"fmt"
	"strings"
	"time"
)

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
