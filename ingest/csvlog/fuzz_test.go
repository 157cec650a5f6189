package csvlog

import (
	"io"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"retotal/ingest/quantity"
	"retotal/ingest/reading"
	"retotal/ingest/site"
)

// FuzzStamp: whatever the text, a stamp is a time of the calendar or none, the same under blanks around it.
func FuzzStamp(f *testing.F) {
	for _, s := range []string{
		"2031-04-02 10:30:00", "02.04.2031 24:00", "4/2/31 1:05:30 pm", "2 août 2031 10:30", "Apr 2, 2031 1:05 am",
		"20310402T103000.5+05:30", "2031-04-02T10:30Z", "47908,5",
	} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, text string) {
		st, err := parseStamp([]byte(text))
		padded, errPadded := parseStamp([]byte(" " + text + "\r"))
		if err == nil && (errPadded != nil || st != padded) {
			t.Errorf("%q is a time, but not with blanks around it", text)
		}
		if err != nil {
			return
		}
		if st.nanosecond < 0 || st.nanosecond > 24*hour || st.offset <= -16*hour || st.offset >= 16*hour {
			t.Errorf("%q is %+v", text, st)
		}
		for _, o := range []order{yearFirst, dayFirst, monthFirst} {
			if at, ok := st.local(o); ok && (at < -75*366*24*hour || at > 235*366*24*hour) {
				t.Errorf("%q is %d in %v", text, at, o)
			}
		}
	})
}

// FuzzNumber: a number is finite, and read the fast way it is the same as the slow way.
func FuzzNumber(f *testing.F) {
	for _, s := range []string{
		"1.25", "-0,5", "1.234,5", "1e-3", "NaN", "0x1p4", "1'000", "+.5", "00000000000000000000.1",
	} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, text string) {
		for _, decimal := range []byte{'.', ','} {
			slow, ok := slowNumber([]byte(text), decimal)
			if ok && (math.IsNaN(slow) || math.IsInf(slow, 0)) {
				t.Errorf("%q is %v", text, slow)
			}
			line := []byte(text + ";" + strings.Repeat(" ", window))
			if fast, next, taken := fastNumber(line, 0, decimal); taken && next == len(text) && (!ok || fast != slow) {
				t.Errorf("%q is %v the fast way, %v (%v) the slow way", text, fast, slow, ok)
			}
		}
	})
}

// FuzzFile: whatever the bytes of a file, it is refused with a problem or every one of its rows is accounted for.
func FuzzFile(f *testing.F) {
	for _, s := range []string{
		"Time,Distance (m),Flow (L/s),Total (m3)\n2031-03-01 00:00:00,1.25,2.5,10\n",
		"x\ny;z\nTime;Distance mm;Flow l/s;Total m3\n;;;\n01.03.31 00:00;1.250,5;1;2\n",
		"\xff\xfeT\x00i\x00m\x00e\x00",
		"Time\tDistance (m)\tFlow (L/s)\tTotal (m3)\n1930089600\t1\t2\t3\r\n47908,5\t1\t2\t3", "\x1f\x8b\x08",
		"\x28\xb5\x2f\xfd",
		"Station,Mill Road\nTime,zone\nFrom,2031-03-01 00:00:00\nTime,Distance (m),Flow (L/s),Total (m3),,\n" +
			"2031-03-01 00:00:00,1.25,2.5,10,,,\n2031-03-01 00:05:00,1.25,2.5,10,x,y,z\n",
		"2031-03-01 00:00:00;1.25;2.5;10\n2031-03-01 00:05:00;1.25;;\n;;;\n",
		"Time,Distance (m),Flow (L/s),Total (m3)\n1930089600000000,1,2,3\n1930089600000000000,1,2,3\n" +
			"1930089600.5,1,2,3\n",
	} {
		f.Add([]byte(s))
	}
	f.Fuzz(func(t *testing.T, content []byte) {
		file := filepath.Join(t.TempDir(), "log.csv")
		if err := os.WriteFile(file, content, 0o644); err != nil {
			t.Fatal(err)
		}
		byNumber := demoLog4()
		byNumber.Time = site.Column{Number: 1}
		number := 1
		for q, c := range byNumber.Columns {
			if u := quantity.MustLookUp(quantity.Unit1(reading.Quantity(q).Dimension())); c.Given() {
				number++
				byNumber.Columns[q] = site.Column{Number: number, Unit: &u}
			}
		}
		Heading(file)
		for _, log := range []*site.Log{demoLog4(), byNumber, {
			Primary:   demoLog4().Primary,
			Time:      demoLog4().Time,
			Columns:   demoLog4().Columns,
			DateOrder: "year-first",
			Decimal:   "comma",
		}} {
			layout, bad := Inspect(file, log)
			if bad != nil {
				continue
			}
			layout.Decisions()
			if layout.Settle(file, log) != nil {
				continue
			}
			r, bad := Open(file, layout, log, false)
			if bad != nil {
				continue
			}
			for {
				b, err := r.Next()
				if err != nil {
					if err != io.EOF && err.Error() == "" {
						t.Error("an error without words")
					}
					break
				}
				if b.Len()+len(b.Rejected) != b.Read {
					t.Errorf("%d readings and %d rejected of %d rows", b.Len(), len(b.Rejected), b.Read)
				}
			}
			r.Close()
		}
	})
}
