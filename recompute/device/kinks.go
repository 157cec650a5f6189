package device

// Kinks returns the heads at which a rating given by points bends or steps, rising. Other ratings bend at a few heads
// that lie far apart, or nowhere: none.
func Kinks(r Rating) []float64 {
	if t, ok := r.(*Table); ok {
		return t.heads
	}
	return nil
}
