package main

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"time"

	"github.com/spf13/cobra"

	"rowen/analyze"
	"rowen/analyze/rank"
	"rowen/config"
	"rowen/ingest"
	"rowen/ingest/ledger"
	"rowen/ingest/readings"
	"rowen/ingest/register"
	"rowen/report"
)

// runJob is the monthly job, from a fleet's folder to a run's folder. This is
// the main path: read, survey, judge, rank, report. The stages of stage.go take the
// same steps, each on a shard of the fleet.
func (sh *shell) runJob(ctx context.Context, dir string, set config.Settings, ask request) (*outcome, error) {
	j := newOutcome(sh, dir, set)
	j.instead = ask.instead

	fleet, err := readRegister(dir, set, ask.instead.tariffs)
	if err != nil {
		return nil, err
	}
	run, past, err := j.upToJudged(ctx, fleet, ask)
	if err != nil {
		return nil, err
	}
	defer run.Discard()
	kept, err := report.OpenJudged(fleet, run.Scratch("judged"))
	if err != nil {
		return nil, err
	}
	defer kept.Close()
	order, err := j.rank(kept)
	if err != nil {
		return nil, err
	}
	rendered := run.Scratch("rendered")
	if err := report.Render(kept, order.Standings, j.manifest, rendered); err != nil {
		return nil, err
	}
	return j, j.finish(ctx, kept, order, run, past, rendered)
}

// upToJudged reads, surveys and judges the fleet. What that takes of memory, ledger
// and survey, is let go of when it returns; the findings wait in the run's folder.
func (j *outcome) upToJudged(ctx context.Context, fleet *ingest.Fleet, ask request) (run *report.Run, past *report.Past, err error) {
	source, book, err := ledger.UpdateAndOpen(ctx, j.dir, ledger.Sites(fleet), mappings(j.set), j.ledgerOptions(ask))
	if err != nil {
		return nil, nil, err
	}
	defer source.Close()

	job, err := j.job(fleet, source)
	if err != nil {
		return nil, nil, err
	}
	j.read(fleet, book, job)
	survey, err := job.Survey(ctx)
	if err != nil {
		return nil, nil, err
	}
	if err := j.surveyed(survey); err != nil {
		return nil, nil, err
	}
	if past, err = j.remember(fleet, survey.Month); err != nil {
		return nil, nil, err
	}
	if run, err = report.NewRun(j.folder(ask.out), ask.replace); err != nil {
		return nil, nil, err
	}
	if err := j.judge(ctx, job, survey, analyze.Whole, run.Scratch("judged")); err != nil {
		run.Discard()
		return nil, nil, err
	}
	return run, past, nil
}

// job is the judgement of a fleet by the settings.
func (j *outcome) job(fleet *ingest.Fleet, source ingest.Source) (*analyze.Fleet, error) {
	options, err := analyzeOptions(j.set, j.workers)
	if err != nil {
		return nil, err
	}
	job := analyze.NewFleet(fleet, source, options)
	return job, job.Check()
}

// judge judges one shard and keeps its findings in a folder of their own.
func (j *outcome) judge(ctx context.Context, job *analyze.Fleet, survey *analyze.Survey, shard analyze.Shard, into string) error {
	judged, err := report.NewJudged(into)
	if err != nil {
		return err
	}
	return errors.Join(job.Judge(ctx, survey, shard, j.judged(judged.Add)), judged.Close())
}

// ranking is the fleet in its order, with what is counted on the way.
type ranking struct {
	Standings []analyze.Standing // by the sites' ids
	Lanes     []report.LaneCount
	Thin      string // what the report month lacks; "": nothing
}

// rank orders the fleet by the keys of its findings.
func (j *outcome) rank(kept *report.Found) (*ranking, error) {
	var ranked *analyze.Ranked
	var err error
	if j.lacking.noList == "" {
		ranked, err = analyze.Rank(kept.Keys, j.set.Rank.CallsPerBranch, j.set.Rank.TripKM, kept.Draws)
	} else {
		ranked, err = analyze.Unranked(kept.Keys)
	}
	if err != nil {
		return nil, err
	}
	r := &ranking{Thin: ranked.Thin, Standings: ranked.Standings}
	for _, l := range rank.Lanes {
		r.Lanes = append(r.Lanes, report.LaneCount{Lane: string(l), Sites: ranked.Lanes[l]})
	}
	return r, nil
}

// finish writes and publishes the run.
func (j *outcome) finish(ctx context.Context, kept *report.Found, order *ranking, run *report.Run, past *report.Past, rendered ...string) error {
	j.ranked(kept, order)
	var err error
	if j.first, err = kept.First(firstLines, order.Standings); err != nil {
		return err
	}
	said, err := report.OpenRendered(rendered...)
	if err != nil {
		return err
	}
	defer said.Close()
	if err := run.Finish(kept, said, j.rejects, j.manifest, past); err != nil {
		return err
	}
	return j.publish(ctx, run)
}

