package ingest

import (
	"fmt"
	"math"
	"strings"
	"testing"
	"time"

	"retotal/ingest/reading"
)

// beat is so many readings at an interval, with a step of their levels and how many decimals every tenth has.
type beat struct {
	rows     int
	interval time.Duration
	decimals int
	averages int
}

// logOf writes a log of some beats, one after the other; a level that wanders.
func logOf(beats ...beat) string {
	at := time.Date(2031, 3, 1, 0, 0, 0, 0, time.UTC)
	var b strings.Builder
	b.WriteString("Time,Level (m)\n")
	n := 0
	for _, x := range beats {
		for i := range x.rows {
			decimals := x.decimals
			if x.averages > 0 && i%20 == 7 {
				decimals = x.averages
			}
			level := 0.3 + 0.2*math.Sin(float64(n)/50)
			fmt.Fprintf(&b, "%s,%.*f\n", at.Format("2006-01-02 15:04:05"), decimals, level)
			at, n = at.Add(x.interval), n+1
		}
	}
	return b.String()
}

// TestSampling: what all readings say of interval, gap limit and step, whatever the first ones show. Each expectation
// is counted by hand from the beats; a beat's last reading is one interval before the next beat's first.
func TestSampling(t *testing.T) {
	const minute, day = time.Minute, 24 * time.Hour
	at := func(after time.Duration) int64 {
		return time.Date(2031, 3, 1, 0, 0, 0, 0, time.UTC).Add(after).UnixNano()
	}
	storms := []beat{}
	for range 10 { // by itself: every quarter of an hour, in storms every minute
		storms = append(storms, beat{30, 15 * minute, 3, 0}, beat{50, minute, 3, 0})
	}
	few := []beat{{rows: 200, interval: time.Hour, decimals: 3}}
	for range 6 {
		few = append(few, beat{40, 5 * minute, 3, 0}, beat{90, time.Hour, 3, 0})
	}
	nights := []beat{}
	for range 20 {
		nights = append(nights, beat{12, time.Hour, 3, 0}, beat{6, 2 * time.Hour, 3, 0})
	}
	mm := 0.001
	for _, c := range []struct {
		name  string
		beats []beat
		more  string
		want  reading.Sampling // of most of the log
		list  []reading.Sampling
	}{
		{"one throughout", []beat{{500, minute, 3, 0}}, "", sampling(0, minute, 3*minute, mm), nil},
		{
			"a few daily ones first are gaps", []beat{{6, day, 3, 0}, {500, 5 * minute, 3, 0}}, "",
			sampling(0, 5*minute, 15*minute, mm), nil,
		},
		{
			"eleven steps of another interval are gaps",
			[]beat{{300, time.Hour, 3, 0}, {11, day, 3, 0}, {50, time.Hour, 3, 0}}, "",
			sampling(0, time.Hour, 3*time.Hour, mm), nil,
		},
		{
			"twelve begin it", []beat{{300, time.Hour, 3, 0}, {12, day, 3, 0}, {50, time.Hour, 3, 0}},
			"", sampling(0, time.Hour, 3*time.Hour, mm),
			[]reading.Sampling{
				sampling(math.MinInt64, time.Hour, 3*time.Hour, mm), sampling(at(300*time.Hour), day, 3*day, mm),
				sampling(at(300*time.Hour+12*day), time.Hour, 3*time.Hour, mm),
			},
		},
		{
			"one short step first", []beat{{1, time.Second, 3, 0}, {300, 5 * minute, 3, 0}, {50, time.Hour, 3, 0}}, "",
			sampling(0, 5*minute, 15*minute, mm),
			[]reading.Sampling{
				sampling(math.MinInt64, 5*minute, 15*minute, mm),
				sampling(at(time.Second+1500*minute), time.Hour, 3*time.Hour, mm),
			},
		},
		{
			"one short step where the interval changes",
			[]beat{{300, 5 * minute, 3, 0}, {1, time.Minute, 3, 0}, {50, time.Hour, 3, 0}}, "",
			sampling(0, 5*minute, 15*minute, mm),
			[]reading.Sampling{
				sampling(math.MinInt64, 5*minute, 15*minute, mm),
				sampling(at(1501*minute), time.Hour, 3*time.Hour, mm),
			},
		},
		{
			"half as long again is jitter", []beat{{300, 10 * minute, 3, 0}, {50, 15 * minute, 3, 0}}, "",
			sampling(0, 10*minute, 30*minute, mm), nil,
		},
		{
			"longer is another interval", []beat{{300, 10 * minute, 3, 0}, {50, 16 * minute, 3, 0}}, "",
			sampling(0, 10*minute, 30*minute, mm),
			[]reading.Sampling{
				sampling(math.MinInt64, 10*minute, 30*minute, mm),
				sampling(at(3000*minute), 16*minute, 48*minute, mm),
			},
		},
		{
			"a month of daily ones first", []beat{{30, day, 3, 0}, {1000, 5 * minute, 3, 0}}, "",
			sampling(0, 5*minute, 15*minute, mm),
			[]reading.Sampling{
				sampling(math.MinInt64, day, 3*day, mm), sampling(at(30*day), 5*minute, 15*minute, mm),
			},
		},
		{
			"a stated gap limit holds for all", []beat{{30, day, 3, 0}, {1000, 5 * minute, 3, 0}},
			"gap_limit = \"2 h\"\n",
			sampling(0, 5*minute, 2*time.Hour, mm),
			[]reading.Sampling{
				sampling(math.MinInt64, day, 2*time.Hour, mm), sampling(at(30*day), 5*minute, 2*time.Hour, mm),
			},
		},
		{
			"there and back", []beat{{300, 5 * minute, 3, 0}, {50, time.Hour, 3, 0}, {300, 5 * minute, 3, 0}}, "",
			sampling(0, 5*minute, 15*minute, mm),
			[]reading.Sampling{
				sampling(math.MinInt64, 5*minute, 15*minute, mm),
				sampling(at(1500*minute), time.Hour, 3*time.Hour, mm),
				sampling(at(1500*minute+50*time.Hour), 5*minute, 15*minute, mm),
			},
		},
		{
			"a logger that changes by itself", storms, "",
			sampling(0, minute, 45*minute, mm), nil,
		},
		{
			"hourly, and in six storms every 5 minutes", few, "",
			sampling(0, time.Hour, 3*time.Hour, mm), nil,
		},
		{
			"hourly by day, six steps of two hours by night", nights, "",
			sampling(0, time.Hour, 6*time.Hour, mm), nil,
		},
		{
			"another interval with a gap after its tenth reading",
			[]beat{{300, time.Hour, 3, 0}, {9, day, 3, 0}, {1, 5 * day, 3, 0}, {20, day, 3, 0}}, "",
			sampling(0, time.Hour, 3*time.Hour, mm),
			[]reading.Sampling{
				sampling(math.MinInt64, time.Hour, 3*time.Hour, mm), sampling(at(300*time.Hour), day, 3*day, mm),
			},
		},
		{
			"a few averages with many decimals", []beat{{2000, minute, 3, 8}}, "",
			sampling(0, minute, 3*minute, mm), nil,
		},
		{
			"averages among the first ones only", []beat{{200, minute, 8, 0}, {9000, minute, 3, 0}}, "",
			sampling(0, minute, 3*minute, mm),
			[]reading.Sampling{sampling(math.MinInt64, minute, 3*minute, 1e-8), sampling(0, minute, 3*minute, mm)},
		},
		{
			"another sensor of whole centimetres", []beat{{4000, minute, 3, 0}, {20000, minute, 2, 0}}, "",
			sampling(0, minute, 3*minute, mm),
			[]reading.Sampling{sampling(math.MinInt64, minute, 3*minute, mm), sampling(0, minute, 3*minute, 0.01)},
		},
	} {
		t.Run(c.name, func(t *testing.T) {
			rows, l, err := stamps(t, "+00:00", c.more, map[string]string{"a.csv": logOf(c.beats...)})
			if err != nil {
				t.Fatal(err)
			}
			want := 0
			for _, x := range c.beats {
				want += max(x.rows, 0)
			}
			if len(rows) != want {
				t.Errorf("%d readings came, want %d", len(rows), want)
			}
			got := sampling(0, l.Interval, l.GapLimit, l.Resolution[reading.Level])
			if !like(got, c.want) {
				t.Errorf("most: %v, want %v", got, c.want)
			}
			if len(l.Samplings) != len(c.list) {
				t.Fatalf("%v, want %v", l.Samplings, c.list)
			}
			for k, x := range l.Samplings {
				if !like(x, c.list[k]) || c.list[k].From != 0 && x.From != c.list[k].From {
					t.Errorf("%d: %v, want %v", k, x, c.list[k])
				}
			}
		})
	}
}

