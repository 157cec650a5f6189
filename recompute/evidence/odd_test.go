package evidence

import (
	"testing"

	"retotal/ingest/reading"
	"retotal/qa"
)

// TestOdd: what reaches the record of levels: readings that say something of the level, of logs of levels or distances
// alone; a distance that drops out to zero is the highest level.
func TestOdd(t *testing.T) {
	for _, c := range []struct {
		name    string
		of      reading.Quantity
		means   bool
		ofFlow  bool
		flags   qa.Flags // of the readings that drop out
		high    bool
		want    int
		asBound int
	}{
		{name: "levels", of: reading.Level, want: 1},
		{name: "distances", of: reading.Distance, high: true, want: 1},
		{name: "means", of: reading.Level, means: true},
		{name: "flows", of: reading.Flow, ofFlow: true},
		{name: "spikes are drop-outs too", of: reading.Level, flags: qa.Spike, want: 1},
		{name: "at an end of the meter", of: reading.Level, flags: qa.CutOff, want: 1, asBound: 8},
		{name: "dead", of: reading.Level, flags: qa.Dead},
		{name: "beyond the sensor", of: reading.Level, flags: qa.SensorRange},
		{name: "stands twice", of: reading.Level, flags: qa.Conflict},
	} {
		var minutes, heads []float64
		for i := range 2000 {
			h := 0.3 + 0.01*float64(i%2)
			if i > 500 && i <= 900 && i%50 == 0 {
				h = 0
			}
			minutes, heads = append(minutes, float64(i)), append(heads, h)
		}
		b := hand(minutes, heads)
		b.Value = heads
		b.Site.Log.Primary, b.Means, b.OfFlow = c.of, c.means, c.ofFlow
		b.Log.Resolution[c.of] = 0.001
		for i, h := range heads {
			if h == 0 {
				b.Flags[i] = c.flags
			}
		}
		o := NewOdd(b)
		o.Add(b)
		found := o.Finish()
		if len(found.DropOuts) != c.want {
			t.Errorf("%s: %+v", c.name, found)
			continue
		}
		for _, d := range found.DropOuts {
			if d.Times != 8 || d.High != c.high || d.Bounds != c.asBound || d.From != at(550) {
				t.Errorf("%s: %+v", c.name, d)
			}
		}
	}
}
