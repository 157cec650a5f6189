package audit

import (
	"strings"
	"testing"
	"time"

	"retotal/ingest/quantity"
	"retotal/ingest/site"
	"retotal/qa/odd"
	"retotal/recompute"
)

// TestOddInWords: what is told of each kind of oddity, with its dates, how much it is and what it is worth.
func TestOddInWords(t *testing.T) {
	at := func(day, hour int) int64 { return time.Date(2031, 3, day, hour, 0, 0, 0, time.UTC).UnixNano() }
	span := odd.Span{From: at(2, 6), Until: at(4, 18), Readings: 50, Hours: 60, Volume: 1234.5}
	for _, c := range []struct {
		name  string
		found odd.Result
		doubt string
		more  []string
	}{
		{"nothing", odd.Result{}, "", nil},
		{
			"drop-outs", odd.Result{DropOuts: []odd.DropOuts{{Span: span, Head: -0.05, Times: 9, Effect: -12.34}}},
			"drops out 9 times to one and the same head of -0.050 m, the lowest of the record, from 2031-03-02 06:00 " +
				"to 2031-03-04 18:00 UTC (50 readings, 2 d 12 h)",
			[]string{"they give -12.34 m3 against lines", "a loose cable", "so may a valve"},
		},
		{
			"drop-outs to a bound", odd.Result{DropOuts: []odd.DropOuts{
				{Span: span, High: true, Head: 0.5, Times: 9, Bounds: 7, Effect: 12.34}}},
			"jumps 9 times to one and the same head of 0.500 m, the highest of the record",
			[]string{"so may a tank that is flushed", "7 of them stand at an end of what the meter shows and are " +
				"held as bounds", "they give +12.34 m3"},
		},
		{
			"fade", odd.Result{Fades: []odd.Fade{{Span: span, High: true, Head: 0.5, Left: 0.1234}}},
			"slides to a head of 0.500 m, the highest of the record, stands there from 2031-03-02 06:00 to " +
				"2031-03-04 18:00 UTC (2 d 12 h) " +
				"and leaves it by a jump of 123 mm", []string{"As logged the time has 1234 m3"},
		},
		{
			"pond", odd.Result{Ponds: []odd.Pond{{Span: span, Head: 0.2, Lower: 0.05, Usual: 18}}},
			"stands still at a head of 0.200 m from 2031-03-02 06:00 to 2031-03-04 18:00 UTC (2 d 12 h), while it " +
				"goes to 0.050 m or lower at other times, where it stands still for no longer than 18 h",
			[]string{"up to 1234 m3 too much", "state the flow by a ruling"},
		},
		{
			"echo", odd.Result{Echoes: []odd.Echo{
				{Span: span, Lower: 0.1, Upper: 0.4, Aside: 0.25, UpperStill: true, ByLower: 1000, ByUpper: 2000}}},
			"jumps back and forth between two surfaces, heads of 0.100 m and 0.400 m, from 2031-03-02 06:00 " +
				"to 2031-03-04 18:00 UTC (2 d 12 h; 25 % of the readings on the upper one)",
			[]string{"may be a false echo, or a pump", "The upper one hardly moves",
				"lower surface alone it has 1000 m3, by the upper alone 2000 m3"},
		},
		{
			"noise", odd.Result{Noise: &odd.Noise{Span: span, Days: 3, Deviation: 0.0123, Usual: 0.001, Bias: 24.69,
				Share: 0.0204, Whole: 0.0012, Worst: at(3, 12), OfWorst: 0.031}},
			"scatters by 12 mm (standard deviation of a reading; 1 mm in the record's usual day) on 3 days from " +
				"2031-03-02 06:00 to 2031-03-04 18:00 UTC, which gives +2.0 % too much flow there",
			[]string{"+24.69 m3 on these days of 1234 m3 (+0.12 % of the whole record; +3.1 % on 2031-03-03"},
		},
	} {
		r := &recompute.Result{Site: &site.Site{}}
		r.Site.Report.VolumeUnit = quantity.MustLookUp("m3")
		r.Odd = c.found
		list := odds(r)
		if c.doubt == "" {
			if len(list) > 0 {
				t.Errorf("%s: %+v", c.name, list)
			}
			continue
		}
		if len(list) != 1 || len(list[0].Doubts) != 1 || !strings.Contains(list[0].Doubts[0], c.doubt) {
			t.Errorf("%s: %+v, want %q", c.name, list, c.doubt)
			continue
		}
		for _, part := range c.more {
			if !strings.Contains(list[0].Sentence, part) {
				t.Errorf("%s: %q lacks %q", c.name, list[0].Sentence, part)
			}
		}
	}
}
