package report

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"

	"rowen/analyze"
	"rowen/analyze/visit"
	"rowen/ingest"
	"rowen/ingest/packed"
	"rowen/report/page"
)

// Judged is what the judgement of a run of neighbours leaves behind, in a folder of
// its own: each finding whole, and the rows of the two tables that are made from
// what a finding then sheds. Nothing of it stays in memory but where it lies. The
// same findings give the same bytes.
//
// A finding may hold what a customer said in an earlier call: folder and files are
// for their owner alone.
type Judged struct {
	dir                     string
	options, monthly, found *pile
	index                   judgedIndex
}

// judgedIndex says where everything lies.
type judgedIndex struct {
	Options, Monthly, Found []Piece
	OptionRows, MonthRows   int
	Failed                  []Failed
}

// Failed is a site that could not be judged.
type Failed struct{ SiteID, Says string }

// keptFinding is a finding as it lies on disk. Its site is the register's, and is not kept.
type keptFinding struct {
	SiteID string
	Chart  []page.Month // of a site that may get a brief
	Found  analyze.Finding
}

// NewJudged keeps the findings of one shard in a folder, made where it is not there.
func NewJudged(dir string) (*Judged, error) {
	j := &Judged{dir: dir}
	var noOptions, noMonths, noFindings error
	err := os.MkdirAll(dir, 0o700)
	if err == nil {
		j.options, noOptions = newPile(filepath.Join(dir, "options"))
		j.monthly, noMonths = newPile(filepath.Join(dir, "monthly"))
		j.found, noFindings = newPile(filepath.Join(dir, "found"))
	}
	if err := errors.Join(err, noOptions, noMonths, noFindings); err != nil {
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
	x.Found = *f
	x.Found.Site, x.Found.Location = nil, nil
	return errors.Join(addTo(j.options, id, options...), addTo(j.monthly, id, months...), addTo(j.found, id, x))
}

// Close brings the findings to disk; without it they are none.
func (j *Judged) Close() error {
	x := &j.index
	x.Options, x.Monthly, x.Found = j.options.pieces, j.monthly.pieces, j.found.pieces
	err := errors.Join(j.options.close(), j.monthly.close(), j.found.close(), os.WriteFile(filepath.Join(j.dir, "index"), packed.Append(nil, x), 0o600))
	if err != nil {
		return fmt.Errorf("keeping the findings: %w", err)
	}
	return nil
}

// Found are the findings of a fleet, from the folders of its shards.
type Found struct {
	OptionRows, MonthRows int
	Failed                []Failed // in the order in which they were judged

	register                *ingest.Fleet
	options, monthly, found piles
}

// OpenJudged opens the folders of all shards, in their order.
func OpenJudged(register *ingest.Fleet, dirs ...string) (*Found, error) {
	k := &Found{register: register}
	err := error(nil)
	for _, dir := range dirs {
		err = errors.Join(err, k.add(dir))
	}
	if err = errors.Join(err, k.options.sort(), k.monthly.sort(), k.found.sort()); err != nil {
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
	return errors.Join(k.options.add(filepath.Join(dir, "options"), x.Options), k.monthly.add(filepath.Join(dir, "monthly"), x.Monthly),
		k.found.add(filepath.Join(dir, "found"), x.Found))
}

// Findings gives every finding in the order of the sites' ids, without what it says
// at length: three quarters of its weight.
func (k *Found) Findings() ([]*analyze.Finding, error) {
	findings := make([]*analyze.Finding, 0, len(k.found.pieces))
	for i := range k.found.pieces {
		x, err := k.read(i)
		if err != nil {
			return nil, err
		}
		findings = append(findings, brief(x.Found))
	}
	return findings, nil
}

// brief takes from a finding what only the writing asks for. Of a sheet its kind
// stays, which tells that there is one.
func brief(f analyze.Finding) *analyze.Finding {
	if f.Visit != nil {
		f.Visit = &visit.Sheet{Kind: f.Visit.Kind}
	}
	f.Worth.Tornado, f.Quality = nil, nil
	f.Caveats, f.Array.Caveats, f.Demand.Caveats, f.Room.Cautions, f.Worth.Caveats = nil, nil, nil, nil, nil
	return &f
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

// whole is a finding with all that is said at length, and its chart. One that was
// never kept is whole as it is.
func (k *Found) whole(f *analyze.Finding) (*analyze.Finding, []page.Month, error) {
	i, there := k.found.find(f.Site.ID)
	if !there {
		return f, nil, nil
	}
	x, err := k.read(i)
	if err != nil {
		return nil, nil, err
	}
	x.Found.Verdict, x.Found.Likely = f.Verdict, f.Likely // what ranking the fleet added
	return &x.Found, x.Chart, nil
}

// Close lets go of the files.
func (k *Found) Close() error {
	return errors.Join(k.options.close(), k.monthly.close(), k.found.close())
}
