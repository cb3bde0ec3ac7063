package main

import (
	"github.com/spf13/cobra"

	"rowen/report"
)

func (sh *shell) explainCommand() *cobra.Command {
	return &cobra.Command{
		Use:     "explain RUN SITE",
		Example: "  rowen explain fleet/runs/2026-10 H-1001",
		Short:   "everything a run knows about one site, and how its answer came about",
		Args:    exactly(2, "a run's folder and a site id"),
		RunE:    func(_ *cobra.Command, args []string) error { return report.Explain(sh.stdout, args[0], args[1]) },
	}
}

func (sh *shell) compareCommand() *cobra.Command {
	var all bool
	moved := 10
	c := &cobra.Command{
		Use:     "compare RUN_A RUN_B",
		Example: "  rowen compare fleet/runs/2026-09 fleet/runs/2026-10",
		Short:   "who entered, left or moved between two runs, and the fact that changed",
		Args:    exactly(2, "two runs' folders, the earlier first"),
		RunE: func(_ *cobra.Command, args []string) error {
			c, err := report.Compare(args[0], args[1], moved)
			if err != nil {
				return err
			}
			differs, err := report.Differs(args[0], args[1])
			if err != nil {
				return err
			}
			report.PrintDiffers(sh.stdout, differs)
			c.Print(sh.stdout, all)
			return nil
		},
	}
	c.Flags().BoolVar(&all, "all", false, "show smaller changes and every fact too")
	c.Flags().IntVar(&moved, "moved", moved, "ranks that a site must move by to be shown")
	return c
}
