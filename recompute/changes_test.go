package recompute_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"strings"
	"testing"
	"time"
)

// setup is everything that a meter knows, as this test computes with it: Q = c·hⁿ, head = head factor × (empty
// distance − distance factor × measured − zero flow).
type setup struct {
	empty, zero, distance, head, coefficient, exponent float64
	// kelvin is of the air that the meter assumes; the air stands at 293.15 K.
	kelvin float64
}

func (s setup) shownDistance(measured float64) float64 {
	return measured * s.distance * math.Sqrt(s.kelvin/293.15)
}
func (s setup) shownHead(measured float64) float64 {
	return s.head * (s.empty - s.shownDistance(measured) - s.zero)
}
func (s setup) flow(measured float64) float64 {
	return s.coefficient * math.Pow(math.Max(0, s.shownHead(measured)), s.exponent)
}

// figure is what the meter logs.
func (s setup) figure(quantity string, measured float64) float64 {
	switch quantity {
	case "distance":
		return s.shownDistance(measured)
	case "level":
		return s.empty - s.shownDistance(measured)
	case "head":
		return s.shownHead(measured)
	}
	return s.flow(measured)
}

// keys writes the settings of a site file.
func (s setup) keys(device string) string {
	return fmt.Sprintf("empty_distance = \"%.17g m\"\nlevel_of_zero_flow = \"%.17g m\"\ndistance_factor = %.17g\n"+
		"head_factor = %.17g\nair_temperature = \"%.17g degC\"\n"+
		"[%s]\n", s.empty, s.zero, s.distance, s.head, s.kelvin-273.15, device) +
		power(s.coefficient, s.exponent)
}

