package total

// Volume is a total with the time that it covers.
type Volume struct {
	Sum     Sum   // m³
	Covered int64 // ns; a total over no time is missing, not zero
}

// Missing reports whether there is nothing to add up.
func (v Volume) Missing() bool { return v.Covered == 0 }

// M3 returns the volume in m³.
func (v Volume) M3() float64 { return v.Sum.Value() }

// Merge adds another volume.
func (v *Volume) Merge(o Volume) {
	v.Sum.Merge(o.Sum)
	v.Covered += o.Covered
}

// MergeAll merges volumes into a list, one by one; the list grows where it is shorter.
func MergeAll(list, more []Volume) []Volume {
	for i, v := range more {
		if i == len(list) {
			list = append(list, Volume{})
		}
		list[i].Merge(v)
	}
	return list
}

// Class is how a part of the corrected volume came about.
type Class int

// The classes of volume.
const (
	Measured  Class = iota // between accepted readings
	Bridged                // over dropped readings, along a straight line between the accepted ones
	Bounded                // from readings of which only bounds are known
	Estimated              // from drowned readings
	Filled                 // put in the place of missing time, because the site file asks for it
	Classes                // how many there are
)

// String names the class.
func (c Class) String() string {
	return [...]string{"measured", "bridged", "bounded", "estimated", "filled"}[c]
}

// Bracket is time in which a flow is only known between bounds.
type Bracket struct {
	Counted   Volume // what counts of it in the total
	Low, High Volume // the least and the most that flowed; High is Low where nothing bounds it
	Open      int64  // ns, of it the time in which nothing bounds the flow from above
}

// Merge adds another bracket.
func (b *Bracket) Merge(o Bracket) {
	b.Counted.Merge(o.Counted)
	b.Low.Merge(o.Low)
	b.High.Merge(o.High)
	b.Open += o.Open
}

// Of returns the least and the most of a total that the bracket is a part of, m³.
func (b *Bracket) Of(total Volume) (low, high float64) {
	v, counted := total.M3(), b.Counted.M3()
	return v - counted + b.Low.M3(), v - counted + b.High.M3()
}

// Edges are the parts of a mean or volume that stand inside and outside of a period's bounds when it is spread evenly
// over its interval, m³. The truth may be all of it on either side.
type Edges struct{ StartIn, StartOut, EndIn, EndOut float64 }
