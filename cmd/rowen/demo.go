package main

import (
	"fmt"
	"os"
	"path/filepath"

	"github.com/spf13/cobra"

	"rowen/config"
	"rowen/ingest/demo"
)

func (sh *shell) demoCommand() *cobra.Command {
	o := demo.Default()
	dir := "demo"
	c := &cobra.Command{
		Use:     "demo",
		Example: "  rowen demo\n  rowen demo --seed 7 --sites 60 --step 15",
		Short:   "make an invented fleet and run the whole job on it",
		Args:    exactly(0, "no argument"),
		RunE: func(c *cobra.Command, _ []string) error {
			log := sh.logger()
			if err := o.Check(); err != nil {
				return fmt.Errorf("%w: %v", errUsage, err)
			}
			if err := emptyOrDemo(dir); err != nil {
				return err
			}
			log.Info().Int("sites", o.Sites).Int("months", o.Months).Uint64("seed", o.Seed).Str("folder", dir).Msg("making an invented fleet")
			if err := demo.Make(o).Write(dir, demo.WriteOptions{}); err != nil {
				return err
			}
			set, err := config.Load(dir, nil, os.Environ())
			if err != nil {
				return err
			}
			j, err := sh.runJob(c.Context(), dir, set, request{})
			if err != nil {
				return err
			}
			j.say(sh.stdout)
			return j.verdict()
		},
	}
	c.Flags().StringVar(&dir, "dir", dir, "where the fleet's folder is made")
	c.Flags().Uint64Var(&o.Seed, "seed", o.Seed, "another seed makes another fleet")
	c.Flags().IntVar(&o.Sites, "sites", o.Sites, "how many sites")
	c.Flags().IntVar(&o.Months, "months", o.Months, "how many months of readings")
	c.Flags().IntVar(&o.StepMinutes, "step", o.StepMinutes, "minutes between readings: 60, 30, 15 or 5")
	return c
}

// demoMark is left in a folder that the demo made, so that it may make it anew.
const demoMark = ".rowen-demo"

// emptyOrDemo clears the folder of an earlier demo, and refuses any other that
// is not empty.
func emptyOrDemo(dir string) error {
	entries, err := os.ReadDir(dir)
	if os.IsNotExist(err) || (err == nil && len(entries) == 0) {
		return markDemo(dir)
	}
	if err != nil {
		return fmt.Errorf("making the demo's folder: %w", err)
	}
	if _, err := os.Stat(dir + "/" + demoMark); err != nil {
		return fmt.Errorf("making the demo's folder: %s is not empty and was not made by the demo; name another with --dir", dir)
	}
	if err := os.RemoveAll(dir); err != nil {
		return fmt.Errorf("clearing the earlier demo: %w", err)
	}
	return markDemo(dir)
}

func markDemo(dir string) error {
	if err := os.MkdirAll(dir, 0o755); err != nil {
		return fmt.Errorf("making the demo's folder: %w", err)
	}
	return os.WriteFile(filepath.Join(dir, demoMark), []byte("made by rowen demo; rebuilt each time\n"), 0o644)
}
