package site

import (
	"math"
	"testing"
)

// TestSpeedOfSound: rows SOS-I of the reference (ISO 9613-1:1993 A.5, from pyfar/pyfar @793fcc9a), to their printed
// digits, and rows SOS-C (values digitised from Cramer 1993, Figure 1, same source) within what humidity may add.
func TestSpeedOfSound(t *testing.T) {
	for celsius, want := range map[float64]float64{
		-10: 325.1652, 0: 331.2859, 5: 334.3042, 10: 337.2956, 15: 340.2606, 20: 343.2, 30: 349.0046, 50: 360.3333,
	} {
		if got := SpeedOfSound(celsius + 273.15); math.Abs(got-want) > 5e-5 {
			t.Errorf("%g degC: %.4f m/s, want %.4f", celsius, got, want)
		}
	}
	for _, c := range []struct{ celsius, humidity, want float64 }{
		{0, 0.0047, 331.5079},
		{10, 0.30332, 337.6984},
		{20, 0.6019, 344.1667},
		{30, 0.98894, 351.5079},
	} {
		if got := SpeedOfSound(c.celsius + 273.15); math.Abs(got/c.want-1) > 0.0075 {
			t.Errorf("%g degC at %g humidity: %.3f m/s, want %.3f", c.celsius, c.humidity, got, c.want)
		}
	}
	// SOS-D10_2, SOS-D30_2, SOS-D35_1: what a meter fixed at 20 degC makes of a true distance.
	for _, c := range []struct{ celsius, distance, want float64 }{{10, 2, 2.0350}, {30, 2, 1.9667}, {35, 1, 0.9754}} {
		if got := c.distance * SpeedOfSound(293.15) / SpeedOfSound(c.celsius+273.15); math.Abs(got-c.want) > 5e-5 {
			t.Errorf("%g m at %g degC is shown as %.4f, want %.4f", c.distance, c.celsius, got, c.want)
		}
	}
}
