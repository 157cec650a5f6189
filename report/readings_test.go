package report

import (
	"math"
	"os"
	"path/filepath"
	"testing"

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
