package report

import (
	"cmp"
	"fmt"
	"io"
	"math"
	"strconv"
	"strings"
	"time"

	"retotal/ingest"
	"retotal/ingest/quantity"
	"retotal/ingest/reading"
	"retotal/recompute/fingerprint"
)

// Fingerprint is which device and size make the flow of a log of which nothing is on file, and what else it shows.
type Fingerprint struct {
	Log       string   `json:"log"`
	Sentence  string   `json:"sentence"`
	Devices   []Fitted `json:"devices,omitempty"`
	Beside    []string `json:"cannot_be_told_from_the_first,omitempty"`
	Shown     []Shown  `json:"shown"`
	Columns   []string `json:"columns"`
	CannotSay []string `json:"cannot_be_told"`
	Review    string   `json:"review"`
	table     *Table
	print     fingerprint.Print
	log       *ingest.Log
}

// Fitted is one device for machines: values in SI units, to six digits; null where there is none.
type Fitted struct {
	Kind        string   `json:"kind"`
	Size        string   `json:"size"` // that is made or usual; "" for none
	Dimension   string   `json:"dimension"`
	Value       *float64 `json:"value"`
	Low         *float64 `json:"low"`
	High        *float64 `json:"high"`
	NoFlowAt    *float64 `json:"no_flow_at_m"`
	NoFlowLow   *float64 `json:"no_flow_at_low_m"`
	NoFlowHigh  *float64 `json:"no_flow_at_high_m"`
	Equation    string   `json:"equation"`
	Factor      *float64 `json:"factor"`
	Coefficient *float64 `json:"coefficient,omitempty"`
	Exponent    *float64 `json:"exponent,omitempty"`
	Leaves      *float64 `json:"leaves"` // part of the volume
	Score       *float64 `json:"score"`
	AsWell      bool     `json:"fits_as_well"`
}

// fittedOf is a device for machines.
func fittedOf(d *fingerprint.Device, asWell bool) Fitted {
	rounded := func(v float64) *float64 {
		if math.IsNaN(v) || math.IsInf(v, 0) {
			return nil
		}
		r, _ := strconv.ParseFloat(strconv.FormatFloat(v, 'g', 6, 64), 64)
		return &r
	}
	f := Fitted{Kind: d.Kind, Size: d.Size, Dimension: d.Dimension, Value: rounded(d.Value), Low: rounded(d.Low),
		High: rounded(d.High), NoFlowAt: rounded(d.Zero), NoFlowLow: rounded(d.ZeroLow),
		NoFlowHigh: rounded(d.ZeroHigh), Equation: d.Equation, Factor: rounded(d.Factor), Leaves: rounded(d.Unlike),
		Score: rounded(d.Score), AsWell: asWell}
	if d.Kind == "power" {
		f.Coefficient, f.Exponent = rounded(d.Coefficient), rounded(d.Exponent)
	}
	return f
}

// Shown is one thing that a log shows beside the device.
type Shown struct {
	What string `json:"what"`
	Is   string `json:"is"`
}

// mostDevices is how many devices are listed, if no more fit as well as the first.
const mostDevices = 3

// NewFingerprint puts together what a log tells.
func NewFingerprint(name string, p fingerprint.Print, log *ingest.Log, clock fingerprint.Signs) *Fingerprint {
	f := &Fingerprint{Log: name, print: p, log: log, Beside: p.Beside, Review: review}
	f.Sentence = f.sentence()
	list := p.Devices[:min(len(p.Devices), max(mostDevices, p.Twins))]
	rows := make([]printed, len(list))
	for i := range list {
		rows[i] = printed{i + 1, f, &list[i]}
		f.Devices = append(f.Devices, fittedOf(&list[i], i < p.Twins))
	}
	f.table = laidOut(&units{}, rows, printFigures())
	for _, file := range log.Files {
		for _, d := range file.Decisions() {
			f.Columns = append(f.Columns, d.Subject+": "+d.Found)
		}
	}
	f.Shown = f.shown(clock)
	f.CannotSay = f.cannotSay()
	return f
}

