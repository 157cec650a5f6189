package report

import (
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"reflect"
	"strings"
	"testing"

	"github.com/parquet-go/parquet-go"
	"github.com/parquet-go/parquet-go/compress"
	"github.com/parquet-go/parquet-go/compress/snappy"
	"github.com/parquet-go/parquet-go/compress/zstd"
	"github.com/xitongsys/parquet-go/reader"
)

// TestOneNameOneMeaning: the water stands 200, 201, ... mm above a crest that the meter took for 10 mm lower (Q =
// 0.1 m²/s × h); the level of zero flow is at 0.3 m above the gauge datum, the sensor 2 m above it. Whatever the log
// holds, a column of one name holds the same.
func TestOneNameOneMeaning(t *testing.T) {
	const device = "[settings.device]\nkind = \"power\"\ncoefficient = 0.1\nexponent = 1\nhead_unit = \"m\"\n" +
		"flow_unit = \"m3/s\"\n[[correction]]\nreason = \"survey\"\nlevel_of_zero_flow = \"0.31 m\"\n"
	text := "Time,D,L,H,Q\n2031-03-01 00:00:00,1.490,0.510,0.210,0.0210\n" +
		"2031-03-01 00:01:00,1.489,0.511,0.211,0.0211\n2031-03-01 00:02:00,1.488,0.512,0.212,0.0212\n"
	want := map[string]float64{
		"logged_distance_m": 1.490,
		"logged_level_m":    0.510,
		"logged_head_m":     0.210,
		"logged_flow_m3s":   0.0210,
		"head_corrected_m":  0.200,
		"flow_before_m3s":   0.0210,
		"flow_after_m3s":    0.0200,
	}
	all := []string{
		"logged_distance_m", "logged_level_m", "logged_head_m", "logged_flow_m3s", "head_corrected_m",
		"flow_before_m3s", "flow_after_m3s", "head_m", "flow_logged_m3s",
	}
	for _, c := range []struct{ columns, own string }{
		{"distance = { name = \"D\", unit = \"m\" }\nflow = { name = \"Q\", unit = \"m3/s\" }", "logged_distance_m"},
		{"level = { name = \"L\", unit = \"m\" }\nflow = { name = \"Q\", unit = \"m3/s\" }", "logged_level_m"},
		{"head = { name = \"H\", unit = \"m\" }\nflow = { name = \"Q\", unit = \"m3/s\" }", "logged_head_m"},
		{"flow = { name = \"Q\", unit = \"m3/s\" }", "logged_flow_m3s"},
	} {
		dir := t.TempDir()
		site := "id = \"names\"\n[log]\nfiles = [\"log.csv\"]\ntime_zone = \"+00:00\"\n[log.columns]\n" +
			"time = \"Time\"\n" +
			c.columns + "\n[settings]\nempty_distance = \"2 m\"\nlevel_of_zero_flow = \"0.3 m\"\n" + device
		for name, content := range map[string]string{"site.toml": site, "log.csv": text} {
			if err := os.WriteFile(filepath.Join(dir, name), []byte(content), 0o644); err != nil {
				t.Fatal(err)
			}
		}
		_, folder := correctFile(t, filepath.Join(dir, "site.toml"))
		found := firstValues(t, filepath.Join(folder, "readings.parquet"), all)
		for name, v := range found { // what is null is not found
			if w, ok := want[name]; !ok || math.Abs(v-w) > 1e-9 {
				t.Errorf("%s: %s is %v, want %v", c.own, name, v, w)
			}
		}
		for _, name := range []string{
			c.own, "logged_flow_m3s", "head_corrected_m", "flow_before_m3s", "flow_after_m3s",
		} {
			if _, ok := found[name]; !ok {
				t.Errorf("%s: there is no column %s", c.own, name)
			}
		}
	}
}

// firstValues reads the first value of those columns that a Parquet file has.
func firstValues(t *testing.T, file string, names []string) map[string]float64 {
	t.Helper()
	f, err := os.Open(file)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	out := map[string]float64{}
	for _, name := range names {
		r, err := reader.NewParquetColumnReader(plainFile{f, file}, 1)
		if err != nil {
			t.Fatal(err)
		}
		if values, _, _, err := r.ReadColumnByPath("readings\x01"+name, 1); err == nil && len(values) == 1 {
			if v, ok := values[0].(float64); ok {
				out[name] = v
			}
		}
	}
	return out
}

// BenchmarkReadings writes a million readings a second apart, levels to the millimetre or of the full length of their
// numbers, in the ways that a file could have been packed in.
func BenchmarkReadings(b *testing.B) {
	own, err := newZstd()
	if err != nil {
		b.Fatal(err)
	}
	as := func(encoding string) (options []parquet.WriterOption) {
		all := reflect.TypeFor[readings]()
		for i := range all.NumField() {
			field := all.Field(i)
			if kind := field.Type.String(); field.IsExported() && strings.HasSuffix(kind, "float64") {
				tag := strings.Replace(string(field.Tag), ",dict", encoding, 1)
				options = append(options, parquet.StructTag(reflect.StructTag(tag), field.Name))
			}
		}
		return options
	}
	for _, of := range []struct {
		name string
		step float64
	}{{"mm", 1000}, {"full", 1e6}} {
		rows := madeReadings(1<<17, of.step)
		for _, c := range []struct {
			name    string
			codec   compress.Codec
			options []parquet.WriterOption
		}{
			{"as it is", own, unlike(rows[:rowsPerBatch])},
			{"dictionary, zstd", own, nil},
			{"dictionary, zstd of level 3", &zstd.Codec{Level: zstd.SpeedDefault}, nil},
			{"dictionary, snappy", &snappy.Codec{}, nil},
			{"plain, zstd", own, as("")},
			{"split bytes, zstd", own, as(",split")},
		} {
			b.Run(of.name+"/"+c.name, func(b *testing.B) {
				var size counter
				for b.Loop() {
					size = 0
					file := parquet.NewGenericWriter[readings](&size, append(packing(c.codec), c.options...)...)
					for range 8 {
						if _, err := file.Write(rows); err != nil {
							b.Fatal(err)
						}
						if err := file.Flush(); err != nil {
							b.Fatal(err)
						}
					}
					if err := file.Close(); err != nil {
						b.Fatal(err)
					}
				}
				n := float64(8 * len(rows))
				b.ReportMetric(float64(size)/n, "bytes/row")
				b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/n, "ns/row")
			})
		}
	}
}

// counter counts what is written.
type counter int64

func (c *counter) Write(p []byte) (int, error) {
	*c += counter(len(p))
	return len(p), nil
}

// madeReadings are readings of a tide of sewage with noise, in so many steps to a metre.
func madeReadings(n int, steps float64) []readings {
	random := rand.New(rand.NewPCG(15, 15))
	rows := make([]readings, n)
	for i := range rows {
		level := 0.22 + 0.06*math.Sin(float64(i)/230) + 0.0015*random.NormFloat64()
		level = round(level, steps)
		flow := func(h float64) float64 { return round(1.38*math.Pow(h, 2.5), 1e7) }
		r := &rows[i]
		*r = readings{TimeUTC: int64(i) * 1000, TimeLocal: int64(i) * 1000, Head: level - 0.025,
			Before: flow(level), State: "exact", Used: true, Grade: 1}
		r.value, r.flow, r.after, r.u95 = round(1.5-level, 1e6), flow(level), flow(level-0.025), flow(level)/20
		r.Distance, r.Flow, r.After, r.U95 = &r.value, &r.flow, &r.after, &r.u95
	}
	return rows
}
