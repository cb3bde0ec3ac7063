package main

import (
	"fmt"
	"os"
	"path/filepath"

	"github.com/spf13/cobra"

	"rowen/config"
	"rowen/report"
)

func (sh *shell) historyCommand() *cobra.Command {
	var out, site string
	c := &cobra.Command{
		Use:     "history FLEET",
		Example: "  rowen history fleet\n  rowen history fleet --site H-1001",
		Short:   "every month's run in one table: where each site stood, what changed and why, predicted against realized",
		Args:    exactly(1, "the fleet's folder"),
		RunE: func(_ *cobra.Command, args []string) error {
			runs := filepath.Join(args[0], "runs")
			if site != "" {
				return report.PrintSiteHistory(sh.stdout, runs, site)
			}
			set, err := config.Load(args[0], nil, os.Environ())
			if err != nil {
				return err
			}
			if out == "" {
				out = runs
			}
			h, err := report.WriteHistory(runs, out, report.Manifest{Program: "rowen", Version: version, Currency: set.Currency})
			if err != nil {
				return err
			}
			h.Print(sh.stdout)
			log := sh.logger()
			for _, n := range h.Notes {
				log.Warn().Msg(n)
			}
			fmt.Fprintf(sh.stdout, "%d rows in %s and history.csv\n", h.Rows, filepath.Join(out, "history.parquet"))
			return nil
		},
	}
	c.Flags().StringVar(&out, "out", "", "the folder for history.parquet and history.csv (default FLEET/runs)")
	c.Flags().StringVar(&site, "site", "", "print one site's months and write nothing")
	return c
}
