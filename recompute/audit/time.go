package audit

import "time"

// utc writes an instant as 2031-04-02 10:30.
func utc(at int64) string { return time.Unix(0, at).UTC().Format("2006-01-02 15:04") }
