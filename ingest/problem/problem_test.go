package problem

import (
	"errors"
	"strings"
	"testing"
)

func TestMessage(t *testing.T) {
	p := At(Place{"site.toml", 14, 18}, `settings.maximum_head "0.40" has no unit`, "", `write it as "0.40 m"`)
	want := `site.toml:14:18: settings.maximum_head "0.40" has no unit; write it as "0.40 m"`
	if got := p.Error(); got != want {
		t.Errorf("%s\nwant %s", got, want)
	}
	list := List{
		At(Place{File: "b", Line: 2}, "second", "", ""), Warn(Place{File: "b", Line: 1}, "first", "an order", ""),
	}
	list.Sort()
	if got, want := list.Error(), "b:1: first; expected an order\nb:2: second"; got != want {
		t.Errorf("%q, want %q", got, want)
	}
	if len(list.Errors()) != 1 || len(list.Warnings()) != 1 || list.Err() == nil || list.Warnings().Err() != nil {
		t.Errorf("errors and warnings are not told apart: %v, %v", list.Errors(), list.Warnings())
	}
}

func TestNearest(t *testing.T) {
	words := []string{"empty_distance", "maximum_head", "blanking_distance", "device"}
	for name, want := range map[string]string{
		"maximun_head":   "maximum_head",
		"empty-distance": "empty_distance",
		"devise":         "device",
		"Empty":          "empty_distance",
		"colour":         "",
		"":               "",
	} {
		if got := Nearest(name, words); got != want {
			t.Errorf("Nearest(%q) = %q, want %q", name, got, want)
		}
	}
}

// TestJoin: problems of several errors come in the order of their places, once nothing is wrong there is no error, and
// an error that is no problem stays one.
func TestJoin(t *testing.T) {
	if err := Join(nil, List(nil).Err(), nil); err != nil {
		t.Errorf("nothing is wrong: %v", err)
	}
	late, early := At(Place{File: "a", Line: 9}, "late", "", ""), At(Place{File: "a", Line: 2}, "early", "", "")
	if got := Join(List{late}, early).Error(); got != "a:2: early\na:9: late" {
		t.Errorf("%q", got)
	}
	other := errors.New("disk")
	if err := Join(late, other); !errors.Is(err, other) || !strings.Contains(err.Error(), "a:9: late") {
		t.Errorf("%v", err)
	}
	if err := Join(other); !errors.Is(err, other) || err.Error() != "disk" {
		t.Errorf("%v", err)
	}
}
