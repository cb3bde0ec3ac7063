package report

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"

	"rowen/analyze"
	"rowen/analyze/rank"
	"rowen/ingest"
	"rowen/ingest/packed"
	"rowen/report/page"
)

// Judged is what the judgement of a run of neighbours leaves behind, in a folder of
// its own: each finding whole, its key for the ranking, and the rows of the two tables
// that are made from what a finding then sheds. Nothing of it stays in
// memory. The same findings give the same bytes.
//
// A finding may hold what a customer said in an earlier call: folder and files are
// for their owner alone.
type Judged struct {
	dir                                  string
	options, monthly, found, keys, draws *pile
	index                                judgedIndex
}

// judgedIndex is what is counted on the way.
type judgedIndex struct {
	OptionRows, MonthRows int
	Failed                []Failed
}

// Failed is a site that could not be judged.
type Failed struct{ SiteID, Says string }

// keptFinding is a finding as it lies on disk. Its site is the register's, and is not kept.
type keptFinding struct {
	SiteID string
	Chart  []page.Month // of a site that may get a brief
	Found  analyze.Finding
}

// drawn are the draws of what a site is offered. Ranking reads them apart from the
// rest, and nobody after it.
type drawn struct{ NetBenefit []float32 }

// NewJudged keeps the findings of one shard in a folder, made where it is not there.
func NewJudged(dir string) (*Judged, error) {
	j := &Judged{dir: dir}
	var noOptions, noMonths, noFindings, noKeys, noDraws error
	err := os.MkdirAll(dir, 0o700)
	if err == nil {
		j.options, noOptions = newPile(filepath.Join(dir, "options"))
		j.monthly, noMonths = newPile(filepath.Join(dir, "monthly"))
		j.found, noFindings = newPile(filepath.Join(dir, "found"))
		j.keys, noKeys = newPile(filepath.Join(dir, "keys"))
		j.draws, noDraws = newPile(filepath.Join(dir, "draws"))
	}
	if err := errors.Join(err, noOptions, noMonths, noFindings, noKeys, noDraws); err != nil {
		return nil, fmt.Errorf("keeping the findings: %w", err)
	}
	return j, nil
}

// Add writes one finding, which is used up.
func (j *Judged) Add(f *analyze.Finding) error {
	id := f.Site.ID
	options, months := optionRows(f), monthRows(f)
	j.index.OptionRows += len(options)
	j.index.MonthRows += len(months)
	if f.Failed != "" {
		j.index.Failed = append(j.index.Failed, Failed{id, f.Failed})
	}
	x := keptFinding{SiteID: id, Chart: briefMonths(f)}
	f.Shed()
	key := f.Key()
	var draws []drawn
	if key.Drawn > 0 {
		draws = []drawn{{f.Chosen.Draws}}
		f.Chosen.Draws = nil
	}
	x.Found = *f
	x.Found.Site, x.Found.Location = nil, nil
	return errors.Join(addTo(j.options, id, options...), addTo(j.monthly, id, months...), addTo(j.found, id, x), addTo(j.keys, id, key), addTo(j.draws, id, draws...))
}

// Close brings the findings to disk; without it they are none.
func (j *Judged) Close() error {
	err := errors.Join(j.options.close(), j.monthly.close(), j.found.close(), j.keys.close(), j.draws.close(), os.WriteFile(filepath.Join(j.dir, "index"), packed.Append(nil, &j.index), 0o600))
	if err != nil {
		return fmt.Errorf("keeping the findings: %w", err)
	}
	return nil
}

// Found are the findings of a fleet, from the folders of its shards.
type Found struct {
	OptionRows, MonthRows int
	Failed                []Failed // in the order in which they were judged

	register                             *ingest.Fleet
	options, monthly, found, keys, draws piles
}

// OpenJudged opens the folders of all shards, in their order.
func OpenJudged(register *ingest.Fleet, dirs ...string) (*Found, error) {
	k := &Found{register: register}
	err := error(nil)
	for _, dir := range dirs {
		err = errors.Join(err, k.add(dir))
	}
	if err = errors.Join(err, k.options.sort(), k.monthly.sort(), k.found.sort(), k.keys.sort(), k.draws.sort()); err != nil {
		return nil, errors.Join(fmt.Errorf("reading the findings: %w", err), k.Close())
	}
	return k, nil
}

func (k *Found) add(dir string) error {
	b, err := os.ReadFile(filepath.Join(dir, "index"))
	if err != nil {
		return err
	}
	var x judgedIndex
	if _, err := packed.Take(b, &x); err != nil {
		return fmt.Errorf("%s %w", filepath.Join(dir, "index"), err)
	}
	k.OptionRows += x.OptionRows
	k.MonthRows += x.MonthRows
	k.Failed = append(k.Failed, x.Failed...)
	return errors.Join(k.options.add(filepath.Join(dir, "options")), k.monthly.add(filepath.Join(dir, "monthly")), k.found.add(filepath.Join(dir, "found")),
		k.keys.add(filepath.Join(dir, "keys")), k.draws.add(filepath.Join(dir, "draws")))
}

// Keys gives what ranking asks of every finding, in the order of the sites' ids.
func (k *Found) Keys(use func(*analyze.Key)) error {
	for i := range k.keys.len() {
		x, err := takeFrom[analyze.Key](&k.keys, i)
		if err != nil {
			return fmt.Errorf("reading the findings: %w", err)
		}
		use(&x[0])
	}
	return nil
}

// Draws gives the net benefit of what a site is offered, in each draw.
func (k *Found) Draws(p *rank.Place) ([]float32, error) {
	i, there := k.draws.find(p.SiteID)
	if !there {
		return nil, fmt.Errorf("reading the findings: the draws of %s are missing", p.SiteID)
	}
	x, err := takeFrom[drawn](&k.draws, i)
	if err != nil {
		return nil, fmt.Errorf("reading the findings: %w", err)
	}
	return x[0].NetBenefit, nil
}

// First gives the findings of the first n ranked sites with a size to propose.
func (k *Found) First(n int, standings []analyze.Standing) ([]*analyze.Finding, error) {
	var best []analyze.Standing
	for _, s := range standings {
		if s.Rank > 0 {
			best = append(best, s)
		}
	}
	slices.SortFunc(best, func(a, b analyze.Standing) int { return a.Rank - b.Rank })
	var first []*analyze.Finding
	for i := 0; i < len(best) && len(first) < n; i++ {
		at, _ := k.found.find(best[i].SiteID)
		x, err := k.read(at)
		if err != nil {
			return nil, err
		}
		if best[i].Apply(&x.Found); x.Found.Chosen != nil {
			first = append(first, &x.Found)
		}
	}
	return first, nil
}

// read reads the i-th finding and gives it back its site.
func (k *Found) read(i int) (*keptFinding, error) {
	all, err := takeFrom[keptFinding](&k.found, i)
	if err != nil {
		return nil, fmt.Errorf("reading the findings: %w", err)
	}
	x := &all[0]
	if x.Found.Site = k.register.Site(x.SiteID); x.Found.Site == nil {
		x.Found.Site = analyze.SetAside(x.SiteID)
	}
	x.Found.Location = x.Found.Site.Location
	return x, nil
}

// Close lets go of the files.
func (k *Found) Close() error {
	return errors.Join(k.options.close(), k.monthly.close(), k.found.close(), k.keys.close(), k.draws.close())
}
