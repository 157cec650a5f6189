package lake

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"

	"github.com/parquet-go/parquet-go"

	"retotal/report"
)

// Folder is the folder of a batch: sites/ID with the results of each site, readings/ID/YYYY.parquet, state/ID.json with
// what each adds to the lists, the lists themselves and batch.json, which says whether they are whole.
type Folder string

// Sites is where the results of the sites go, Readings where the readings of one do, and State what it adds to the
// lists, with the endings .parquet for its totals and .json for the rest.
func (f Folder) Sites() string                  { return filepath.Join(string(f), "sites") }
func (f Folder) Readings(id string) string      { return filepath.Join(string(f), "readings", id) }
func (f Folder) State(id, ending string) string { return filepath.Join(string(f), "state", id+ending) }

// Manifest is the file that says whether the lists are whole, and Lists are their files.
func (f Folder) Manifest() string { return filepath.Join(string(f), manifest) }
func (f Folder) Lists() (names []string) {
	for _, name := range lists {
		names = append(names, filepath.Join(string(f), name))
	}
	return names
}

// Input is a file that results follow from, by what is in it.
type Input struct {
	Name, SHA256 string
	Size         int64 // bytes
}

// NewInput reads a file; its name is as seen from a folder.
func NewInput(folder, name string) (in Input, err error) {
	f, err := os.Open(name)
	if err != nil {
		return in, err
	}
	defer f.Close()
	h := sha256.New()
	in.Size, err = io.Copy(h, f)
	in.Name, in.SHA256 = report.SeenFrom(folder, name), hex.EncodeToString(h.Sum(nil))
	return in, err
}

// Key names all that the results of a site follow from: versions, site file and inputs, in their order.
func Key(version string, text []byte, inputs []Input) string {
	h := sha256.New()
	part := func(b []byte) { fmt.Fprintf(h, "%d:", len(b)); h.Write(b) }
	for _, s := range []string{version, Schema, report.ReadingsSchema} {
		part([]byte(s))
	}
	part(text)
	for _, in := range inputs {
		part([]byte(in.Name))
		part([]byte(in.SHA256))
	}
	return hex.EncodeToString(h.Sum(nil))
}

// Read returns the piece of a site without its totals; nil where there is none that can be read.
func (f Folder) Read(id string) *Piece {
	text, err := os.ReadFile(f.State(id, ".json"))
	if err != nil {
		return nil
	}
	p := &Piece{}
	if json.Unmarshal(text, p) != nil || p.Schema != Schema || p.Site.ID != id {
		return nil
	}
	return p
}

// Begin says that a site is at work: until Write, it has no piece.
func (f Folder) Begin(id string) error {
	err := os.Remove(f.State(id, ".json"))
	if errors.Is(err, fs.ErrNotExist) {
		return nil
	}
	return err
}

// Write puts a piece in its place, last of all that belongs to a site. Of one that failed, readings and totals of an
// earlier run are removed: they would not follow from what is there now.
func (f Folder) Write(p *Piece) error {
	if err := os.MkdirAll(f.State("", ""), 0o755); err != nil {
		return err
	}
	if p.Site.State == Failed {
		for _, name := range []string{f.Readings(p.Site.ID), f.State(p.Site.ID, ".parquet")} {
			if err := os.RemoveAll(name); err != nil {
				return err
			}
		}
	} else {
		var b bytes.Buffer
		if err := writeRows(&b, p.Totals); err != nil {
			return err
		}
		if err := replace(f.State(p.Site.ID, ".parquet"), b.Bytes()); err != nil {
			return err
		}
	}
	text, err := json.Marshal(p)
	if err != nil {
		return err
	}
	return replace(f.State(p.Site.ID, ".json"), append(text, '\n'))
}

// readTotals reads the totals of a site.
func (f Folder) readTotals(id string) ([]Total, error) {
	return parquet.ReadFile[Total](f.State(id, ".parquet"))
}

// replace writes a file beside its place and puts it there whole. The name beside it is always the same, so that the
// next run takes the place of what a killed one left.
func replace(name string, content []byte) error {
	part := name + ".part"
	if err := os.WriteFile(part, content, 0o644); err != nil {
		return err
	}
	return os.Rename(part, name)
}

// writeRows writes rows as Parquet.
func writeRows[T any](w io.Writer, rows []T) error {
	file := parquet.NewGenericWriter[T](w, options()...)
	_, err := file.Write(rows)
	return errors.Join(err, file.Close())
}

func options() []parquet.WriterOption {
	return []parquet.WriterOption{parquet.Compression(&parquet.Zstd), parquet.CreatedBy("retotal", "", ""),
		parquet.DataPageVersion(1), parquet.KeyValueMetadata("schema", Schema)}
}
