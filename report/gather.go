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
	sums
	ranked  []rankedSite  // those with a size to propose, best first
	rows    []page.Row    // of the best of them
	mend    []page.Repair // those that lose most
	mendAll int
	left    []page.Left // the first of them
	leftAll int
	calls   []CallRow   // best first
	repairs []RepairRow // what loses most first
	mends   []float64   // beside repairs, until they are in their order: kWh a year that mending gives back
	learned rank.Learned

	words map[string]string // branches and lanes, of which there are few: each once in memory
}

// rankedSite is a site with a size to propose.
type rankedSite struct {
	rank, at   int32 // at: its place in the order of the ids
	netBenefit float64
}

func newGathered() *gathered { return &gathered{sums: newSums(), words: map[string]string{}} }

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
	g := newGathered()
	for i := 0; err == nil && i < said.rows.len(); i++ {
		var r *rendered
		if r, err = said.at(i); err == nil {
			g.add(r, i, before)
			err = t.write(r)
		}
	}
	if err = errors.Join(err, t.close(m)); err != nil {
		return nil, err
	}
	g.order()
	return g, nil
}

// add takes in the site that is the i-th in the order of the ids.
func (g *gathered) add(r *rendered, i int, before *pastRun) {
	x := &r.Glance
	x.Branch, x.Lane, x.Binding, x.Job = g.word(x.Branch), g.word(x.Lane), g.word(x.Binding), g.word(x.Job)
	g.sums.add(x)
	if x.Rank > 0 && x.Candidate {
		g.ranked = append(g.ranked, rankedSite{int32(x.Rank), int32(i), x.NetBenefit})
	}
	if r.Row != nil && r.Row.Rank <= pageRows {
		g.rows = append(g.rows, *r.Row)
	}
	if r.Mend != nil {
		g.mendAll++
		if g.mend = append(g.mend, *r.Mend); len(g.mend) >= 2*pageLines {
			g.mend = mostLost(g.mend)
		}
	}
	if r.Call != nil {
		g.calls = append(g.calls, *r.Call)
	}
	if r.Repair != nil {
		g.repairs = append(g.repairs, *r.Repair)
		g.mends = append(g.mends, x.Mend)
	}
	if before != nil && before.ranked(x.SiteID) && x.Rank == 0 {
		if g.leftAll++; g.leftAll <= pageLines {
			g.left = append(g.left, page.Left{SiteID: x.SiteID, Branch: x.Branch, Lane: x.Lane, Why: r.Why})
		}
	}
}

// mostLost keeps the sites to repair that lose most, in the order of their ids.
func mostLost(all []page.Repair) []page.Repair {
	if len(all) <= pageLines {
		return all
	}
	slices.SortFunc(all, func(a, b page.Repair) int {
		return cmp.Or(cmp.Compare(b.LossKWhYr, a.LossKWhYr), strings.Compare(a.SiteID, b.SiteID))
	})
	all = all[:pageLines]
	slices.SortFunc(all, func(a, b page.Repair) int { return strings.Compare(a.SiteID, b.SiteID) })
	return all
}

// order puts the lists in their order once all sites are there.
func (g *gathered) order() {
	g.mend = mostLost(g.mend)
	slices.SortFunc(g.ranked, func(a, b rankedSite) int { return int(a.rank - b.rank) })
	place := make([]int, len(g.repairs))
	for i := range place {
		place[i] = i
	}
	slices.SortFunc(place, func(a, b int) int {
		return cmp.Or(cmp.Compare(g.mends[b], g.mends[a]), strings.Compare(g.repairs[a].SiteID, g.repairs[b].SiteID))
	})
	for i, at := range place {
		g.repairs[at].Place = int32(i + 1)
	}
	g.mends = nil
	slices.SortFunc(g.repairs, func(a, b RepairRow) int { return int(a.Place - b.Place) })
	g.calls = callRows(g.calls)
	g.learned = rank.Learn(g.told)
}

// sheets are the sites that get sheets, in the order of the lists; id gives the id of
// the i-th site.
func (g *gathered) sheets(id func(i int) string) []string {
	var ids []string
	for _, x := range g.ranked {
		ids = append(ids, id(int(x.at)))
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
func writeCandidates(dir string, said *Rendered, ranked []rankedSite, m Manifest) error {
	p, err := createParquet[SiteRow](namedTable("candidates"), dir)
	if err != nil {
		return err
	}
	for _, x := range ranked {
		r, err := said.at(int(x.at))
		if err == nil {
			err = p.write(r.Site)
		}
		if err != nil {
			return errors.Join(err, p.close(m))
		}
	}
	return p.close(m)
}
