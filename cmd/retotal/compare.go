package main

import (
	"encoding/json"

	"github.com/spf13/cobra"

	"retotal/report"
)

func compareCommand() *cobra.Command {
	asJSON := false
	c := &cobra.Command{
		Use:   "compare RECORD RECORD",
		Short: "What changed between two runs, and what it did to the totals",
		Long: `Reads two correction records (record.json, or the folders that they are in) of one site and says which
inputs, settings, corrections and screening decisions differ, and what became of the totals and the days over the
limit. It computes nothing anew.`,
		Example: "  retotal compare out/quarry-lane-3f2a91c07b1e out/quarry-lane",
		Args: func(_ *cobra.Command, args []string) error {
			if len(args) != 2 {
				return usage{"compare needs two records, as in: retotal compare old/site new/site"}
			}
			return nil
		},
		RunE: func(c *cobra.Command, args []string) error {
			old, _, _, bad := report.ReadRecord(args[0])
			if bad != nil {
				return bad
			}
			now, _, _, bad := report.ReadRecord(args[1])
			if bad != nil {
				return bad
			}
			found := report.Compare(old, now)
			if asJSON {
				return json.NewEncoder(c.OutOrStdout()).Encode(found)
			}
			found.Text(c.OutOrStdout())
			return nil
		},
	}
	c.Flags().BoolVar(&asJSON, "json", false, "print the comparison as JSON")
	return c
}
