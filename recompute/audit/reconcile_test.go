package audit

import (
	"fmt"
	"math"
	"strings"
	"testing"

	"retotal/ingest/quantity"
)

// TestReconcile: a line of known slope and intercept through thirty days, three of which were broken by hand, is found,
// and so are those days, the worst first.
func TestReconcile(t *testing.T) {
	var pairs []dayPair
	for i := range 30 {
		x := 200 + 40*math.Sin(float64(i))
		pairs = append(pairs, dayPair{fmt.Sprintf("2031-03-%02d", i+1), x, 1.02*x + 3})
	}
	if l := reconcile(pairs, 0); math.Abs(l.slope-1.02) > 1e-9 || math.Abs(l.intercept-3) > 1e-6 || len(l.broken) != 0 {
		t.Errorf("%+v", l)
	}
	for i, add := range map[int]float64{4: -20, 11: 150, 20: 60} {
		pairs[i].counted += add
	}
	l := reconcile(pairs, 0)
	if math.Abs(l.slope-1.02) > 1e-6 || math.Abs(l.intercept-3) > 1e-3 {
		t.Errorf("slope %v and intercept %v", l.slope, l.intercept)
	}
	var days []string
	for _, p := range l.broken {
		days = append(days, p.day)
	}
	if got := strings.Join(days, " "); got != "2031-03-12 2031-03-21 2031-03-05" {
		t.Errorf("broken: %s", got)
	}
	if s := l.sentence(quantity.MustLookUp("m3")); !strings.Contains(s,
		"By day it is 1.02000 × the flow +3.00 m3. Off that line lie 3 days: 2031-03-12 (") {
		t.Error(s)
	}
	if reconcile(pairs[:4], 0).sentence(quantity.MustLookUp("m3")) != "" {
		t.Error("a line through four days")
	}
}