// Told reports whether a device, or a power law, makes the flow.
func (f *Fingerprint) Told() bool { return f.print.Why == "" }

// distance reports whether the log holds distances.
func (f *Fingerprint) distance() bool { return f.log.Primary == reading.Distance }

// printed is a row of the table.
type printed struct {
	number int
	of     *Fingerprint
	*fingerprint.Device
}

func printFigures() []figure[printed] {
	return []figure[printed]{
		count("", "no.", func(x *printed) int { return x.number }),
		words("", "device", func(x *printed) string { return deviceName(x.Device) }).styled(Strong),
		words("", "size", func(x *printed) string { return sizeOf(x.Device) }),
		words("", "95 % interval", func(x *printed) string {
			return dimension(x.Device, x.Low) + " to " + dimension(x.Device, x.High)
		}),
		words("", "no flow at", func(x *printed) string { return x.of.zero(x.Device) }),
		words("", "leaves", func(x *printed) string { return fmt.Sprintf("%.1f %%", 100*x.Unlike) }),
		words("", "fit", func(x *printed) string {
			switch {
			case x.number == 1:
				return "best"
			case x.number <= x.of.print.Twins:
				return "as well"
			}
			return fmt.Sprintf("worse by %.2f", x.Score-x.of.print.Devices[0].Score)
		}),
	}
}

// deviceName names the kind of a device.
func deviceName(d *fingerprint.Device) string {
	if d.Kind == "linear" {
		return "level shown as flow"
	}
	return d.Kind
}

// dimension writes a value of what a device is sized by.
func dimension(d *fingerprint.Device, v float64) string {
	switch d.Dimension {
	case "angle":
		return quantity.Digits(v*180/math.Pi, 3) + " deg"
	case "exponent":
		return quantity.Digits(v, 4)
	case "flow over head":
		return quantity.Digits(1000*v, 4) + " L/s a metre"
	}
	return quantity.Digits(v, 3) + " m"
}

// sizeOf is the size that is made or usual, else the value.
func sizeOf(d *fingerprint.Device) string {
	text := cmp.Or(d.Size, dimension(d, d.Value))
	switch d.Kind {
	case "power":
		return fmt.Sprintf("Q = %s h^%s", quantity.Digits(d.Coefficient, 4), quantity.Digits(d.Exponent, 4))
	case "manning":
		text += ", sqrt(slope)/roughness " + quantity.Digits(d.Factor, 3)
	}
	return text
}

// zero says at which logged level there is no flow.
func (f *Fingerprint) zero(d *fingerprint.Device) string {
	switch {
	case math.IsInf(d.ZeroHigh-d.ZeroLow, 0) || math.IsNaN(d.ZeroHigh-d.ZeroLow):
		return fmt.Sprintf("%+.1f mm, or elsewhere", 1000*d.Zero)
	case f.distance() || math.Abs(d.Zero) > 1:
		return fmt.Sprintf("%.4f m (%.4f to %.4f)", d.Zero, d.ZeroLow, d.ZeroHigh)
	case d.Shifted:
		return fmt.Sprintf("%+.1f mm (%+.1f to %+.1f)", 1000*d.Zero, 1000*d.ZeroLow, 1000*d.ZeroHigh)
	}
	return fmt.Sprintf("0 mm (%+.1f to %+.1f)", 1000*d.ZeroLow, 1000*d.ZeroHigh)
}

// articles are devices in running text.
var articles = map[string]string{"v-notch": "a V-notch of ", "parshall": "a Parshall flume of ",
	"cutthroat": "a cutthroat flume of ", "rectangular": "a rectangular weir of ",
	"cipolletti":    "a Cipolletti weir of ",
	"palmer-bowlus": "a Palmer-Bowlus flume in a pipe of ", "manning": "a round pipe of ", "power": "a power law ",
	"linear": "the level shown as a flow, "}

