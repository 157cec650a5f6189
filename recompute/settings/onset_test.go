package settings

import (
	"strings"
	"testing"
	"time"

	"retotal/ingest/site"
)

// TestOnsetEdges: onsets that may be defended lie after the last good check and before the end, are not the chosen one,
// and each stands once. Half-way between 1 and 11 March is the 6th; a cap of two days makes it the 9th.
func TestOnsetEdges(t *testing.T) {
	for _, c := range []struct {
		name, from, cap string
		changes         []string
		steps           []string
		want            string
	}{
		{"plain", "2031-03-03", "", nil, nil, "at the last good check, 2031-03-01; half-way since the last good check, 2031-03-06"},
		{"from the check itself", "2031-03-01", "", nil, nil, "half-way since the last good check, 2031-03-06"},
		{"capped", "2031-03-03", ", cap = \"2 d\"", nil, nil, "at the last good check, 2031-03-01; half-way since the last good check, 2031-03-09"},
		{"a cap of five days", "2031-03-03", ", cap = \"5 d\"", nil, nil, "at the last good check, 2031-03-01; half-way since the last good check, 2031-03-06"},
		{"a cap of six days", "2031-03-03", ", cap = \"6 d\"", nil, nil, "at the last good check, 2031-03-01; half-way since the last good check, 2031-03-06"},
		{"changes", "2031-03-03", "", []string{"2031-03-01", "2031-03-04", "2031-03-11"}, nil,
			"at the last good check, 2031-03-01; half-way since the last good check, 2031-03-06; at the change of " +
				"settings, 2031-03-04"},
		{"steps", "2031-03-03", "", nil, []string{"2031-02-28", "2031-03-01", "2031-03-06", "2031-03-10", "2031-03-11"},
			"at the last good check, 2031-03-01; half-way since the last good check, 2031-03-06; at a " +
				"step, 2031-03-10"},
	} {
		more := ""
		for _, at := range c.changes {
			more += "[[settings.change]]\nat = " + at + "T00:00:00\nempty_distance = \"1.5 m\"\n"
		}
		more += "[[correction]]\nfrom = " + c.from + "T00:00:00\nuntil = 2031-03-11T00:00:00\nreason = \"test\"\n" +
			"empty_distance = \"1.49 m\"\nonset = { last_good_check = 2031-03-01T00:00:00" + c.cap + " }\n"
		var found []Step
		for _, text := range c.steps {
			at, _ := time.Parse("2006-01-02", text)
			found = append(found, Step{At: at.UnixNano(), What: "a step"})
		}
		l, s := lanes(t, column("level"), "empty_distance = \"1.5 m\"\n", more, found...)
		var got []string
		for _, w := range l.WhatIfs {
			got = append(got, strings.TrimSuffix(strings.TrimPrefix(w.Name, "onset "), " 00:00:00"))
		}
		if strings.Join(got, "; ") != c.want || !OnsetOpen(s) {
			t.Errorf("%s: %q, want %q", c.name, got, c.want)
		}
	}
}

// TestOnBounds: an onset at the very begin of a reporting month is told, one a second beside it is not, nor one that is
// sure.
func TestOnBounds(t *testing.T) {
	for from, want := range map[string]int{
		"2031-03-01T00:00:00": 1, "2031-03-01T00:00:01": 0, "2031-02-28T23:59:59": 0, "2031-03-02T00:00:00": 0,
	} {
		text := "[[correction]]\nfrom = " + from +
			"\nuntil = 2031-03-11T00:00:00\nreason = \"test\"\nempty_distance = \"1.49 m\"\n"
		_, open := lanes(
			t,
			column("level"),
			"empty_distance = \"1.5 m\"\n",
			text+"onset = { last_good_check = 2031-02-01T00:00:00 }\n",
		)
		_, sure := lanes(t, column("level"), "empty_distance = \"1.5 m\"\n", text)
		if got := len(OnBounds(open)); got != want || len(OnBounds(sure)) != 0 || OnsetOpen(sure) {
			t.Errorf("%s: %d warnings, want %d; %d where the onset is sure", from, got, want, len(OnBounds(sure)))
		}
	}
}