// TestChangesBetweenReadings: settings that change before, at and after a reading, of every kind and for every logged
// quantity, against integrals over seconds of a known head. A number entered anew: the meter was wrong until then.
// Something that moved and was entered at once: nothing is to be corrected. Something that moved and was not entered:
// the meter is wrong from then on.
func TestChangesBetweenReadings(t *testing.T) {
	skipLong(t)
	random := rand.New(rand.NewPCG(88, 99))
	const minutes, every = 240, 300 // s
	for round := range 300 {
		right := setup{1.5, 0.02, 1, 1, 1.2, 1.5 + random.Float64(), 293.15}
		other := right
		kind := []string{"empty", "zero", "distance", "head", "coefficient", "air"}[round%6]
		by := (0.5 + random.Float64()) * 0.01
		switch kind {
		case "empty":
			other.empty += by
		case "zero":
			other.zero += by
		case "distance":
			other.distance += by / 2
		case "head":
			other.head += 3 * by
		case "coefficient":
			other.coefficient += 10 * by
		case "air":
			other.kelvin += 300 * by
		}
		quantity := []string{"distance", "level", "head", "flow"}[random.IntN(4)]
		story := []string{"entered anew", "moved and entered", "moved"}[round/6%3]
		change := every * (10 + random.IntN(20)) // s from the beginning: at a reading, a second off, or anywhere
		switch random.IntN(4) {
		case 0:
			change++
		case 1:
			change--
		case 2:
			change += random.IntN(every)
		}
		base, swing := 0.15+0.1*random.Float64(), 0.02*random.Float64()
		head := func(second int) float64 { return base + swing*math.Sin(float64(second)/30000) }
		before := func(second int) setup { // as the meter was set
			if second < change && story == "entered anew" || second >= change && story == "moved and entered" {
				return other
			}
			return right
		}
		truth := func(second int) setup { // what is true of the site
			if story != "entered anew" && second >= change {
				return other
			}
			return right
		}
		measured := func(second int) float64 { // the distance that gives the true head
			s := truth(second)
			return (s.empty - s.zero - head(second)/s.head) / s.distance / math.Sqrt(s.kelvin/293.15)
		}
		if story != "entered anew" && kind != "empty" && kind != "zero" && kind != "coefficient" {
			continue // such a thing is a number only
		}
		var values []string
		wantBefore, wantAfter := 0.0, 0.0
		for s := 0; s < minutes*60; s++ {
			now := truth(s)
			wantAfter += now.coefficient * (math.Pow(head(s), now.exponent) + math.Pow(head(s+1), now.exponent)) / 2
			if story == "entered anew" {
				// The distance is continuous, and each second has the settings that it begins with.
				m := before(s)
				wantBefore += (m.flow(measured(s)) + m.flow(measured(s+1))) / 2
			}
		}
		previous := 0.0
		for s := 0; s <= minutes*60; s += every {
			values = append(values, fmt.Sprintf("%.17g", before(s).figure(quantity, measured(s))))
			q := before(s).flow(measured(s))
			if story != "entered anew" && s > 0 {
				wantBefore += (previous + q) / 2 * every
			}
			previous = q
		}
		changed := time.Date(2031, 3, 1, 0, 0, 0, 0, time.UTC).Add(time.Duration(change) * time.Second)
		at := changed.Format("2006-01-02T15:04:05")
		text := "[settings]\n" + before(0).keys("settings.device")
		if story != "moved" {
			text += "[[settings.change]]\nat = " + at + "\n" + before(minutes*60).keys("settings.change.device")
		}
		switch story {
		case "entered anew":
			text += "[[correction]]\nuntil = " + at + "\nreason = \"test\"\n" + right.keys("correction.device")
		case "moved":
			text += "[[correction]]\nfrom = " + at + "\nreason = \"test\"\n" + other.keys("correction.device")
		}
		screening := "[screening]\nspike = \"keep\"\nstuck = \"keep\"\nvalidity = \"keep\"\n"
		r := run(t, siteOf(t, quantity, every5(values, quantity), screening+text))
		name := fmt.Sprintf("round %d, %s, %s of %ss, change at %d s", round, story, kind, quantity, change)
		tolerance := 3e-6
		if story != "entered anew" && (kind == "coefficient") {
			tolerance = 4e-3 // the true flow jumps with the device, wherever it does in the interval
		}
		if off := r.Total.After.M3()/wantAfter - 1; math.Abs(off) > tolerance {
			t.Errorf("%s: after is %+.2g off", name, off)
		}
		if off := r.Total.Before.M3()/wantBefore - 1; math.Abs(off) > 3e-6 {
			t.Errorf("%s: before is %+.2g off", name, off)
		}
		if s := r.Total.Split(); story == "moved and entered" && (s.Settings != 0 || r.Total.Difference() != 0) {
			t.Errorf("%s: settings make %v, the difference is %v", name, s.Settings, r.Total.Difference())
		}
	}
}

// every5 writes a log of one quantity, a reading every five minutes.
func every5(values []string, quantity string) string {
	unit := map[string]string{"flow": "m3/s"}[quantity]
	if unit == "" {
		unit = "m"
	}
	var b strings.Builder
	fmt.Fprintf(&b, "Time,Value (%s)\n", unit)
	at := time.Date(2031, 3, 1, 0, 0, 0, 0, time.UTC)
	for i, v := range values {
		fmt.Fprintf(&b, "%s,%s\n", at.Add(time.Duration(5*i)*time.Minute).Format("2006-01-02 15:04:05"), v)
	}
	return b.String()
}

// TestDatedChangeOfConstantHead: the head stands at 0.2 m in hourly levels for a day; the sensor is hung 25 mm higher
// at noon, at a reading, and entered at once. Nothing is to be corrected, and the volume is the steady flow's:
// 0.1 m²/s × 0.2 m × 86,400 s = 1,728 m³.
func TestDatedChangeOfConstantHead(t *testing.T) {
	for _, at := range []string{"12:00:00", "12:00:01", "11:59:59", "12:30:00"} {
		for _, moved := range []string{"", "moved = true\n"} {
			log := "Time,Value (m)\n"
			for h := range 25 {
				level := 0.2 // above a gauge datum that goes up with the sensor
				if fmt.Sprintf("%02d:00:00", h) >= at {
					level = 0.225
				}
				stamp := time.Date(2031, 3, 1, h, 0, 0, 0, time.UTC).Format("2006-01-02 15:04:05")
				log += fmt.Sprintf("%s,%.3f\n", stamp, level)
			}
			r := run(t, siteOf(t, "level", log, "[screening]\nstuck = \"keep\"\n"+
				"[settings]\nlevel_of_zero_flow = \"0 m\"\n"+tenth+
				"[[settings.change]]\nat = 2031-03-01T"+at+"\n"+moved+"level_of_zero_flow = \"0.025 m\"\n"))
			near(t, at+" before", r.Total.Before.M3(), 1728)
			near(t, at+" after", r.Total.After.M3(), 1728)
		}
	}
}

