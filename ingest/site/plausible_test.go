package site

import (
	"errors"
	"strings"
	"testing"

	"retotal/ingest/problem"
)

// TestSizesOfCorrections: a size is refused beyond a third to three times the recorded one: 1.518 m against 0.506 and
// 4.554 m, 90 degrees against 30 and 270, one step below, at and above.
func TestSizesOfCorrections(t *testing.T) {
	const base = `id = "sizes"
[log]
files = ["log.csv"]
time_zone = "+00:00"
[log.columns]
time = "Time"
distance = { name = "D", unit = "m" }
[settings]
empty_distance = "1.518 m"
maximum_head = "0.4 m"
[settings.device]
kind = "v-notch"
angle = "90 deg"
[[settings.change]]
at = 2031-05-01T00:00:00
maximum_head = "2 m"
[[correction]]
reason = "test"
`
	for _, c := range []struct{ text, says string }{
		{"empty_distance = \"1.5 m\"\n", ""},
		{"empty_distance = \"1518 m\"\n", "the first correction (line 17): empty_distance \"1518 m\" is 1000 times the recorded \"1.518 m\"; expected a third to 3 times what the meter was set to; check the unit, or write sure = true"},
		{"empty_distance = \"1.518 mm\"\n", "is 1/1000 of the recorded"},
		{"empty_distance = \"18 mm\"\n", "is 1/84.33 of the recorded"},
		{"empty_distance = \"0.507 m\"\n", ""}, {"empty_distance = \"0.506 m\"\n", ""}, {"empty_distance = \"0.505 m\"\n", "is 1/3.006 of"},
		{"empty_distance = \"4.553 m\"\n", ""}, {"empty_distance = \"4.554 m\"\n", ""}, {"empty_distance = \"4.555 m\"\n", "is 3.001 times"},
		{"empty_distance = \"1518 m\"\nsure = true\n", ""},
		{"from = 2031-04-01T00:00:00\nuntil = 2031-04-02T00:00:00\nempty_distance = { from = \"1.5 m\", to = \"15 m\" }\n", "is 9.881 times"},
		{"maximum_head = \"1.5 m\"\n", ""},                                        // a third of what was set later
		{"maximum_head = \"1.5 m\"\nuntil = 2031-04-01T00:00:00\n", "3.75 times"}, // before that
		{"level_of_zero_flow = \"30 mm\"\n", ""},                                  // none recorded
		{"[correction.device]\nangle = \"60 deg\"\n", ""}, {"[correction.device]\nangle = \"29 deg\"\n", "the first correction (line 17): device.angle \"29 deg\" is 1/3.103 of"},
		{"[correction.device]\nkind = \"parshall\"\nthroat = \"9 in\"\n", ""},
		{"sure = 1\nempty_distance = \"1.5 m\"\n", "neither true nor false"},
	} {
		s, err := Parse("site.toml", []byte(base+c.text))
		var list problem.List
		errors.As(err, &list)
		list = append(list, s.Warnings...)
		if c.says == "" && len(list) > 0 ||
			c.says != "" && (len(list) != 1 || !strings.Contains(list.Error(), c.says)) {
			t.Errorf("%q: %v", c.text, list)
		}
	}
}
