package results

import (
	"bytes"
	"fmt"
	"math"
	"path/filepath"
	"strconv"
	"testing"

	"github.com/parquet-go/parquet-go"
	"github.com/xuri/excelize/v2"

	"retotal/report/workbook"
)

// TestWorkbook: every formula of the workbook, worked out anew by excelize's engine, comes to the number that is stored
// beside it, and the numbers are those of the result; the same run gives the same bytes.
func TestWorkbook(t *testing.T) {
	run, dir := correct(t, "site.toml")
	f, err := excelize.OpenFile(filepath.Join(dir, "report.xlsx"))
	if err != nil {
		t.Fatal(err)
	}
	formulas := 0
	for _, name := range []string{"Months", "Days"} {
		rows, err := f.GetRows(name, excelize.Options{RawCellValue: true})
		if err != nil {
			t.Fatal(err)
		}
		for i, row := range rows {
			for k, stored := range row {
				cell, _ := excelize.CoordinatesToCellName(k+1, i+1)
				formula, err := f.GetCellFormula(name, cell)
				if formula == "" || err != nil {
					continue
				}
				formulas++
				again, err := f.CalcCellValue(name, cell, excelize.Options{RawCellValue: true})
				if err != nil || !near(stored, again) {
					t.Errorf("%s!%s = %s is stored as %s and comes to %s (%v)", name, cell, formula, stored, again, err)
				}
			}
		}
		if last := rows[len(rows)-1]; !near(last[4], fmt.Sprint(run.Result.Total.After.M3())) ||
			!near(last[7], fmt.Sprint(run.Result.Total.Difference())) {
			t.Errorf("%s adds up to %v, the total is %v", name, last, run.Result.Total.After.M3())
		}
	}
	if want := 3*len(run.Result.Days) - 80; formulas < want {
		t.Errorf("%d formulas, want %d or more", formulas, want)
	}
	const sheets = "[Answer Months Days Events Limits Visits Screening Settings Certificate]"
	if got := f.GetSheetList(); fmt.Sprint(got) != sheets {
		t.Errorf("sheets %v", got)
	}
	var made [4]bytes.Buffer
	for i := range made {
		err := workbook.New(false).Write(&made[i], run)
		if err != nil || !bytes.Equal(made[i].Bytes(), made[0].Bytes()) {
			t.Errorf("the workbook differs from run to run (%v)", err)
		}
	}
}

// TestReadingsSheet: the sheet of readings has the rows of readings.parquet, as another reader of that gives
// them; times are dates of the 1900 system, read back by excelize.
func TestReadingsSheet(t *testing.T) {
	run, dir := correctWith(t, "one-day.toml", Options{Readings: true})
	type row struct {
		At     int64    `parquet:"time_utc,timestamp(millisecond)"`
		Head   float64  `parquet:"head_corrected_m"`
		Before float64  `parquet:"flow_before_m3s"`
		After  *float64 `parquet:"flow_after_m3s,optional"`
		Flags  string   `parquet:"flags"`
	}
	want, err := parquet.ReadFile[row](filepath.Join(dir, "readings.parquet"))
	if err != nil {
		t.Fatal(err)
	}
	f, err := excelize.OpenFile(filepath.Join(dir, "report.xlsx"))
	if err != nil {
		t.Fatal(err)
	}
	list := f.GetSheetList()
	got, err := f.GetRows(list[len(list)-1], excelize.Options{RawCellValue: true})
	if err != nil || list[len(list)-1] != "Readings" || len(got) != len(want)+1 || len(want) != run.Log.Account.Used {
		t.Fatalf("%v: %d rows, want a head and %d (%v)", list, len(got), run.Log.Account.Used, err)
	}
	flow := run.Site().Report.FlowUnit
	for i := range want {
		cells, w := append(got[i+1], "", ""), &want[i]
		days, err := strconv.ParseFloat(cells[1], 64)
		at, err2 := excelize.ExcelDateToTime(days, false)
		after := cells[4] == "" && w.After == nil ||
			w.After != nil && closeTo(cells[4], flow.FromSI(*w.After), flow.FromSI(1e-6))
		if err != nil || err2 != nil || math.Abs(float64(at.UnixMilli()-w.At)) > 1 || !after ||
			!closeTo(cells[2], w.Head, 1e-6) || !closeTo(cells[3], flow.FromSI(w.Before), flow.FromSI(1e-6)) ||
			cells[6] != w.Flags {
			t.Fatalf("row %d is %q, want %+v", i+2, cells, w)
		}
	}
}

// closeTo compares a number as text with one that is rounded.
func closeTo(text string, want, within float64) bool {
	got, err := strconv.ParseFloat(text, 64)
	return err == nil && math.Abs(got-want) <= within
}

// near compares two numbers as texts.
func near(a, b string) bool {
	x, err1 := strconv.ParseFloat(a, 64)
	y, err2 := strconv.ParseFloat(b, 64)
	return err1 == nil && err2 == nil && math.Abs(x-y) <= 1e-9*math.Max(1, math.Abs(x))
}