// TestMovedOverrules: a recorded change that is said to have moved something joins the flows in both lanes; one that is
// said to have moved nothing, although the corrected settings change with it, splits them at the change. Distances
// stand at 0.8 m, hourly; the empty distance goes from 1.0 to 1.1 m at half past one: Q = 0.1 m²/s × h goes from 20 to
// 30 L/s.
func TestMovedOverrules(t *testing.T) {
	log := "Time,Value (m)\n2031-03-01 00:00:00,0.8\n2031-03-01 01:00:00,0.8\n2031-03-01 02:00:00,0.8\n"
	change := func(minute int, moved string) string {
		return fmt.Sprintf("[screening]\nstuck = \"keep\"\n"+
			"[settings]\nempty_distance = \"1 m\"\n"+
			"%s[[settings.change]]\nat = 2031-03-01T01:%02d:00\n%sempty_distance = \"1.1 m\"\n", tenth, minute, moved)
	}
	for minute, split := range map[int]float64{15: 0.020*4500 + 0.030*2700, 45: 0.020*6300 + 0.030*900} {
		joined := run(t, siteOf(t, "distance", log, change(minute, "")))
		near(t, "joined", joined.Total.After.M3(), 0.020*3600+0.025*3600)
		parted := run(t, siteOf(t, "distance", log, change(minute, "moved = false\n")))
		near(t, "split, before", parted.Total.Before.M3(), split)
		near(t, "split, after", parted.Total.After.M3(), split)
	}
}

// TestMeanOverAChange: a mean whose interval holds a change was written under both settings: before as logged, after
// between what either makes of it. Means of 15 minutes; the logged flow is twice too much until 00:20, so the second
// mean, 20 L/s, may be 10 to 20 L/s; a change at a stamp parts whole intervals.
func TestMeanOverAChange(t *testing.T) {
	log := "Time,Value (m3/s)\n"
	for i := 1; i <= 4; i++ {
		log += fmt.Sprintf("%s,0.020\n", time.Date(2031, 3, 1, 0, 15*i, 0, 0, time.UTC).Format("2006-01-02 15:04:05"))
	}
	for at, want := range map[string][3]float64{ // L/s of the second mean: counted, least, most
		"00:20:00": {10, 10, 20},
		"00:15:00": {20, 20, 20},
		"00:30:00": {10, 10, 10},
	} {
		file := siteOf(t, "flow", log, "[screening]\nstuck = \"keep\"\n"+
			"[settings]\n"+tenth+
			"[[correction]]\nuntil = 2031-03-01T"+at+"\nreason = \"test\"\nlogged_factor = 0.5\n")
		r := run(t, replaceIn(t, file, "[log]\n", "[log]\nvalues = \"means\"\n"))
		upper, known := r.Total.Upper()
		near(t, at+" before", r.Total.Before.M3(), 0.020*3600)
		near(t, at+" after", r.Total.After.M3(), (0.010+want[0]/1000+0.020+0.020)*900)
		near(t, at+" at least", r.Total.Lower(), (0.010+want[1]/1000+0.020+0.020)*900)
		if near(t, at+" at most", upper, (0.010+want[2]/1000+0.020+0.020)*900); !known {
			t.Error(at, "open")
		}
	}
}

