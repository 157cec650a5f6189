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
		// NIST Special Publication 811 (2008), B.8 and B.9, at the printed digits.
		{"NIST bar", "1 bar", "Pa", PressureDimension, 1e5, 0},
		{"NIST mbar", "1 mbar", "Pa", PressureDimension, 1e2, 0},
		{"NIST psi", "1 psi", "Pa", PressureDimension, 6.894757e3, 5e-4},
		{"NIST cmH2O", "1 cmH2O", "Pa", PressureDimension, 9.80665e1, 5e-5},
		{"NIST inH2O", "1 inH2O", "Pa", PressureDimension, 2.490889e2, 5e-5},
		{"NIST mmHg", "1 mmHg", "Pa", PressureDimension, 1.333224e2, 5e-5},
		{"NIST inHg", "1 inHg", "Pa", PressureDimension, 3.386389e3, 5e-4},
		{"definition", "1013.25 hPa", "kPa", PressureDimension, 101.325, 1e-10},
		{"definition", "1 mH2O", "cmH2O", PressureDimension, 100, 1e-10},
		{"definition", "25.4 mmH2O", "inH2O", PressureDimension, 1, 1e-12},
		{"definition", "0.9982 g/cm3", "kg/m3", DensityDimension, 998.2, 1e-10},
		{"definition", "1 m/s²", "m/s2", AccelerationDimension, 1, 0},
		{"UCUM", "1 [psi]", "psi", PressureDimension, 1, 1e-12},
		{"UCUM", "1 cm[H2O]", "cmH2O", PressureDimension, 1, 1e-12},
		{"UCUM", "1 [in_i'H2O]", "inH2O", PressureDimension, 1, 1e-12},
		{"spelling", "1 cmH₂O", "cmH2O", PressureDimension, 1, 1e-12},
		{"spelling", "1 in H2O", "inH2O", PressureDimension, 1, 1e-12},
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

// TestWaterColumn: by hand, h = p / (ρ g); of conventional water a conventional column is as high as its name says.
func TestWaterColumn(t *testing.T) {
	for _, c := range []struct {
		unit             string
		density, gravity float64
		want             float64 // m for 1 of the unit
	}{
		{"cmH2O", 1000, StandardGravity, 0.01},
		{"inH2O", 1000, StandardGravity, 0.0254},
		{"kPa", 1000, 9.80665, 0.101971621},
		{"kPa", 998.2, 9.80665, 0.102155502},
		{"psi", 1000, 9.80665, 0.703069580},
		{"hPa", 1025, 9.81, 0.00994505},
	} {
		u := WaterColumn(MustLookUp(c.unit), c.density, c.gravity)
		if got := u.ToSI(1); math.Abs(got/c.want-1) > 1e-6 || u.Dimension != LengthDimension || u.Symbol != c.unit {
			t.Errorf("1 %s of %g kg/m³: %v m, want %v", c.unit, c.density, got, c.want)
		}
	}
}
