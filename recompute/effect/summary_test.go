package effect

import (
	"math"
	"testing"

	"retotal/ingest/reading"
	"retotal/qa"
	"retotal/recompute/block"
	"retotal/recompute/device"
)

// TestNotRun: a check is not run where what it needs is nowhere: each need alone, met by either of its sides.
func TestNotRun(t *testing.T) {
	always := qa.Drowned | qa.Blanking | qa.CutOff | qa.Capped | qa.SensorRange | qa.UserRange | qa.SecondSensor |
		qa.Rate | qa.Unusable | qa.Loop
	modular, issues := device.Build("power", map[string]any{
		"coefficient": 0.1, "exponent": 1.0, "head_unit": "m", "flow_unit": "m3/s", "modular_limit": 0.7,
	})
	if len(issues) > 0 {
		t.Fatal(issues)
	}
	for _, c := range []struct {
		name   string
		change func(b *block.Block)
		want   qa.Flags
	}{
		{"nothing", func(*block.Block) {}, always},
		{"device", func(b *block.Block) { b.Corrected.Segments[0].Rating = modular }, always},
		{"downstream level", func(b *block.Block) { b.Log.Has[reading.Downstream] = true }, always},
		{"device and downstream level", func(b *block.Block) {
			b.Corrected.Segments[0].Rating, b.Log.Has[reading.Downstream] = modular, true
		}, always &^ qa.Drowned},
		{"blanking", func(b *block.Block) { b.Corrected.Segments[0].Blanking = 0.3 }, always &^ qa.Blanking},
		{"least", func(b *block.Block) { b.Corrected.Segments[0].Ends.Least = 0 }, always &^ qa.CutOff},
		{"most", func(b *block.Block) { b.Corrected.Segments[0].Ends.Most = 1 }, always &^ qa.Capped},
		{"least, falling", func(b *block.Block) {
			b.Corrected.Segments[0].Ends.Least, b.Corrected.Segments[0].Ends.Falling = 0, true
		}, always &^ qa.Capped},
		{"most, falling", func(b *block.Block) {
			b.Corrected.Segments[0].Ends.Most, b.Corrected.Segments[0].Ends.Falling = 1, true
		}, always &^ qa.CutOff},
		{"least of the sensor", func(b *block.Block) { b.Limits.SensorLeast = 0 }, always &^ qa.SensorRange},
		{"most of the sensor", func(b *block.Block) { b.Limits.SensorMost = 0 }, always &^ qa.SensorRange},
		{"least of the user", func(b *block.Block) { b.Limits.UserLeast = 0 }, always &^ qa.UserRange},
		{"most of the user", func(b *block.Block) { b.Limits.UserMost = 0 }, always &^ qa.UserRange},
		{"second level", func(b *block.Block) { b.Log.Has[reading.SecondLevel] = true }, always &^ qa.SecondSensor},
		{"highest head", func(b *block.Block) { b.Corrected.Segments[0].Usual = 1 }, always &^ qa.Rate},
		{"rate up", func(b *block.Block) { b.Limits.RateUp = 1 }, always &^ qa.Rate},
		{"rate down", func(b *block.Block) { b.Limits.RateDown = 1 }, always &^ qa.Rate},
		{"means", func(b *block.Block) { b.Means = true }, always | qa.Spike | qa.Stuck | qa.OddPeak | qa.Still},
		{"a threshold of spikes", func(b *block.Block) { b.Limits.SpikeThreshold = 3 }, always | qa.OddPeak},
		{"a duration of stuck readings", func(b *block.Block) { b.Limits.StuckDuration = 1 }, always | qa.Still},
		{"unusable", func(b *block.Block) { b.Unusable = []bool{} }, always &^ qa.Unusable},
		{"largest correction", func(b *block.Block) { b.Limits.TooLarge = 1 }, always &^ qa.Unusable},
		{"loop", func(b *block.Block) { b.Site.Log.Columns[b.Site.Log.Primary].Loop = true }, always &^ qa.Loop},
	} {
		b := hand(nil, nil)
		ends := &b.Corrected.Segments[0].Ends
		ends.Least, ends.Most = math.Inf(-1), math.Inf(1)
		l := &b.Limits
		l.SensorLeast, l.UserLeast, l.SensorMost, l.UserMost = math.Inf(-1), math.Inf(-1), math.Inf(1), math.Inf(1)
		c.change(b)
		got := qa.Flags(0)
		for f, why := range notRun(b) {
			if got |= f; why == "" {
				t.Errorf("%s: no reason", c.name)
			}
		}
		if got != c.want {
			t.Errorf("%s: not run are %s, want %s", c.name, got.Text(), c.want.Text())
		}
	}
}
