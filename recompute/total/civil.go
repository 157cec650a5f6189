package total

import (
	"sort"
	"time"
)

// Civil returns the first instant at which the clock of a place shows a wall time or a later one; wall holds that time
// as if it were UTC. A time that the clock skips is therefore the first instant that exists after it, and one that it
// shows twice is the first of the two. (time.Date promises neither, and the ends that Time.ZoneBounds gives are not
// always jumps.) No clock jumps twice within the time that is searched.
func Civil(location *time.Location, wall time.Time) int64 {
	low := wall.Unix() - farthest
	offset := func(after int) int {
		_, s := time.Unix(low+int64(after), 0).In(location).Zone()
		return s
	}
	before, after := offset(0), offset(2*farthest)
	first := wall.Unix() - int64(before)
	if before != after {
		jump := low + int64(sort.Search(2*farthest, func(s int) bool { return offset(s) != before }))
		if first >= jump {
			first = max(wall.Unix()-int64(after), jump)
		}
	}
	return time.Unix(first, int64(wall.Nanosecond())).UnixNano()
}

// farthest is more than any clock has been ahead of UTC or behind it, s.
const farthest = 16 * 3600
