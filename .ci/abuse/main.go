// Command abuse damages a day of the demo at random, in each of the forms that a site comes in, and asks the program
// for its totals: they must be right, the loss must be accounted for, or there must be a clear error. A fault of the
// program, a hang, and a total that is another without a word fail it.
//
//	go run ./.ci/abuse -n 500
//
// The same seed makes the same damage. What fails is kept, with the command that shows it.
package main

import (
	"flag"
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"time"
)

var (
	rounds  = flag.Int("n", 500, "mutations of each form")
	seed    = flag.Uint64("seed", 1, "seed of the damage")
	form    = flag.String("form", "", "one form alone: csv, gzip, zstd, parquet or toml")
	timeout = flag.Duration("timeout", 20*time.Second, "after which a run hangs")
)

func main() {
	flag.Parse()
	failed, err := run()
	if err != nil {
		fmt.Fprintln(os.Stderr, "abuse:", err)
	}
	if err != nil || failed > 0 {
		os.Exit(1)
	}
}

// outcome is what became of one damaged site.
type outcome string

const (
	right     outcome = "right total"
	accounted outcome = "accounted loss"
	refused   outcome = "clear error"
	fault     outcome = "FAULT"
	hang      outcome = "HANG"
	silent    outcome = "SILENT"
)

var outcomes = []outcome{right, accounted, refused, fault, hang, silent}

func run() (failed int, err error) {
	folder, err := os.MkdirTemp("", "abuse-")
	if err != nil {
		return 0, err
	}
	p, err := build(folder)
	if err != nil {
		return 0, err
	}
	fmt.Printf("%-8s", "form")
	for _, o := range outcomes {
		fmt.Printf("  %14s", o)
	}
	fmt.Println()
	kept := 0
	for _, f := range forms {
		if *form != "" && f.name != *form {
			continue
		}
		counts, kinds, err := p.abuse(f, filepath.Join(folder, f.name))
		if err != nil {
			return failed, fmt.Errorf("%s: %w", f.name, err)
		}
		fmt.Printf("%-8s", f.name)
		for _, o := range outcomes {
			fmt.Printf("  %14d", counts[o])
		}
		fmt.Println()
		slices.Sort(kinds)
		for _, text := range kinds {
			fmt.Println("   ", text)
		}
		failed += counts[fault] + counts[hang] + counts[silent]
		kept += len(kinds)
	}
	if kept == 0 {
		err = os.RemoveAll(folder)
	}
	return failed, err
}

// abuse damages one form so many times and returns how it went; what failed is said and kept.
func (p *program) abuse(f shape, folder string) (counts map[outcome]int, kept []string, err error) {
	random := rand.New(rand.NewPCG(*seed, uint64(len(f.name))))
	sound, err := f.make(p.day)
	if err != nil {
		return nil, nil, err
	}
	base, err := p.base(f, filepath.Join(folder, "sound"), sound)
	if err != nil {
		return nil, nil, err
	}
	counts = map[outcome]int{}
	for n := range *rounds {
		damaged, how := sound, ""
		for range 1 + random.IntN(2) {
			var text string
			damaged, text = damage(random, damaged)
			how += text + "; "
		}
		dir := filepath.Join(folder, fmt.Sprint(n))
		o, why := p.judge(f, dir, damaged, base)
		counts[o]++
		if o == fault || o == hang || o == silent {
			kept = append(kept, fmt.Sprintf("%s %s: %s%s", o, dir, how, why))
			continue
		}
		if err := os.RemoveAll(dir); err != nil {
			return nil, nil, err
		}
	}
	return counts, kept, nil
}
