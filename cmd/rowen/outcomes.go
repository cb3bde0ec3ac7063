package main

import (
	"fmt"

	"github.com/spf13/cobra"

	"rowen/ingest/register"
	"rowen/report"
)

func (sh *shell) outcomesCommand() *cobra.Command {
	return &cobra.Command{
		Use:     "outcomes FLEET WORKBOOK",
		Short:   "add the results that sales entered in a call list's workbook to outcomes.csv, each call once",
		Example: "  rowen outcomes fleet fleet/runs/2026-10/call_list.xlsx",
		Args:    exactly(2, "the fleet's folder and a filled call_list.xlsx"),
		RunE: func(_ *cobra.Command, args []string) error {
			filled, err := report.ReadFilled(args[1])
			if err != nil {
				return err
			}
			added, known, err := register.AddOutcomes(args[0], filled.Outcomes)
			if err != nil {
				return err
			}
			for _, n := range filled.Notes {
				fmt.Fprintln(sh.stdout, n)
			}
			fmt.Fprintf(sh.stdout, "%d outcomes taken into outcomes.csv, %d were there already\n", added, known)
			return nil
		},
	}
}
