package ingest

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/apache/arrow/go/v15/parquet"
	"github.com/apache/arrow/go/v15/parquet/file"
	"github.com/apache/arrow/go/v15/parquet/schema"

	"retotal/ingest/reading"
	"retotal/ingest/site"
)

// pressedRow is a row of a log: a pressure of water and one of air; NaN for none.
type pressedRow struct{ water, air float64 }

// asCSV and asParquet write rows, one a minute.
func asCSV(rows []pressedRow) []byte {
	var b bytes.Buffer
	b.WriteString("time,water,air\n")
	cell := func(v float64) string {
		if math.IsNaN(v) {
			return ""
		}
		return fmt.Sprint(v)
	}
	for i, r := range rows {
		fmt.Fprintf(&b, "2031-03-01 00:%02d:00,%s,%s\n", i, cell(r.water), cell(r.air))
	}
	return b.Bytes()
}

func asParquet(t *testing.T, rows []pressedRow) []byte {
	t.Helper()
	var out bytes.Buffer
	nodes := schema.FieldList{
		schema.Must(schema.NewPrimitiveNodeLogical("time", parquet.Repetitions.Required,
			schema.NewTimestampLogicalType(false, schema.TimeUnitMillis), parquet.Types.Int64, 0, -1)),
		schema.NewFloat64Node("water", parquet.Repetitions.Optional, -1),
		schema.NewFloat64Node("air", parquet.Repetitions.Optional, -1),
	}
	root := schema.MustGroup(schema.NewGroupNode("log", parquet.Repetitions.Required, nodes, -1))
	w := file.NewParquetWriter(&out, root)
	g := w.AppendRowGroup()
	var times []int64
	var values [2][]float64
	var levels [2][]int16
	for i, r := range rows {
		times = append(times, 1930089600000+int64(i)*60000) // 2031-03-01
		for k, v := range []float64{r.water, r.air} {
			if math.IsNaN(v) {
				levels[k] = append(levels[k], 0)
				continue
			}
			levels[k], values[k] = append(levels[k], 1), append(values[k], v)
		}
	}
	for k := range 3 {
		c, err := g.NextColumn()
		if err != nil {
			t.Fatal(err)
		}
		if k == 0 {
			_, err = c.(*file.Int64ColumnChunkWriter).WriteBatch(times, nil, nil)
		} else {
			_, err = c.(*file.Float64ColumnChunkWriter).WriteBatch(values[k-1], levels[k-1], nil)
		}
		if err := errors.Join(err, c.Close()); err != nil {
			t.Fatal(err)
		}
	}
	if err := errors.Join(g.Close(), w.Close()); err != nil {
		t.Fatal(err)
	}
	return out.Bytes()
}

// readPressed reads a log by the lines of [log.columns] beside the time: the readings of a quantity, and the log.
func readPressed(
	t *testing.T, columns string, name string, content []byte, q reading.Quantity,
) ([]string, *Log, error) {
	t.Helper()
	dir := t.TempDir()
	if err := os.WriteFile(filepath.Join(dir, name), content, 0o644); err != nil {
		t.Fatal(err)
	}
	text := fmt.Sprintf("id = \"a\"\n[log]\nfiles = %q\ntime_zone = \"+00:00\"\n[log.columns]\ntime = \"time\"\n"+
		"%s\n[settings]\nempty_distance = \"20 m\"\n[settings.device]\nkind = \"v-notch\"\nangle = \"90 deg\"\n",
		name, columns)
	s, err := site.Parse(filepath.Join(dir, "site.toml"), []byte(text))
	if err != nil {
		t.Fatal(err)
	}
	l, err := Open(s)
	if err != nil {
		return nil, nil, err
	}
	var got []string
	for b, err := range l.Batches(context.Background()) {
		if err != nil {
			return got, l, err
		}
		for i := range b.Time {
			if b.State[q][i] != reading.Present {
				got = append(got, "none")
				continue
			}
			got = append(got, fmt.Sprintf("%.6f", b.Value[q][i]))
		}
	}
	return got, l, nil
}

