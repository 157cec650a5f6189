package csvlog

import (
	"testing"
	"time"
)

// TestStamps reads stamps of the grammar. Rows with an id are those of the reference's worked examples.
func TestStamps(t *testing.T) {
	for _, c := range []struct {
		id, text string
		order    order
		want     string // local time, with Z for a stamp with offset; "" for not readable
	}{
		{"ISO 8601", "2031-04-02 10:30:00", yearFirst, "2031-04-02T10:30:00"},
		{"ISO 8601", "2031-04-02T10:30", yearFirst, "2031-04-02T10:30:00"},
		{"ISO 8601", "2031-04-02T10:30:00Z", yearFirst, "2031-04-02T10:30:00Z"},
		{"ISO 8601", "2031-04-02T10:30:00+05:30", yearFirst, "2031-04-02T05:00:00Z"},
		{"ISO 8601", "2031-04-02T10:30:00-0330", yearFirst, "2031-04-02T14:00:00Z"},
		{"ISO 8601 24:00 equals 00:00 of the next day", "2015-05-14 24:00", yearFirst, "2015-05-15T00:00:00"},
		{"fraction", "2031-04-02 10:30:00.250", yearFirst, "2031-04-02T10:30:00.25"},
		{"date alone", "2031-04-02", yearFirst, "2031-04-02T00:00:00"},
		{"TS-DF1", "12.01.2017 17:18", dayFirst, "2017-01-12T17:18:00"},
		{"TS-DF1", "01.02.2017 11:12", dayFirst, "2017-02-01T11:12:00"},
		{"month first", "4/2/2031 9:05", monthFirst, "2031-04-02T09:05:00"},
		{"12-hour clock", "02/04/2031 12:05 AM", dayFirst, "2031-04-02T00:05:00"},
		{"12-hour clock", "4/2/2031 1:05:30 pm", monthFirst, "2031-04-02T13:05:30"},
		{"12-hour clock", "2031-04-02 12:00PM", yearFirst, "2031-04-02T12:00:00"},
		{"no such hour of twelve", "2031-04-02 13:00 PM", yearFirst, ""},
		{"named month", "02-Apr-2031 10:30", yearFirst, "2031-04-02T10:30:00"},
		{"named month", "2 September 2031 10:30", monthFirst, "2031-09-02T10:30:00"},
		{"named month", "2031-Sep-02 10:30", yearFirst, "2031-09-02T10:30:00"},
		{"month in French", "2 août 2031 10:30", yearFirst, "2031-08-02T10:30:00"},
		{"month in German, Windows-1252", "02-M\xe4r-2031 10:30", yearFirst, "2031-03-02T10:30:00"},
		{"month in Spanish", "02/ene/2031 10:30", yearFirst, "2031-01-02T10:30:00"},
		{"June and July in French", "02-juil-2031 10:30", yearFirst, "2031-07-02T10:30:00"},
		{"month in front", "Apr 2, 2031 1:05:30 pm", yearFirst, "2031-04-02T13:05:30"},
		{"no such month name", "02-Xyz-2031 10:30", yearFirst, ""},
		{"ISO 8601 basic", "20310402T103000Z", yearFirst, "2031-04-02T10:30:00Z"},
		{"no separators", "20310402103000", yearFirst, "2031-04-02T10:30:00"},
		{"no separators, date and time apart", "20310402 1030", yearFirst, "2031-04-02T10:30:00"},
		{"eleven fraction digits", "2031-04-02 10:30:00.00000000199", yearFirst, "2031-04-02T10:30:00.000000001"},
		{"stamp rounded by a spreadsheet", "2.03104E+11", yearFirst, ""},
		{"leap day", "2028-02-29 00:00", yearFirst, "2028-02-29T00:00:00"},
		{"no leap day", "2031-02-29 00:00", yearFirst, ""},
		{"no such month", "13/13/2031 00:00", dayFirst, ""},
		{"two-digit year", "02/04/31 10:30", dayFirst, "2031-04-02T10:30:00"},
		{"two-digit year in front", "31/04/02 10:30", yearFirst, "2031-04-02T10:30:00"},
		{"three-digit year", "02/04/031 10:30", dayFirst, ""},
		{"no such hour", "2031-04-02 25:00", yearFirst, ""},
		{"no such minute", "2031-04-02 10:60", yearFirst, ""},
		{"no such second", "2031-04-02 10:30:60", yearFirst, ""},
		{"trailing text", "2031-04-02 10:30 x", yearFirst, ""},
		{"mixed separators", "2031-04/02 10:30", yearFirst, ""},
		{"empty", "", yearFirst, ""},
	} {
		st, err := parseStamp([]byte(c.text))
		local, ok := st.local(c.order)
		got := ""
		if err == nil && ok {
			got = time.Unix(0, local-st.offset).UTC().Format("2006-01-02T15:04:05.999999999")
			if st.hasOffset {
				got += "Z"
			}
		}
		if got != c.want {
			t.Errorf("%s: %q = %q, want %q", c.id, c.text, got, c.want)
		}
	}
}

// TestOrderOfWholeFile decides day first or month first from all stamps.
func TestOrderOfWholeFile(t *testing.T) {
	for _, c := range []struct {
		id     string
		stamps []string
		want   string
	}{
		{"TS-DF2", []string{"11/03/2011", "03/05/2011", "20/10/2011", "04/08/2011", "05/10/2011", "17/11/2011", "11/02/2011", "22/02/2011", "29/04/2011"}, "day first"},
		{"month first", []string{"01/02/2031", "01/13/2031"}, "month first"},
		{"by order of time", []string{"03/01/2031", "04/01/2031", "05/01/2031", "06/01/2031", "01/02/2031"}, "day first"},
		{"ambiguous", []string{"03/04/2031", "04/05/2031"}, ""},
		{"contradiction", []string{"13/04/2031", "04/13/2031"}, ""},
	} {
		var e orderEvidence
		for i, text := range c.stamps {
			st, err := parseStamp([]byte(text))
			if err != nil {
				t.Fatal(err)
			}
			e.add(st, int32(i+2))
		}
		o, _, _, bad := e.decide("log.csv")
		got := ""
		if bad == nil {
			got = o.String()
		}
		if got != c.want {
			t.Errorf("%s: %q (%v), want %q", c.id, got, bad, c.want)
		}
	}
}