// TestChanges: a change counts from its instant on; what changes nothing is none.
func TestChanges(t *testing.T) {
	const first, second, third, fourth = "2031-03-01", "2031-03-02", "2031-03-03", "2031-03-04"
	at := func(text string) int64 { d, _ := time.Parse("2006-01-02", text); return d.UnixNano() }
	change := func(day, key string) string { return "[[settings.change]]\nat = " + day + "T00:00:00\n" + key + "\n" }
	for _, c := range []struct {
		key  string
		want bool
	}{
		{"empty_distance = \"1.49 m\"", true}, {"empty_distance = \"1.5 m\"", false},
		{"empty_distance = \"150 cm\"", false}, {"maximum_flow = \"1 L/s\"", true},
		{"below_zero = \"clamped\"", true},
		{"below_zero = \"shown\"", false}, {"air_temperature = \"20 degC\"", true},
		{"loop = { low = \"0 m\", high = \"1 m\" }", true}, {"device = { coefficient = 0.11 }", true},
	} {
		l, _ := lanes(
			t,
			column("level"),
			"empty_distance = \"1.5 m\"\n",
			change(second, c.key)+change(third, "maximum_head = \"0.4 m\""),
		)
		want := 1
		if c.want {
			want = 2
		}
		if got := len(l.Recorded.ChangesIn(at(first), at(fourth))); got != want {
			t.Errorf("%s: %d changes, want %d", c.key, got, want)
		}
		for _, x := range []struct {
			from, until int64
			want        int
		}{
			{at(second), at(third), 1},
			{at(third), at(fourth), 0},
			{at(second) + 1, at(third) - 1, 0},
			{at(third) - 1, at(third), 1},
		} {
			if got := len(l.Recorded.ChangesIn(x.from, x.until)); got != x.want {
				t.Errorf(
					"%s, after %v up to %v: %d",
					c.key,
					time.Unix(0, x.from).UTC(),
					time.Unix(0, x.until).UTC(),
					got,
				)
			}
		}
	}
	// The corrected settings change where a correction ends; a change of the recorded ones counts as one where it says
	// that something moved.
	more := change(
		second,
		"empty_distance = \"1.49 m\"\nmoved = true",
	) + change(
		third,
		"empty_distance = \"1.48 m\"\nmoved = false",
	) + change(
		fourth,
		"maximum_head = \"0.4 m\"",
	)
	l, s := lanes(
		t,
		column("level"),
		"empty_distance = \"1.5 m\"\n",
		more+"[[correction]]\nuntil = "+third+"T00:00:00\nreason = \"test\"\nempty_distance = \"1.47 m\"\n",
	)
	if got := MovedAt(s, l.Corrected); len(got) != 2 || got[0] != at(second) || got[1] != at(fourth) {
		t.Errorf("%d moves: %v", len(got), got)
	}
}

// TestOnsets: ONSET-1 and ONSET-2 of the reference, half the time since the last good check and the same with a cap of
// a year.
func TestOnsets(t *testing.T) {
	day := func(text string) *site.Instant {
		at, err := time.Parse("2006-01-02", text)
		if err != nil {
			t.Fatal(err)
		}
		return &site.Instant{UTC: at.UnixNano(), Text: text}
	}
	clock, err := site.ParseClock("+00:00")
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		id, good, found string
		cap             time.Duration
		want            string
	}{
		{"ONSET-1", "2024-03-01", "2024-05-01", 0, "2024-03-31 12:00:00"},
		{"ONSET-2", "2021-05-01", "2024-05-01", 366 * 24 * time.Hour, "2023-05-01 00:00:00"},
	} {
		s := &site.Site{Log: site.Log{Clock: clock}, Settings: []site.Change{{}}}
		list := onsets(s, &site.Correction{From: day(c.found), Until: &site.Instant{UTC: day(c.found).UTC + 1},
			Onset: &site.Onset{LastGood: day(c.good), Cap: c.cap}}, nil)
		if len(list) != 2 || list[1].from.Text != c.want {
			t.Errorf("%s: %+v, want %s", c.id, list, c.want)
		}
	}
}
