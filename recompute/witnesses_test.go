package recompute_test

import (
	"fmt"
	"math"
	"strings"
	"testing"
	"time"
)

// contradicted is a site of ten days of levels every five minutes, which go up and down by 40 mm in a day around 200 mm
// and by 1 mm in 20 minutes. For twelve hours, two of which would be a storm of 60 mm, the level stands: 144 readings,
// and two after them that round to the same. Q = 0.1 m²/s × h. What else the log holds is told by column; the storm is
// over before the level moves again, so that nothing jumps.
func contradicted(t *testing.T, column string, says func(hour, level float64, storm bool) string) string {
	var b strings.Builder
	fmt.Fprintf(&b, "Time,Value (m),%s\n", column)
	at := time.Date(2031, 3, 1, 0, 0, 0, 0, time.UTC)
	for i := range 10 * 288 {
		hour := float64(i) / 12
		level := 0.2 + float64(0.04*math.Sin(hour*2*math.Pi/24)) + float64(0.001*math.Sin(hour*3*2*math.Pi))
		if hour >= 72 && hour < 84 { // the day's course is held for it, too
			level = 0.2
		}
		fmt.Fprintf(&b, "%s,%.3f,%s\n", at.Add(time.Duration(i)*5*time.Minute).Format("2006-01-02 15:04:05"), level,
			says(hour, level, hour >= 79 && hour < 81))
	}
	file := siteOf(t, "level", b.String(), "[settings]\n"+tenth)
	name, _, _ := strings.Cut(column, " ")
	key := map[string]string{"Second": "second_level", "Flow": "flow", "Counter": "counter"}[name]
	return replaceIn(t, file, "[log.columns]\n", "[log.columns]\n"+key+" = \""+name+"\"\n")
}

// TestContradicted: a level that stands while another quantity shows a storm is stuck, whichever that is; where it
// shows none, it stands and is kept.
func TestContradicted(t *testing.T) {
	total := 0.0
	shown := func(level float64, storm bool) float64 {
		if storm {
			return level + 0.06
		}
		return level
	}
	for _, c := range []struct {
		column string
		says   func(hour, level float64, storm bool) string
		want   int // readings that are stuck
	}{
		{"Second (m)", func(_, l float64, s bool) string { return fmt.Sprintf("%.3f", shown(l, s)+0.5) }, 146},
		{"Flow (L/s)", func(_, l float64, s bool) string { return fmt.Sprintf("%.2f", 100*shown(l, s)) }, 146},
		{"Counter (m3)", func(_, l float64, s bool) string {
			total += 0.1 * shown(l, s) * 300
			return fmt.Sprintf("%.1f", total)
		}, 146},
		{"Second (m)", func(_, l float64, _ bool) string { return fmt.Sprintf("%.3f", l+0.5) }, 0},
		{"Flow (L/s)", func(_, l float64, _ bool) string { return fmt.Sprintf("%.2f", 100*l) }, 0},
	} {
		r := run(t, contradicted(t, c.column, c.says))
		if got := rowsOf(r, "stuck"); got != c.want {
			t.Errorf("%s: %d readings stuck, %d still; want %d", c.column, got, rowsOf(r, "still"), c.want)
		}
		if told := strings.Contains(strings.Join(r.Habits, "\n"), "1 spell of one value while"); told != (c.want > 0) {
			t.Errorf("%s: %q", c.column, r.Habits)
		}
	}
}

// TestRestfulRecord: water that stands within a step of its log for days is not attenuated where it often does so, and
// is where that is once in sixty days, or where the site file says how long it may.
func TestRestfulRecord(t *testing.T) {
	levels := func(still func(day int) bool) (list []string) {
		for i := range 60 * 288 {
			level := 0.2
			if !still(i / 288) {
				level += 0.03 * math.Sin(float64(i)*2*math.Pi/288)
			}
			list = append(list, fmt.Sprintf("%.2f", level))
		}
		return list
	}
	often := func(day int) bool { return day%6 < 3 }
	once := func(day int) bool { return day >= 30 && day < 32 }
	for _, c := range []struct {
		name      string
		still     func(day int) bool
		screening string
		rows      bool
	}{
		{"often", often, "", false}, {"once", once, "", true},
		{"often, and stated", often, "[screening]\nattenuated = { window = \"24 h\" }\n", true},
	} {
		r := run(t, siteOf(t, "level", every5(levels(c.still), "level"), c.screening+"[settings]\n"+tenth))
		if got := rowsOf(r, "attenuated") > 0; got != c.rows {
			t.Errorf("%s: %d readings", c.name, rowsOf(r, "attenuated"))
		}
	}
}
