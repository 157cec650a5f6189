package report

import (
	"strings"
	"testing"

	"retotal/ingest/site"
	"retotal/qa"
	"retotal/recompute/effect"
)

// TestWorthALook: of 23 kept spans people read of the 20 with the largest change in the page and of 5 in the text, and
// machines of all; of spans of checks that act, of none.
func TestWorthALook(t *testing.T) {
	run, _ := correct(t, "site.toml")
	at, after := run.Result.Total.From, run.Result.Total.After.M3()
	run.Result.Events = []*effect.Event{{
		Flag: qa.Spike, Check: "spike", Action: site.Bridge, From: at, Until: at, Effect: 3,
	}}
	for i := range 23 {
		run.Result.Events = append(run.Result.Events, &effect.Event{
			Flag: qa.Still, Check: "still", Action: site.Keep, From: at, Until: at + 3600e9, Rows: 60, Lowest: 0.1,
			Highest: 0.2, Left: effect.Change{Volume: after / 1000 * float64(i+1), Missing: int64(i) * 60e9},
		})
	}
	table := run.worth()
	var text strings.Builder
	table.Text(&text)
	lines := strings.Split(strings.TrimSpace(text.String()), "\n")
	if len(lines) != 7 || !strings.Contains(lines[1], "0.100 to 0.200") ||
		!strings.HasSuffix(lines[1], "+2.30 %   22 min") ||
		strings.TrimSpace(lines[6]) != "and 15 more in report.html" {
		t.Errorf("the text is\n%s", text.String())
	}
	for _, line := range lines {
		if len(line) > 100 {
			t.Errorf("%d columns: %s", len(line), line)
		}
	}
	if n := len(table.Page().Rows); n != 20 {
		t.Errorf("the page has %d rows", n)
	}
	if n := strings.Count(recordText(t, table), "left_out_m3"); n != 23 {
		t.Errorf("the record has %d", n)
	}
	csv := strings.Split(string(asCSV(run.events())), "\n")
	if len(csv) != 26 || !strings.HasSuffix(csv[1], ",,,") || !strings.HasSuffix(csv[24], ",2.300,1320.0000") {
		t.Errorf("events.csv has %d lines: %s, %s", len(csv), csv[1], csv[24])
	}
}

// TestSignedToThree: volumes from far below to far above 1, without exponents.
func TestSignedToThree(t *testing.T) {
	for v, want := range map[float64]string{
		0: "+0", 0.000012345: "+0.0000123", -0.0648: "-0.0648", 12.34: "+12.3", -999.4: "-999", 999.6: "+1000",
		-1000: "-1,000", 12345678: "+12,345,678",
	} {
		if got := signedTo3(v); got != want {
			t.Errorf("%g: %s, want %s", v, got, want)
		}
	}
}

func recordText(t *testing.T, table *Table) string {
	t.Helper()
	text, err := table.MarshalJSON()
	if err != nil {
		t.Fatal(err)
	}
	return string(text)
}

// TestAllLeftOut: what leaving out all that is kept would change is told where two checks or more keep readings, since
// one alone has it in its row; and that filling by hours goes by estimates which would change.
func TestAllLeftOut(t *testing.T) {
	run, _ := correct(t, "site.toml")
	after := run.Result.Total.After.M3()
	still := effect.Summary{Check: "still", Action: site.Keep, Rows: 3}
	spike := effect.Summary{Check: "spike", Action: site.Keep, Rows: 1}
	run.Result.Left = effect.Change{Volume: -after / 8, Missing: 3600e9}
	filled := "Of what would be missing and filled"
	for _, c := range []struct {
		flags []effect.Summary
		rule  site.FillRule
		want  []string // beginnings of lines
	}{
		{nil, site.FillSameTime, nil},
		{[]effect.Summary{still}, site.FillNot, nil},
		{[]effect.Summary{still}, site.FillLinear, nil},
		{[]effect.Summary{still}, site.FillSameTime, []string{filled}},
		{[]effect.Summary{still, {Check: "noise", Action: site.Keep}}, site.FillNot, nil},
		{[]effect.Summary{still, {Check: "stuck", Action: site.Bridge, Rows: 2}}, site.FillNot, nil},
		{[]effect.Summary{still, spike}, site.FillDonorRegression, []string{
			"All that is kept left out at once: " + signedTo3(-after/8) + " m3 (-12.50 %), missing: 1 h. ", filled}},
	} {
		run.Result.Flags, run.Site().Filling.Rule = c.flags, c.rule
		got := run.allLeftOut()
		if len(got) != len(c.want) {
			t.Fatalf("%v, %s: %q", c.flags, c.rule, got)
		}
		for i := range got {
			if !strings.HasPrefix(got[i], c.want[i]) {
				t.Errorf("%q does not begin with %q", got[i], c.want[i])
			}
		}
	}
}
