package report

import (
	"cmp"
	"errors"
	"slices"
	"strings"

	"rowen/analyze/rank"
	"rowen/report/page"
)

// gathered is what the lists and the page take from all sites.
type gathered struct {
	sites   []glance   // in the order of their ids
	ranked  []*glance  // those with a size to propose, best first
	rows    []page.Row // of the best of them
	mend    []page.Repair
	left    []page.Left
	calls   []CallRow   // best first
	repairs []RepairRow // what loses most first
	learned rank.Learned

	words map[string]string // branches and lanes, of which there are few: each once in memory
}

func (g *gathered) word(s string) string {
	w, there := g.words[s]
	if !there {
		g.words[s], w = s, s
	}
	return w
}

// gather goes over all sites once, in the order of their ids: it writes the tables
// that are sorted by them, and gathers what the rest takes.
func gather(dir string, said *Rendered, m Manifest, before *pastRun) (*gathered, error) {
	t, err := createTables(dir)
	g := &gathered{sites: make([]glance, 0, len(said.rows.pieces)), words: map[string]string{}}
	for i := 0; err == nil && i < len(said.rows.pieces); i++ {
		var r *rendered
		if r, err = said.at(i); err == nil {
			g.add(r, before)
			err = t.write(r)
		}
	}
	if err = errors.Join(err, t.close(m)); err != nil {
		return nil, err
	}
	g.order()
	return g, nil
}

func (g *gathered) add(r *rendered, before *pastRun) {
	x := r.Glance
	x.Branch, x.Lane, x.Binding, x.Job = g.word(x.Branch), g.word(x.Lane), g.word(x.Binding), g.word(x.Job)
	g.sites = append(g.sites, x)
	if r.Row != nil && r.Row.Rank <= pageRows {
		g.rows = append(g.rows, *r.Row)
	}
	if r.Mend != nil {
		g.mend = append(g.mend, *r.Mend)
	}
	if r.Call != nil {
		g.calls = append(g.calls, *r.Call)
	}
	if r.Repair != nil {
		g.repairs = append(g.repairs, *r.Repair)
	}
	if before != nil && before.ranked(x.SiteID) && x.Rank == 0 {
		g.left = append(g.left, page.Left{SiteID: x.SiteID, Branch: x.Branch, Lane: x.Lane, Why: r.Why})
	}
}

// order puts the lists in their order once all sites are there.
func (g *gathered) order() {
	var mend []*glance
	for i := range g.sites {
		x := &g.sites[i]
		if x.Rank > 0 && x.Candidate {
			g.ranked = append(g.ranked, x)
		}
		if x.Repair {
			mend = append(mend, x)
		}
	}
	slices.SortFunc(g.ranked, func(a, b *glance) int { return a.Rank - b.Rank })
	slices.SortStableFunc(mend, func(a, b *glance) int {
		return cmp.Or(cmp.Compare(b.Mend, a.Mend), strings.Compare(a.SiteID, b.SiteID))
	})
	place := map[string]int32{}
	for i, x := range mend {
		place[x.SiteID] = int32(i + 1)
	}
	for i := range g.repairs {
		g.repairs[i].Place = place[g.repairs[i].SiteID]
	}
	slices.SortFunc(g.repairs, func(a, b RepairRow) int { return int(a.Place - b.Place) })
	g.calls = callRows(g.calls)
	g.learned = learn(g.sites)
}

// sheets are the sites that get sheets, in the order of the lists.
func (g *gathered) sheets() []string {
	var ids []string
	for _, x := range g.ranked {
		ids = append(ids, x.SiteID)
	}
	for _, r := range g.repairs {
		ids = append(ids, r.SiteID)
	}
	return ids
}

// tables are the Parquet tables in the order of the sites' ids, written side by side.
type tables struct {
	sites    *parquetFile[SiteRow]
	events   *parquetFile[EventRow]
	faults   *parquetFile[FaultTableRow]
	limits   *parquetFile[LimitRow]
	jobs     *parquetFile[JobTableRow]
	reasons  *parquetFile[ReasonRow]
	outcomes *parquetFile[OutcomeRow]
}

func createTables(dir string) (*tables, error) {
	t := &tables{}
	return t, errors.Join(
		newTable(&t.sites, "sites", dir), newTable(&t.events, "events", dir), newTable(&t.faults, "faults", dir), newTable(&t.limits, "limits", dir),
		newTable(&t.jobs, "jobs", dir), newTable(&t.reasons, "reasons", dir), newTable(&t.outcomes, "outcomes", dir))
}

func newTable[T any](p **parquetFile[T], name, dir string) (err error) {
	*p, err = createParquet[T](namedTable(name), dir)
	return err
}

func (t *tables) write(r *rendered) error {
	return errors.Join(t.sites.write(r.Site), t.events.write(r.Events...), t.faults.write(r.Faults...), t.limits.write(r.Limits...),
		t.jobs.write(r.Jobs...), t.reasons.write(r.Reasons...), t.outcomes.write(r.Outcomes...))
}

func (t *tables) close(m Manifest) error {
	return errors.Join(t.sites.close(m), t.events.close(m), t.faults.close(m), t.limits.close(m), t.jobs.close(m), t.reasons.close(m), t.outcomes.close(m))
}

// writeCandidates writes the ranked sites' rows, best first.
func writeCandidates(dir string, said *Rendered, ranked []*glance, m Manifest) error {
	p, err := createParquet[SiteRow](namedTable("candidates"), dir)
	if err != nil {
		return err
	}
	for _, x := range ranked {
		i, _ := said.rows.find(x.SiteID)
		r, err := said.at(i)
		if err == nil {
			err = p.write(r.Site)
		}
		if err != nil {
			return errors.Join(err, p.close(m))
		}
	}
	return p.close(m)
}
