package main

import (
	"context"
	"fmt"
	"strings"

	"github.com/spf13/cobra"
)

// partCommand is rowen part STAGE: one stage of the monthly job on one shard.
func partCommand(sh *shell) *cobra.Command {
	c := &cobra.Command{
		Use:   "part STAGE",
		Short: "one stage of the monthly job on one shard, for an engine that runs many",
		Long: `The monthly job, cut into stages that other programs can run on many machines
which share a file system. Sites are dealt out to shards as runs of neighbors.

  plan FLEET WORK    fix settings, register and number of shards in a new work folder
  read WORK          bring the fleet's ledger up to date, once
  survey WORK SHARD  survey a shard (0 to shards - 1, in any order, on any machine)
  merge WORK         join the surveys, once all are there
  judge WORK SHARD   judge a shard
  rank WORK          put the fleet in order, once all shards are judged
  render WORK SHARD  write a shard's rows and sheets
  finish WORK        write and publish the run, once all shards are rendered

A stage writes its part beside and renames it. Run again, it does nothing where the
part is there, so that a scheduler may repeat whatever failed or was killed. The run's
folder has the bytes that rowen run gives, whatever the number of shards. The work
folder holds personal data: it is for its owner alone; delete it afterwards.`,
		Example: "  rowen part judge /scratch/2026-10 3",
		RunE: func(c *cobra.Command, args []string) error {
			if len(args) > 0 {
				return fmt.Errorf("%w: there is no stage %q; see rowen part --help", errUsage, args[0])
			}
			return c.Help()
		},
	}
	c.AddCommand(planCommand(sh), stageCommand(sh, "read", "bring the fleet's ledger up to date, once", (*stage).readAll),
		shardCommand(sh, "survey", "survey one shard", (*stage).survey), stageCommand(sh, "merge", "join the surveys of all shards", (*stage).merge),
		shardCommand(sh, "judge", "judge one shard", (*stage).judgeShard),
		stageCommand(sh, "rank", "put the fleet in order, once all shards are judged", (*stage).rankAll),
		shardCommand(sh, "render", "write the rows and sheets of one shard", (*stage).render), finishCommand(sh))
	return c
}

func planCommand(sh *shell) *cobra.Command {
	var month string
	var shards int
	var ask request
	c := &cobra.Command{
		Use:     "plan FLEET WORK",
		Example: "  rowen part plan fleet /scratch/2026-10 --shards 16",
		Short:   "fix settings, register and number of shards in a new work folder",
		Args:    exactly(2, "the fleet's folder and a work folder"),
		RunE: func(c *cobra.Command, args []string) error {
			set, err := ask.instead.settings(c, args[0], map[string]string{"month": "month"})
			if err != nil {
				return err
			}
			made, err := planJob(args[1], args[0], set, ask, shards)
			return saidPart(sh, made, err, "plan")
		},
	}
	ask.runFlags(c, &month)
	c.Flags().IntVar(&shards, "shards", 1, "how many parts the sites are dealt out to")
	return c
}

// stageCommand is a stage on the whole fleet.
func stageCommand(sh *shell, name, short string, run func(*stage, context.Context) (bool, error)) *cobra.Command {
	var workers int
	c := &cobra.Command{
		Use:     name + " WORK",
		Example: "  rowen part " + name + " /scratch/2026-10",
		Short:   short,
		Args:    exactly(1, "the work folder"),
		RunE: func(c *cobra.Command, args []string) error {
			s, err := openStage(sh, args[0], workers)
			if err != nil {
				return err
			}
			made, err := run(s, c.Context())
			return saidPart(sh, made, err, name)
		},
	}
	workersFlag(c, &workers)
	return c
}

// shardCommand is a stage on one shard.
func shardCommand(sh *shell, name, short string, run func(*stage, context.Context, string) (bool, error)) *cobra.Command {
	var workers int
	c := &cobra.Command{
		Use:     name + " WORK SHARD",
		Example: "  rowen part " + name + " /scratch/2026-10 3",
		Short:   short,
		Args:    exactly(2, "the work folder and the shard's number"),
		RunE: func(c *cobra.Command, args []string) error {
			s, err := openStage(sh, args[0], workers)
			if err != nil {
				return err
			}
			made, err := run(s, c.Context(), args[1])
			return saidPart(sh, made, err, name+" "+args[1])
		},
	}
	workersFlag(c, &workers)
	return c
}

func finishCommand(sh *shell) *cobra.Command {
	var workers int
	c := &cobra.Command{
		Use:     "finish WORK",
		Example: "  rowen part finish /scratch/2026-10",
		Short:   "write and publish the run, once all shards are rendered",
		Args:    exactly(1, "the work folder"),
		RunE: func(c *cobra.Command, args []string) error {
			s, err := openStage(sh, args[0], workers)
			if err != nil {
				return err
			}
			if err := s.conclude(c.Context()); err != nil {
				return err
			}
			s.say(sh.stdout)
			return s.verdict()
		},
	}
	workersFlag(c, &workers)
	return c
}

func workersFlag(c *cobra.Command, workers *int) {
	c.Flags().IntVar(workers, "workers", 0, "sites worked on at the same time (default: one per core)")
}

// saidPart logs what came of a stage.
func saidPart(sh *shell, made bool, err error, what string) error {
	if err != nil {
		return err
	}
	done := "done"
	if !made {
		done = "was done already"
	}
	log := sh.logger()
	log.Info().Str("part", strings.ReplaceAll(what, " ", "-")).Msg(done)
	return nil
}
