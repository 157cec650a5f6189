package device

func Heads(r Rating, q float64) (low, high float64, ok bool) {
	low, ok = Head(r, q)
	return low, low, ok
}
