package lake

import (
	"bytes"
	"cmp"
	"crypto/sha256"
	"encoding/csv"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"time"

	"github.com/parquet-go/parquet-go"
)

// Batch is batch.json: what a batch is made of, and whether its lists are whole.
type Batch struct {
	Program  string `json:"program"`
	Version  string `json:"version"`
	Schema   string `json:"schema"`
	Complete bool   `json:"complete"` // lists and sites belong together; written last
	Sites    int    `json:"sites"`
	Failed   int    `json:"failed"`
	Key      string `json:"key"` // of all sites' keys
}

const (
	manifest     = "batch.json"
	manifestPart = ".batch-*.part"
)

// ReadBatch reads the manifest of a batch.
func (f Folder) ReadBatch() (*Batch, error) {
	text, err := os.ReadFile(filepath.Join(string(f), manifest))
	if err != nil {
		return nil, err
	}
	b := &Batch{}
	if err := json.Unmarshal(text, b); err != nil {
		return nil, fmt.Errorf("%s cannot be read: %w", filepath.Join(string(f), manifest), err)
	}
	return b, nil
}

// Open says that the lists are not whole, before anything is changed.
func (f Folder) Open(version string) error {
	if err := os.MkdirAll(string(f), 0o755); err != nil {
		return err
	}
	return f.writeBatch(&Batch{Version: version})
}

func (f Folder) writeBatch(b *Batch) error {
	b.Program, b.Schema = "retotal", Schema
	text, err := json.MarshalIndent(b, "", "  ")
	if err != nil {
		return err
	}
	part, err := os.CreateTemp(string(f), manifestPart) // shards write it side by side
	if err != nil {
		return err
	}
	_, err = part.Write(append(text, '\n'))
	err = errors.Join(err, part.Chmod(0o644), part.Close())
	if err != nil {
		return err
	}
	return os.Rename(part.Name(), filepath.Join(string(f), manifest))
}

// Gather makes the lists and the page of a batch from the pieces of its sites, and returns the sites, worst first. What
// is missing is told and nothing is written. Lists that are whole already are left as they are.
func (f Folder) Gather(version string, ids []string) (sites []Site, err error) {
	pieces, b, whole, err := f.gathered(version, ids)
	if err != nil {
		return nil, err
	}
	for _, p := range pieces {
		sites = append(sites, p.Site)
	}
	slices.SortStableFunc(sites, worse)
	if whole {
		return sites, nil
	}
	if err := f.Open(version); err != nil {
		return nil, err
	}
	if err := f.write(pieces, sites); err != nil {
		return nil, err
	}
	left, _ := filepath.Glob(filepath.Join(string(f), manifestPart)) // of runs that were killed
	for _, name := range left {
		os.Remove(name)
	}
	return sites, f.writeBatch(b)
}

// Whole reports whether the lists are those of these sites already, so that Gather writes nothing.
func (f Folder) Whole(version string, ids []string) (bool, error) {
	_, _, whole, err := f.gathered(version, ids)
	return whole, err
}

// gathered is the pieces of a batch, its manifest, and whether lists and manifest are there already.
func (f Folder) gathered(version string, ids []string) (pieces []*Piece, b *Batch, whole bool, err error) {
	if pieces, err = f.pieces(ids); err != nil {
		return nil, nil, false, err
	}
	b = &Batch{Program: "retotal", Version: version, Schema: Schema, Complete: true, Sites: len(pieces)}
	h := sha256.New()
	for _, p := range pieces {
		if p.Site.State == Failed {
			b.Failed++
		}
		text, err := json.Marshal(p)
		if err != nil {
			return nil, nil, false, err
		}
		h.Write(text)
	}
	b.Key = hex.EncodeToString(h.Sum(nil))
	old, bad := f.ReadBatch()
	return pieces, b, bad == nil && *old == *b && f.listed(), nil
}

// lists are the files that Gather writes beside the manifest.
var lists = []string{"totals.parquet", "findings.parquet", "sites.parquet", "sites.csv", "index.html"}

// listed reports whether all lists are there.
func (f Folder) listed() bool {
	return !slices.ContainsFunc(lists, func(name string) bool {
		_, err := os.Stat(filepath.Join(string(f), name))
		return err != nil
	})
}

// Missing are sites of a batch that have no piece.
type Missing []string

