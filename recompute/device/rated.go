package device

import (
	"fmt"
	"maps"
	"math"
	"strings"

	"retotal/ingest/quantity"
)

// joinTolerance is the relative step that segments may make where they meet before it is an error; joinAdvice the one
// that is told.
const (
	joinTolerance = 0.05
	joinAdvice    = 0.005
)

// newSegments reads head_unit, flow_unit, the optional modular_limit and segments, each with from (the head it begins
// at), coefficient, exponent and the optional offset.
//
// What: stage-discharge relation of power segments, one a control. Equation: Q = C (h − e)^b from its join up to the
// next (form as in ISO 18320:2020, from memory; read in open code). Limits: from the first join up; the user knows the
// last gauging. Joins are checked: a step above 5 % is an error, above 0.5 % is told. Uncertainty: that of the
// gaugings.
func newSegments(d *dimensions) Rating {
	head, flow := d.unit("head_unit", quantity.LengthDimension), d.unit("flow_unit", quantity.FlowDimension)
	rows, _ := d.values["segments"].([]any)
	if len(rows) == 0 {
		d.refuse("segments", "the rating has no segments", "",
			`write segments = [{ from = "0 m", coefficient = 1.4, exponent = 2.5 }]`)
	}
	var starts []float64
	var parts []*Power
	description := Description{
		Kind:   "segments",
		Name:   fmt.Sprintf("rating of %d power segments", len(rows)),
		Source: "segments of the site file; form of ISO 18320 (from memory)",
	}
	var equations []string
	for i, row := range rows {
		values, _ := row.(map[string]any)
		one := &dimensions{values: values}
		from := one.quantity("from", quantity.LengthDimension)
		c := one.number("coefficient")
		n := one.number("exponent")
		e := one.optional("offset", quantity.LengthDimension, 0)
		for _, issue := range one.issues {
			d.refuse("segments", fmt.Sprintf("segment %d: %s", i+1, issue.Found), issue.Expected, issue.Remedy)
		}
		if i > 0 && from <= starts[i-1] || c <= 0 || n < 0.1 || n > 6 || from < e {
			d.refuse("segments", fmt.Sprintf("segment %d is out of order or has an impossible number", i+1),
				"rising joins, each at or above its offset, positive coefficients", "")
		}
		starts = append(starts, from)
		parts = append(parts, &Power{
			coefficient: c * flow.Factor / math.Pow(head.Factor, n),
			exponent:    n,
			offset:      e,
			limits:      Limits{High: math.Inf(1), End: math.Inf(1)},
		})
		equations = append(equations,
			fmt.Sprintf("from %s m: Q = %s (h - %s)^%s", digits(from, 4), digits(parts[i].coefficient, 5),
				digits(e, 4), digits(n, 4)))
	}
	description.Equation = strings.Join(equations, "; ")
	if len(d.issues) > 0 {
		return &Formula{}
	}
	checkJoins(d, starts, parts, &description)
	at := func(h float64) *Power {
		i := len(starts) - 1
		for i > 0 && h < starts[i] {
			i--
		}
		return parts[i]
	}
	return &Formula{
		flow:        func(h float64) float64 { return at(h).Flow(h) },
		slope:       func(h float64) float64 { return at(h).Slope(h) },
		description: description,
		limits:      Limits{Low: starts[0], LowSource: "first segment", High: math.Inf(1), End: math.Inf(1)},
		drownable:   givenModular(d),
	}
}

// checkJoins compares neighbouring segments where they meet.
func checkJoins(d *dimensions, starts []float64, parts []*Power, description *Description) {
	for i := 1; i < len(parts); i++ {
		below, above := parts[i-1].Flow(starts[i]), parts[i].Flow(starts[i])
		step := above/below - 1
		switch {
		case math.Abs(step) > joinTolerance:
			d.refuse("segments", fmt.Sprintf("segments %d and %d do not meet: at %s m the flow steps by %+.1f %%",
				i, i+1, digits(starts[i], 4), 100*step), "a step below 5 %", "move the join to where they cross")
		case math.Abs(step) > joinAdvice:
			description.Advice = append(description.Advice,
				fmt.Sprintf("at the join %s m the flow steps by %+.2f %%", digits(starts[i], 4), 100*step))
		}
	}
}

