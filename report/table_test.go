package report

import (
	"encoding/json"
	"fmt"
	"strings"
	"testing"

	"retotal/ingest"
	"retotal/ingest/quantity"
	"retotal/ingest/site"
	"retotal/recompute"
)

// sample is an item of an invented subject.
type sample struct {
	name   string
	m3, q  float64
	hidden bool
}

// TestTable: what is said once of a column stands in text, page, CSV and record, each in its own units and digits.
// 4,546.09 L are 1,000 imperial gallons (Weights and Measures Act 1985), and 1/1000 m³/s is 1 L/s.
func TestTable(t *testing.T) {
	gallon, err := quantity.LookUp("imp gal")
	litre, err2 := quantity.LookUp("L/s")
	clock, err3 := site.ParseClock("+01:00")
	if err != nil || err2 != nil || err3 != nil {
		t.Fatal(err, err2, err3)
	}
	run := runIn(gallon, litre, clock)
	table := tabulate(run, []sample{
		{"a", 4.54609, 0.001, false},
		{"b", -4.54609, 0, false},
		{"c", 0, 0, true},
	}, []figure[sample]{
		words("name", "name", func(s *sample) string { return s.name }),
		{Column{Key: "at", Title: "at", Kind: Instant, In: machines}, func(*sample) any { return int64(0) }},
		{Column{Key: "change_m3", Title: "change", Kind: Change, Decimals: 1}, func(s *sample) any { return known(s.m3, !s.hidden) }},
		{Column{Key: "q_m3s", Title: "flow", Kind: Flow, Optional: true, Missing: "none"}, func(s *sample) any { return known(s.q, s.q > 0) }},
		{Column{Key: "share", Title: "share", Kind: Share}, func(*sample) any { return told{0.12345, "an eighth"} }},
	})
	table.Minor[2] = true
	var text strings.Builder
	table.Text(&text)
	encoded, err := json.Marshal(table)
	for name, c := range map[string][2]string{
		"text": {text.String(), `  name  change imp gal  flow L/s      share
  a           +1,000.0     1.000  an eighth
  b           -1,000.0      none  an eighth
`},
		"csv": {string(asCSV(table)), `name,at (+01:00),change (imp gal),flow (L/s),share
a,1970-01-01 01:00:00,1000.000,1.00000,0.1235
b,1970-01-01 01:00:00,-1000.000,,0.1235
c,1970-01-01 01:00:00,,,0.1235
`},
		"record": {
			string(encoded),
			`[{"name":"a","at":"1970-01-01T00:00:00Z","change_m3":4.546,"q_m3s":0.001,"share":0.1235},` +
				`{"name":"b","at":"1970-01-01T00:00:00Z","change_m3":-4.546,"share":0.1235},` +
				`{"name":"c","at":"1970-01-01T00:00:00Z","change_m3":null,"share":0.1235}]`,
		},
		"page": {
			fmt.Sprint(table.Page().Rows), "[[{a  false false false false} {+1,000.0  true false false false} " +
				"{1.000  true false false false} {an eighth  true false false false}] " +
				"[{b  false false false false} {−1,000.0  true false false false} " +
				"{none  true false false false} {an eighth  true false false false}]]",
		},
	} {
		if c[0] != c[1] || err != nil {
			t.Errorf("%s: %v\n%s\nwant\n%s", name, err, c[0], c[1])
		}
	}
}

// runIn is an empty run of a site that reports in these units.
func runIn(volume, flow quantity.Unit, clock site.Clock) *Run {
	s := &site.Site{Report: site.Report{VolumeUnit: volume, FlowUnit: flow, Clock: clock}}
	return &Run{Result: &recompute.Result{Site: s}, Log: &ingest.Log{Site: s}}
}
