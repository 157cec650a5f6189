package stat

import "math"

// Normal is normal equations of least squares.
type Normal struct {
	Rows  [][]float64
	Right []float64
}

// NewNormal is n equations that say nothing yet.
func NewNormal(n int) *Normal {
	e := &Normal{Right: make([]float64, n)}
	for range n {
		e.Rows = append(e.Rows, make([]float64, n))
	}
	return e
}

// Add takes in a reading: what it changes by with every unknown, what it is off, and its weight.
func (e *Normal) Add(slope []float64, off, weight float64) {
	for i, a := range slope {
		e.Right[i] += float64(weight * a * off)
		for k, b := range slope {
			e.Rows[i][k] += float64(weight * a * b)
		}
	}
}

// Scale makes all readings count so many times.
func (e *Normal) Scale(by float64) {
	for i := range e.Rows {
		e.Right[i] *= by
		for k := range e.Rows[i] {
			e.Rows[i][k] *= by
		}
	}
}

// Part is the equations of the first n unknowns alone, the others being 0.
func (e *Normal) Part(n int) *Normal {
	out := NewNormal(n)
	copy(out.Right, e.Right)
	for i := range out.Rows {
		copy(out.Rows[i], e.Rows[i])
	}
	return out
}

// Solution is what solves normal equations.
type Solution struct {
	X, Variance []float64 // variance is very great of an unknown that nothing is known of
	LogDet      float64   // logarithm of the determinant
	Gain        float64   // by which the sum of weighted squares falls
}

// leastPivot keeps unknowns that cannot be told apart from dividing by nothing; of a matrix with ones on the diagonal.
const leastPivot = 1e-10

// Solve solves the equations by elimination, each scaled to one on the diagonal.
func (e *Normal) Solve() (out Solution) {
	n := len(e.Right)
	rows, scale := make([][]float64, n), make([]float64, n)
	for i := range rows {
		scale[i] = math.Sqrt(math.Max(e.Rows[i][i], math.SmallestNonzeroFloat32))
	}
	for i := range rows { // with the unit matrix and the right side beside it
		rows[i] = make([]float64, 2*n+1)
		for k := range n {
			rows[i][k] = e.Rows[i][k] / (scale[i] * scale[k])
		}
		rows[i][n+i], rows[i][2*n] = 1, e.Right[i]/scale[i]
	}
	for i, row := range rows {
		pivot := math.Max(row[i], leastPivot)
		out.LogDet += math.Log(pivot) + 2*math.Log(scale[i])
		for k := range row {
			row[k] /= pivot
		}
		for other := range rows {
			if by := rows[other][i]; other != i {
				for k := range row {
					rows[other][k] -= float64(by * row[k])
				}
			}
		}
	}
	for i, row := range rows {
		out.X = append(out.X, row[2*n]/scale[i])
		out.Variance = append(out.Variance, row[n+i]/(scale[i]*scale[i]))
		out.Gain += out.X[i] * e.Right[i]
	}
	return out
}
