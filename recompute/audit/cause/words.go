package cause

import (
	"fmt"
	"math"
	"time"

	"retotal/ingest/quantity"
)

// Valued writes a value of what is free: "x 0.1 (a tenth)", "+2.0 h", "-31.6 mm"; "" where nothing is.
func (c *Cause) Valued(v float64) string {
	if math.IsNaN(v) {
		if c.Taken != "" {
			return "(" + c.Taken + ")"
		}
		return ""
	}
	text := ""
	switch c.Unit {
	case "x":
		text = "x " + quantity.Digits(v, 5)
	case "mm":
		text = fmt.Sprintf("%+.1f mm", v)
	case "h":
		if text = fmt.Sprintf("%+.2f h", v); c.Topic == "counter" || c.Topic == "level" {
			text = quantity.FormatDuration(time.Duration(v * float64(time.Hour)).Round(time.Minute))
		}
	case "s/d":
		text = fmt.Sprintf("%+.0f s/d", v)
	case "d":
		text = quantity.Digits(v, 3) + " d"
	default:
		text = quantity.Digits(v, 4) + " " + c.Unit
	}
	if v == c.Value && c.Taken != "" {
		text += " (" + c.Taken + ")"
	}
	return text
}

// Interval writes what the value lies within; "" where it is no estimate.
func (c *Cause) Interval() string {
	if math.IsNaN(c.Low) || c.Low == c.High {
		return ""
	}
	bare := *c
	bare.Taken = ""
	return bare.Valued(c.Low) + " to " + bare.Valued(c.High)
}

// Began writes when it began and ended, UTC; "" where it was so all along.
func (c *Cause) Began() string {
	utc := func(at int64) string { return time.Unix(0, at).UTC().Format("2006-01-02 15:04") + " UTC" }
	switch {
	case c.Since != 0 && c.Until > c.Since+1:
		return "from " + utc(c.Since) + " to " + utc(c.Until)
	case c.Since != 0:
		return "since " + utc(c.Since)
	case c.Until != 0:
		return "up to " + utc(c.Until)
	}
	return ""
}
