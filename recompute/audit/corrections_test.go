package audit

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"retotal/ingest/site"
	"retotal/recompute/evidence"
)

// judge runs a log of levels, one every ten minutes, with one correction, and returns what is said of it and whether it
// is refused.
func judge(t *testing.T, levels []float64, settings, correction string) (Finding, string) {
	t.Helper()
	var log strings.Builder
	log.WriteString("Time,Level\n")
	at := time.Date(2031, 3, 1, 0, 0, 0, 0, time.UTC)
	for i, h := range levels {
		fmt.Fprintf(&log, "%s,%.3f\n", at.Add(time.Duration(i)*10*time.Minute).Format("2006-01-02 15:04:05"), h)
	}
	text := "id = \"judge\"\n[log]\nfiles = [\"log.csv\"]\ntime_zone = \"+00:00\"\n[log.columns]\ntime = \"Time\"\n" +
		"level = { name = \"Level\", unit = \"m\" }\n" +
		settings + "[[correction]]\nreason = \"test\"\n" + correction
	r := runSite(t, log.String(), text)
	refused := ""
	if len(r.Refused) > 0 {
		refused = r.Refused.Error()
	}
	for _, f := range Findings(r, nil) {
		if strings.HasPrefix(f.Topic, "The first correction (line ") {
			return f, refused
		}
	}
	t.Fatal("no finding on the correction")
	return Finding{}, ""
}

// TestJudgedCorrections: levels go up and down between two values, four hours each, so that heads, medians and volumes
// can be told by hand (Q = 0.1 m²/s × h). Each limit has a case below, at and above it.
func TestJudgedCorrections(t *testing.T) {
	steps := func(values ...float64) (list []float64) {
		for range 3 { // days
			for _, v := range values {
				for i := range 144 / len(values) {
					list = append(list, v+0.001*float64(i%2))
				}
			}
		}
		return list
	}
	datum := func(m string) string { return "empty_distance = \"" + m + " m\"\n" }
	set := linear("empty_distance = \"1.5 m\"\n")
	high := linear("empty_distance = \"1.5 m\"\nmaximum_head = \"0.3 m\"\n")
	// valid from 0.06 m
	weirs := "[settings]\nempty_distance = \"1.5 m\"\n[settings.device]\nkind = \"v-notch\"\nangle = \"90 deg\"\n"
	days, dry := steps(0.099, 0.199), steps(0, 0.2)
	for _, c := range []struct {
		name, settings, correction string
		levels                     []float64
		verdict                    Verdict
		says, refused              string
	}{
		// a level of 99, 100, 199 and 200 mm, 10 mm lower
		{"a survey", set, datum("1.49"), days, Plausible, "takes heads from 0.0990, 0.1000 and 0.2000 m (least, median, highest) to 0.0890, 0.0900 and 0.1900 m, and the volume of its span to 0.93", ""},
		{"nothing", set, datum("1.5"), days, Doubtful, "changes nothing", ""},
		{"a maximum that nothing reaches", high, "maximum_head = \"0.6 m\"\n", days, Doubtful, "changes nothing", ""},
		{"night at zero flow, 5 mm", set, datum("1.505"), dry, Plausible, "to 0.0050", ""}, // the night minimum is 0.5 mm: levels of 0 and 1 mm
		{"night at zero flow, 6 mm", set, datum("1.506"), dry, Doubtful, "moves the night minimum away from zero flow, from +0.5 to +6.5 mm", ""},
		{"night at zero flow, sign turned", set, datum("1.47"), dry, Doubtful, "from +0.5 to -29.5 mm", ""},
		{"night not at zero flow", set, datum("1.52"), steps(0.006, 0.2), Plausible, "", ""},
		{"half of the readings negative", set, datum("1.4"), steps(0.09, 0.5), Plausible, "to 0.67", ""}, // 0.4005/2 of (0.0905 + 0.5005)/2: 0.6777
		{"most negative", set, datum("1.4"), steps(0.09, 0.09, 0.2), Doubtful, "makes 67 % of the readings negative, above the highest head that is expected or below validity (67 %, 0 % and 0 %; before 0 % in all)", ""},
		{"all negative", set, datum("1.2"), days, Doubtful, "makes 100 %", "the first correction (line 16) leaves no reading of the log inside the device: heads lie between -0.201 and -0.1 m (recorded: 0.099 to 0.2 m)"},
		{"all negative, and sure", set, datum("1.2") + "sure = true\n", days, Doubtful, "makes 100 %", ""},
		{"half surcharged", high, datum("1.62"), days, Plausible, "", ""},
		{"most surcharged", high, datum("1.62"), steps(0.1, 0.199, 0.199), Doubtful, "(0 %, 67 % and 0 %", ""},
		{"most below validity", weirs, datum("1.445"), steps(0.07, 0.07, 0.2), Doubtful, "(0 %, 0 % and 67 %", ""},
		// mean level of 0.1495 m: 0.149 m more give 1.997 times, 0.15 m 2.003 times
		{"nearly double", set, datum("1.649"), days, Plausible, "to 1.99", ""},
		{"double", set, datum("1.65"), days, Doubtful, "doubles the volume", ""},
		{"nearly half", set, datum("1.426"), days, Plausible, "to 0.50", ""},
		{"half", set, datum("1.424"), days, Doubtful, "halves the volume", ""},
	} {
		f, refused := judge(t, c.levels, c.settings, c.correction)
		if f.Verdict != c.verdict || !strings.Contains(f.Sentence, c.says) ||
			(refused != "") != (c.refused != "") || !strings.Contains(refused, c.refused) {
			t.Errorf("%s: %s: %s\n%s", c.name, f.Verdict, f.Sentence, refused)
		}
		t.Log(c.name, ":", f.Sentence)
	}
}

