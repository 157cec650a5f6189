package csvlog

import (
	"bytes"
	"compress/gzip"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	"retotal/ingest/problem"
	"retotal/ingest/reading"
	"retotal/ingest/site"
	"retotal/testdata/effort"
)

// row is what both readers make of a line.
type row struct {
	at     int64
	values [reading.Count]float64
	states [reading.Count]reading.State
}

// readAll reads a file through Reader.
func readAll(t testing.TB, file string, log *site.Log) (rows []row, rejected, read int, bad *problem.Problem) {
	t.Helper()
	layout, bad := Inspect(file, log)
	if bad != nil {
		return nil, 0, 0, bad
	}
	r, bad := Open(file, layout, log, false)
	if bad != nil {
		return nil, 0, 0, bad
	}
	defer r.Close()
	for {
		b, err := r.Next()
		if err == io.EOF {
			return rows, rejected, read, nil
		}
		if err != nil {
			return rows, rejected, read, err.(*problem.Problem)
		}
		read += b.Read
		rejected += len(b.Rejected)
		for i := range b.Time {
			one := row{at: b.Time[i]}
			for q := range b.Value {
				if b.Value[q] != nil {
					one.values[q], one.states[q] = b.Value[q][i], b.State[q][i]
				}
			}
			rows = append(rows, one)
		}
	}
}

// oracle reads the same text with encoding/csv, time.Parse and strconv alone.
func oracle(
	text string, columns map[string]reading.Quantity, factors map[string]float64, primary reading.Quantity,
) (rows []row, rejected int) {
	r := csv.NewReader(strings.NewReader(text))
	r.FieldsPerRecord, r.TrimLeadingSpace = -1, true
	header, _ := r.Read()
	for {
		record, err := r.Read()
		if err == io.EOF {
			return rows, rejected
		}
		one, ok := oracleRow(header, record, err, columns, factors)
		if ok && one.states[primary] == reading.Present {
			rows = append(rows, one)
		} else {
			rejected++
		}
	}
}

func oracleRow(
	header, record []string, err error, columns map[string]reading.Quantity, factors map[string]float64,
) (one row, ok bool) {
	if len(record) == len(header)+1 && record[len(header)] == "" {
		record = record[:len(header)]
	}
	if err != nil || len(record) != len(header) {
		return one, false
	}
	at, err := time.Parse("2006-01-02 15:04:05", strings.TrimSpace(record[0]))
	one.at = at.UnixNano()
	for i, name := range header[1:] {
		q := columns[name]
		field := strings.TrimSpace(record[i+1])
		v, e := strconv.ParseFloat(field, 64)
		switch {
		case field == "" || field == "n/a" || field == "NaN" || field == "-" || field == "--":
			one.states[q] = reading.Empty
		case e != nil || strings.Trim(field, "0123456789+-.eE") != "":
			one.states[q] = reading.Illegible
		default:
			one.values[q] = v * factors[name]
		}
	}
	return one, err == nil
}

// TestAgainstEncodingCSV compares the reader, row by row and bit by bit, with encoding/csv on random logs: quotes,
// blanks, empty and odd fields, missing and surplus fields, lines of any length around the bounds of blocks.
func TestAgainstEncodingCSV(t *testing.T) {
	random := rand.New(rand.NewPCG(5, 6))
	columns := map[string]reading.Quantity{
		"Distance (mm)": reading.Distance, "Flow (L/s)": reading.Flow, "Total (m3)": reading.Counter,
	}
	factors := map[string]float64{"Distance (mm)": 1e-3, "Flow (L/s)": 1e-3, "Total (m3)": 1}
	for round := range effort.Rounds(12, 40) {
		text := randomLog(random, 200+random.IntN(20000))
		file := filepath.Join(t.TempDir(), "log.csv")
		terminator := []string{"\n", "\r\n", "\r"}[round%3]
		if err := os.WriteFile(file, []byte(strings.ReplaceAll(text, "\n", terminator)), 0o644); err != nil {
			t.Fatal(err)
		}
		want, wantRejected := oracle(text, columns, factors, reading.Distance)
		got, rejected, read, bad := readAll(t, file, demoLog4())
		if bad != nil {
			t.Fatal(bad)
		}
		if len(got) != len(want) || rejected != wantRejected || read != len(want)+wantRejected {
			t.Fatalf("round %d (%q): %d rows and %d rejected of %d, encoding/csv %d and %d",
				round, terminator, len(got), rejected, read, len(want), wantRejected)
		}
		for i := range want {
			if got[i] != want[i] {
				t.Fatalf("round %d, row %d: %+v, encoding/csv %+v", round, i, got[i], want[i])
			}
		}
	}
}

