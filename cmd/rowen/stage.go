package main

import (
	"context"
	"fmt"
	"strconv"

	"rowen/analyze"
	"rowen/ingest"
	"rowen/ingest/ledger"
	"rowen/ingest/packed"
	"rowen/ingest/parts"
	"rowen/report"
)

// The stages of the monthly job, for an engine that runs many shards. Each takes
// the steps of runJob that it is named for, reads what the stages before it wrote
// into the work folder, and writes a part of its own. A stage whose part is there
// already does nothing: it may be run again at any time.
const (
	stagePlan   = "plan"
	stageRead   = "read"
	stageSurvey = "survey"
	stageMerge  = "merge"
	stageJudge  = "judge"
	stageRank   = "rank"
	stageRender = "render"
)

// stage is a stage at work: the plan, the register and what it judges by.
type stage struct {
	*outcome
	plan *plan
	parts.Folder
	ask request
}

// openStage is every stage's way in.
func openStage(sh *shell, work string, workers int) (*stage, error) {
	p, folder, err := openPlan(work)
	if err != nil {
		return nil, err
	}
	set := p.Settings
	set.Workers = workers
	s := &stage{newOutcome(sh, p.Fleet, set), p, folder, p.request()}
	s.instead = s.ask.instead
	return s, nil
}

// shard is a shard by its number on the command line.
func (s *stage) shard(number string) (analyze.Shard, error) {
	n, err := strconv.Atoi(number)
	if err != nil || n < 0 || n >= s.plan.Shards {
		return analyze.Shard{}, fmt.Errorf("%w: shard %q must be a number from 0 to %d", errUsage, number, s.plan.Shards-1)
	}
	return analyze.Shard{N: n, Of: s.plan.Shards}, nil
}

// readAll brings the ledger up to date and keeps what that said.
func (s *stage) readAll(ctx context.Context) (bool, error) {
	return s.Write(parts.ID{Stage: stageRead}, func() ([]byte, error) {
		fleet, err := readRegister(s.dir, s.set, s.plan.Tariffs)
		if err != nil {
			return nil, err
		}
		book, err := ledger.Update(ctx, s.dir, ledger.Sites(fleet), mappings(s.set), s.ledgerOptions(s.ask))
		s.bar.done()
		return packed.Append(nil, book), err
	})
}

// book is what reading said.
func (s *stage) book() (*ledger.Report, error) {
	b, err := s.Read(parts.ID{Stage: stageRead})
	if err != nil {
		return nil, err
	}
	book := &ledger.Report{}
	if _, err := packed.Take(b, book); err != nil {
		return nil, fmt.Errorf("reading what the stage read left: it %w", err)
	}
	return book, nil
}

// fromLedger gives the judgement of the fleet by the readings that the stage read
// read, and by no others.
func (s *stage) fromLedger(ctx context.Context, with func(*analyze.Fleet) error) error {
	book, err := s.book()
	if err != nil {
		return err
	}
	fleet, err := readRegister(s.dir, s.set, s.plan.Tariffs)
	if err != nil {
		return err
	}
	source, err := ledger.Open(ctx, s.dir, ledger.Sites(fleet))
	if err != nil {
		return err
	}
	defer source.Close()
	if !source.Holds(book) {
		return fmt.Errorf("opening the ledger: %s was read again since the job was planned: plan it anew in an empty work folder", s.dir)
	}
	job, err := s.job(fleet, source)
	if err != nil {
		return err
	}
	return with(job)
}

func (s *stage) survey(ctx context.Context, number string) (bool, error) {
	shard, err := s.shard(number)
	if err != nil {
		return false, err
	}
	return s.Write(parts.ID{Stage: stageSurvey, Shard: shard.N}, func() (b []byte, err error) {
		err = s.fromLedger(ctx, func(job *analyze.Fleet) error {
			sketch, err := job.Sketch(ctx, shard)
			if err == nil {
				b = sketch.Append(nil)
			}
			return err
		})
		return b, err
	})
}

// merge joins the sketches of all shards into the survey, and settles what earlier
// runs told of the outcomes of calls: the judgement must not find other runs there
// from shard to shard.
func (s *stage) merge(context.Context) (bool, error) {
	return s.Write(parts.ID{Stage: stageMerge}, func() ([]byte, error) {
		job, err := s.soFar()
		if err != nil {
			return nil, err
		}
		sketch := job.Blank()
		for n := range s.plan.Shards {
			b, err := s.Read(parts.ID{Stage: stageSurvey, Shard: n})
			if err == nil {
				err = sketch.Join(b)
			}
			if err != nil {
				return nil, err
			}
		}
		survey := job.Merge(sketch)
		if err := s.surveyed(survey); err != nil {
			return nil, err
		}
		if _, err := s.remember(job.Register, survey.Month); err != nil {
			return nil, err
		}
		return survey.Append(packed.Append(nil, told{job.Register.Outcomes})), nil
	})
}

// judgeShard judges one shard.
func (s *stage) judgeShard(ctx context.Context, number string) (bool, error) {
	shard, err := s.shard(number)
	if err != nil {
		return false, err
	}
	return s.Make(parts.ID{Stage: stageJudge, Shard: shard.N}, func(dir string) error {
		return s.fromLedger(ctx, func(job *analyze.Fleet) error {
			survey, outcomes, err := s.merged(job)
			if err != nil {
				return err
			}
			job.Register.Outcomes = outcomes
			defer s.bar.done()
			return s.judge(ctx, job, survey, shard, dir)
		})
	})
}