// inWords is a device in running text.
func inWords(d *fingerprint.Device) string {
	if kind, depth, ok := strings.Cut(d.Size, " "); ok && d.Kind == "h-flume" {
		return "an " + kind + " flume of " + depth
	}
	if d.Kind == "power" {
		return fmt.Sprintf("no device of the catalogue, but a power law with exponent %s, %s (m3/s, m),",
			quantity.Digits(d.Exponent, 4), sizeOf(d))
	}
	return articles[d.Kind] + sizeOf(d)
}

// sentence is the answer.
func (f *Fingerprint) sentence() string {
	p := &f.print
	if p.Why != "" {
		return "What the meter used cannot be told: " + p.Why + "."
	}
	d := &p.Devices[0]
	level := "level"
	if f.distance() {
		level = "distance"
	}
	text := inWords(d)
	text = strings.ToUpper(text[:1]) + text[1:] + " makes the logged flow of the logged " + level
	switch {
	case f.distance():
		text += ", with no flow at a distance of " + quantity.Digits(d.Zero, 5) + " m"
	case d.Shifted:
		text += fmt.Sprintf(", with no flow at a level of %s", f.zero(d))
	}
	switch p.Twins {
	case 1:
	case 2:
		text += "; another device fits as well"
	default:
		text += fmt.Sprintf("; %d other devices fit as well", p.Twins-1)
	}
	text += "."
	switch {
	case p.Before != 0 || p.After != 0:
		text += " But " + f.spell() + "."
	case !math.IsNaN(p.Above):
		text += " But " + f.above() + "."
	case d.Unlike > muchLeft:
		text += fmt.Sprintf(" But %.0f %% of the volume is left.", 100*d.Unlike)
	}
	return text
}

// muchLeft is the part of the volume that the sentence tells where no level divides what is left from the rest.
const muchLeft = 0.05

// spell says when the best does not make the flow.
func (f *Fingerprint) spell() string {
	var parts []string
	stamp := func(at int64) string { return time.Unix(0, at).UTC().Format("2006-01-02 15:04") }
	if at := f.print.Before; at != 0 {
		parts = append(parts, "before "+stamp(at))
	}
	if at := f.print.After; at != 0 {
		parts = append(parts, "after "+stamp(at))
	}
	text := strings.Join(parts, " and ") + " it makes next to nothing of it, as where a setting was changed"
	for _, o := range f.print.Others {
		if o.Print.Why == "" && o.Print.Devices[0].Kind != "power" {
			d := &o.Print.Devices[0]
			text += fmt.Sprintf("; from %s to %s it is %s, with no flow at %s", stamp(o.From),
				stamp(o.Until), inWords(d), f.zero(d))
		}
	}
	return text
}

// above says where the best no longer makes the flow.
func (f *Fingerprint) above() string {
	side, beyond := "less", "above a level of"
	if f.print.More {
		side = "more"
	}
	if f.distance() {
		beyond = "at distances below"
	}
	return fmt.Sprintf("%s %.3f m the flow is %s, as where a second part of a device begins", beyond, f.print.Above,
		side)
}

