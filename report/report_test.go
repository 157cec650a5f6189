package report

import (
	"context"
	"encoding/csv"
	"encoding/json"
	"errors"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"github.com/xitongsys/parquet-go/reader"
	"github.com/xitongsys/parquet-go/source"

	"retotal/ingest"
	"retotal/ingest/site"
	"retotal/recompute"
	"retotal/recompute/audit"
)

// correct runs one of the demo's site files and writes its folder.
func correct(t *testing.T, file string) (*Run, string) {
	t.Helper()
	return correctFile(t, filepath.Join("..", "testdata", "quarry-lane", file))
}

// correctFile runs a site file and writes its folder.
func correctFile(t *testing.T, file string) (*Run, string) {
	t.Helper()
	s, err := site.Load(file)
	if err != nil {
		t.Fatal(err)
	}
	log, err := ingest.Open(s)
	if err != nil {
		t.Fatal(err)
	}
	log.Hashed = true
	folder, bad := NewFolder(t.TempDir(), log)
	if bad != nil {
		t.Fatal(bad)
	}
	rep, err := New(folder, log)
	if err != nil {
		t.Fatal(err)
	}
	result, err := recompute.Run(context.Background(), log, log.Site, recompute.Options{
		Budget: true,
		Rows:   func() (func(*recompute.Rows) error, error) { return rep.Rows, nil },
	})
	if err != nil {
		t.Fatal(err)
	}
	run := &Run{
		Result: result, Log: log, Findings: audit.Findings(result, nil), Over: audit.DailyLimit(result),
		Limits: audit.Limits(result), Version: "test",
	}
	if err := errors.Join(rep.Write(run), folder.Commit("")); err != nil {
		t.Fatal(err)
	}
	return run, folder.Path()
}

// plainFile lets the second Parquet implementation read a file.
type plainFile struct {
	*os.File
	name string
}

func (p plainFile) Open(string) (source.ParquetFile, error) {
	f, err := os.Open(p.name)
	return plainFile{f, p.name}, err
}
func (plainFile) Create(string) (source.ParquetFile, error) { return nil, errors.ErrUnsupported }

// TestFolder: all files are there, and the numbers in them agree with the result and with each other. readings.parquet
// is read by an independent implementation.
func TestFolder(t *testing.T) {
	run, dir := correct(t, "site.toml")
	rows, err := csv.NewReader(strings.NewReader(read(t, dir, "totals.csv"))).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	sums := map[string]float64{}
	for _, row := range rows[1:] {
		v, err := strconv.ParseFloat(row[5], 64)
		if err != nil {
			t.Fatal(row, err)
		}
		sums[row[0]] += v
	}
	want := run.Result.Total.After.M3()
	for group, sum := range sums {
		if math.Abs(sum-want) > 0.05 {
			t.Errorf("totals.csv: %ss add up to %.3f m3, the result is %.3f", group, sum, want)
		}
	}
	var record map[string]any
	if err := json.Unmarshal([]byte(read(t, dir, "record.json")), &record); err != nil {
		t.Fatal(err)
	}
	if got := record["total"].(map[string]any)["after_m3"].(float64); math.Abs(got-want) > 0.0005 {
		t.Errorf("record.json: %v m3, want %v", got, want)
	}
	for _, in := range record["inputs"].([]any) {
		if sum := in.(map[string]any)["sha256"].(string); len(sum) != 64 {
			t.Errorf("input without a hash: %v", in)
		}
	}
	events, err := csv.NewReader(strings.NewReader(read(t, dir, "events.csv"))).ReadAll()
	if err != nil || len(events)-1 != len(run.Result.Events) {
		t.Errorf("events.csv has %d rows, %v; there are %d events", len(events)-1, err, len(run.Result.Events))
	}
	checkReadings(t, filepath.Join(dir, "readings.parquet"), run)
}

func read(t *testing.T, dir, name string) string {
	t.Helper()
	content, err := os.ReadFile(filepath.Join(dir, name))
	if err != nil {
		t.Fatal(err)
	}
	return string(content)
}

func checkReadings(t *testing.T, name string, run *Run) {
	t.Helper()
	f, err := os.Open(name)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	r, err := reader.NewParquetColumnReader(plainFile{f, name}, 1)
	if err != nil {
		t.Fatal(err)
	}
	used := int64(run.Log.Account.Used)
	if r.GetNumRows() != used {
		t.Errorf("readings.parquet has %d rows, %d were used", r.GetNumRows(), used)
	}
	times, _, _, err := r.ReadColumnByPath("readings\x01time_utc", used)
	if err != nil || len(times) == 0 {
		t.Fatalf("time_utc: %d values, %v", len(times), err)
	}
	if got, want := times[len(times)-1].(int64)*1e6, run.Log.Until; got != want {
		t.Errorf("last time %d, want %d", got, want)
	}
	before, _, _, err := r.ReadColumnByPath("readings\x01flow_before_m3s", used)
	if err != nil {
		t.Fatal(err)
	}
	sum := 0.0
	for i := 1; i < len(before); i++ {
		if dt := times[i].(int64) - times[i-1].(int64); dt <= run.Log.GapLimit.Milliseconds() {
			sum += (before[i].(float64) + before[i-1].(float64)) / 2 * float64(dt) / 1000
		}
	}
	if want := run.Result.Total.Before.M3(); math.Abs(sum/want-1) > 1e-5 {
		t.Errorf("flow_before integrates to %.3f m3, the result is %.3f", sum, want)
	}
}

func TestNumbers(t *testing.T) {
	for _, c := range []struct {
		v        float64
		decimals int
		want     string
	}{
		{1234567.891, 0, "1,234,568"},
		{-1234.5, 1, "-1,234.5"},
		{999.95, 1, "1,000.0"},
		{-0.04, 1, "0.0"},
		{0, 0, "0"},
		{12, 3, "12.000"},
	} {
		if got := Grouped(c.v, c.decimals); got != c.want {
			t.Errorf("Grouped(%v, %d) = %s, want %s", c.v, c.decimals, got, c.want)
		}
	}
}

// TestPercentErrors: rows ERR-1 and ERR-2 of the reference. A meter shows 110 of a true 100: +10.00 % of the true value
// (23 CCR 1030(a)), 9.09 % of the indicated one (COMAR 20.70.06.04). 500 indicated by such a meter are 454.545.
func TestPercentErrors(t *testing.T) {
	for before, after := range map[float64]float64{110: 100, 500: 454.545} {
		p := &recompute.Period{}
		p.Before.Sum.Add(before)
		p.After.Sum.Add(after)
		p.Before.Covered, p.After.Covered = 1, 1
		if got := percent(p); got != "-9.09 %" {
			t.Errorf("%g to %g: %s of before", before, after, got)
		}
		if got := ofAfter(p); got != "; before was +10.00 % of after in error" {
			t.Errorf("%g to %g: %s", before, after, got)
		}
	}
}
