package main

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"

	"github.com/agnivade/levenshtein"

	"rowen/analyze"
	"rowen/ingest"
	"rowen/ingest/ledger"
)

// checked is what check finds out about a fleet's folder, as it prints it and as
// a scheduler reads it. Nothing in it is personal.
type checked struct {
	Verdict  string        `json:"verdict" text:"complete, partly or unusable; run ends alike on the same folder"`
	ExitCode int           `json:"exit_code" text:"0 complete, 3 partly, 1 unusable"`
	Says     string        `json:"says" text:"the verdict in a sentence"`
	Lacking  []string      `json:"lacking" text:"what a run has to do without, the heaviest first"`
	Month    string        `json:"month" text:"the report month that a run would take; empty: no month is complete"`
	Sites    int           `json:"sites" text:"sites of the register"`
	NoRows   []string      `json:"sites_without_readings" text:"sites of the register that have no readings"`
	Metered  meteredSites  `json:"sites_with" text:"how many sites have readings of what"`
	Ended    []endedSite   `json:"readings_ended" text:"sites whose last reading lies before the report month"`
	Unknown  []unknownSite `json:"unknown_sites" text:"sites with readings that the register does not name, the first ones"`
	Unknowns int           `json:"unknown_sites_count" text:"how many those are"`
	Files    int           `json:"files" text:"files of readings"`
	Rows     rowCounts     `json:"rows" text:"rows of readings"`
	Aside    []aside       `json:"set_aside" text:"rows and files that cannot be used"`
	Odd      []oddity      `json:"implausible" text:"yearly sums that no household or array has, and clocks that do not go with the sun"`
	Quality  []doubt       `json:"quality" text:"what is wrong or doubtful with single sites' readings"`
	Notes    []string      `json:"notes" text:"columns and files left unread, tariffs' remarks"`
	Unlocks  []unlock      `json:"unlocks" text:"what each missing table or cell would allow, the best first"`

	err error // the verdict as the command's end; nil: complete
}

type meteredSites struct {
	Production  int `json:"production" text:"of production"`
	Consumption int `json:"consumption" text:"of consumption, or of import and export"`
	Both        int `json:"both" text:"of both: without production nothing is judged, without consumption, or bills, nothing is offered"`
}

type endedSite struct {
	SiteID string `json:"site_id" text:"the site"`
	LastOn string `json:"last_on" text:"the day of its last reading, on its own clock"`

	month analyze.Month
}

type rowCounts struct {
	Read     int64 `json:"read" text:"all"`
	Kept     int64 `json:"kept" text:"used"`
	SetAside int64 `json:"set_aside" text:"not usable"`
	Repeated int64 `json:"repeated" text:"said twice or more: the later export wins"`
}

type unknownSite struct {
	ID      string `json:"site_id" text:"as the readings name it"`
	Nearest string `json:"nearest" text:"a site of the register without readings that it may stand for; empty: none is near"`
}

type aside struct {
	File   string `json:"file" text:"below the fleet's folder"`
	Line   int    `json:"line" text:"0: the whole file"`
	Column string `json:"column" text:"empty: the whole row"`
	Reason string `json:"reason" text:"what is wrong and how to mend it"`
}

type doubt struct {
	SiteID      string `json:"site_id" text:"the site"`
	Code        string `json:"code" text:"rowen schema codes describes them"`
	Channel     string `json:"channel" text:"production, consumption, import or export; empty: all"`
	Consequence string `json:"consequence" text:"what is done about it"`
	Says        string `json:"says" text:"in a sentence"`
}

