package reading

// Epoch is a unit in which times are counted since 1970 UTC; the zero value is none.
type Epoch struct {
	Unit  int64  // nanoseconds
	Name  string // "seconds"
	Digit string // how many digits its counts have from 2001 to 2286, in words
	least int64  // the least number of so many digits
}

// epochs are told apart by their number of digits: no log's times need one more or less. Nanoseconds go as far as 2262,
// where 64 bits end.
var epochs = []Epoch{
	{1e9, "seconds", "ten", 1e9},
	{1e6, "milliseconds", "thirteen", 1e12},
	{1e3, "microseconds", "sixteen", 1e15},
	{1, "nanoseconds", "nineteen", 1e18},
}

// EpochOf tells by their digits what counts since 1970 UTC count: the unit that more than half of them have; none when
// there is no such unit.
func EpochOf(counts []int64) Epoch {
	for _, e := range epochs {
		n := 0
		for _, c := range counts {
			if c >= e.least && c/10 < e.least {
				n++
			}
		}
		if 2*n > len(counts) {
			return e
		}
	}
	return Epoch{}
}
