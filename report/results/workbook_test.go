package results

import (
	"bytes"
	"fmt"
	"math"
	"path/filepath"
	"strconv"
	"testing"

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

// near compares two numbers as texts.
func near(a, b string) bool {
	x, err1 := strconv.ParseFloat(a, 64)
	y, err2 := strconv.ParseFloat(b, 64)
	return err1 == nil && err2 == nil && math.Abs(x-y) <= 1e-9*math.Max(1, math.Abs(x))
}
