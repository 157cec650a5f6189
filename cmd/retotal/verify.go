package main

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"slices"

	"github.com/spf13/cobra"

	"retotal/ingest/problem"
	"retotal/ingest/site"
	"retotal/report"
	"retotal/report/results"
)

func verifyCommand() *cobra.Command {
	var siteFile string
	c := &cobra.Command{
		Use:   "verify RECORD...",
		Short: "Whether results still follow from raw log and site file, byte by byte",
		Long: `Reads a correction record (record.json, or the folder that it is in), checks that site file and logs
are still those that it names, computes everything again and compares every file of the results byte by byte. It
changes nothing. It takes as long as correct did.

Exit status: 0 everything follows; 1 failed; 2 the record, the site file or a log cannot be read; 3 something does not
follow.`,
		Example: "  retotal verify out/quarry-lane/record.json\n" +
			"  retotal verify --site moved/site.toml out/quarry-lane",
		Args: func(_ *cobra.Command, args []string) error {
			if len(args) == 0 {
				return usage{"verify needs a record, as in: retotal verify out/quarry-lane/record.json"}
			}
			return nil
		},
		RunE: func(c *cobra.Command, args []string) error {
			worst := 0
			for _, file := range args {
				follows := false
				err := problem.Guard(file, func() (err error) {
					follows, err = verify(c, file, siteFile)
					return err
				})
				switch {
				case err != nil:
					worst = max(worst, exitCode(err, c.ErrOrStderr()))
				case !follows:
					worst = max(worst, inPart)
				}
			}
			if worst > 0 {
				return status(worst)
			}
			return nil
		},
	}
	c.Flags().StringVar(&siteFile, "site", "", "the site file, when it is no longer where the record says")
	return c
}

// verify checks one record and prints what it found.
func verify(c *cobra.Command, file, siteFile string) (follows bool, err error) {
	rec, _, path, bad := report.ReadRecord(file)
	if bad != nil {
		return false, bad
	}
	out := c.OutOrStdout()
	folder := filepath.Dir(path)
	if siteFile == "" {
		siteFile = filepath.Join(folder, filepath.FromSlash(rec.Site.File))
	}
	changed := 0
	check := func(name, want string) {
		switch got, err := hashOf(name); {
		case err != nil:
			fmt.Fprintf(out, "  input missing: %s\n", name)
			changed++
		case got != want:
			fmt.Fprintf(out, "  input changed: %s, SHA-256 is %s and was %s\n", name, got, want)
			changed++
		}
	}
	fmt.Fprintf(out, "%s\n", path)
	check(siteFile, rec.Site.SHA256)
	for _, in := range rec.Inputs {
		check(filepath.Join(filepath.Dir(siteFile), filepath.FromSlash(in.File)), in.SHA256)
	}
	if rec.Version != version {
		fmt.Fprintf(out, "  the results were made by version %s, this is %s\n", rec.Version, version)
	}
	j, err := prepare(siteFile, rec.Without...)
	if err != nil {
		return false, err
	}
	var known []string
	for _, in := range rec.Inputs {
		known = append(known, in.File)
	}
	for _, name := range report.LogFiles(j.log) {
		if !slices.Contains(known, name) {
			fmt.Fprintf(out, "  input new: %s, which log.files matches now and did not then\n", name)
			changed++
		}
	}
	if rec.Draws != nil {
		j.draws = rec.Draws.Count
	}
	temporary, err := os.MkdirTemp("", "verify-*")
	if err != nil {
		return false, err
	}
	defer os.RemoveAll(temporary)
	again, bad := report.NewFolder(temporary, j.log)
	if bad != nil {
		return false, bad
	}
	if _, err := j.write(c.Context(), again, folder, rec.Site.File, results.Requested(folder)); err != nil {
		return false, err
	}
	if err := again.Commit(""); err != nil {
		return false, err
	}
	different, err := compareFolders(out, folder, again.Path())
	if err != nil {
		return false, err
	}
	switch {
	case different == 0 && changed == 0:
		fmt.Fprintln(out, "  every byte of the results follows from site file and log")
	case different == 0:
		fmt.Fprintln(out, "  the results follow all the same")
	}
	return different == 0 && changed == 0, nil
}

// compareFolders prints the files that differ between what is there and what comes out now, and counts them.
func compareFolders(out io.Writer, there, now string) (different int, err error) {
	names := map[string]bool{}
	for _, root := range []string{there, now} {
		err = errors.Join(err, filepath.WalkDir(root, func(path string, entry fs.DirEntry, err error) error {
			if name, _ := filepath.Rel(root, path); err == nil && !entry.IsDir() && report.Own(name) {
				names[name] = true // what else lies there is the user's
			}
			return err
		}))
	}
	var sorted []string
	for name := range names {
		sorted = append(sorted, name)
	}
	slices.Sort(sorted)
	for _, name := range sorted {
		a, errA := os.ReadFile(filepath.Join(there, name))
		b, errB := os.ReadFile(filepath.Join(now, name))
		switch {
		case errA != nil:
			fmt.Fprintf(out, "  missing: %s\n", filepath.ToSlash(name))
		case errB != nil:
			fmt.Fprintf(out, "  not of the results: %s\n", filepath.ToSlash(name))
		case !bytes.Equal(a, b):
			fmt.Fprintf(out, "  differs: %s\n", filepath.ToSlash(name))
		default:
			continue
		}
		different++
	}
	return different, err
}

// hashOf returns the SHA-256 of a file.
func hashOf(name string) (string, error) {
	if info, err := os.Stat(name); err == nil && !info.Mode().IsRegular() {
		return "", site.ErrNotPlain
	}
	f, err := os.Open(name)
	if err != nil {
		return "", err
	}
	defer f.Close()
	h := sha256.New()
	if _, err := io.Copy(h, f); err != nil {
		return "", err
	}
	return hex.EncodeToString(h.Sum(nil)), nil
}
