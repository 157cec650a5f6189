package quantity

import (
	"fmt"
	"regexp"
	"strconv"
	"strings"
)

// Written is how a number without a unit may have been meant, for messages: `"0.40 m"`, and from 10 on `"1250 mm"`, as
// a length of so many metres is none of a flow meter.
func Written(number string, d Dimension) string {
	unit := Unit1(d)
	if v, err := strconv.ParseFloat(number, 64); err == nil && d == LengthDimension && (v >= 10 || v <= -10) {
		unit = "mm"
	}
	return strconv.Quote(number + " " + unit)
}

// commonUnits are the units that a message lists, where there are too many to list all.
var commonUnits = map[Dimension]string{
	FlowDimension:   "L/s, m3/s, m3/h, m3/d, ML/d, ft3/s, US gal/min, US Mgal/d, imp gal/min",
	VolumeDimension: "m3, L, ML, ft3, US gal, US Mgal, imp gal, acre-ft",
}

// unknownUnit says which units a value may have. An ambiguous one has its own message already.
func unknownUnit(text string, err error, d Dimension) error {
	if strings.Contains(err.Error(), "two meanings") {
		return err
	}
	if d == None {
		return fmt.Errorf("%q is not a bare number", text)
	}
	return fmt.Errorf("%q: %w; expected one of %s", text, err, Listed(d))
}

// Listed names the units of a dimension, or the common ones where there are too many to list.
func Listed(d Dimension) string {
	if list := commonUnits[d]; list != "" {
		return list
	}
	return strings.Join(Symbols(d), ", ")
}

// grouped is a number with a comma, and what follows it.
var grouped = regexp.MustCompile(`^([+-]?[\d.]*,[\d.,]*\d)\s*(\D.*)?$`)

// withComma says how a number with a comma is to be written; nil for a text without one. A comma before three digits
// may separate thousands or decimals, and both are offered.
func withComma(text string) error {
	m := grouped.FindStringSubmatch(text)
	if m == nil {
		return nil
	}
	number, unit := m[1], m[2]
	if unit != "" {
		unit = " " + unit
	}
	bare := strings.ReplaceAll(number, ",", "")
	last := strings.LastIndexByte(number, ',')
	asDecimal := strings.ReplaceAll(strings.ReplaceAll(number[:last], ".", ""), ",", "") + "." + number[last+1:]
	switch points := strings.LastIndexByte(number, '.'); {
	case points > last: // 1,250.5
		return fmt.Errorf("%q is written with a comma; write %q", text, bare+unit)
	case points >= 0: // 1.250,5
		return fmt.Errorf("%q is written with a comma; write %q", text, asDecimal+unit)
	case strings.Count(number, ",") > 1: // 1,250,000
		return fmt.Errorf("%q is written with commas; write %q", text, bare+unit)
	case len(number)-last == 4: // 1,518
		return fmt.Errorf("%q is written with a comma; write %q or %q, whichever it is",
			text, asDecimal+unit, bare+unit)
	}
	return fmt.Errorf("%q is written with a comma; write %q", text, asDecimal+unit)
}