// demoLog4 is demoLog without temperature.
func demoLog4() *site.Log {
	log := demoLog()
	log.Columns[reading.Temperature].Name = ""
	return log
}

// randomLog writes a log of the shape above.
func randomLog(random *rand.Rand, rows int) string {
	var b strings.Builder
	b.WriteString("Time,Distance (mm),Flow (L/s),Total (m3)\n2031-03-01 00:00:00,1000,1,1\n")
	at := time.Date(2031, 3, 1, 0, 1, 0, 0, time.UTC)
	number := func() string {
		switch random.IntN(30) {
		case 0:
			return ""
		case 1:
			return "  "
		case 2:
			return []string{"n/a", "NaN", "Inf", "0x10", "1_000", "--", "1e400", "-"}[random.IntN(8)]
		case 3:
			return fmt.Sprintf("%.3e", random.Float64()*1000)
		case 4:
			return fmt.Sprintf("%q", fmt.Sprintf("%.2f", random.Float64()*1000))
		case 5:
			return " " + fmt.Sprintf("%.1f", random.Float64()*100)
		case 6:
			return strconv.FormatFloat(random.Float64()*1e9, 'f', -1, 64)
		}
		return fmt.Sprintf("%.*f", random.IntN(5), random.Float64()*2000-100)
	}
	for range rows {
		stamp := at.Format("2006-01-02 15:04:05")
		at = at.Add(time.Minute)
		fields := []string{stamp, number(), number(), number()}
		switch random.IntN(60) {
		case 0:
			fields[0] = []string{
				"", "yesterday", "2031-13-01 00:00:00", "2031-02-30 00:00:00", stamp[:9],
			}[random.IntN(5)]
		case 1:
			fields = fields[:random.IntN(4)+1]
		case 2:
			fields = append(fields, "surplus")
		case 3:
			fields = append(fields, "")
		case 4:
			fields[0] = strconv.Quote(stamp)
		case 5:
			b.WriteString("\n")
		}
		b.WriteString(strings.Join(fields, ",") + "\n")
	}
	return b.String()
}

