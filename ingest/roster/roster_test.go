package roster

import (
	"os"
	"path/filepath"
	"reflect"
	"strings"
	"testing"

	"github.com/pelletier/go-toml/v2"
)

const template = `id = "template"
[log]
files = ["log.csv"]
time_zone = "+00:00"
[log.columns]
time = "Time"
distance = "Distance"
[settings]
empty_distance = "1.250 m"
[settings.device]
kind = "v-notch"
angle = "90 deg"
[[correction]]
reason = "survey"
empty_distance = "1.225 m"
`

// laid writes template and table and lays one on the other.
func laid(t *testing.T, table string) ([]Entry, error) {
	t.Helper()
	dir := t.TempDir()
	for name, text := range map[string]string{"template.toml": template, "sites.csv": table} {
		if err := os.WriteFile(filepath.Join(dir, name), []byte(text), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	return Table(filepath.Join(dir, "template.toml"), filepath.Join(dir, "sites.csv"))
}

// TestCells: what a cell becomes, by its key and its head.
func TestCells(t *testing.T) {
	for _, c := range []struct {
		head, cell string
		path       []string
		want       any // nil for no key
	}{
		{"settings.empty_distance (m)", "1.3", []string{"settings", "empty_distance"}, "1.3 m"},
		{"settings.empty_distance (m)", "1300 mm", []string{"settings", "empty_distance"}, "1300 mm"},
		{"settings.empty_distance", "1.3 m", []string{"settings", "empty_distance"}, "1.3 m"},
		{"settings.empty_distance (m)", "", []string{"settings", "empty_distance"}, "1.250 m"},
		{"settings.maximum_head (m)", " ", []string{"settings", "maximum_head"}, nil},
		{"settings.head_factor", "0.3048", []string{"settings", "head_factor"}, 0.3048},
		{"name", "12", []string{"name"}, "12"},
		{"name", "true", []string{"name"}, "true"},
		{"settings.device.angle", "60 deg", []string{"settings", "device", "angle"}, "60 deg"},
		{"log.files", "a.csv", []string{"log", "files"}, "a.csv"},
		{"log.files", `"[""a.csv"", ""b.csv""]"`, []string{"log", "files"}, []any{"a.csv", "b.csv"}},
		{"log.columns.flow", `"{ name = ""Q"", unit = ""L/s"" }"`, []string{"log", "columns", "flow"},
			map[string]any{"name": "Q", "unit": "L/s"}},
		{"log.clock_jumps", "true", []string{"log", "clock_jumps"}, true},
		{"settings.device", `"{ kind = ""power"" }"`, []string{"settings", "device", "kind"}, "power"},
	} {
		list, err := laid(t, "id,"+c.head+"\nweir,"+c.cell+"\n")
		if err != nil {
			t.Errorf("%s %s: %v", c.head, c.cell, err)
			continue
		}
		root := map[string]any{}
		if err := toml.Unmarshal(list[0].Text, &root); err != nil {
			t.Fatal(err)
		}
		var got any = root
		for _, key := range c.path {
			got = got.(map[string]any)[key]
		}
		if !reflect.DeepEqual(got, c.want) {
			t.Errorf("%s %q: %#v, want %#v", c.head, c.cell, got, c.want)
		}
	}
}

// TestEntriesOfLists: a number in a head is the place in a list, from 1; one past its end begins an entry.
func TestEntriesOfLists(t *testing.T) {
	list, err := laid(t,
		"id,correction.1.reason,correction.2.reason,correction.2.flow_cut_off (L/s)\nweir,tape,gauge,1.2\n")
	if err != nil {
		t.Fatal(err)
	}
	s, err := list[0].Load()
	if err != nil || len(s.Corrections) != 2 || s.Corrections[0].Reason != "tape" ||
		s.Corrections[1].Reason != "gauge" {
		t.Errorf("%v: %+v", err, s.Corrections)
	}
	if _, err = laid(t, "id,correction.3.reason\nweir,x\n"); err == nil ||
		!strings.Contains(err.Error(), "not the place of a table in a list, or one past its end") {
		t.Error(err)
	}
}

// TestTablesRefused: what is wrong with a table, with the row that it is in.
func TestTablesRefused(t *testing.T) {
	for _, c := range []struct{ table, want string }{
		{"", "the table has no row of a site"},
		{"id,name\n", "the table has no row of a site"},
		{"name\nx\n", "no column has the head id"},
		{"id,id\nx,y\n", "id is there twice"},
		{"id,name\nx\n", "sites.csv:2: the row has 1 cells; expected 2"},
		{"id,name\n,x\n", "sites.csv:2: the row has no id"},
		{"id,settings.device\nx,{ kind\n", "cannot be read as a value of a site file"},
		{"id,settings.head_factor\nx,\"1\"\"\ny\n", "this is no CSV"},
		{"id,log.columns.flow\nx,\"{ a = 1 }\n[evil]\nb = 2\"\n", "cannot be read as a value of a site file"},
	} {
		if _, err := laid(t, c.table); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%q: %v, want %q", c.table, err, c.want)
		}
	}
}

// TestFilesByNameFolderAndPattern: each file once, those of a folder and a pattern sorted; a name that is no file is
// left to whoever reads it.
func TestFilesByNameFolderAndPattern(t *testing.T) {
	dir := t.TempDir()
	for _, name := range []string{"b.toml", "a.toml", "c[1].toml", "log.csv"} {
		if err := os.WriteFile(filepath.Join(dir, name), nil, 0o644); err != nil {
			t.Fatal(err)
		}
	}
	in := func(name string) string { return filepath.Join(dir, name) }
	list, err := Files([]string{in("b.toml"), dir, in("*.toml"), in("none.toml"), in("c[1].toml")})
	var names []string
	for _, e := range list {
		names = append(names, filepath.Base(e.Name))
	}
	if got := strings.Join(names, " "); err != nil || got != "b.toml a.toml c[1].toml none.toml" {
		t.Errorf("%s, %v", got, err)
	}
	if _, err := Files([]string{t.TempDir(), in("x*.toml")}); err == nil ||
		!strings.Contains(err.Error(), "the folder holds no site file") ||
		!strings.Contains(err.Error(), "no file has a name of this pattern") {
		t.Error(err)
	}
}

// FuzzTable: no table makes the reader panic, and what it makes of one is TOML with the id of the row.
func FuzzTable(f *testing.F) {
	f.Add("id,settings.empty_distance (m)\nx,1.2\n")
	f.Add("id;correction.2.reason\nx;y\n")
	f.Fuzz(func(t *testing.T, table string) {
		list, err := laid(t, table)
		if err != nil {
			return
		}
		for _, e := range list {
			root := map[string]any{}
			if err := toml.Unmarshal(e.Text, &root); err != nil || root["id"] != e.ID {
				t.Errorf("%q makes %q (%v)", table, e.Text, err)
			}
		}
	})
}