// told are the outcomes of calls with what earlier runs told of them.
type told struct{ Outcomes []ingest.Outcome }

// merged reads what the stage merge wrote.
func (s *stage) merged(job *analyze.Fleet) (*analyze.Survey, []ingest.Outcome, error) {
	b, err := s.Read(parts.ID{Stage: stageMerge})
	if err != nil {
		return nil, nil, err
	}
	var t told
	b, err = packed.Take(b, &t)
	if err != nil {
		return nil, nil, fmt.Errorf("reading what the stage merge left: it %w", err)
	}
	survey, err := job.TakeSurvey(b)
	return survey, t.Outcomes, err
}

// soFar is the job after its reading, without the readings themselves.
func (s *stage) soFar() (*analyze.Fleet, error) {
	fleet, err := readRegister(s.dir, s.set, s.plan.Tariffs)
	if err != nil {
		return nil, err
	}
	book, err := s.book()
	if err != nil {
		return nil, err
	}
	job, err := s.job(fleet, nil)
	if err != nil {
		return nil, err
	}
	s.outcome.read(fleet, book, job)
	return job, nil
}

// upToJudge is the job up to its judgement: what reading and surveying said.
func (s *stage) upToJudge() (*analyze.Fleet, *analyze.Survey, error) {
	job, err := s.soFar()
	if err != nil {
		return nil, nil, err
	}
	survey, _, err := s.merged(job)
	if err == nil {
		err = s.surveyed(survey)
	}
	return job, survey, err
}

// openJudged opens the findings of some shards.
func (s *stage) openJudged(fleet *ingest.Fleet, shards ...int) (*report.Found, error) {
	dirs, err := s.folders(stageJudge, shards...)
	if err != nil {
		return nil, err
	}
	return report.OpenJudged(fleet, dirs...)
}

// folders are those of a stage's parts, in the order of the shards.
func (s *stage) folders(of string, shards ...int) ([]string, error) {
	var dirs []string
	for _, n := range shards {
		dir, err := s.Open(parts.ID{Stage: of, Shard: n})
		if err != nil {
			return nil, err
		}
		dirs = append(dirs, dir)
	}
	return dirs, nil
}

// all are the numbers of all shards.
func (s *stage) all() []int {
	n := make([]int, s.plan.Shards)
	for i := range n {
		n[i] = i
	}
	return n
}

// inOrder is what the stage rank writes.
type inOrder struct {
	Month string
	Order ranking
}

// rankAll ranks the fleet by the keys of all shards.
func (s *stage) rankAll(context.Context) (bool, error) {
	return s.Write(parts.ID{Stage: stageRank}, func() ([]byte, error) {
		job, survey, err := s.upToJudge()
		if err != nil {
			return nil, err
		}
		kept, err := s.openJudged(job.Register, s.all()...)
		if err != nil {
			return nil, err
		}
		defer kept.Close()
		order, err := s.rank(kept)
		if err != nil {
			return nil, err
		}
		return packed.Append(nil, inOrder{survey.Month.String(), *order}), nil
	})
}

// order reads what the stage rank wrote.
func (s *stage) order() (*inOrder, error) {
	b, err := s.Read(parts.ID{Stage: stageRank})
	if err != nil {
		return nil, err
	}
	x := &inOrder{}
	if _, err := packed.Take(b, x); err != nil {
		return nil, fmt.Errorf("reading what the stage rank left: it %w", err)
	}
	return x, nil
}

// render writes the rows and sheets of one shard.
func (s *stage) render(_ context.Context, number string) (bool, error) {
	shard, err := s.shard(number)
	if err != nil {
		return false, err
	}
	return s.Make(parts.ID{Stage: stageRender, Shard: shard.N}, func(dir string) error {
		x, err := s.order()
		if err != nil {
			return err
		}
		fleet, err := readRegister(s.dir, s.set, s.plan.Tariffs)
		if err != nil {
			return err
		}
		kept, err := s.openJudged(fleet, shard.N)
		if err != nil {
			return err
		}
		defer kept.Close()
		s.manifest.Month = x.Month
		return report.Render(kept, x.Order.Standings, s.manifest, dir)
	})
}

// conclude writes and publishes the run from what is rendered of all shards.
func (s *stage) conclude(ctx context.Context) error {
	job, survey, err := s.upToJudge()
	if err != nil {
		return err
	}
	past, err := s.remember(job.Register, survey.Month)
	if err != nil {
		return err
	}
	x, err := s.order()
	if err != nil {
		return err
	}
	rendered, err := s.folders(stageRender, s.all()...)
	if err != nil {
		return err
	}
	kept, err := s.openJudged(job.Register, s.all()...)
	if err != nil {
		return err
	}
	defer kept.Close()
	run, err := report.NewRun(s.folder(s.ask.out), s.ask.replace)
	if err != nil {
		return err
	}
	defer run.Discard()
	return s.finish(ctx, kept, &x.Order, run, past, rendered...)
}