// newSideBySide reads parts: tables of other kinds, each with the optional crest, its level above the site's level of
// zero flow.
//
// What: two or more devices side by side, as a notch within a weir. Equation: the sum of their flows, each at the head
// above its own crest. Limits: the low limit of the lowest part; the high limit of any; it ends where a part ends.
// Drowned: each part at its own crest. Uncertainty: that of the worst part, since coefficients may err together.
func newSideBySide(d *dimensions) Rating {
	rows, _ := d.values["parts"].([]any)
	if len(rows) < 2 {
		d.refuse("parts", "the device has no parts, or only one", "two or more",
			`write [[settings.device.parts]] with kind = "v-notch" and its dimensions`)
	}
	description := Description{Kind: "side-by-side", Source: "sum of the parts", UncertainBy: "the worst of the parts"}
	limits := Limits{High: math.Inf(1), End: math.Inf(1)}
	var parts []part
	var names, equations []string
	lowest := math.Inf(1)
	for i, row := range rows {
		p, ok := readPart(d, i, row)
		if !ok {
			continue
		}
		parts = append(parts, p)
		l, about := p.rating.Limits(), p.rating.Describe()
		if p.crest < lowest {
			lowest, limits.Low, limits.LowSource = p.crest, l.Low+p.crest, l.LowSource
		}
		if top := l.High + p.crest; top < limits.High {
			limits.High, limits.HighSource = top, fmt.Sprintf("part %d: %s", i+1, l.HighSource)
		}
		if end := l.End + p.crest; end < limits.End {
			limits.End, limits.EndSource = end, fmt.Sprintf("part %d: %s", i+1, l.EndSource)
		}
		names = append(names, about.Name)
		equations = append(equations,
			fmt.Sprintf("part %d at %s m: %s (%s)", i+1, digits(p.crest, 4), about.Equation, about.Source))
		description.Uncertainty = math.Max(description.Uncertainty, about.Uncertainty)
		description.Advice = append(description.Advice, about.Advice...)
		description.Assumed = append(description.Assumed, about.Assumed...)
	}
	if len(parts) > 0 && lowest != 0 && len(d.issues) == 0 {
		d.refuse("parts", fmt.Sprintf("the lowest crest is at %s m", digits(lowest, 4)),
			"0 m: heads are above the lowest crest",
			"leave crest out for the lowest part")
	}
	description.Name, description.Equation = strings.Join(names, " beside "), strings.Join(equations, "; ")
	flow := sum(parts, Rating.Flow)
	return &Formula{
		flow:        flow,
		slope:       sum(parts, Rating.Slope),
		limits:      limits,
		peak:        peakOf(flow, limits.End),
		description: description,
		drownable:   drownable{drowningOf(parts)},
	}
}

// drowningOf is what is known of parts that drown each at its own crest.
func drowningOf(parts []part) *drowning {
	var terms []summand
	for _, p := range parts {
		terms = append(terms, summand{p.crest, 1, p.rating})
	}
	ratio, source := drownedSum(terms)
	if math.IsInf(ratio, 1) {
		return nil
	}
	return &drowning{modular: ratio, end: math.Inf(1), source: source,
		flow: func(h, hd, _ float64) (float64, float64, bool) { return drownedFlows(terms, h, hd) }}
}

// part is one device of several side by side.
type part struct {
	crest  float64 // m above the lowest crest
	rating Rating
}

// readPart builds one part and passes its issues on.
func readPart(d *dimensions, i int, row any) (part, bool) {
	values, _ := row.(map[string]any)
	own := maps.Clone(values)
	delete(own, "crest")
	delete(own, "kind")
	r, issues := Build(fmt.Sprint(values["kind"]), own)
	one := &dimensions{values: values}
	crest := one.optional("crest", quantity.LengthDimension, 0)
	issues = append(issues, one.issues...)
	for _, issue := range issues {
		d.refuse("parts", fmt.Sprintf("part %d: %s", i+1, issue.Found), issue.Expected, issue.Remedy)
	}
	return part{crest, r}, len(issues) == 0
}

// sum adds a property of all parts, each at the head above its own crest.
func sum(parts []part, of func(Rating, float64) float64) func(float64) float64 {
	return func(h float64) (s float64) {
		for _, p := range parts {
			s += of(p.rating, h-p.crest)
		}
		return s
	}
}

// newTrapezoidalFlume reads width (0 for a V), side_slope, throat_length and the optional approach, hump,
// exit_expansion and coefficient: a small trapezoidal flume, rated by critical flow as a throated flume; for one with a
// published equation use kind = "power".
func newTrapezoidalFlume(d *dimensions) Rating {
	b, m := d.quantity("width", quantity.LengthDimension), d.number("side_slope")
	d.between("width", b, 0, 100, "a bottom width from 0")
	d.between("side_slope", m, 0.01, 20, "horizontal to vertical, above 0")
	return throatedRating(d, trapezoidSection(b, m), "trapezoidal", "trapezoidal flume",
		"critical-flow theory; the ratings of the small standard sizes were not read: with a published equation use "+
			"kind = power; "+recalled4359)
}