// shown is what else the log shows.
func (f *Fingerprint) shown(clock fingerprint.Signs) (list []Shown) {
	p, log := &f.print, f.log
	add := func(what, is string) { list = append(list, Shown{what, is}) }
	at := func(ns int64, layout string) string { return time.Unix(0, ns).UTC().Format(layout) }
	const minute = "2006-01-02 15:04"
	add("pairs", fmt.Sprintf("%s of level and flow, %s to %s", Grouped(float64(p.Pairs), 0), at(log.From, minute),
		at(log.Until, minute)))
	every := "every " + quantity.FormatDuration(log.Interval)
	for _, s := range log.Samplings {
		every += fmt.Sprintf("; every %s from %s on", quantity.FormatDuration(s.Interval), at(s.From, minute))
	}
	add("interval", every)
	if p.Why == "" {
		step := func(v float64, unit string) string {
			if !(v > 0) {
				return "no step that shows"
			}
			return "to " + quantity.Digits(1000*v, 3) + " " + unit
		}
		add("rounding", "level "+step(p.LevelStep, "mm")+", flow "+step(p.FlowStep, "L/s"))
		end := func(e fingerprint.End, how string) string {
			if math.IsNaN(e.Flow) {
				return "none that shows"
			}
			text := quantity.Digits(1000*e.Flow, 4) + " L/s"
			if !math.IsNaN(e.Level) {
				text += fmt.Sprintf("%s %.3f m", how, e.Level)
			}
			return text
		}
		add("cap", end(p.Cap, ", which is reached at"))
		add("cut-off", end(p.CutOff, ", below which there is no flow, at"))
		lag := "none that shows"
		if p.Lag.Name != "" {
			lag = fmt.Sprintf("%s of %s between level and flow", p.Lag.Name,
				quantity.FormatDuration(time.Duration(p.Lag.Seconds*1e9).Round(time.Second)))
		}
		add("lag", lag)
		fits := fmt.Sprintf("%.0f %% of the readings to within their rounding and scatter", 100*p.Fits)
		if !math.IsNaN(p.Above) {
			fits += "; " + f.above()
		}
		add("explained", fits)
		add("figures", [...]string{"means or readings of an instant: cannot be told, the level moves too little",
			"means over the interval: the flow is above that of the mean level",
			"the flow is that of the logged level"}[p.Means])
	}
	days := func(ns []int64, layout string) string {
		var texts []string
		for _, x := range ns {
			texts = append(texts, at(x, layout))
		}
		if len(texts) > 4 {
			texts = append(texts[:4:4], fmt.Sprintf("%d more", len(texts)-4))
		}
		return strings.Join(texts, ", ")
	}
	switch {
	case len(clock.Missing)+len(clock.Doubled) > 0:
		var parts []string
		if len(clock.Missing) > 0 {
			parts = append(parts, "an hour is missing after "+days(clock.Missing, minute))
		}
		if len(clock.Doubled) > 0 {
			parts = append(parts, "an hour stands twice from "+days(clock.Doubled, minute)+" on")
		}
		add("clock", "goes over to summer time: "+strings.Join(parts, ", "))
	case len(clock.Steady) > 0:
		add("clock", "keeps one time: no hour is missing or stands twice on "+days(clock.Steady, time.DateOnly))
	default:
		add("clock", "no day on which summer time begins or ends is whole in the log")
	}
	return list
}

// cannotSay is what the log does not tell.
func (f *Fingerprint) cannotSay() []string {
	zero := "whether the logged level is the head of the water: a datum that meter and log share shows nowhere"
	if f.distance() {
		zero = "whether no flow at that distance is right: it is what the meter used, not what a tape says"
	}
	return []string{"whether what the meter used is what stands in the channel: that takes sheet, tape, gauge or visit",
		zero, "which zone the clock keeps"}
}

// Text prints it, the answer first.
func (f *Fingerprint) Text(w io.Writer) {
	fmt.Fprintf(w, "%s: %s\n", f.Log, f.head())
	fmt.Fprintf(w, "  %s\n", f.Sentence)
	if len(f.Devices) > 0 {
		fmt.Fprintln(w, "\nWhat makes the logged flow, by the log alone")
		f.table.Text(w)
	}
	if len(f.Beside) > 0 {
		fmt.Fprintln(w, "\nWhat this log cannot tell from the first")
		for _, x := range f.Beside {
			fmt.Fprintf(w, "  - %s\n", x)
		}
	}
	fmt.Fprintln(w, "\nWhat else it shows")
	for _, x := range f.Shown {
		fmt.Fprintf(w, "  %-10s %s\n", x.What, x.Is)
	}
	fmt.Fprintln(w, "\nWhat this log cannot show")
	for _, x := range f.CannotSay {
		fmt.Fprintf(w, "  - %s\n", x)
	}
	fmt.Fprintln(w, "\n"+review)
}

// head is the answer in two or three words.
func (f *Fingerprint) head() string {
	if f.print.Why != "" {
		return "nothing fits"
	}
	d := &f.print.Devices[0]
	return deviceName(d) + " " + sizeOf(d)
}
