package main

import (
	"fmt"
	"os"
	"path/filepath"

	"github.com/spf13/cobra"

	quarrylane "retotal/testdata/quarry-lane"
)

func demoCommand() *cobra.Command {
	return &cobra.Command{
		Use:   "demo DIR",
		Short: "Write a demo site to try things on",
		Long: `Writes an invented site into a new or empty folder: a site file, three months of one-minute readings,
and one day of them as plain text with a site file of its own. The same call gives the same files.`,
		Example: "  retotal demo try\n  retotal correct try/site.toml",
		Args: func(_ *cobra.Command, args []string) error {
			if len(args) != 1 {
				return usage{"demo needs one folder, as in: retotal demo try"}
			}
			return nil
		},
		RunE: func(c *cobra.Command, args []string) error {
			dir := args[0]
			if entries, err := os.ReadDir(dir); err == nil && len(entries) > 0 {
				return usage{fmt.Sprintf("%s is not empty; name a new folder", dir)}
			}
			if err := quarrylane.Write(dir); err != nil {
				return usage{fmt.Sprintf("the demo cannot be written: %v", err)}
			}
			fmt.Fprintf(c.OutOrStdout(),
				"The demo site is in %s. Try:\n  retotal check %[2]s\n  retotal correct %[2]s\n", dir,
				filepath.Join(dir, "site.toml"))
			return nil
		},
	}
}
