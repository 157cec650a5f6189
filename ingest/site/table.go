package site

// Table describes one table of a site file for people. A test holds the descriptions to what the reader asks for.
type Table struct {
	Heading string   // as it stands in a site file
	Under   []string // full keys of the tables that it describes; COLUMN stands for any column
	Keys    []Key
}

// Key describes one key of a table.
type Key struct {
	Name    string // CHECK and PERIOD stand for any of theirs
	Type    string // what the value is, in words
	Default string // what stands for a key that is left out; "" for nothing
	Meaning string
}

// settingTables are the tables that take settings; rampTables those of them in which a number may move.
var (
	settingTables = []string{"settings", "settings.change", "correction", "what_if"}
	rampTables    = []string{"correction", "what_if"}
)

// below joins a key to each of some tables.
func below(tables []string, key string) (list []string) {
	for _, t := range tables {
		list = append(list, join(t, key))
	}
	return list
}

// ramps are the tables { from, to } of the settings that are numbers.
func ramps() (list []string) {
	for s := range SettingCount {
		list = append(list, below(rampTables, s.Key())...)
	}
	return list
}

// Tables describes every table and key of the site file, in the order of its parts.
var Tables = []Table{
	{"at the top of the file", []string{""}, []Key{
		{"id", "text", "required", "names the output folder: letters, digits, hyphens"},
		{"name", "text", "", "what people call the site"},
	}},
	{"[log]", []string{"log"}, []Key{
		{"files", "text or list", "required",
			"files, patterns or folders, relative to the site file: CSV (plain, gzip, zstd) or Parquet"},
		{"time_zone", "time zone", "required", "what the logger's clock keeps, not where the site lies"},
		{"primary", "text", "the rawest one",
			"column that flow is computed from: the first there is of distance, level, head, flow, " +
				"interval_volume and counter"},
		{"values", `"instants", "means"`, "instants",
			`"means": figures are means over the interval that ends at their stamp`},
		{"stamp", `"instant", "start", "end"`, "instant",
			"what a stamp names: the reading's instant, or start or end of the interval that it stands for"},
		{"gap_limit", "duration", "3 intervals of the log", "time between two readings above which the time is missing"},
		{"clock_jumps", "true or false", "false", "readings many years apart are genuine: the clock was neither unset nor reset"},
		{"date_order", `"day-first", "month-first", "year-first"`, "told by the log",
			"settles 03/04/2031 where all rows leave it open"},
		{"decimal", `"point", "comma"`, "told by the log", "settles 1,234 where all rows leave it open"},
		{"unpack_limit", "number", "200", "how many times its size a compressed log may unpack to"},
	}},
	{"[log.columns], each a header, a number or { ... }", []string{"log.columns"}, []Key{
		{"time", "column", "required", "column of the time stamps, or of the dates"},
		{"time_of_day", "column", "", "column of the times of day, where date and time stand in two columns"},
		{"distance", "column", "", "sensor face down to the water; one of the first six quantities is needed"},
		{"level", "column", "", "water above the gauge datum"},
		{"head", "column", "", "water above the level of zero flow"},
		{"flow", "column", "", "what the meter made of it: a check beside a level, or the start"},
		{"interval_volume", "column", "", "what passed since the reading before"},
		{"counter", "column", "", "the meter's running total"},
		{"temperature", "column", "", "of the air, for corrections of sound"},
		{"downstream", "column", "", "level of the water below the device, above the gauge datum"},
		{"second_level", "column", "", "level by a second sensor, above the gauge datum"},
		{"air_pressure", "column", "", "taken off levels that are logged as absolute pressures; without it they are gauge"},
	}},
	{"a column as { ... }", []string{"log.columns.COLUMN"}, []Key{
		{"name", "text", "", "the header; it or number is needed"},
		{"number", "whole number", "", "1 for the first column, and so on: of logs without a header, or of a name twice"},
		{"unit", "text", "from the header", `a unit, or "mA" or "%" with low and high`},
		{"density", "density", "", "of the water, where a level, head, downstream or second_level is logged as a pressure"},
		{"gravity", "acceleration", "9.80665 m/s2", "of the place, beside density"},
		{"low", "as the column", "", `what 4 mA or 0 % stands for`},
		{"high", "as the column", "", `what 20 mA or 100 % stands for`},
		{"missing", "text or list", "", "codes that stand for no value; [] for none"},
		{"rollover", "volume", "", "counter only: the volume at which it starts again"},
	}},
	{"[[log.clock_check]]", []string{"log.clock_check"}, []Key{
		{"at", "date and time", "required", "by the logger's clock"},
		{"error", "duration", "required", "the logger's time less the true time; a straight line joins checks"},
	}},
	{"[[log.counter_change]]", []string{"log.counter_change"}, []Key{
		{"at", "date and time", "required", "when the counter was set anew or replaced"},
		{"last", "volume", "", "what it showed last; left out when nobody read it: what it counted last is then missing"},
		{"first", "volume", "required", "what it showed first after"},
	}},
	{"[settings], [[settings.change]], [[correction]], [[what_if]]", settingTables, []Key{
		{"device", "table", "required in [settings]",
			"the primary device: kind and dimensions; in a correction, single dimensions suffice"},
		{"empty_distance", "length", "required for distances", "sensor face down to the gauge datum"},
		{"level_of_zero_flow", "length", "0 m", "crest, vertex or floor above the gauge datum"},
		{"maximum_head", "length", "", "the meter shows no more than this head and the flow at it"},
		{"maximum_flow", "flow", "", "the meter shows no more than this flow"},
		{"flow_cut_off", "flow", "", "the meter shows smaller flows as zero"},
		{"below_zero", `"shown", "clamped"`, "shown", "clamped: the meter shows nothing below zero"},
		{"blanking_distance", "length", "", "the nearest water that the sensor sees"},
		{"channel_depth", "length", "", "head above which the water leaves the channel: it bounds what is hidden"},
		{"loop", "table", "", "how a loop current stood for the logged quantity"},
		{"air_temperature", `temperature, "logged" or table`, "", "of the sound's way, as the meter took it"},
		{"distance_factor", "number", "1", "a tilted sensor: distance the meter works with over the one measured"},
		{"head_factor", "number", "1", "a head that the rating is given in another unit"},
		{"logged_factor", "number", "1",
			"only in corrections and what-ifs: what logged figures are to be multiplied with"},
		{"head_shift", "list of pairs", "", `only there: by level, as [["0.05 m", "2 mm"], ["0.30 m", "8 mm"]]`},
		{"empty_distance_set_at", "temperature", "", "only there: air temperature when an echo set the empty distance"},
	}},
	{"device as a table", below(settingTables, "device"), []Key{
		{"kind", "text", "required in [settings]", "a device kind; its other keys: retotal help devices"},
	}},
	{"loop as { ... }", below(settingTables, "loop"), []Key{
		{"low", "as the log", "required", "what the first current stands for"},
		{"high", "as the log", "required", "what the second current stands for"},
		{"from", "number", "4", "the first current, mA"},
		{"to", "number", "20", "the second current, mA"},
	}},
	{"air_temperature as { ... }", below(settingTables, "air_temperature"), []Key{
		{"logged_plus", "temperature", "required",
			`a difference in K that is added to the logged temperature, as "-2 K"`},
	}},
	{"a number that moves as { ... }, in corrections and what-ifs", ramps(), []Key{
		{"from", "as the setting", "required", "at the beginning of the span, from there even in time"},
		{"to", "as the setting", "required", "at its end"},
	}},
	{"[[settings.change]], beside settings", []string{"settings.change"}, []Key{
		{"at", "date and time", "required", "when it was changed in the meter"},
		{"moved", "true or false", "told by corrections",
			"whether sensor, datum or device moved, or only a number was entered anew"},
	}},
	{"[[correction]], beside settings", []string{"correction"}, []Key{
		{"reason", "text", "required", "how it is known"},
		{"by", "text", "", "initials or role"},
		{"from", "date and time", "the first reading", "begin of the span"},
		{"until", "date and time", "the last reading", "end of the span: a reading at it is no longer in it"},
		{"uncertainty", "length", "that of the datum", "95 %, of the survey behind it"},
		{"unusable", "true or false", "false", "nothing can be made of the readings of the span"},
		{"sure", "true or false", "false", "somebody stands for it, however unlikely it looks"},
		{"onset", "table", "", "what is known of its begin, when that is not sure"},
	}},
	{"onset as { ... }", []string{"correction.onset"}, []Key{
		{"last_good_check", "date and time", "required", "the last check that found nothing wrong"},
		{"cap", "duration", "", "most that the half-way rule goes back"},
	}},
	{"[[what_if]], beside settings", []string{"what_if"}, []Key{
		{"name", "text", "required", "of the lane"},
		{"from", "date and time", "the first reading", "begin of the span"},
		{"until", "date and time", "the last reading", "end of the span: a reading at it is no longer in it"},
	}},
	{"[[visit]], a site visit", []string{"visit"}, []Key{
		{"at", "date and time", "required", "when, in the logger's zone, true time"},
		{"distance", "length", "", "tape from the sensor face to the water; one of the four is needed"},
		{"level", "length", "", "staff, above the gauge datum"},
		{"head", "length", "", "above the level of zero flow"},
		{"flow", "flow", "", "a gauging"},
		{"uncertainty", "as the quantity", "", "95 %, of what was read"},
		{"phase", `"before-cleaning", "after-cleaning", "after-reset"`, "", "when in the visit"},
		{"by", "text", "", "initials or role"},
		{"note", "text", "", "what else was seen"},
	}},
	{"[[ruling]]", []string{"ruling"}, []Key{
		{"from", "date and time", "required", "first reading that it is about"},
		{"until", "date and time", "required", "end of the span: a reading at it is no longer in it"},
		{"action", `"keep", "leave-out", "bridge", "value", "bound"`, "required", "what becomes of the readings"},
		{"flow", "flow", "", `goes with "value"`},
		{"least", "flow", "", `goes with "bound"`},
		{"most", "flow", "nothing bounds it", `may go with "bound"`},
		{"checks", "text or list", "all readings", "only readings with one of these flags"},
		{"reason", "text", "required", "why"},
		{"by", "text", "required", "initials or role"},
	}},
	{"[record]", []string{"record"}, []Key{
		{"status", `"draft", "checked", "signed"`, "draft", "signed results are locked"},
		{"author", "text", "", "who made the correction; needed for signed"},
		{"reviewer", "text", "", "another person; needed for signed"},
		{"basis", "text", "", "what the correction rests on; needed for signed"},
		{"evidence", "text or list", "", "sheets, photos, letters"},
		{"supersedes", "text", "", "SHA-256 of the signed record that this one replaces"},
	}},
	{"[[record.examined]]", []string{"record.examined"}, []Key{
		{"from", "date and time", "the first reading", "begin of a period that was looked at and left alone"},
		{"until", "date and time", "the last reading", "its end"},
		{"reason", "text", "required", "why it was left alone"},
	}},
	{"[audit]", []string{"audit"}, []Key{
		{"logged_flow", "share", "", "of the volume: up to which nobody has to look at logged flow and recorded settings"},
		{"volumes", "share", "", "up to which nobody has to look at counter, interval volumes and reported totals"},
	}},
	{"[[audit.accepted]]", []string{"audit.accepted"}, []Key{
		{"finding", "text", "required", `what audit found: "datum", "angle and datum", or a cause: "counter multiplier"`},
		{"reason", "text", "required", "why it may stay"},
		{"by", "text", "required", "initials or role"},
	}},
	{"[screening]", []string{"screening"}, []Key{
		{"default", `"keep"`, "", "every check that may keep a reading does, unless its own key says otherwise"},
		{"CHECK", "action or table", "each its own",
			"what becomes of a reading that a check flags: retotal help screening"},
		{"CHECK.action", "text", "each its own", "the same, where limits stand beside it"},
		{"spike.window", "duration", "7 intervals", "whole width of the median, with a threshold"},
		{"spike.threshold", "number", "the record tells", "in scaled median absolute deviations off the median"},
		{"spike.floor", "length", "3 mm or 2 steps", "least deviation that honest noise has"},
		{"stuck.duration", "duration", "the record tells", "how long a value repeats"},
		{"stuck.tolerance", "length", "0 m", "how far repeated values may differ"},
		{"below_zero.tolerance", "length", "half a step", "how far below zero a head may be"},
		{"sensor_range.least", "as the log", "", "least figure that the sensor can give"},
		{"sensor_range.most", "as the log", "", "greatest figure that it can give"},
		{"user_range.least", "as the log", "", "least figure that is expected"},
		{"user_range.most", "as the log", "", "greatest figure that is expected"},
		{"rate_of_change.up", "length", "half the highest head, or the record tells", "most that water rises in rate_of_change.per"},
		{"rate_of_change.down", "length", "half the highest head, or the record tells", "most that it falls"},
		{"rate_of_change.per", "duration", "1 interval", "the time that up and down are for"},
		{"step.limit", "length", "the record tells", "least jump between levels that stand still"},
		{"step.window", "duration", "6 h or 24 intervals", "how long they stand still, with a limit"},
		{"attenuated.range", "length", "1 step, at least 1 mm", "a signal that moves by no more"},
		{"attenuated.window", "duration", "24 h", "for so long"},
		{"noise.limit", "length", "5 x spike.floor", "change from reading to reading that is noise where it turns back"},
		{"second_sensor.limit", "length", "20 mm", "how far two sensors may differ"},
		{"bridge_limit", "duration", "4 h", "longest time that is bridged"},
		{"largest_correction", "length", "", "readings whose head is moved by more are unusable"},
		{"air_temperature", "true or false", "false", "compares the night minimum with the logged temperature"},
	}},
	{"[filling]", []string{"filling"}, []Key{
		{"rule", `"none", "linear", "hold", "same-time", "donor-regression", "donor-percentiles"`, "none",
			"what missing time is filled by"},
		{"limit", "duration", "required with a rule",
			"longest missing time that is filled; a longer one is not filled at all"},
		{"days", "number", "7", "same-time: days before and after that are looked at, 1 to 60"},
		{"donor", "text", "", "donor rules: the file of another site"},
	}},
	{"[uncertainty], all 95 %", []string{"uncertainty"}, []Key{
		{"datum", "length", "3 mm", "of the empty distance or the level of zero flow"},
		{"reading", "length", "2 mm", "of one reading, new in each"},
		{"coefficient", "share", "its source's", "of the device"},
		{"air_temperature", "temperature", "", `a difference, as "2 K"`},
		{"bridged", "share", "20 %", "of what is bridged"},
		{"filled", "share", "50 %", "of what is filled"},
		{"device", "table", "", `dimensions of the device, as angle = "0.5 deg"`},
	}},
	{"[report]", []string{"report"}, []Key{
		{"time_zone", "time zone", "that of [log]", "of days and of times in the report"},
		{"day_starts", "time of day", "00:00", "when a reporting day begins"},
		{"day_label", `"start", "end"`, "start", "which date a day carries"},
		{"flow_unit", "unit", "L/s", "of flows"},
		{"volume_unit", "unit", "m3", "of volumes"},
		{"from", "date and time", "the first reading", "begin of what is reported"},
		{"until", "date and time", "the last reading", "its end"},
		{"average", `"measured", "discharging", "all"`, "measured",
			"days that the average which limits are held to is over"},
		{"completeness", `"coverage", "five-half-hours", "three-quarters", "seven-days", "five-days"`, "coverage",
			"a named rule on missing time"},
		{"least_coverage", "share", "", "an own rule: part of a day that must be covered for it to count"},
		{"most_missing_days", "number", "", "an own rule: days of a month that may be missing"},
		{"peak_over", "duration", "", "highest mean flow over this time, beside the highest flow"},
		{"figures", "number", "none rounded", "significant figures of what goes into the report, 1 to 15"},
		{"rounding", `"half-even", "half-up"`, "half-even", "of ties, last of all"},
	}},
	{"[report.limits]", []string{"report.limits"}, []Key{
		{"daily_volume", "volume", "", "limit of a reporting day"},
		{"monthly_average", "flow", "", "limit of a month's average"},
		{"peak", "flow", "", "limit of any single flow"},
		{"daily_uncertainty", "share", "", "to which every daily volume is to be known (95 %)"},
		{"days_over", "share", "", "share of the days that may be over daily_volume"},
	}},
	{"[[report.comment]]", []string{"report.comment"}, []Key{
		{"from", "date and time", "required", "begin of the period"},
		{"until", "date and time", "required", "its end"},
		{"text", "text", "required", "why it has no data, or what else must be said"},
		{"code", "text", "", "the code that your authority asks for"},
	}},
	{"[reported]", []string{"reported"}, []Key{
		{"PERIOD", "volume or flow", "",
			`what was submitted of a month or day: "2031-03" = "42134 m3"; a flow is its average`},
		{"file", "text", "", "CSV file with a month or day and a figure in each row"},
	}},
}