// TestDriftsWithoutSteps: a factor, a coefficient and an angle that drift evenly over four hours, read every five
// minutes: at each reading the flow is that of the setting at its very instant, here worked out from the straight line
// of the drift.
func TestDriftsWithoutSteps(t *testing.T) {
	const readings = 49
	level := func(i int) float64 { return 0.2 + 0.05*math.Sin(float64(i)/9) }
	var values []string
	for i := range readings {
		values = append(values, fmt.Sprintf("%.17g", level(i)))
	}
	span := "[[correction]]\nreason = \"test\"\nfrom = 2031-03-01T00:00:00\nuntil = 2031-03-01T04:00:01\n"
	share := func(i int) float64 { return float64(i) * 300 / 14401 }
	for name, c := range map[string]struct {
		text string
		flow func(i int) float64
	}{
		"head factor": {
			span + "head_factor = { from = 1, to = 1.2 }\n",
			func(i int) float64 { return 1.2 * math.Pow(level(i)*(1+0.2*share(i)), 2.5) },
		},
		"coefficient": {
			span + device("coefficient = { from = 1.2, to = 1.6 }\n"),
			func(i int) float64 { return (1.2 + 0.4*share(i)) * math.Pow(level(i), 2.5) },
		},
		"exponent": {
			span + device("exponent = { from = 2.5, to = 2.4 }\n"),
			func(i int) float64 { return 1.2 * math.Pow(level(i), 2.5-0.1*share(i)) },
		},
	} {
		want := 0.0
		for i := 1; i < readings; i++ {
			want += (c.flow(i-1) + c.flow(i)) / 2 * 300
		}
		r := run(t, siteOf(t, "level", every5(values, "level"), "[screening]\nspike = \"keep\"\nstuck = \"keep\"\n"+
			"[settings]\n[settings.device]\n"+power(1.2, 2.5)+c.text))
		if off := r.Total.After.M3()/want - 1; math.Abs(off) > 1e-7 { // a 256th of the drift is a straight line
			t.Errorf("%s: %+.2g off", name, off)
		}
	}
}

// TestIntervalsOfMeans: a daily volume stands for its own day, the first one and the one after a gap too, in every
// lane; over a clock change a day has 23 hours. At a steady 10 L/s, March 2031 in Dublin has 31 days less an hour.
func TestIntervalsOfMeans(t *testing.T) {
	for _, c := range []struct {
		skip []int
		want float64
	}{{nil, 31*86400 - 3600}, {[]int{10, 11, 12, 13, 14}, 26*86400 - 3600}, {[]int{30}, 30*86400 - 0}} {
		log := "Time,Value (m3)\n"
		zone, _ := time.LoadLocation("Europe/Dublin")
		skipped := func(day int) bool {
			for _, s := range c.skip {
				if s == day {
					return true
				}
			}
			return false
		}
		for day := 1; day <= 31; day++ {
			from, until := time.Date(2031, 3, day, 0, 0, 0, 0, zone), time.Date(2031, 3, day+1, 0, 0, 0, 0, zone)
			if !skipped(day) {
				log += fmt.Sprintf("%s,%.6f\n", until.Format("2006-01-02 15:04:05"), 0.010*until.Sub(from).Seconds())
			}
		}
		file := siteOf(t, "interval_volume", log, "[settings]\n"+tenth)
		r := run(t, replaceIn(t, file, "\"+00:00\"", "\"Europe/Dublin\""))
		near(t, "before", r.Total.Before.M3(), 0.010*c.want)
		near(t, "after", r.Total.After.M3(), 0.010*c.want)
		near(t, "volumes", r.Total.Passed.M3(), 0.010*c.want)
		if r.Total.After.Covered != int64(c.want*1e9) {
			t.Errorf("covers %v h, want %v", float64(r.Total.After.Covered)/3600e9, c.want/3600)
		}
		if math.Abs(r.Total.Difference()) > 0 {
			t.Errorf("without a correction the difference is %v", r.Total.Difference())
		}
	}
}

