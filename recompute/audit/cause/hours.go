package cause

import (
	"math"
	"sort"
)

// HourNs is an hour.
const HourNs = int64(36e11)

// Hour is one hour of a record, by the log's own clock.
type Hour struct {
	At            int64   // its beginning
	Flow, Counted float64 // m³; NaN where the hour is not covered
	Rated         float64 // m³ by the recorded settings; NaN where the hour is not covered
	// Head is the mean of the heads that no check doubts, Least and Most are their ends, m; NaN where there are none.
	Head, Least, Most float64
	Air               float64 // K; NaN where there is none
	// Jump is the largest change from a reading to the next, m, that ends in the hour, and JumpAt when it does.
	Jump   float64
	JumpAt int64
	// Begins and Ends are the flows at its bounds, m³/h, half way to the hours next to it, once they are joined.
	Begins, Ends float64
}

// Join sets the flows at the bounds of hours.
func Join(hours []Hour) {
	for i := range hours {
		h := &hours[i]
		h.Begins, h.Ends = h.Flow, h.Flow
		if i > 0 && h.At-hours[i-1].At == HourNs {
			h.Begins = (h.Flow + hours[i-1].Flow) / 2
		}
		if i+1 < len(hours) && hours[i+1].At-h.At == HourNs {
			h.Ends = (h.Flow + hours[i+1].Flow) / 2
		}
	}
}

// Volumes are those of whole hours that follow each other, to be added up between any two instants.
type Volumes struct {
	first int64
	sum   []float64 // m³ up to the beginning of hour k
	open  []int     // hours before k that are not covered
}

// NewVolumes adds up what of says of hours, NaN for one that is not covered.
func NewVolumes(hours []Hour, of func(h *Hour) float64) *Volumes {
	v := &Volumes{sum: []float64{0}, open: []int{0}}
	for i := range hours {
		h := &hours[i]
		if i == 0 {
			v.first = h.At
		}
		for v.until() < h.At && len(v.sum) < mostHours {
			v.add(math.NaN())
		}
		if v.until() != h.At {
			break // a stray date
		}
		v.add(of(h))
	}
	return v
}

// mostHours bounds what a log with a stray date takes: a hundred years.
const mostHours = 100 * 8766

func (v *Volumes) until() int64 { return v.first + int64(len(v.sum)-1)*HourNs }

func (v *Volumes) add(m3 float64) {
	k, open := len(v.sum)-1, 0
	if math.IsNaN(m3) {
		m3, open = 0, 1
	}
	v.sum, v.open = append(v.sum, v.sum[k]+m3), append(v.open, v.open[k]+open)
}

// Between is the volume between two instants, evenly within an hour; NaN where any of its hours is not covered.
func (v *Volumes) Between(from, until int64) float64 {
	if from < v.first || until > v.until() || from >= until {
		return math.NaN()
	}
	low, high := int((from-v.first)/HourNs), int((until-v.first-1)/HourNs)+1
	if v.open[high] > v.open[low] {
		return math.NaN()
	}
	return v.at(until) - v.at(from)
}

func (v *Volumes) at(t int64) float64 {
	k := min(int((t-v.first)/HourNs), len(v.sum)-1)
	if k == len(v.sum)-1 {
		return v.sum[k]
	}
	part := float64(t-v.first-int64(k)*HourNs) / float64(HourNs)
	return v.sum[k] + float64((v.sum[k+1]-v.sum[k])*part)
}

// Within are the hours that begin between two instants.
func Within(hours []Hour, from, until int64) []Hour {
	low := sort.Search(len(hours), func(i int) bool { return hours[i].At >= from })
	high := sort.Search(len(hours), func(i int) bool { return hours[i].At >= until })
	return hours[low:high]
}
