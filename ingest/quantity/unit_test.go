package quantity

import (
	"math"
	"strings"
	"testing"
)

func TestUnitFactors(t *testing.T) {
	// Definitions from the UCUM unit tables ([in_i], [ft_i], [gal_us], [gal_br]); the USGS day volume is
	// printed in USGS Water-Supply Paper definitions: 1 cfs-day = 86400 ft3 = 1.983471 acre-ft = 646317 US gal.
	for _, c := range []struct {
		id, text, to string
		dimension    Dimension
		want, within float64
	}{
		{"UNIT-01", "1 US gal", "L", VolumeDimension, 3.785411784, 1e-12},
		{"UNIT-03", "1 imp gal", "US gal", VolumeDimension, 1.20094993, 1e-8},
		{"UNIT-04", "1 ft3/s", "L/s", FlowDimension, 28.316846592, 1e-9},
		{"UNIT-05", "1 US Mgal/d", "L/s", FlowDimension, 43.8126364, 1e-7},
		{"UNIT-06", "1 imp Mgal/d", "L/s", FlowDimension, 52.6167824, 1e-7},
		{"UNIT-08", "1 L/s", "m3/h", FlowDimension, 3.6, 1e-12},
		{"UNIT-09", "1 l/s", "m³/d", FlowDimension, 86.4, 1e-10},
		{"UNIT-10", "1 acre-ft", "m3", VolumeDimension, 1233.48184, 1e-5},
		{"UNIT-USGS acre-ft", "86400 ft3", "acre-ft", VolumeDimension, 1.983471, 5e-7},
		{"UNIT-USGS gal", "86400 ft3", "US gal", VolumeDimension, 646317, 0.5},
		{"definition", "90 deg", "rad", AngleDimension, math.Pi / 2, 1e-15},
		{"definition", "0 °C", "K", TemperatureDimension, 273.15, 1e-12},
		{"definition", "212 degF", "degC", TemperatureDimension, 100, 1e-9},
		{"definition", "1.5 h", "min", DurationDimension, 90, 1e-12},
		// UCUM symbols (UCUM ucum-essence), and spellings of the trade.
		{"UCUM", "1 1000000.[gal_us]/d", "L/s", FlowDimension, 43.8126364, 1e-7},
		{"UCUM", "1 10*6.[gal_br]/d", "L/s", FlowDimension, 52.6167824, 1e-7},
		{"UCUM", "1 [gal_us]/min", "US gal/min", FlowDimension, 1, 1e-12},
		{"UCUM", "1 [cft_i]/s", "L/s", FlowDimension, 28.316846592, 1e-9},
		{"UCUM", "1 m3.s-1", "L/s", FlowDimension, 1000, 1e-9},
		{"UCUM", "1 [ft_i]", "m", LengthDimension, 0.3048, 1e-12},
		{"UCUM", "20 Cel", "K", TemperatureDimension, 293.15, 1e-9},
		{"spelling", "1 m³ h⁻¹", "m3/h", FlowDimension, 1, 1e-12},
		{"spelling", "1 m3/hour", "m3/h", FlowDimension, 1, 1e-12},
		{"spelling", "1 cfs", "ft3/s", FlowDimension, 1, 1e-12},
		{"spelling", "12 inch", "ft", LengthDimension, 1, 1e-12},
		{"spelling", "2 inches", "mm", LengthDimension, 50.8, 1e-9},
		{"spelling", "1 foot", "m", LengthDimension, 0.3048, 1e-12},
		{"spelling", "3 feet", "m", LengthDimension, 0.9144, 1e-12},
		{"spelling", "2 metres", "m", LengthDimension, 2, 1e-12},
		{"spelling", "1 AF", "ft3", VolumeDimension, 43560, 1e-6},
		{"spelling", "1 AF/d", "ft3/s", FlowDimension, 43560.0 / 86400, 1e-9},
		{"spelling", "1.983471 acre-feet", "ft3", VolumeDimension, 86400, 0.02},
		{"spelling", "1 MLD", "m3/d", FlowDimension, 1000, 1e-9},
		{"spelling", "2 MLD", "ML/d", FlowDimension, 2, 1e-12},
		{"spelling", "1 Ml/day", "ML/d", FlowDimension, 1, 1e-12},
	} {
		v, err := Parse(c.text, c.dimension)
		if err != nil {
			t.Errorf("%s: Parse(%q): %v", c.id, c.text, err)
			continue
		}
		if got := MustLookUp(c.to).FromSI(v.SI); math.Abs(got-c.want) > c.within {
			t.Errorf("%s: %s = %v %s, want %v", c.id, c.text, got, c.to, c.want)
		}
	}
}

func TestParseRefuses(t *testing.T) {
	for _, c := range []struct {
		text      string
		dimension Dimension
		want      string
	}{
		{"0.40", LengthDimension, `has no unit; write it as "0.40 m"`},
		{"1.2 L/s", LengthDimension, "is a flow, not a length"},
		{"3 gal", VolumeDimension, "two meanings"},
		{"3 gpm", FlowDimension, `"US gal/min" or "imp gal/min"`},
		{"3 gal/min", FlowDimension, "per min"},
		{"3 MGD", FlowDimension, `"US Mgal/d" or "imp Mgal/d"`},
		{"NaN m", LengthDimension, "not a number"},
		{"Inf m", LengthDimension, "not a number"},
		{"0x1p4 m", LengthDimension, `"x1p4 m" is not a known unit`},
		{"1_0 m", LengthDimension, "not a known unit"},
		{"1e999 m", LengthDimension, "not a number"},
		{"", LengthDimension, "not a number"},
		{"m", LengthDimension, "not a number"},
		{"1.2.3 m", LengthDimension, "not a number"},
	} {
		_, err := Parse(c.text, c.dimension)
		if err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("Parse(%q) = %v, want a message with %q", c.text, err, c.want)
		}
	}
}

func FuzzParse(f *testing.F) {
	for _, s := range []string{"0.40 m", "1e-3 ft", "-5 mm", "9 gal", "..", "+"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		v, err := Parse(s, LengthDimension)
		if err == nil && (math.IsNaN(v.SI) || math.IsInf(v.SI, 0)) {
			t.Errorf("Parse(%q) let %v through", s, v.SI)
		}
	})
}