// TestLayouts: delimiters, decimal signs, units in headers, preambles, byte order marks and line ends found from the
// file.
func TestLayouts(t *testing.T) {
	for _, c := range []struct {
		name, text string
		want       row
	}{
		{"semicolon and decimal comma", "Time;Distance (m);Flow [L/s];Total (m3)\n2031-03-01 00:00;1,25;2,5;10\n", row{values: values(1.25, 0.0025, 10)}},
		{"tab", "Time\tDistance mm\tFlow l/s\tTotal m³\n2031-03-01 00:00\t1250\t2.5\t10\n", row{values: values(1.25, 0.0025, 10)}},
		{"bar", "Time|Distance (cm)|Flow (m3/h)|Total (L)\n2031-03-01 00:00|125|9|10000\n", row{values: values(1.25, 0.0025, 10)}},
		{"preamble and columns in another order", "Logger 7\nZone UTC\n\nTotal (m3),Note,Flow (L/s),Distance (m),Time\n10,\"a, b\",2.5,1.25,2031-03-01 00:00\n", row{values: values(1.25, 0.0025, 10)}},
		{"byte order mark and CR LF", "\xef\xbb\xbfTime,Distance (m),Flow (L/s),Total (m3)\r\n2031-03-01 00:00,1.25,2.5,10\r\n", row{values: values(1.25, 0.0025, 10)}},
		{"bare CR, no terminator at the end", "Time,Distance (m),Flow (L/s),Total (m3)\r2031-03-01 00:00,1.25,2.5,10", row{values: values(1.25, 0.0025, 10)}},
		{"seconds since 1970", "Time,Distance (m),Flow (L/s),Total (m3)\n1930089600,1.25,2.5,10\n", row{values: values(1.25, 0.0025, 10)}},
		{"milliseconds since 1970", "Time,Distance (m),Flow (L/s),Total (m3)\n1930089600000,1.25,2.5,10\n", row{values: values(1.25, 0.0025, 10)}},
		{"dots between thousands", "Time;Distance (mm);Flow (L/s);Total (L)\n2031-03-01 00:00;1.250,0;2,5;10.000,0\n", row{values: values(1.25, 0.0025, 10)}},
		{"spreadsheet days", "Time;Distance (m);Flow (L/s);Total (m3)\n47908,0;1,25;2,5;10\n", row{values: values(1.25, 0.0025, 10)}},
		{"UTF-16, little endian", utf16("\ufeffTime,Distance (m),Flow (L/s),Total (m³)\n2031-03-01 00:00,1.25,2.5,10\n", false), row{values: values(1.25, 0.0025, 10)}},
		{"UTF-16, big endian", utf16("\ufeffTime,Distance (m),Flow (L/s),Total (m³)\n2031-03-01 00:00,1.25,2.5,10\n", true), row{values: values(1.25, 0.0025, 10)}},
		{"trailing delimiter", "Time,Distance (m),Flow (L/s),Total (m3)\n2031-03-01 00:00,1.25,2.5,10,\n", row{values: values(1.25, 0.0025, 10)}},
	} {
		file := filepath.Join(t.TempDir(), "log.csv")
		if err := os.WriteFile(file, []byte(c.text), 0o644); err != nil {
			t.Fatal(err)
		}
		c.want.at = time.Date(2031, 3, 1, 0, 0, 0, 0, time.UTC).UnixNano()
		rows, rejected, _, bad := readAll(t, file, demoLog4())
		if bad != nil || rejected != 0 || len(rows) != 1 || rows[0] != c.want {
			t.Errorf("%s: %+v, %d rejected, %v; want %+v", c.name, rows, rejected, bad, c.want)
		}
	}
}

// utf16 writes text in two bytes a character.
func utf16(text string, bigEndian bool) string {
	var b []byte
	for _, r := range text {
		if bigEndian {
			b = append(b, byte(r>>8), byte(r))
		} else {
			b = append(b, byte(r), byte(r>>8))
		}
	}
	return string(b)
}

// TestMissingCodes: texts and numbers that stand for no value, before any conversion of units (NUM-SENT of the
// reference).
func TestMissingCodes(t *testing.T) {
	text := "Time,Distance (m),Flow (ft3/s),Total (m3)\n2031-03-01 00:00,1.25,-999999,10\n" +
		"2031-03-01 00:01,1.25,NULL,-9\n2031-03-01 00:02,-999,1,10\n2031-03-01 00:03,1.25,-999999.0,ERR\n"
	file := filepath.Join(t.TempDir(), "log.csv")
	if err := os.WriteFile(file, []byte(text), 0o644); err != nil {
		t.Fatal(err)
	}
	log := demoLog4()
	log.Columns[reading.Distance].Missing, log.Columns[reading.Distance].Codes = []string{"-999"}, []float64{-999}
	log.Columns[reading.Flow].Missing, log.Columns[reading.Flow].Codes = []string{"-999999"}, []float64{-999999}
	log.Columns[reading.Counter].Missing = []string{"ERR"}
	rows, rejected, read, bad := readAll(t, file, log)
	if bad != nil || read != 4 || rejected != 1 || len(rows) != 3 {
		t.Fatalf("%d rows, %d rejected of %d, %v", len(rows), rejected, read, bad)
	}
	for i, want := range []struct{ flow, counter reading.State }{
		{reading.Empty, reading.Present},
		{reading.Empty, reading.Present},
		{reading.Empty, reading.Empty},
	} {
		if got := rows[i].states; got[reading.Flow] != want.flow || got[reading.Counter] != want.counter {
			t.Errorf("row %d: %v", i, got)
		}
	}
}

