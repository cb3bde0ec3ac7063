package main

import (
	"fmt"
	"os"
	"path/filepath"
	"strings"

	"github.com/spf13/cobra"

	"rowen/report"
)

func (sh *shell) exportCommand() *cobra.Command {
	var dir string
	c := &cobra.Command{
		Use: "export RUN [TABLE ...]",
		Example: "  rowen export fleet/runs/2026-10 sites > sites.arrows\n" +
			"  rowen export fleet/runs/2026-10 --files arrow",
		Short: "tables of a run in Arrow's IPC format: one as a stream on standard output, or any number as files",
		Args: func(_ *cobra.Command, args []string) error {
			switch {
			case len(args) == 0:
				return fmt.Errorf("%w: rowen export takes a run's folder and tables: %s", errUsage, strings.Join(report.ArrowTables(), ", "))
			case dir == "" && len(args) != 2:
				return fmt.Errorf("%w: rowen export takes a run's folder and one table for standard output; give --files DIR for several", errUsage)
			}
			return nil
		},
		RunE: func(_ *cobra.Command, args []string) error {
			run, tables := args[0], args[1:]
			if dir == "" {
				if isTerminal(sh.stdout) {
					return fmt.Errorf("%w: rowen export writes bytes, not text: send it to a file or a program", errUsage)
				}
				return report.ExportArrow(sh.stdout.Bytes(), run, tables[0])
			}
			if len(tables) == 0 {
				tables = report.ArrowTables()
			}
			if err := os.MkdirAll(dir, 0o755); err != nil {
				return fmt.Errorf("making the folder for the tables: %w", err)
			}
			for _, t := range tables {
				if err := report.ExportArrowFile(filepath.Join(dir, t+".arrow"), run, t); err != nil {
					return err
				}
			}
			return nil
		},
	}
	c.Flags().StringVar(&dir, "files", "", "write TABLE.arrow files into this folder; every table where none is named")
	return c
}
