package report

import (
	"math"
	"slices"

	"retotal/ingest"
	"retotal/recompute/device"
	"retotal/recompute/settings"
)

type segmentRecord struct {
	From        string       `json:"from,omitempty"`
	Until       string       `json:"until,omitempty"`
	Settings    []string     `json:"settings,omitempty"`
	Device      deviceRecord `json:"device"`
	LowestHead  float64      `json:"lowest_valid_head_m"`
	HighestHead *float64     `json:"highest_valid_head_m,omitempty"`
	End         *float64     `json:"physical_end_head_m,omitempty"`
}

// deviceRecord is a device in words.
type deviceRecord struct {
	Kind        string            `json:"kind"`
	Name        string            `json:"name"`
	Equation    string            `json:"equation"` // with its numbers, in SI
	Source      string            `json:"source"`
	Uncertainty float64           `json:"coefficient_u95"` // a part of the coefficient; 0 when none is published
	UncertainBy string            `json:"coefficient_u95_source"`
	Assumed     []string          `json:"assumed,omitempty"`
	Dimensions  []dimensionRecord `json:"dimensions"` // as given
	Advice      []string          `json:"advice,omitempty"`
}

type dimensionRecord struct {
	Name  string `json:"name"`
	Value string `json:"value"`
}

func newDevice(d device.Description) deviceRecord {
	dimension := func(c device.Constant) dimensionRecord { return dimensionRecord(c) }
	return deviceRecord{
		d.Kind, d.Name, d.Equation, d.Source, d.Uncertainty, d.UncertainBy, d.Assumed,
		each(d.Dimensions, dimension), d.Advice,
	}
}

// segments lists the settings that were in force at some time of the log.
func segments(l *settings.Lane, log *ingest.Log) (out []segmentRecord) {
	for i := range l.Segments {
		s := &l.Segments[i]
		if s.Until <= log.From || s.From > log.Until {
			continue
		}
		limits := s.Rating.Limits()
		rec := segmentRecord{
			From:       utc(s.From),
			Until:      utc(s.Until),
			Settings:   s.Settings.Words(),
			Device:     newDevice(s.Rating.Describe()),
			LowestHead: limits.Low,
		}
		if !math.IsInf(limits.High, 1) {
			rec.HighestHead = &limits.High
		}
		if !math.IsInf(limits.End, 1) {
			rec.End = &limits.End
		}
		out = append(out, rec)
	}
	return out
}

// KindRecord is a kind of device as a program reads it.
type KindRecord struct {
	Example deviceRecord `json:"example"`
	Keys    []string     `json:"keys"`
	Kind    string       `json:"kind"`
	What    string       `json:"what"`
}

// NewKind makes the record of a kind of device.
func NewKind(k device.Kind) KindRecord {
	return KindRecord{newDevice(k.Rating.Describe()), k.Keys, k.Name, k.Sentence}
}

// distinct lists the devices of all segments, each once.
func distinct(segments []segmentRecord) (out []deviceRecord) {
	for _, s := range segments {
		if !slices.ContainsFunc(out, func(d deviceRecord) bool {
			return d.Equation == s.Device.Equation && slices.Equal(d.Dimensions, s.Device.Dimensions)
		}) {
			out = append(out, s.Device)
		}
	}
	return out
}