// TestUnpacksWithoutEnd: a small file of many zeros is refused.
func TestUnpacksWithoutEnd(t *testing.T) {
	file := filepath.Join(t.TempDir(), "log.csv.gz")
	f, err := os.Create(file)
	if err != nil {
		t.Fatal(err)
	}
	w := gzip.NewWriter(f)
	io.WriteString(w, "Time,Distance (m),Flow (L/s),Total (m3)\n2031-03-01 00:00,1.25,2.5,10\n")
	line := []byte(strings.Repeat("0", 1000) + "\n")
	for range 200000 {
		w.Write(line)
	}
	if err := errors.Join(w.Close(), f.Close()); err != nil {
		t.Fatal(err)
	}
	_, _, _, bad := readAll(t, file, demoLog4())
	if bad == nil || !strings.Contains(bad.Error(), "unpacks to far more than logs do") {
		t.Errorf("%v", bad)
	}
	log := demoLog4()
	log.UnpackLimit = 5000
	if rows, rejected, _, bad := readAll(t, file, log); bad != nil || len(rows) != 1 || rejected != 200000 {
		t.Errorf("with a raised limit: %d rows, %d rejected, %v", len(rows), rejected, bad)
	}
}

func values(distance, flow, counter float64) (v [reading.Count]float64) {
	v[reading.Distance], v[reading.Flow], v[reading.Counter] = distance, flow, counter
	return v
}

// FuzzParse: the fast way and the slow way through the same block give the same rows, and every line is accounted for.
func FuzzParse(f *testing.F) {
	random := rand.New(rand.NewPCG(7, 8))
	f.Add([]byte(randomLog(random, 20)))
	f.Add([]byte("2031-03-01 00:00:00,1.25,2.5,10\n2031-03-01 00:01:00,,,\n"))
	f.Add([]byte("\x00\x00\x00\x00\x00\x00\x00\x00\x00\x00 00:00:00,1,1,1\n"))
	f.Add([]byte("2031-03-01 00:00:00,1.25,2.5,10\r\n\"2031-03-01 00:01:00\",\"1\",2\",3\n"))
	header := "Time,Distance (m),Flow (L/s),Total (m3)\n2031-03-01 00:00:00,1,1,1\n"
	layout, _, bad := detect("log.csv", []byte(header), demoLog4())
	if bad != nil {
		f.Fatal(bad)
	}
	f.Fuzz(func(t *testing.T, text []byte) {
		if len(text) == 0 || text[len(text)-1] != '\n' {
			text = append(text, '\n')
		}
		fast, slow := newParser(layout, demoLog()), newParser(layout, demoLog())
		var a, b reading.Batch
		lines := fast.parse(text, &a)
		b.Reset(slow.has)
		slow.makeRoom(&b, bytes.Count(text, []byte{'\n'}))
		number := int32(0)
		for _, line := range bytes.Split(text[:len(text)-1], []byte{'\n'}) {
			number++
			if slow.slowLine(line, number, &b) {
				b.Line[slow.rows] = number
				slow.rows++
			}
		}
		b.Slice(0, slow.rows)
		b.Read = slow.rows + len(b.Rejected)
		if lines != number || a.Len() != b.Len() || a.Read != b.Read ||
			len(a.Rejected) != len(b.Rejected) || a.Len()+len(a.Rejected) != a.Read {
			t.Fatalf("%d readings, %d rejected of %d; slow way %d, %d of %d",
				a.Len(), len(a.Rejected), a.Read, b.Len(), len(b.Rejected), b.Read)
		}
		for i := range a.Time {
			if !a.Same(i, &b, i) || a.Line[i] != b.Line[i] {
				t.Fatalf("row %d differs between the ways", i)
			}
		}
	})
}
