package main

import (
	"encoding/json"

	"github.com/spf13/cobra"

	"retotal/ingest/problem"
	"retotal/report"
	"retotal/report/lake"
)

func compareCommand() *cobra.Command {
	asJSON := false
	c := &cobra.Command{
		Use:   "compare RECORD RECORD",
		Short: "What changed between two runs, and what it did to the totals",
		Long: `Reads two correction records (record.json, or the folders that they are in) of one site and says which
inputs, settings, corrections and screening decisions differ, and what became of the totals and the days over the
limit. It computes nothing anew. Of the folders of two batches it says which sites changed.`,
		Example: "  retotal compare out/quarry-lane-3f2a91c07b1e out/quarry-lane",
		Args: func(_ *cobra.Command, args []string) error {
			if len(args) != 2 {
				return usage{"compare needs two records, as in: retotal compare old/site new/site"}
			}
			return nil
		},
		RunE: func(c *cobra.Command, args []string) error {
			if lake.IsBatch(args[0]) || lake.IsBatch(args[1]) {
				return compareBatches(c, args, asJSON)
			}
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

// compareBatches compares the folders of two batches.
func compareBatches(c *cobra.Command, args []string, asJSON bool) error {
	for _, a := range args {
		if !lake.IsBatch(a) {
			return problem.At(problem.Place{File: a}, "this is no batch, and a batch and a record cannot be compared",
				"the folders of two batches", "")
		}
	}
	found, err := lake.Compare(lake.Folder(args[0]), lake.Folder(args[1]))
	if err != nil {
		return err
	}
	if asJSON {
		return json.NewEncoder(c.OutOrStdout()).Encode(found)
	}
	found.Text(c.OutOrStdout())
	return nil
}