// TestMeanOverAChangeOfDatum: means of flows over 15 minutes, written with an empty distance 20 mm too long until a
// change within the second interval. Whatever the water did, the true mean lies between the bounds: here the head
// wanders between 50 and 250 mm, and means are taken over its seconds.
func TestMeanOverAChangeOfDatum(t *testing.T) {
	random := rand.New(rand.NewPCG(31, 32))
	for round := range 60 {
		first, second := 0.05+0.2*random.Float64(), 0.05+0.2*random.Float64()
		change := 900 + random.IntN(900)
		turn := 900 + random.IntN(900)
		log, truth := "Time,Value (m3/s)\n", 0.0
		for i := range 4 {
			shown := 0.0
			for s := 900 * i; s < 900*(i+1); s++ {
				h := first
				if s >= turn {
					h = second
				}
				off := 0.0
				if s < change {
					off = 0.02
				}
				shown += notch(h+off, 90) / 900
				truth += notch(h, 90)
			}
			stamp := time.Date(2031, 3, 1, 0, 15*(i+1), 0, 0, time.UTC).Format("2006-01-02 15:04:05")
			log += fmt.Sprintf("%s,%.17g\n", stamp, shown)
		}
		at := time.Date(2031, 3, 1, 0, 0, change, 0, time.UTC).Format("2006-01-02T15:04:05")
		file := siteOf(t, "flow", log, "[screening]\nstuck = \"keep\"\n"+
			"[settings]\nempty_distance = \"1.02 m\"\nmaximum_head = \"0.5 m\"\n"+
			"[settings.device]\n"+notch90+
			"[[settings.change]]\nat = "+at+"\nempty_distance = \"1.00 m\"\n"+
			"[[correction]]\nuntil = "+at+"\nreason = \"test\"\nempty_distance = \"1.00 m\"\n")
		r := run(t, replaceIn(t, file, "[log]\n", "[log]\nvalues = \"means\"\n"))
		upper, known := r.Total.Upper()
		if low := r.Total.Lower(); !known || low > truth*(1+1e-9) || upper < truth*(1-1e-9) ||
			math.Abs(r.Total.After.M3()/low-1) > 1e-12 {
			t.Errorf("round %d: %.6f to %.6f do not hold %.6f; after %.6f",
				round, low, upper, truth, r.Total.After.M3())
		}
	}
}

// TestDayWithinAMean: hourly means by a clock half an hour off the day's bounds: 2 L/s and, in the half hour after
// midnight or before it, 50 L/s more. The mean of the hour tells neither, so either day is bounded by all of it and by
// nothing of it; both together are exact.
func TestDayWithinAMean(t *testing.T) {
	log := "Time,Value (L/s)\n"
	for h := 1; h <= 72; h++ {
		flow := 2.0
		if h == 43 { // 18:00 to 19:00 UTC on 2 March; the day of +05:30 begins at 18:30
			flow = 27
		}
		log += fmt.Sprintf("%s,%g\n", time.Date(2031, 3, 1, h, 0, 0, 0, time.UTC).Format("2006-01-02 15:04:05"), flow)
	}
	file := siteOf(t, "flow", log, "[screening]\nspike = \"keep\"\nstuck = \"keep\"\n"+
		"[settings]\n"+tenth+"[report]\ntime_zone = \"+05:30\"\n")
	r := run(t, replaceIn(t, file, "[log]\n", "[log]\nvalues = \"means\"\n"))
	for _, d := range r.Days {
		if d.Label != "2031-03-02" && d.Label != "2031-03-03" {
			continue
		}
		// 23 whole hours, a half of 27 L/s and a half of 2 L/s: by hand
		upper, _ := d.Upper()
		near(t, d.Label, d.After.M3(), 0.002*23*3600+0.027*1800+0.002*1800)
		near(t, d.Label+" at least", d.Lower(), 0.002*23*3600)
		near(t, d.Label+" at most", upper, 0.002*23*3600+0.027*3600+0.002*3600)
	}
	near(t, "together", r.Total.After.M3(), 0.002*71*3600+0.027*3600)
	near(t, "at least", r.Total.Lower(), r.Total.After.M3())
}