// TestPressure: levels from pressures, alike from CSV and Parquet. By hand: water of 1000 kg/m³ under standard gravity
// presses 9.80665 kPa a metre, so that 980.665 Pa are 0.1 m and 10 cmH2O 0.1 m; 1000 Pa are 0.104277 m of water of 978
// kg/m³ under 9.8055 m/s² (1000 / 9589.779).
func TestPressure(t *testing.T) {
	none := math.NaN()
	for _, c := range []struct {
		name, columns string
		quantity      reading.Quantity
		rows          []pressedRow
		want          string
		rejected      string // reason and count
	}{
		{"gauge", `level = { name = "water", unit = "Pa", density = "1000 kg/m3" }`, reading.Level,
			[]pressedRow{{980.665, 0}, {1961.33, 0}, {-98.0665, 0}}, "0.100000 0.200000 -0.010000", ""},
		{"less the air", `level = { name = "water", unit = "kPa", density = "1 g/cm3" }
air_pressure = { name = "air", unit = "hPa" }`, reading.Level,
			[]pressedRow{{102.305665, 1013.25}, {103.2863, 1013.25}, {99.02, 980.39335}},
			"0.100000 0.199997 0.100000", ""},
		{"a row without air, one without water", `level = { name = "water", unit = "cmH2O", density = "1000 kg/m3" }
air_pressure = { name = "air", unit = "cmH2O" }`, reading.Level,
			[]pressedRow{{1010, 1000}, {1020, none}, {none, 1000}, {1040, 1000}}, "0.100000 0.400000",
			"air pressure reading is missing 1, level reading is missing 1"},
		{"a barometer that failed", `level = { name = "water", unit = "cmH2O", density = "1000 kg/m3" }
air_pressure = { name = "air", unit = "cmH2O" }`, reading.Level,
			[]pressedRow{{1010, 1000}, {1020, 0}, {1020, 1143}, {1040, 1000}}, "0.100000 0.400000",
			"air pressure reading is that of no place (50 to 112 kPa) 2"},
		{"other water, other place",
			`head = { name = "water", unit = "Pa", density = "978 kg/m3", gravity = "9.8055 m/s2" }`, reading.Head,
			[]pressedRow{{1000, 0}, {2000, 0}}, "0.104278 0.208555", ""},
		{"downstream of a distance", `distance = { name = "air", unit = "m" }
downstream = { name = "water", unit = "mbar", density = "1000 kg/m3" }`, reading.Downstream,
			[]pressedRow{{9.80665, 1}, {none, 1.1}}, "0.100000 none", ""},
	} {
		var lanes [2][]string
		for k, content := range [][]byte{asCSV(c.rows), asParquet(t, c.rows)} {
			name := []string{"log.csv", "log.parquet"}[k]
			got, l, err := readPressed(t, c.columns, name, content, c.quantity)
			if err != nil {
				t.Errorf("%s, %s: %v", c.name, name, err)
				continue
			}
			var rejected []string
			for _, r := range l.Account.reasons() {
				rejected = append(rejected, fmt.Sprint(r, " ", l.Account.Rejected[r]))
			}
			if c.rejected != "" && len(rejected) != strings.Count(c.rejected, ",")+1 {
				t.Errorf("%s, %s: rejected %v", c.name, name, rejected)
			}
			for _, r := range rejected {
				if !strings.Contains(c.rejected, r) {
					t.Errorf("%s, %s: rejected %v, want %s", c.name, name, rejected, c.rejected)
				}
			}
			if lanes[k] = got; strings.Join(got, " ") != c.want {
				t.Errorf("%s, %s: %v, want %s", c.name, name, got, c.want)
			}
			if words := fmt.Sprint(l.Files[0].Decisions()); !strings.Contains(words, "pressure "+c.quantity.String()) {
				t.Errorf("%s, %s: the certificate does not say it: %s", c.name, name, words)
			}
		}
	}
}

// TestPressureOfAir: an absolute pressure that is taken for gauge, and one that is gauge already, are noticed.
func TestPressureOfAir(t *testing.T) {
	level := `level = { name = "water", unit = "kPa", density = "998.2 kg/m3" }`
	air := "\n" + `air_pressure = { name = "air", unit = "kPa" }`
	absolute, gauge := []pressedRow{{103, 101}, {102, 100}}, []pressedRow{{2, 101}, {1, 100}}
	for _, c := range []struct {
		columns string
		rows    []pressedRow
		want    string
	}{
		{level, absolute, `column "water" never falls below 10.4 m of water, as an absolute pressure does not`},
		{level + air, gauge, `column "water" is never above -10.1 m of water once the air's pressure is taken off`},
		{level + air, absolute, ""},
		{level, gauge, ""},
		{level, []pressedRow{{103, 0}, {2, 0}}, ""},
	} {
		for k, content := range [][]byte{asCSV(c.rows), asParquet(t, c.rows)} {
			_, _, err := readPressed(t, c.columns, []string{"log.csv", "log.parquet"}[k], content, reading.Level)
			if (err == nil) != (c.want == "") || err != nil && !strings.Contains(err.Error(), c.want) {
				t.Errorf("%v of %s: %v, want %q", c.rows, c.columns, err, c.want)
			}
		}
	}
}

// TestPressureCode: a code for no value is told in the unit of the pressure, before the air is taken off.
func TestPressureCode(t *testing.T) {
	rows := []pressedRow{{103, 101}, {-9999, 101}, {103.1, 101}, {-9999, 101}}
	_, _, err := readPressed(t, `level = { name = "water", unit = "kPa", density = "998.2 kg/m3" }
air_pressure = { name = "air", unit = "kPa" }`, "log.csv", asCSV(rows), reading.Level)
	if err == nil || !strings.Contains(err.Error(), `column "water" holds -9999 kPa, which may be the code -9999 kPa`) {
		t.Error(err)
	}
}