// TestCorrectionLimits: the limits that a log cannot meet to the last digit, below, at and above.
func TestCorrectionLimits(t *testing.T) {
	of := func(change func(*evidence.Trial)) int {
		trial := evidence.Trial{
			Correction: &site.Correction{}, Changed: 1, VolumeBefore: 100, VolumeAfter: 100, Nights: 3,
		}
		trial.Before = evidence.Heads{Readings: 1000, Inside: 1000}
		trial.After = trial.Before
		change(&trial)
		return len(doubts(&trial))
	}
	for _, c := range []struct {
		name   string
		change func(*evidence.Trial)
		want   int
	}{
		{"nothing odd", func(*evidence.Trial) {}, 0},
		{"499 of 1,000 outside", func(x *evidence.Trial) { x.After.Negative = 499 }, 0},
		{"500", func(x *evidence.Trial) { x.After.Negative, x.After.Low = 400, 100 }, 0},
		{"501", func(x *evidence.Trial) { x.After.Negative, x.After.Surcharged = 400, 101 }, 1},
		{"501 before, too", func(x *evidence.Trial) { x.After.Negative, x.Before.Low = 501, 501 }, 0},
		{"1.999 times", func(x *evidence.Trial) { x.VolumeAfter = 199.9 }, 0},
		{"2 times", func(x *evidence.Trial) { x.VolumeAfter = 200 }, 1},
		{"2.001 times", func(x *evidence.Trial) { x.VolumeAfter = 200.1 }, 1},
		{"0.501 times", func(x *evidence.Trial) { x.VolumeAfter = 50.1 }, 0},
		{"0.5 times", func(x *evidence.Trial) { x.VolumeAfter = 50 }, 1},
		{"no flow before or after", func(x *evidence.Trial) { x.VolumeBefore, x.VolumeAfter = 0, 0 }, 0},
		{"flow to none", func(x *evidence.Trial) { x.VolumeAfter = 0 }, 1},
		{"flow from none", func(x *evidence.Trial) { x.VolumeBefore = 0 }, 1},
		{"night from 5 to 10 mm", func(x *evidence.Trial) { x.NightBefore, x.NightAfter = 0.005, 0.010 }, 0},
		{"night from 5 to 10.1 mm", func(x *evidence.Trial) { x.NightBefore, x.NightAfter = 0.005, 0.0101 }, 1},
		{"night from 5.1 to 20 mm", func(x *evidence.Trial) { x.NightBefore, x.NightAfter = 0.0051, 0.020 }, 0},
		{"night from 0 to -5.1 mm", func(x *evidence.Trial) { x.NightAfter = -0.0051 }, 1},
		{"no change", func(x *evidence.Trial) { x.Changed = 0 }, 1},
	} {
		if got := of(c.change); got != c.want {
			t.Errorf("%s: %d doubts, want %d", c.name, got, c.want)
		}
	}
}

// TestJudgedFlows: of a log of flows, heads are searched for, after a while in one reading of seven; extremes are found
// all the same. Q = 0.1 m²/s × h: 10 L/s are 0.1 m, 5 L/s 0.05 m, 35 L/s 0.35 m.
func TestJudgedFlows(t *testing.T) {
	var log strings.Builder
	log.WriteString("Time,Flow (L/s)\n")
	at := time.Date(2031, 3, 1, 0, 0, 0, 0, time.UTC)
	for i := range 10000 {
		q := 10 + 0.1*float64(i%2)
		if i == 9001 {
			q = 35
		} else if i == 9002 {
			q = 5
		}
		fmt.Fprintf(&log, "%s,%.2f\n", at.Add(time.Duration(i)*time.Minute).Format("2006-01-02 15:04:05"), q)
	}
	text := "id = \"judge\"\n[log]\nfiles = [\"log.csv\"]\ntime_zone = \"+00:00\"\n[log.columns]\ntime = \"Time\"\n" +
		"flow = \"Flow\"\n" + linear("empty_distance = \"1.5 m\"\n") +
		"[screening]\nspike = { action = \"keep\", threshold = 1000 }\n[[correction]]\nreason = \"test\"\n" +
		"empty_distance = \"1.49 m\"\n"
	r := runSite(t, log.String(), text)
	if len(r.Trials) != 1 || r.Trials[0].Before.Readings > 6000 {
		t.Fatalf("%+v", r.Trials)
	}
	if got, want := three(&r.Trials[0].Before)+" "+three(&r.Trials[0].After),
		"0.0500, 0.1000 and 0.3500 m 0.0400, 0.0900 and 0.3400 m"; got != want {
		t.Errorf("%s, want %s", got, want)
	}
}
