package main

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"reflect"
	"regexp"
	"strings"

	"github.com/pelletier/go-toml/v2"
)

// header is the first line of the demo's log.
const header = "Time,Distance (m),Air temperature (degC),Flow (L/s),Total (m3)"

// siteFile is a site over the day, whose log is called LOG.
const siteFile = `# One day of the demo.
id = "day"
[log]
files = ["LOG"]
time_zone = "+00:00"
[log.columns]
time        = "Time"
distance    = { name = "Distance (m)", unit = "m" }
flow        = { name = "Flow (L/s)", unit = "L/s" }
counter     = { name = "Total (m3)", unit = "m3" }
[settings]
empty_distance = "1.250 m"
maximum_head   = "0.36 m"
[settings.device]
kind  = "v-notch"
angle = "90 deg"
[[correction]]
reason = "tape survey"
by     = "R. Okafor"
empty_distance = "1.225 m"
`

// program is the built program with a day of the demo.
type program struct {
	path string
	day  []byte
}

func build(folder string) (*program, error) {
	p := &program{path: filepath.Join(folder, "retotal")}
	if out, err := exec.Command("go", "build", "-o", p.path, "./cmd/retotal").CombinedOutput(); err != nil {
		return nil, fmt.Errorf("%w: %s", err, out)
	}
	var err error
	if p.day, err = os.ReadFile(filepath.Join("testdata", "quarry-lane", "one-day.csv")); err != nil {
		return nil, err
	}
	if !bytes.HasPrefix(p.day, []byte(header+"\n")) {
		return nil, errors.New("the demo's log has another header")
	}
	return p, nil
}

// result is what one run said.
type result struct {
	code   int
	hung   bool
	stderr string
	record map[string]any
	text   string // of the record, without what differs by the bytes and lines of the files alone
}

var lines = regexp.MustCompile(`"site_file_line":\d+|line \d+`)

// write makes a site with a log in a folder.
func (p *program) write(f shape, dir string, content []byte) error {
	if err := os.MkdirAll(dir, 0o755); err != nil {
		return err
	}
	site, log := []byte(siteFile), content
	if f.site {
		site, log = content, p.day
	}
	site = bytes.Replace(site, []byte("LOG"), []byte(f.log), 1)
	return errors.Join(os.WriteFile(filepath.Join(dir, "site.toml"), site, 0o644),
		os.WriteFile(filepath.Join(dir, f.log), log, 0o644))
}

// run asks for the record of a site.
func (p *program) run(dir string) (r result) {
	ctx, cancel := context.WithTimeout(context.Background(), *timeout)
	defer cancel()
	c := exec.CommandContext(ctx, p.path, "check", "--json", "site.toml")
	c.Dir = dir
	var stdout, stderr bytes.Buffer
	c.Stdout, c.Stderr = &stdout, &stderr
	err := c.Run()
	r.stderr, r.hung, r.code = stderr.String(), ctx.Err() != nil, c.ProcessState.ExitCode()
	if err == nil && json.Unmarshal(stdout.Bytes(), &r.record) != nil {
		r.code, r.stderr = -1, "the record is no JSON: "+stdout.String()
	}
	if r.record != nil {
		delete(r.record["site"].(map[string]any), "sha256")
		delete(r.record, "inputs")
		text, _ := json.Marshal(r.record)
		r.text = lines.ReplaceAllString(string(text), "")
	}
	return r
}

// base is the result of a site without damage.
func (p *program) base(f shape, dir string, sound []byte) (result, error) {
	if err := p.write(f, dir, sound); err != nil {
		return result{}, err
	}
	r := p.run(dir)
	if r.code != 0 || r.total() == 0 {
		return r, fmt.Errorf("the sound site ended with %d: %s", r.code, r.stderr)
	}
	return r, nil
}

// total is the corrected total, m³.
func (r *result) total() float64 {
	total, _ := r.record["total"].(map[string]any)
	v, _ := total["after_m3"].(float64)
	return v
}

// account is what became of the rows, and what a person is told.
func (r *result) account() string {
	text, _ := json.Marshal([]any{r.record["rows"], r.record["needs_a_person"], r.record["warnings"]})
	return string(text)
}

// judge runs a damaged site.
func (p *program) judge(f shape, dir string, damaged []byte, base result) (outcome, string) {
	if err := p.write(f, dir, damaged); err != nil {
		return fault, err.Error()
	}
	r := p.run(dir)
	switch {
	case r.hung:
		return hang, ""
	case r.code < 0 || r.code > 3 || strings.Contains(r.stderr, "fault of the program") ||
		strings.Contains(r.stderr, "goroutine "):
		return fault, fmt.Sprintf("exit %d, %.300s", r.code, r.stderr)
	case r.code != 0 && strings.TrimSpace(r.stderr) == "":
		return fault, fmt.Sprintf("exit %d without a word", r.code)
	case r.code != 0:
		return refused, ""
	case f.site:
		return judgeSite(damaged, r, base)
	case f.plain != nil:
		plain, err := p.base(f, filepath.Join(dir, "plain"), f.plain(damaged))
		if err != nil {
			return fault, "the log without its damage: " + err.Error()
		}
		if told := r.account() != base.account(); told && alike(r, plain) {
			return accounted, ""
		}
		base = plain
	}
	switch told := r.account() != base.account(); {
	case alike(r, base):
		return right, ""
	case told:
		return accounted, ""
	}
	return silent, fmt.Sprintf("%.4f, not %.4f m3", r.total(), base.total())
}

// alike reports whether two results have the same total.
func alike(a, b result) bool { return math.Abs(a.total()-b.total()) <= 1e-9*b.total() }

// judgeSite compares what a damaged site file says, by a library, with what became of it: the same gives the same
// record, and another is seen in the record.
func judgeSite(damaged []byte, r, base result) (outcome, string) {
	var said, sound map[string]any
	if err := toml.Unmarshal([]byte(siteFile), &sound); err != nil {
		return fault, err.Error()
	}
	err := toml.Unmarshal(damaged, &said)
	switch same := err == nil && reflect.DeepEqual(said, sound); {
	case err != nil:
		return silent, "it is no TOML: " + err.Error()
	case same && r.text != base.text:
		return silent, "the same site file gives another record"
	case same || r.text == base.text && strings.EqualFold(string(damaged), siteFile): // columns are found in any case
		return right, ""
	case r.text == base.text:
		return silent, "another site file gives the same record"
	}
	return accounted, "" // the record says what the file says
}
