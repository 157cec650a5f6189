package explain_test

import (
	"flag"
	"fmt"
	"os"
	"strings"
	"testing"

	"retotal/ingest/quantity"
	"retotal/recompute/explain"
	"retotal/testdata/mistakes"
)

var update = flag.Bool("update", false, "renew golden files")

// twinsFile holds what is said of settings that a log cannot tell apart.
const twinsFile = "../../testdata/golden/twins.txt"

// TestTwinsTold: of meters whose mistake looks like another, all that fit as well are told, as text; which do was found
// without the program, by fitting every other setting to the flow without noise.
func TestTwinsTold(t *testing.T) {
	if testing.Short() {
		t.Skip("explains many records")
	}
	var b strings.Builder
	seen := map[string]bool{}
	for set := 1; set <= 2; set++ {
		for _, number := range mistakes.Numbers(1, mistakes.Clean, 28, 0) {
			c := mistakes.Make(set, 1, number)
			title := c.Record.Kind + ": " + c.Truth.String()
			if len(c.Right) < 2 || seen[title] {
				continue
			}
			seen[title] = true
			f := explain.Explain(&c.Record)
			fmt.Fprintf(&b, "%s\n", title)
			for _, a := range c.Right {
				fmt.Fprintf(&b, "    cannot be told from  %s\n", words(a.Names, a.Values))
			}
			for i, e := range f.Best[:f.Twins] {
				name := "fits best   "
				if i > 0 {
					name = "fits as well"
				}
				fmt.Fprintf(&b, "    %s         %s\n", name, words(e.Names, e.Values))
			}
			if !told(c, f) {
				t.Errorf("%v: %s: none of what is right is among %v", c, title, f.Best[:f.Twins])
			}
		}
	}
	if *update {
		if err := os.WriteFile(twinsFile, []byte(b.String()), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	want, err := os.ReadFile(twinsFile)
	if err != nil {
		t.Fatal(err)
	}
	if got := b.String(); got != string(want) {
		t.Errorf("%s differs; renew it with -update and look at the difference:\n%s", twinsFile, got)
	}
}

// words are settings with three digits of their values in SI; a kind has no value.
func words(names []string, values []float64) string {
	var list []string
	for i, name := range names {
		if name != "kind" {
			name += " " + quantity.Digits(values[i], 3)
		}
		list = append(list, name)
	}
	return strings.Join(list, " and ")
}

// told reports whether the finding has one of the right answers among those that fit equally well.
func told(c *mistakes.Case, f explain.Finding) bool {
	for i := range f.Best[:f.Twins] {
		only := f
		only.Best, only.Twins = f.Best[i:i+1], 1
		if mistakes.Judge(c, only).First {
			return true
		}
	}
	return false
}
