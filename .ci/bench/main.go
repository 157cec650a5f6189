// Command bench runs one job in retotal and in general-purpose data tools, one after the other in turns, and prints
// medians: from the log to daily and monthly totals of two settings, the counter, flags, and all readings with flows
// and flags in a zstd Parquet file. Results are compared before a time is printed.
//
//	go run ./.ci/bench -dir FOLDER -rows 1000000,10000000
//
// FOLDER holds the generated logs; node_modules in it or above it must hold @duckdb/node-api and nodejs-polars, and
// python3 must have pandas. Tools that are not there are left out, and that is said.
package main

import (
	"bytes"
	"encoding/json"
	"errors"
	"flag"
	"fmt"
	"io"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"syscall"
	"time"
)

// result is what every program computes.
type result struct {
	Before, After, Counted float64 // m³
	Days, Months           int
	First, Month           float64 // m³ after, of the first day and of the first month
	Spikes                 int     // −1 where they are not counted
}

// program is one way to do the job.
type program struct {
	name  string
	args  []string
	read  func(output []byte) (result, error)
	takes string // Parquet, CSV or both
}

// run is what one run took.
type run struct {
	wall, cpu time.Duration
	peak      int64 // MB
}

func main() {
	dir := flag.String("dir", "", "folder for logs and results")
	rows := flag.String("rows", "1000000", "rows of the logs, separated by commas")
	turns := flag.Int("turns", 5, "runs of each program")
	without := flag.String("without", "", "programs left out, by how their names begin: Polars,pandas")
	flag.Parse()
	if *dir == "" {
		fmt.Fprintln(os.Stderr, "bench: -dir is needed")
		os.Exit(2)
	}
	for n := range strings.SplitSeq(*rows, ",") {
		count, err := strconv.Atoi(n)
		if err == nil {
			err = bench(*dir, count, *turns, strings.Split(*without, ","))
		}
		if err != nil {
			fmt.Fprintln(os.Stderr, "bench:", err)
			os.Exit(1)
		}
	}
}

// bench runs all programs on logs of so many rows.
func bench(dir string, rows, turns int, without []string) error {
	log := filepath.Join(dir, fmt.Sprintf("log-%d.csv", rows))
	if _, err := os.Stat(log); err != nil {
		if err := generate(log, rows); err != nil {
			return err
		}
	}
	packed := strings.TrimSuffix(log, ".csv") + ".parquet"
	tool := filepath.Join(dir, "retotal")
	for _, command := range [][]string{
		{"go", "build", "-o", tool, "./cmd/retotal"},
		{"node", script(dir, "pack.mjs"), log, packed},
	} {
		if out, err := exec.Command(command[0], command[1:]...).CombinedOutput(); err != nil {
			return fmt.Errorf("%s: %w\n%s", strings.Join(command, " "), err, out)
		}
	}
	for _, spikes := range []string{"none", "window"} {
		for _, in := range []string{log, packed} {
			if err := compare(dir, tool, in, spikes, rows, turns, without); err != nil {
				return err
			}
		}
	}
	return nil
}

// script copies a script of this folder beside node_modules, and returns its name there.
func script(dir, name string) string {
	to := filepath.Join(dir, name)
	if text, err := os.ReadFile(filepath.Join(".ci", "bench", name)); err == nil {
		err = os.WriteFile(to, text, 0o644)
		if err != nil {
			fmt.Fprintln(os.Stderr, "bench:", err)
		}
	}
	return to
}

// compare runs all programs on one log in turns.
func compare(dir, tool, log, spikes string, rows, turns int, without []string) error {
	file := filepath.Join(dir, "site.toml")
	if err := os.WriteFile(file, []byte(site(filepath.Base(log), spikes == "window")), 0o644); err != nil {
		return err
	}
	out := filepath.Join(dir, "out.parquet")
	programs := []program{
		{"retotal", []string{tool, "correct", "--out", filepath.Join(dir, "out"), "--json", file}, ofRecord, "both"},
		{"retotal, nothing written", []string{tool, "check", "--quiet", file}, nil, "both"},
		{"DuckDB, sorted by time", []string{"node", script(dir, "duckdb.mjs"), log, out, spikes, "ordered"}, ofLine, "both"},
		{"DuckDB, in file order", []string{"node", script(dir, "duckdb.mjs"), log, out, spikes, "file"}, ofLine, "both"},
		{"Polars", []string{"node", script(dir, "polars.mjs"), log, out, spikes}, ofLine, "both"},
		{"pandas", []string{"python3", script(dir, "job.py"), log, out, spikes}, ofLine, "CSV"},
		{"cat", []string{"cat", log}, nil, "both"},
		{"wc -l", []string{"wc", "-l", log}, nil, "CSV"},
	}
	programs = slices.DeleteFunc(programs, func(p program) bool {
		return slices.ContainsFunc(without, func(name string) bool {
			return name != "" && strings.HasPrefix(p.name, name)
		})
	})
	if strings.HasSuffix(log, ".parquet") {
		programs = slices.DeleteFunc(programs, func(p program) bool { return p.takes == "CSV" })
	}
	fmt.Printf("\n%d rows of %s, spikes: %s\n", rows, filepath.Ext(log)[1:], spikes)
	runs, want := make([][]run, len(programs)), (*result)(nil)
	for range turns {
		for i := range programs {
			if runs[i] == nil && i > 0 && want == nil {
				return errors.New("retotal gave no result")
			}
			got, took, err := programs[i].do()
			if err != nil {
				fmt.Printf("  %s: left out: %v\n", programs[i].name, err)
				programs[i].args = nil
				continue
			}
			if got != nil && want == nil {
				want = got
			}
			if got != nil {
				if err := same(want, got); err != nil {
					return fmt.Errorf("%s: %w", programs[i].name, err)
				}
			}
			if took.wall > 0 {
				runs[i] = append(runs[i], took)
			}
		}
	}
	for i := range programs {
		programs[i].print(runs[i])
	}
	return nil
}

