package cases

import (
	"flag"
	"os"
	"path/filepath"
	"testing"
)

var update = flag.Bool("update", false, "write the logs anew")

// TestFiles holds the committed logs to their generator.
func TestFiles(t *testing.T) {
	files, volumes := Files()
	for name, want := range files {
		if *update {
			if err := os.MkdirAll(filepath.Dir(name), 0o755); err != nil {
				t.Fatal(err)
			}
			if err := os.WriteFile(name, []byte(want), 0o644); err != nil {
				t.Fatal(err)
			}
		}
		got, err := os.ReadFile(name)
		if err != nil || string(got) != want {
			t.Errorf("%s is not what the generator makes, %v; run go test ./testdata/cases -update", name, err)
		}
		if len(want) > 200_000 {
			t.Errorf("%s has %d bytes", name, len(want))
		}
	}
	t.Log(volumes)
}