func sampling(from int64, interval, gap time.Duration, step float64) reading.Sampling {
	return reading.Sampling{From: from, Interval: interval, GapLimit: gap, Step: step}
}

func like(a, b reading.Sampling) bool {
	return a.Interval == b.Interval && a.GapLimit == b.GapLimit && math.Abs(a.Step-b.Step) < 1e-9*b.Step
}

// TestStampsOfSamplings: hourly values, daily ones from the third of the month on, and hourly ones again. A mean that
// is stamped at its start ends an interval later, a day or an hour, by its own; a reading that stands for the middle of
// its interval lies half of it on or back.
func TestStampsOfSamplings(t *testing.T) {
	var stamped []time.Time
	at := time.Date(2031, 3, 1, 0, 0, 0, 0, time.UTC)
	interval := func(at time.Time) time.Duration {
		if d := at.Day(); d >= 3 && d < 23 {
			return 24 * time.Hour
		}
		return time.Hour
	}
	var log strings.Builder
	log.WriteString("Time,Level (m)\n")
	for ; at.Day() < 26; at = at.Add(interval(at)) {
		stamped = append(stamped, at)
		fmt.Fprintf(&log, "%s,0.%03d\n", at.Format("2006-01-02 15:04:05"), 100+len(stamped)*7%300)
	}
	for more, moved := range map[string]func(i int) time.Time{
		"stamp = \"start\"\nvalues = \"means\"": func(i int) time.Time { return stamped[i].Add(interval(stamped[i])) },
		"stamp = \"start\"": func(i int) time.Time {
			return stamped[i].Add(interval(stamped[i]) / 2)
		},
		"stamp = \"end\"": func(i int) time.Time { // the interval before the stamp is that before it in the log
			return stamped[i].Add(-interval(stamped[max(i-1, 0)]) / 2)
		},
	} {
		got, l, err := stamps(t, "+00:00", more, map[string]string{"a.csv": log.String()})
		if err != nil || len(l.Samplings) != 3 {
			t.Fatal(more, err, l.Samplings)
		}
		for i, text := range got {
			if want := moved(i).Format("01-02 15:04"); text[:11] != want {
				t.Errorf("%q, reading %d stamped %v: %s, want %s", more, i, stamped[i], text, want)
			}
		}
	}
}