// do runs a program once.
func (p *program) do() (*result, run, error) {
	if p.args == nil {
		return nil, run{}, nil
	}
	var out, bad bytes.Buffer
	command := exec.Command(p.args[0], p.args[1:]...)
	command.Stdout, command.Stderr = &out, &bad
	if p.read == nil {
		command.Stdout = io.Discard
	}
	start := time.Now()
	if err := command.Run(); err != nil {
		text := strings.TrimSpace(bad.String())
		return nil, run{}, fmt.Errorf("%w: %s", err, text[max(0, len(text)-300):])
	}
	took := run{wall: time.Since(start), cpu: command.ProcessState.UserTime() + command.ProcessState.SystemTime()}
	if usage, ok := command.ProcessState.SysUsage().(*syscall.Rusage); ok {
		took.peak = usage.Maxrss / 1024
	}
	if p.read == nil {
		return nil, took, nil
	}
	got, err := p.read(out.Bytes())
	return &got, took, err
}

func (p *program) print(runs []run) {
	if len(runs) == 0 {
		return
	}
	median := func(of func(run) float64) float64 {
		var list []float64
		for _, r := range runs {
			list = append(list, of(r))
		}
		slices.Sort(list)
		return list[len(list)/2]
	}
	fmt.Printf("  %-24s %7.2f s wall %7.2f s CPU %6.0f MB\n", p.name,
		median(func(r run) float64 { return r.wall.Seconds() }),
		median(func(r run) float64 { return r.cpu.Seconds() }),
		median(func(r run) float64 { return float64(r.peak) }))
}

// lastDigit is half of the last one that a record has, m³, and what rounding adds.
const lastDigit = 0.0006

// same holds two results to a billionth of each other, or to the last digit of a record.
func same(a, b *result) error {
	for _, x := range []struct {
		name string
		a, b float64
	}{
		{"before", a.Before, b.Before}, {"after", a.After, b.After}, {"counted", a.Counted, b.Counted},
		{"days", float64(a.Days), float64(b.Days)}, {"months", float64(a.Months), float64(b.Months)},
		{"first day", a.First, b.First}, {"first month", a.Month, b.Month},
	} {
		if math.Abs(x.a-x.b) > max(1e-9*math.Abs(x.a), lastDigit) {
			return fmt.Errorf("%s: %.9f, retotal has %.9f", x.name, x.b, x.a)
		}
	}
	if b.Spikes >= 0 && a.Spikes != b.Spikes { // −1 where they are not counted by the same rule
		return fmt.Errorf("%d spikes, retotal has %d", b.Spikes, a.Spikes)
	}
	return nil
}

// ofLine reads the last line of a script's output.
func ofLine(out []byte) (r result, err error) {
	lines := bytes.Split(bytes.TrimSpace(out), []byte("\n"))
	return r, json.Unmarshal(lines[len(lines)-1], &r)
}

// ofRecord reads the record that retotal prints; its volumes have three decimals.
func ofRecord(out []byte) (r result, err error) {
	var record struct {
		Total     map[string]any
		Days      []map[string]any
		Months    []map[string]any
		Screening []map[string]any
	}
	if err = json.Unmarshal(out, &record); err != nil || len(record.Months) == 0 {
		return r, errors.Join(err, errors.New("the record has no months"))
	}
	number := func(of map[string]any, key string) float64 { v, _ := of[key].(float64); return v }
	r = result{
		Before: number(record.Total, "before_m3"), After: number(record.Total, "after_m3"),
		Counted: number(record.Total, "counter_m3"), Days: len(record.Days), Months: len(record.Months),
		First: number(record.Days[0], "after_m3"), Month: number(record.Months[0], "after_m3"),
	}
	for _, c := range record.Screening {
		if c["check"] == "spike" {
			r.Spikes = int(number(c, "rows"))
		}
	}
	return r, nil
}
