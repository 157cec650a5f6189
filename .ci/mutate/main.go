// Command mutate asks whether the tests of a package would notice a slip of the pen: it changes one relational
// operator, one sign or one constant of the package's code at a time, runs the package's tests on it and prints what
// they let pass.
//
//	go run ./.ci/mutate -n 60 -seed 1 recompute/total qa
//	go run ./.ci/mutate -n 60 -with recompute,recompute/audit recompute/stage recompute/evidence
//
// Every mutant is built and tested in a copy of the module outside the checkout. The same seed draws the same mutants
// of the same code. Mutants that change nothing but words or speed stand in equivalent.txt, each with its reason, and
// do not count.
package main

import (
	"errors"
	"flag"
	"fmt"
	"io/fs"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"time"
)

var (
	sample  = flag.Int("n", 60, "mutants to draw of each package; 0 for all")
	seed    = flag.Uint64("seed", 1, "seed of the draw and of the direction in which constants move")
	timeout = flag.Duration(
		"timeout",
		time.Minute,
		"time that the tests of one mutant may take; one that takes longer is caught",
	)
	match = flag.String("match", "", "take only mutants whose place and change match this expression")
	with  = flag.String("with", "", "further packages whose tests are run too, as recompute,recompute/audit")
	list  = flag.Bool("list", false, "print the mutants and run nothing")
)

func main() {
	flag.Parse()
	if err := run(flag.Args()); err != nil {
		fmt.Fprintln(os.Stderr, "mutate:", err)
		os.Exit(1)
	}
}

func run(packages []string) error {
	wanted, err := regexp.Compile(*match)
	if err != nil || len(packages) == 0 {
		return errors.Join(
			err,
			errors.New("usage: mutate [flags] PACKAGE...; packages are folders of the module, as recompute/total"),
		)
	}
	known, err := readEquivalents(filepath.Join(".ci", "mutate", "equivalent.txt"))
	if err != nil {
		return err
	}
	root, err := os.MkdirTemp("", "mutate-")
	if err != nil {
		return err
	}
	defer os.RemoveAll(root)
	if err := copyModule(root); err != nil {
		return err
	}
	for _, name := range packages {
		name = filepath.ToSlash(filepath.Clean(name))
		all, err := findMutants(root, name, *seed)
		if err != nil {
			return err
		}
		if err := survey(root, name, draw(all, wanted), known); err != nil {
			return err
		}
	}
	return nil
}

// copyModule copies the checkout without what its tools keep in folders that begin with a dot.
func copyModule(root string) error {
	return filepath.WalkDir(".", func(path string, entry fs.DirEntry, err error) error {
		switch {
		case err != nil:
			return err
		case entry.IsDir() && path != "." && strings.HasPrefix(entry.Name(), "."):
			return filepath.SkipDir
		case entry.IsDir():
			return os.MkdirAll(filepath.Join(root, path), 0o777)
		case !entry.Type().IsRegular():
			return nil
		}
		text, err := os.ReadFile(path)
		if err != nil {
			return err
		}
		return os.WriteFile(filepath.Join(root, path), text, 0o666)
	})
}

// draw shuffles the mutants by the seed and returns the first of those that are wanted.
func draw(all []mutant, wanted *regexp.Regexp) (list []mutant) {
	random := rand.New(rand.NewPCG(*seed, 0))
	random.Shuffle(len(all), func(i, j int) { all[i], all[j] = all[j], all[i] })
	for _, m := range all {
		if (*sample == 0 || len(list) < *sample) && wanted.MatchString(m.String()) {
			list = append(list, m)
		}
	}
	return list
}

// survey tests the mutants of one package and prints survivors and the share caught.
func survey(root, name string, mutants []mutant, known equivalents) error {
	if *list {
		for _, m := range mutants {
			fmt.Println(m)
		}
		return nil
	}
	if result, out := test(root, name); result != survived {
		return fmt.Errorf("the tests of %s fail before anything is changed:\n%s", name, out)
	}
	count := map[outcome]int{}
	for _, m := range mutants {
		result := equivalent
		if !known.has(m) {
			var err error
			if result, err = try(root, name, m); err != nil {
				return err
			}
		}
		count[result]++
		if result == survived {
			fmt.Printf("survived  %s\n          %s\n", m, m.line)
		}
	}
	counted := count[caught] + count[survived]
	fmt.Printf(
		"%s: %d of %d caught (%.0f %%), seed %d; %d more did not build, %d are listed as equivalent\n",
		name,
		count[caught],
		counted,
		100*float64(count[caught])/float64(max(counted, 1)),
		*seed,
		count[unbuilt],
		count[equivalent],
	)
	return nil
}

// outcome is what became of a mutant.
type outcome int

const (
	caught outcome = iota
	survived
	unbuilt
	equivalent
)

// try writes one mutant into the copy, tests it and puts the file back.
func try(root, name string, m mutant) (outcome, error) {
	path := filepath.Join(root, filepath.FromSlash(m.file))
	text, err := os.ReadFile(path)
	if err != nil {
		return 0, err
	}
	changed := string(text[:m.offset]) + m.to + string(text[m.offset+len(m.from):])
	if err := os.WriteFile(path, []byte(changed), 0o666); err != nil {
		return 0, err
	}
	result, _ := test(root, name)
	return result, os.WriteFile(path, text, 0o666)
}

// test runs the tests of a package, and of those asked for, in the copy.
func test(root, name string) (outcome, string) {
	args := []string{
		"test",
		"-count=1",
		"-vet=off",
		"-failfast",
		"-ldflags=-s -w",
		"-timeout",
		timeout.String(),
		"./" + name,
	}
	for _, other := range strings.Split(*with, ",") {
		if other != "" {
			args = append(args, "./"+other)
		}
	}
	command := exec.Command("go", args...)
	command.Dir = root
	out, err := command.CombinedOutput()
	switch {
	case err == nil:
		return survived, ""
	case strings.Contains(string(out), "[build failed]") || strings.Contains(string(out), "[setup failed]"):
		return unbuilt, string(out)
	}
	return caught, string(out)
}
