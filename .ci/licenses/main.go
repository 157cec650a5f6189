// Command licenses writes the notices of all code that is linked into retotal, for cmd/retotal/notices.txt:
//
//	go run ./.ci/licenses > cmd/retotal/notices.txt
//	go run ./.ci/licenses cloud > cmd/retotal/notices-cloud.txt
//
// with a build tag of what that links beside.
//
// It lists every module that a build for Linux, Windows or macOS links, with its version, and below it the licence and
// notice files that stand beside its linked packages or above them; and those of the Go distribution itself and of the
// scripts of others that stand in what the program writes.
package main

import (
	"bufio"
	"bytes"
	"fmt"
	"maps"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
)

// module is a module of which packages are linked.
type module struct {
	name, version, folder string
	packages              map[string]bool // their folders
}

// legal is how files are named that hold a licence or a notice.
var legal = regexp.MustCompile(`(?i)^((?:un)?licen[cs]e|notice|copying|copyright|patents)([.-].*)?$`)

func main() {
	out := bufio.NewWriter(os.Stdout)
	err := write(out)
	if err == nil {
		err = out.Flush()
	}
	if err != nil {
		fmt.Fprintln(os.Stderr, err)
		os.Exit(1)
	}
}

func write(out *bufio.Writer) error {
	modules, err := linked("")
	if err != nil {
		return err
	}
	if len(os.Args) > 1 {
		return further(out, modules, os.Args[1])
	}
	root, err := exec.Command("go", "env", "GOROOT").Output()
	if err != nil {
		return err
	}
	goroot := strings.TrimSpace(string(root))
	fmt.Fprintln(out, "retotal links the code of others. Their licences and notices stand here as they came with it.")
	modules = append([]module{{
		name: "The Go standard library", folder: goroot, packages: map[string]bool{goroot: true},
	}}, modules...)
	embeds, err := embedded()
	if err != nil {
		return err
	}
	for _, m := range append(modules, embeds...) {
		if err := m.write(out); err != nil {
			return err
		}
	}
	return nil
}

// further writes the notices of what a build tag links beside the modules of the plain build.
func further(out *bufio.Writer, plain []module, tag string) error {
	modules, err := linked(tag)
	if err != nil {
		return err
	}
	for _, m := range modules {
		if slices.ContainsFunc(plain, func(p module) bool { return p.name == m.name }) {
			continue
		}
		if err := m.write(out); err != nil {
			return err
		}
	}
	return nil
}

// linked are the modules of all builds with a tag, sorted by name.
func linked(tag string) ([]module, error) {
	found := map[string]*module{}
	for _, system := range []string{"linux", "windows", "darwin"} {
		list := exec.Command("go", "list", "-tags", tag, "-deps", "-f",
			"{{with .Module}}{{if not .Main}}{{.Path}}\t{{.Version}}\t{{.Dir}}\t{{end}}{{end}}{{.Dir}}",
			"./cmd/retotal")
		list.Env = append(os.Environ(), "GOOS="+system, "CGO_ENABLED=0")
		text, err := list.Output()
		if err != nil {
			return nil, err
		}
		for line := range strings.Lines(string(text)) {
			field := strings.Split(strings.TrimSpace(line), "\t")
			if len(field) != 4 {
				continue // the standard library, or this module
			}
			if found[field[0]] == nil {
				found[field[0]] = &module{field[0], field[1], field[2], map[string]bool{}}
			}
			found[field[0]].packages[field[3]] = true
		}
	}
	var all []module
	for _, m := range found {
		all = append(all, *m)
	}
	slices.SortFunc(all, func(a, b module) int { return strings.Compare(a.name, b.name) })
	return all, nil
}

// inPages are the folders of code that is no Go and stands in what the program writes, each with its licence, and the
// file whose first line says the version.
var inPages = map[string]string{"uPlot": "report/explore/uplot/uplot.min.js"}

// versionIn is a version in a first line.
var versionIn = regexp.MustCompile(`\bv\d+(\.\d+)+`)

// embedded are those as modules.
func embedded() (list []module, err error) {
	for _, name := range slices.Sorted(maps.Keys(inPages)) {
		text, err := os.ReadFile(inPages[name])
		if err != nil {
			return nil, err
		}
		line, _, _ := bytes.Cut(text, []byte("\n"))
		version := versionIn.Find(line)
		if version == nil {
			return nil, fmt.Errorf("the first line of %s says no version", inPages[name])
		}
		folder := filepath.Dir(inPages[name])
		list = append(list, module{name, string(version), folder, map[string]bool{folder: true}})
	}
	return list, nil
}

// write writes the files of a module.
func (m *module) write(out *bufio.Writer) error {
	files, err := m.files()
	if err != nil {
		return err
	}
	fmt.Fprintf(out, "\n%s\n%s\n", strings.Repeat("=", 80), strings.TrimSpace(m.name+" "+m.version))
	for _, file := range files {
		text, err := notice(file)
		if err != nil {
			return err
		}
		name, err := filepath.Rel(m.folder, file)
		if err != nil {
			return err
		}
		text = bytes.TrimSpace(text)
		for _, sign := range []string{"\r", "\f"} {
			text = bytes.ReplaceAll(text, []byte(sign), nil)
		}
		fmt.Fprintf(out, "\n--- %s\n\n%s\n", filepath.ToSlash(name), text)
	}
	return nil
}

// files are the licence and notice files beside the linked packages of a module or above them, up to its root.
func (m *module) files() ([]string, error) {
	found := map[string]bool{}
	for folder := range m.packages {
		for {
			entries, err := os.ReadDir(folder)
			if err != nil {
				return nil, err
			}
			for _, e := range entries {
				if !e.IsDir() && legal.MatchString(e.Name()) && !strings.HasSuffix(e.Name(), ".go") {
					found[filepath.Join(folder, e.Name())] = true
				}
			}
			if folder == m.folder || len(folder) <= len(m.folder) {
				break
			}
			folder = filepath.Dir(folder)
		}
	}
	for _, name := range []string{"licenses", "LICENSES"} { // to which a licence file refers
		more, err := filepath.Glob(filepath.Join(m.folder, name, "*"))
		if err != nil {
			return nil, err
		}
		for _, file := range more {
			found[file] = true
		}
	}
	if readme := filepath.Join(m.folder, "README.md"); len(found) == 0 {
		found[readme] = true // its end, see notice
	}
	return slices.Sorted(maps.Keys(found)), nil
}

// inReadme begins the licence in a README that holds it.
var inReadme = regexp.MustCompile(`(?im)^(#+ .*licen[cs]e.*|MIT License)$`)

// notice reads a licence or notice file; of a README what begins with its heading on the licence.
func notice(file string) ([]byte, error) {
	text, err := os.ReadFile(file)
	if err != nil || filepath.Base(file) != "README.md" {
		return text, err
	}
	at := inReadme.FindIndex(text)
	if at == nil {
		return nil, fmt.Errorf("%s holds no licence, and no file beside it does", file)
	}
	return text[at[0]:], nil
}
