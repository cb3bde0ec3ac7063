package report

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"time"

	"rowen/analyze"
	"rowen/ingest"
)

// Past is what the earlier runs of a fleet's folder say, oldest first.
type Past struct {
	runs  []pastRun
	month string
	Notes []string // runs that could not be read
}

type pastRun struct {
	month string
	end   time.Time // the list was made after this
	sites map[string]pastSite
}

// pastSite is what later months need of a site's row: columns of sites.parquet.
type pastSite struct {
	SiteID          string   `parquet:"site_id"`
	Rank            *int32   `parquet:"rank,optional"`
	Lane            string   `parquet:"lane,dict"`
	Reasons         []string `parquet:"reasons,list"`
	OnCallList      bool     `parquet:"on_call_list"`
	ModulesToAdd    *int32   `parquet:"modules_to_add,optional"`
	AddedKWhYr      *float64 `parquet:"added_kwh_yr,optional"`
	Saving          *float64 `parquet:"savings_first_year,optional"`
	SavingLow       *float64 `parquet:"savings_first_year_low,optional"`
	SavingHigh      *float64 `parquet:"savings_first_year_high,optional"`
	RegisterDigest  *string  `parquet:"register_digest,optional"`
	OutcomeOn       *int32   `parquet:"last_outcome_on,optional,date"`
	OutcomeRegister *string  `parquet:"not_suitable_register_digest,optional"`

	tenth int // of the list; 0: not on it
}

// ReadPast reads the runs of the months up to the report month. A run that
// cannot be read is left out and said: it is no reason to hold a month up.
func ReadPast(runs string, month analyze.Month) (*Past, error) {
	p := &Past{month: month.String()}
	entries, err := os.ReadDir(runs)
	if errors.Is(err, os.ErrNotExist) {
		return p, nil
	}
	if err != nil {
		return nil, fmt.Errorf("reading the earlier runs: %w", err)
	}
	for _, e := range entries {
		m, err := analyze.ParseMonth(e.Name())
		if err != nil || !e.IsDir() || e.Name() > p.month {
			continue
		}
		rows, err := readTable[pastSite](filepath.Join(runs, e.Name()), "sites.parquet")
		if err != nil {
			p.Notes = append(p.Notes, fmt.Sprintf("the earlier run %s could not be read and is left out: its sites.parquet is missing or damaged", e.Name()))
			continue
		}
		p.runs = append(p.runs, pastRun{e.Name(), m.End(time.UTC), listedSites(rows)})
	}
	return p, nil // ReadDir gives the names in order
}

// listedSites gives each row its tenth of that month's list.
func listedSites(rows []pastSite) map[string]pastSite {
	var ranks []int32
	for i := range rows {
		if rows[i].OnCallList && rows[i].Rank != nil {
			ranks = append(ranks, *rows[i].Rank)
		}
	}
	slices.Sort(ranks)
	sites := make(map[string]pastSite, len(rows))
	for _, r := range rows {
		if r.OnCallList && r.Rank != nil {
			at, _ := slices.BinarySearch(ranks, *r.Rank)
			r.tenth = 1 + 10*at/len(ranks)
		}
		sites[r.SiteID] = r
	}
	return sites
}

// previous is the last run before the report month; nil: none was kept.
func (p *Past) previous() *pastRun {
	if p == nil {
		return nil
	}
	for i := len(p.runs) - 1; i >= 0; i-- {
		if p.runs[i].month < p.month {
			return &p.runs[i]
		}
	}
	return nil
}

func (r *pastRun) ranked(siteID string) bool { return r.sites[siteID].Rank != nil }

// listsLast is how many months a list is called from (our choice).
const listsLast = 3

// Complete gives outcomes that were entered by hand what the list of the time
// said, and those of unsuitable sites the register rows that they were judged
// on. What the outcome's own row says stands.
func (p *Past) Complete(outcomes []ingest.Outcome) {
	for i := range outcomes {
		o := &outcomes[i]
		if o.Listed.Month == "" {
			p.listed(o)
		}
		if o.Result == "not_suitable" && o.Listed.Register == "" {
			o.Listed.Register = p.registerThen(o)
		}
	}
}

func (p *Past) listed(o *ingest.Outcome) {
	for i := len(p.runs) - 1; i >= 0; i-- {
		run := &p.runs[i]
		if run.end.After(o.CalledOn) || run.month >= p.month {
			continue
		}
		s, ok := run.sites[o.SiteID]
		if run.end.AddDate(0, listsLast, 0).Before(o.CalledOn) {
			return
		}
		if !ok || s.tenth == 0 {
			continue
		}
		l := &o.Listed
		l.Month, l.Rank, l.Tenth = run.month, ingest.Some(int(*s.Rank)), ingest.Some(s.tenth)
		if len(s.Reasons) > 0 {
			l.Reason = s.Reasons[0]
		}
		if s.ModulesToAdd != nil {
			l.Modules = ingest.Some(int(*s.ModulesToAdd))
		}
		l.AddedKWhYr, l.Saving, l.SavingLow, l.SavingHigh = orNaN(s.AddedKWhYr), orNaN(s.Saving), orNaN(s.SavingLow), orNaN(s.SavingHigh)
		return
	}
}

// registerThen is the digest that an earlier run held the outcome against, else
// that of the last run before the call; "": nothing tells.
func (p *Past) registerThen(o *ingest.Outcome) string {
	before := ""
	for i := range p.runs {
		s := p.runs[i].sites[o.SiteID]
		if s.OutcomeRegister != nil && s.OutcomeOn != nil && *s.OutcomeOn == date(o.CalledOn) {
			return *s.OutcomeRegister
		}
		if !p.runs[i].end.After(o.CalledOn) && s.RegisterDigest != nil {
			before = *s.RegisterDigest
		}
	}
	return before
}
