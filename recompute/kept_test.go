package recompute_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"strings"
	"testing"
	"time"

	"retotal/ingest/site"
	"retotal/recompute"
)

// troubled is a log of minutes or of means over them, full of trouble: spikes to either side, spells of noise and of one
// value, heads below zero and above the channel, gaps, and a second sensor and a level below the device that wander off.
func troubled(random *rand.Rand, rows int) string {
	var b strings.Builder
	b.WriteString("Time,Head (m),Other (m),Below (m)\n")
	at := time.Date(2031, 3, 1, 0, 0, 0, 0, time.UTC)
	h, below, off, left, spell := 0.2, 0.0, 0.0, 0, 0
	for range rows {
		at = at.Add(time.Minute)
		h = math.Min(0.45, math.Max(-0.01, h+0.002*random.NormFloat64()))
		if left--; left < 0 {
			left, spell = random.IntN(60), random.IntN(8)
		}
		shown := h
		switch {
		case spell == 0:
			shown += 0.02 * random.NormFloat64()
		case spell == 1:
			shown = 0.15
		case random.IntN(50) == 0:
			shown += 0.4 * (random.Float64() - 0.3)
		}
		below = math.Max(0, below+0.02*random.NormFloat64())
		off = 0.98*off + 0.005*random.NormFloat64()
		switch {
		case random.IntN(200) == 0:
			at = at.Add(time.Duration(random.IntN(40)) * time.Minute)
		case random.IntN(10) == 0:
			continue
		}
		fmt.Fprintf(&b, "%s,%.3f,%.3f,%.3f\n", at.Format("2006-01-02 15:04:05"), shown, h+off, below)
	}
	return b.String()
}

// troubledSite is a site for such a log: settings that were changed and corrected, and limits that flag a lot.
func troubledSite(t *testing.T, round int, log, screening, more string) string {
	t.Helper()
	file := siteOf(t, "head", log, `
[screening]
user_range     = { least = "0.05 m", most = "0.3 m" }
rate_of_change = { up = "10 mm", down = "10 mm", per = "1 min" }
bridge_limit   = "12 min"
`+screening+`
[settings]
level_of_zero_flow = "10 mm"
`+[]string{"", "channel_depth = \"0.35 m\"\n"}[round%2]+`[settings.device]
kind = "parshall"
size = "1 ft"
[[settings.change]]
at = 2031-03-01T18:20:30
level_of_zero_flow = "0 mm"
[[correction]]
from = 2031-03-01T11:00:30
until = 2031-03-01T18:20:30
reason = "by hand"
level_of_zero_flow = "4 mm"
[report]
from = 2031-03-01T01:00:30
until = 2031-03-02T12:00:20
`+more)
	file = replaceIn(t, file, "value = \"Value\"", "head = \"Head\"\nsecond_level = \"Other\"\ndownstream_level = \"Below\"")
	if round%4 > 1 {
		file = replaceIn(t, file, "[log]\n", "[log]\nvalues = \"means\"\n")
	}
	return file
}
