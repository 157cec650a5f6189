package main

import (
	_ "embed"
	"io"

	"github.com/spf13/cobra"
)

// notices are the licences and notices of all linked code, which .ci/licenses writes.
//
//go:embed notices.txt
var notices string

func licensesCommand() *cobra.Command {
	return &cobra.Command{
		Use:   "licenses",
		Short: "The licences and notices of all code that is linked into the program",
		Long: `Prints the licence and the notices of every module that is linked into the program, and of the language's
standard library, as they came with the code. retotal itself stands under the Apache License 2.0.`,
		Example: "  retotal licenses",
		Args: func(_ *cobra.Command, args []string) error {
			if len(args) > 0 {
				return usage{"licenses takes no arguments"}
			}
			return nil
		},
		RunE: func(c *cobra.Command, _ []string) error {
			_, err := io.WriteString(c.OutOrStdout(), notices+cloudNotices)
			return err
		},
	}
}
