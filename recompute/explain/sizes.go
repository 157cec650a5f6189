package explain

import "retotal/recompute/device"

// Angles are the angles in degrees in which notches are made.
func Angles() []float64 { return angles }

// Throats are the standard throats of Parshall flumes, as device.Build takes them.
func Throats() []string { return throats }

// Depths are the depths of H, HS or HL flumes, as device.Build takes them.
func Depths(kind string) []string { return hDepths[kind] }

// Law is a power law in SI, flow in m³/s over head in m.
func Law(coefficient, exponent float64) device.Rating { return law(coefficient, exponent) }

// Equation is one published equation of a device.
type Equation struct {
	Name   string // "" for the usual one
	Rating device.Rating
}

// Equations are the published equations of a device with these keys, the usual one first; none where it cannot be
// built.
func Equations(kind string, keys map[string]any) (list []Equation) {
	usual := built(kind, keys)
	if usual == nil {
		return nil
	}
	list = []Equation{{"", usual}}
	for _, v := range variants(kind) {
		r := v.build(kind, keys)
		if r != nil && r.Describe().Equation != usual.Describe().Equation {
			list = append(list, Equation{v.name, r})
		}
	}
	return list
}