// Error names them.
func (m Missing) Error() string {
	shown := m[:min(len(m), 5)]
	text := fmt.Sprintf("%d sites are not there yet:", len(m))
	for _, id := range shown {
		text += " " + id
	}
	if len(shown) < len(m) {
		text += fmt.Sprintf(" and %d more", len(m)-len(shown))
	}
	return text + "; run the shards that they belong to"
}

// pieces reads the pieces of sites, in the order of their ids.
func (f Folder) pieces(ids []string) (list []*Piece, err error) {
	var missing Missing
	ids = slices.Sorted(slices.Values(ids))
	for _, id := range ids {
		if p := f.Read(id); p != nil {
			list = append(list, p)
		} else {
			missing = append(missing, id)
		}
	}
	if len(missing) > 0 {
		return nil, missing
	}
	return list, nil
}

// worse orders sites: those that failed, then by the volume at stake, then by what needs a person.
func worse(a, b Site) int {
	failed := func(s *Site) int {
		if s.State == Failed {
			return 1
		}
		return 0
	}
	return cmp.Or(cmp.Compare(failed(&b), failed(&a)), cmp.Compare(b.AtStake, a.AtStake), cmp.Compare(b.Needs, a.Needs),
		cmp.Compare(a.ID, b.ID))
}

// write writes all lists and the page.
func (f Folder) write(pieces []*Piece, sites []Site) error {
	var list, found bytes.Buffer
	findings := []Finding{}
	for _, p := range pieces {
		findings = append(findings, p.Findings...)
	}
	page, err := index(pieces, sites)
	err = errors.Join(err, writeRows(&list, sites), writeRows(&found, findings))
	if err != nil {
		return err
	}
	in := func(name string) string { return filepath.Join(string(f), name) }
	return errors.Join(
		f.writeTotals(pieces),
		replace(in("findings.parquet"), found.Bytes()),
		replace(in("sites.parquet"), list.Bytes()),
		replace(in("sites.csv"), sitesCSV(sites)),
		replace(in("index.html"), page))
}

// writeTotals joins the totals of all sites, one at a time.
func (f Folder) writeTotals(pieces []*Piece) (err error) {
	name := filepath.Join(string(f), "totals.parquet")
	out, err := os.Create(name + ".part")
	if err != nil {
		return err
	}
	w := parquet.NewGenericWriter[Total](out, options()...)
	for _, p := range pieces {
		if p.Site.State == Failed {
			continue
		}
		rows, bad := f.readTotals(p.Site.ID)
		if bad == nil {
			_, bad = w.Write(rows)
		}
		if err = errors.Join(err, bad); err != nil {
			break
		}
	}
	if err = errors.Join(err, w.Close(), out.Close()); err != nil {
		return err
	}
	return os.Rename(name+".part", name)
}

// sitesCSV is the list of sites for a spreadsheet, worst first.
func sitesCSV(sites []Site) []byte {
	var b bytes.Buffer
	w := csv.NewWriter(&b)
	number := func(v *float64) string {
		if v == nil {
			return ""
		}
		return strconv.FormatFloat(*v, 'f', -1, 64)
	}
	at := func(ms *int64) string {
		if ms == nil {
			return ""
		}
		return time.UnixMilli(*ms).UTC().Format("2006-01-02T15:04:05Z")
	}
	w.Write([]string{"site", "name", "state", "at stake (m3)", "before (m3)", "after (m3)", "after, low (m3)",
		"after, high (m3)", "difference (m3)", "coverage", "needs a person", "first need", "from (UTC)", "until (UTC)",
		"last visit (UTC)", "days since visit", "device", "site file", "reason"})
	for i := range sites {
		s := &sites[i]
		w.Write([]string{s.ID, plain(s.Name), s.State, number(&s.AtStake), number(s.Before), number(s.After),
			number(s.Low), number(s.High), number(s.Difference), number(s.Coverage), strconv.FormatInt(s.Needs, 10),
			plain(s.First), at(s.From), at(s.Until), at(s.Visit), number(s.SinceDays), plain(s.Device),
			plain(s.SiteFile), plain(s.Reason)})
	}
	w.Flush()
	return b.Bytes()
}

// plain keeps a text from being taken for a formula by a spreadsheet.
func plain(text string) string {
	if text != "" && bytes.ContainsRune([]byte("=+-@\t\r"), rune(text[0])) {
		return "'" + text
	}
	return text
}