// firstLines is how many lines of the list the terminal shows.
const firstLines = 10

// publish puts a finished run under its name, unless the job was stopped.
func (j *outcome) publish(ctx context.Context, run *report.Run) error {
	if err := ctx.Err(); err != nil {
		return err
	}
	if err := run.Publish(); err != nil {
		return err
	}
	if run.Kept != "" {
		j.log.Warn().Str("kept", run.Kept).Msg("somebody had worked in the earlier run's folder: it is kept")
	}
	return nil
}

// request is what a command line asks of one job, beside the settings.
type request struct {
	out           string // the run's folder; "": FLEET/runs/YYYY-MM
	replace       bool
	verify        bool
	acceptMissing bool
	instead       whatIf
}

// runFlags are what a run can be asked for, in one piece or in parts.
func (r *request) runFlags(c *cobra.Command, month *string) {
	r.instead.flags(c)
	r.readingFlags(c)
	c.Flags().StringVar(&r.out, "out", "", "the run's folder (default FLEET/runs/YYYY-MM)")
	c.Flags().BoolVar(&r.replace, "replace", false, "write the new run although somebody changed files of the old one, which is kept beside it as MONTH.kept-1")
	c.Flags().StringVar(month, "month", "", "report month as 2026-10 (default: the last complete month in the data)")
}

func (r *request) readingFlags(c *cobra.Command) {
	c.Flags().BoolVar(&r.verify, "verify", false, "read every byte of every reading file, to see whether it has changed")
	c.Flags().BoolVar(&r.acceptMissing, "accept-missing", false, "accept that reading files of earlier runs are gone: they were removed on purpose")
}

// readRegister reads the tables and the weather of a fleet's folder.
func readRegister(dir string, set config.Settings, tariffsFile string) (*ingest.Fleet, error) {
	if info, err := os.Stat(dir); err != nil || !info.IsDir() {
		return nil, fmt.Errorf("reading the fleet: %s is no folder; name the folder that holds sites.csv", dir)
	}
	fleet, err := register.Read(dir, register.Options{
		Timezone: set.Defaults.Timezone, TariffID: set.Defaults.TariffID, Profile: set.Defaults.Profile,
		TariffsFile: tariffsFile,
	})
	if err != nil {
		return nil, err
	}
	forgetOptedOut(fleet)
	weather := filepath.Join(dir, "weather")
	if _, err := os.Stat(weather); errors.Is(err, fs.ErrNotExist) {
		return fleet, nil
	}
	stations, rejects, err := readings.ReadWeather(weather, limits(set))
	if err != nil {
		return nil, err
	}
	fleet.Stations = stations
	fleet.Rejects = append(fleet.Rejects, rejects...)
	return fleet, nil
}

// limits is what one file may ask of memory.
func limits(set config.Settings) readings.Limits {
	return readings.Limits{LineBytes: int(set.Limits.MaxLineMB * (1 << 20)), UnpackedRatio: int64(set.Limits.MaxUnpackedRatio)}
}

// forgetOptedOut drops the names and contacts of those who must not be called:
// what is not known cannot reach a list, a brief or a log.
func forgetOptedOut(fleet *ingest.Fleet) {
	fleet.Change(func(s *ingest.Site) bool {
		if s.DoNotContact {
			s.Customer, s.Contact = "", ""
		}
		return s.DoNotContact
	})
}

func (sh *shell) runCommand() *cobra.Command {
	var month string
	var workers int
	var ask request
	c := &cobra.Command{
		Use:     "run FLEET",
		Example: "  rowen run fleet\n  rowen run fleet --month 2026-10 --set money.cost_per_module=700",
		Short:   "the monthly job: judge every site of the fleet's folder and rank whom to call",
		Args:    exactly(1, "the fleet's folder"),
		RunE: func(c *cobra.Command, args []string) error {
			set, err := ask.instead.settings(c, args[0], map[string]string{"month": "month", "workers": "workers"})
			if err != nil {
				return err
			}
			stop, err := startProfile(sh.profile)
			if err != nil {
				return err
			}
			j, err := sh.runJob(c.Context(), args[0], set, ask)
			stop()
			if err != nil {
				return err
			}
			j.say(sh.stdout)
			return j.verdict()
		},
	}
	ask.runFlags(c, &month)
	workersFlag(c, &workers)
	return c
}

// loadSettings reads the fleet's settings with the flags that were given; keys
// maps a flag to its key.
func loadSettings(c *cobra.Command, dir string, keys map[string]string) (config.Settings, error) {
	return config.Load(dir, givenFlags(c, keys), os.Environ())
}

// givenFlags are the flags of the command line, by the keys that they set.
func givenFlags(c *cobra.Command, keys map[string]string) map[string]string {
	given := map[string]string{}
	for flag, key := range keys {
		if f := c.Flags().Lookup(flag); f != nil && f.Changed {
			given[key] = f.Value.String()
		}
	}
	return given
}

var now = time.Now // the wall clock, for timings only
