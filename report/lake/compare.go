package lake

import (
	"cmp"
	"fmt"
	"io"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"text/tabwriter"

	"retotal/ingest/problem"
)

// Change is what became of one site from one batch to another.
type Change struct {
	ID   string   `json:"id"`
	Was  string   `json:"was"` // its state; "" where it was not there
	Is   string   `json:"is"`
	Then *float64 `json:"after_then_m3"`
	Now  *float64 `json:"after_now_m3"`
	// OpenThen and OpenNow are how many points a person had and has to look at.
	OpenThen int64 `json:"open_then"`
	OpenNow  int64 `json:"open_now"`
}

// Comparison is two batches beside each other.
type Comparison struct {
	Sites   int      `json:"sites"`
	Changes []Change `json:"changed"`
}

// IsBatch reports whether a folder is that of a batch.
func IsBatch(folder string) bool {
	_, err := os.Stat(filepath.Join(folder, manifest))
	return err == nil
}

// Compare puts two batches beside each other: sites whose total, state or open points changed, those that moved most
// first.
func Compare(then, now Folder) (*Comparison, error) {
	old, err := then.all()
	if err != nil {
		return nil, err
	}
	current, err := now.all()
	if err != nil {
		return nil, err
	}
	c := &Comparison{Changes: []Change{}}
	ids := map[string]bool{}
	for _, list := range []map[string]*Site{old, current} {
		for id := range list {
			ids[id] = true
		}
	}
	c.Sites = len(ids)
	for id := range ids {
		x := Change{ID: id}
		if s := old[id]; s != nil {
			x.Was, x.Then, x.OpenThen = s.State, s.After, s.Needs
		}
		if s := current[id]; s != nil {
			x.Is, x.Now, x.OpenNow = s.State, s.After, s.Needs
		}
		if x.Was != x.Is || x.moved() != 0 || (x.Then == nil) != (x.Now == nil) || x.OpenThen != x.OpenNow {
			c.Changes = append(c.Changes, x)
		}
	}
	slices.SortFunc(c.Changes, func(a, b Change) int {
		return cmp.Or(cmp.Compare(math.Abs(b.moved()), math.Abs(a.moved())), cmp.Compare(a.ID, b.ID))
	})
	return c, nil
}

// moved is by how much the corrected total changed, m³; 0 where it is not there in both.
func (x *Change) moved() float64 {
	if x.Then == nil || x.Now == nil {
		return 0
	}
	return round(*x.Now-*x.Then, 1e3)
}

// all reads the sites of a batch that is whole.
func (f Folder) all() (map[string]*Site, error) {
	place := problem.Place{File: string(f)}
	if b, err := f.ReadBatch(); err != nil || !b.Complete {
		return nil, problem.At(place, "this is no batch that is whole", "a folder with batch.json",
			"run retotal batch or gather to its end")
	}
	names, err := filepath.Glob(f.State("*", ".json"))
	if err != nil {
		return nil, err
	}
	list := map[string]*Site{}
	for _, name := range names {
		id := strings.TrimSuffix(filepath.Base(name), ".json")
		if p := f.Read(id); p != nil {
			list[id] = &p.Site
		}
	}
	return list, nil
}

// Text prints a comparison, the answer first.
func (c *Comparison) Text(w io.Writer) {
	sum := 0.0
	for i := range c.Changes {
		sum += c.Changes[i].moved()
	}
	fmt.Fprintf(w, "%d of %d sites changed", len(c.Changes), c.Sites)
	if len(c.Changes) == 0 {
		fmt.Fprintln(w)
		return
	}
	fmt.Fprintf(w, ": the corrected totals by %s m3 in all\n\n", signed(sum))
	t := tabwriter.NewWriter(w, 0, 0, 2, ' ', tabwriter.AlignRight)
	fmt.Fprintln(t, "after then m3\tafter now m3\tmoved m3\topen then\topen now\t  site")
	for i := range c.Changes {
		x := &c.Changes[i]
		moved, state := x.moved(), ""
		switch {
		case x.Was == "":
			state = ", new"
		case x.Is == "":
			state = ", gone"
		case x.Was != x.Is:
			state = fmt.Sprintf(", was %s, is %s", x.Was, x.Is)
		}
		fmt.Fprintf(t, "%s\t%s\t%s\t%d\t%d\t  %s%s\n", number(x.Then, 0).Text, number(x.Now, 0).Text,
			signed(moved), x.OpenThen, x.OpenNow, x.ID, state)
	}
	t.Flush()
}
