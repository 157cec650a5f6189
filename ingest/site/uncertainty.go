package site

import (
	"fmt"
	"maps"
	"slices"
	"strconv"
	"strings"

	"retotal/ingest/quantity"
)

// Uncertainty is what the site file says of how sure its figures are: expanded uncertainties, 95 %. Zero is not given.
type Uncertainty struct {
	Datum        float64 // m, of the empty distance or the level of zero flow
	DatumGiven   bool
	Coefficient  float64 // relative, of the device's coefficient
	Reading      float64 // m, random, of one reading
	ReadingGiven bool
	Air          float64 // K
	Bridged      float64 // relative, of what is bridged
	Filled       float64 // relative, of what is filled
	Device       []DimensionU95
}

// DimensionU95 is the uncertainty of one dimension of the device, as written.
type DimensionU95 struct {
	Key, Text string
}

// readUncertainty reads [uncertainty].
func (s *Site) readUncertainty(t *table) {
	u := &s.Uncertainty
	length := func(key string) (float64, bool) {
		v := t.quantity(key, quantity.LengthDimension)
		if v == nil {
			return 0, false
		}
		if v.SI <= 0 {
			t.refuse(key, fmt.Sprintf("%q is not above 0", v.Text), "", "")
		}
		return v.SI, true
	}
	u.Datum, u.DatumGiven = length("datum")
	u.Reading, u.ReadingGiven = length("reading")
	u.Coefficient, u.Bridged, u.Filled = t.share("coefficient"), t.share("bridged"), t.share("filled")
	if v := t.quantity("air_temperature", quantity.TemperatureDimension); v != nil {
		if u.Air = v.SI; v.Unit.Offset != 0 || v.SI <= 0 {
			t.refuse("air_temperature", fmt.Sprintf("%q is not a difference of temperature above 0", v.Text),
				"K", `as in "2 K"`)
		}
	}
	d := t.sub("device")
	for _, key := range slices.Sorted(maps.Keys(d.values)) {
		d.asks(key, "size", "")
		u.Device = append(u.Device, DimensionU95{key, fmt.Sprint(d.values[key])})
	}
	t.close()
}

// share reads "2 %" as 0.02; 0 when absent.
func (t *table) share(key string) float64 {
	t.asks(key, "share", "")
	raw, ok := t.get(key)
	if !ok {
		return 0
	}
	number, isShare := strings.CutSuffix(strings.TrimSpace(fmt.Sprint(raw)), "%")
	v, err := strconv.ParseFloat(strings.TrimSpace(number), 64)
	if !isShare || err != nil || !(v > 0) || v > 1000 {
		t.refuse(key, fmt.Sprintf("%q is not a share above 0", fmt.Sprint(raw)), "per cent", `as in "2 %"`)
		return 0
	}
	return v / 100
}
