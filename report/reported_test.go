package report

import (
	"testing"

	"retotal/ingest/quantity"
	"retotal/ingest/site"
)

// TestDecimalsReported: a reported figure keeps its decimals; one that was written in another unit than the report's
// gets those of its size: 45,840 m3 are 45.840 ML and not 46 (1 ML is 1,000 m3, SI brochure).
func TestDecimalsReported(t *testing.T) {
	clock, err := site.ParseClock("+00:00")
	ml, err2 := quantity.LookUp("ML")
	if err != nil || err2 != nil {
		t.Fatal(err, err2)
	}
	run := runIn(ml, ml, clock)
	for text, want := range map[string]int{"45.84 ML": 2, "46 ML": 0, "45840 m3": 3} {
		if got := run.decimalsReported(&quantity.Value{SI: 45840, Text: text}); got != want {
			t.Errorf("%s has %d decimals, want %d", text, got, want)
		}
	}
}
