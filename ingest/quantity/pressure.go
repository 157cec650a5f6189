package quantity

// StandardGravity is the acceleration of free fall that conventional units are defined with, m/s² (3rd CGPM, 1901; NIST
// Special Publication 811, 2008, B.8: 9.80665 m/s², exact). On the earth it lies between 9.764 and 9.834.
const StandardGravity = 9.80665

// Pressures, Pa (NIST Special Publication 811, 2008, B.8): bar 1E+05, millibar 1E+02, pound-force per square inch
// 6.894757E+03, and conventional columns of water (centimetre 9.80665E+01, inch 2.490889E+02) and of mercury
// (millimetre 1.333224E+02, inch 3.386389E+03). Columns of water have 1000 kg/m³, whatever the water of a site has; of
// mercury 13595.1 kg/m³ (conventional, from memory: it gives the figures above).
const (
	poundForce     = 0.45359237 * StandardGravity // N, of the international pound
	metreOfWater   = 1000 * StandardGravity
	metreOfMercury = 13595.1 * StandardGravity
)

// addPressures adds the units of pressure, density and acceleration.
func addPressures(add func(d Dimension, factor, offset float64, symbol string, spellings ...string)) {
	add(PressureDimension, 1, 0, "Pa")
	add(PressureDimension, 1e2, 0, "hPa")
	add(PressureDimension, 1e3, 0, "kPa")
	add(PressureDimension, 1e2, 0, "mbar")
	add(PressureDimension, 1e5, 0, "bar")
	add(PressureDimension, poundForce/(inch*inch), 0, "psi", "[psi]")
	add(PressureDimension, metreOfWater, 0, "mH2O", "m[H2O]", "m H2O")
	add(PressureDimension, metreOfWater/1e2, 0, "cmH2O", "cm[H2O]", "cm H2O")
	add(PressureDimension, metreOfWater/1e3, 0, "mmH2O", "mm[H2O]", "mm H2O")
	add(PressureDimension, metreOfWater*inch, 0, "inH2O", "[in_i'H2O]", "in H2O")
	add(PressureDimension, metreOfMercury/1e3, 0, "mmHg", "mm[Hg]", "mm Hg")
	add(PressureDimension, metreOfMercury*inch, 0, "inHg", "[in_i'Hg]", "in Hg")
	add(DensityDimension, 1, 0, "kg/m3", "kg.m-3")
	add(DensityDimension, 1e3, 0, "g/cm3", "g.cm-3", "kg/L", "kg/l")
	add(AccelerationDimension, 1, 0, "m/s2", "m.s-2")
}

// WaterColumn is a unit of pressure as one of length: the height of a column of water of some density, kg/m³, that
// presses so at its foot, under some gravity, m/s². It is the one place where a pressure becomes a level:
// h = p / (ρ g), the law of hydrostatics.
func WaterColumn(pressure Unit, density, gravity float64) Unit {
	pressure.Dimension = LengthDimension
	pressure.Factor /= density * gravity
	return pressure
}