// readForCheck reads a fleet's folder and gathers what is to be said of it.
func readForCheck(ctx context.Context, ask request, j *outcome) (*checked, error) {
	fleet, err := readRegister(j.dir, j.set, ask.instead.tariffs)
	if err != nil {
		return nil, err
	}
	source, book, err := ledger.UpdateAndOpen(ctx, j.dir, ledger.Sites(fleet), mappings(j.set), j.ledgerOptions(ask))
	j.bar.done()
	if err != nil {
		return nil, err
	}
	defer source.Close()
	options, err := analyzeOptions(j.set, j.workers)
	if err != nil {
		return nil, err
	}
	job := analyze.NewFleet(fleet, source, options)
	c := &checked{Sites: fleet.Len(), Files: len(book.Files), Lacking: []string{}, NoRows: []string{}, Ended: []endedSite{}, Unknown: []unknownSite{}, Aside: []aside{}, Odd: []oddity{}, Quality: []doubt{}, Notes: []string{},
		Rows: rowCounts{book.Rows.Read, book.Rows.Kept, book.Rows.SetAside, book.Rows.Repeated}}
	rejects := append(slices.Clone(fleet.Rejects), book.Rejects...)
	for _, r := range rejects {
		c.Aside = append(c.Aside, aside{r.File, r.Line, r.Column, r.Reason})
	}
	c.notes(fleet, book, job)
	need := newShopping(fleet, j.set.Money)
	var reach analyze.Reach
	if err := c.sites(fleet, source, j.workers, need, &reach); err != nil {
		return nil, err
	}
	c.unknown(book.UnknownSites)
	c.Unlocks = need.list()
	c.Month = c.monthOf(options.Month, &reach)
	lacks := lackingOf(fleet, book, job, j.set.Limits)
	lacks.reached(len(book.UnknownSites), len(c.NoRows), c.Sites, options.Month, &reach)
	end := job.Check() // a run stops at once; the rest is worth saying all the same
	if end == nil && len(c.NoRows) == c.Sites {
		end = noReadings(rejects)
	}
	c.judge(lacks, end)
	return c, nil
}

// monthOf is the report month; sites with readings in it or later have not ended.
func (c *checked) monthOf(asked analyze.Month, reach *analyze.Reach) string {
	if asked.IsZero() {
		asked = reach.Complete()
	}
	c.Ended = slices.DeleteFunc(c.Ended, func(e endedSite) bool { return !asked.After(e.month) })
	if asked.IsZero() {
		return ""
	}
	return asked.String()
}

// judge is the verdict, the same as a run's; end: a run cannot begin.
func (c *checked) judge(lacks lacking, end error) {
	c.Lacking = append(c.Lacking, lacks.says...)
	err := end
	if err == nil {
		err = lacks.verdict("as said above")
	}
	c.err = err
	switch {
	case err == nil:
		c.Verdict = "complete"
		c.Says = "nothing that a run needs is lacking"
		if n := len(c.Aside); n > 0 {
			c.Says = fmt.Sprintf("%s set aside, as said above: within the limits of the settings", count(n, "thing"))
		}
	case errors.Is(err, errPartly):
		c.Verdict, c.ExitCode, c.Says = "partly", 3, err.Error()
	default:
		c.Verdict, c.ExitCode, c.Says = "unusable", 1, err.Error()
	}
}

// notes are what is worth saying and cost no row.
func (c *checked) notes(fleet *ingest.Fleet, book *ledger.Report, job *analyze.Fleet) {
	c.Notes = append(c.Notes, tariffFaults(job)...)
	for _, t := range fleet.Tariffs {
		if compiled := job.Tariffs[t.ID]; compiled != nil {
			for _, n := range compiled.Notes {
				c.Notes = append(c.Notes, fmt.Sprintf("tariff %q: %s", t.ID, n))
			}
		}
	}
	c.Notes = append(append(c.Notes, fleet.Notes...), book.Notes...)
}

// mostUnknown is how many unknown sites are named (our choice: each is held
// against the sites without readings).
const mostUnknown = 50

// unknown names the sites that the register lacks, with the one of the register
// that each may stand for: only a site without readings of its own may be meant.
func (c *checked) unknown(ids []string) {
	c.Unknowns = len(ids)
	plain := map[string]string{}
	for _, id := range c.NoRows {
		plain[bare(id)] = id
	}
	for _, id := range ids[:min(len(ids), mostUnknown)] {
		near := plain[bare(id)]
		for k := 0; near == "" && k < len(c.NoRows); k++ {
			if levenshtein.ComputeDistance(bare(id), bare(c.NoRows[k])) == 1 {
				near = c.NoRows[k]
			}
		}
		c.Unknown = append(c.Unknown, unknownSite{id, near})
	}
}

// bare is an id without what people write differently: case, leading zeros of
// its numbers, and what parts them.
func bare(id string) string {
	var b strings.Builder
	zeros := true
	for _, r := range strings.ToLower(id) {
		switch {
		case r == '0' && zeros:
			continue
		case r >= '0' && r <= '9':
			zeros = false
		case r >= 'a' && r <= 'z' || r > 127:
			zeros = true
		default:
			zeros = true
			continue
		}
		b.WriteRune(r)
	}
	return b.String()
}
