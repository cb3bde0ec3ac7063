package main

import (
	"fmt"
	"io"
	"path/filepath"
	"runtime"
	"sort"
	"strings"
	"time"

	"github.com/rs/zerolog"

	"rowen/analyze"
	"rowen/config"
	"rowen/ingest"
	"rowen/ingest/ledger"
	"rowen/report"
)

// outcome follows one job through its stages: it keeps what the record of the
// run needs, logs a line a stage, and says at the end how it went. It decides
// nothing.
type outcome struct {
	log      zerolog.Logger
	dir      string
	set      config.Settings
	workers  int
	began    time.Time
	lap      time.Time
	rejects  []ingest.Reject
	manifest report.Manifest
	first    []*analyze.Finding // of the ranked sites
	question analyze.Question
	final    string
	lacking  lacking
	unknown  int // sites with readings that the register does not name
	bar      *bar
	instead  whatIf
}

func newOutcome(sh *shell, dir string, set config.Settings) *outcome {
	j := &outcome{log: sh.logger(), dir: dir, set: set, workers: set.Workers, began: now(), bar: newBar(sh.stderr)}
	if j.workers == 0 {
		j.workers = runtime.NumCPU()
	}
	j.lap = j.began
	set.Workers = 0 // how many hands there were is no part of what was asked for
	j.manifest = report.Manifest{
		Program: "rowen", Version: version, Name: set.Name, Currency: set.Currency, Locale: set.Locale, HideMap: !set.ShowMap, Settings: config.Values(set), Warnings: []string{},
		Timings: report.Timings{StartedAt: j.began.UTC().Format(time.RFC3339), Seconds: map[string]float64{}, Workers: j.workers},
	}
	return j
}

func (j *outcome) took(stage string) {
	t := now()
	j.manifest.Timings.Seconds[stage] = t.Sub(j.lap).Seconds()
	j.lap = t
}

func (j *outcome) warn(format string, args ...any) {
	w := fmt.Sprintf(format, args...)
	j.manifest.Warnings = append(j.manifest.Warnings, w)
	j.log.Warn().Msg(w)
}

func (j *outcome) ledgerOptions(ask request) ledger.Options {
	most := limits(j.set)
	return ledger.Options{Workers: j.workers, Progress: j.progress(), Verify: ask.verify,
		LineBytes: most.LineBytes, UnpackedRatio: most.UnpackedRatio, AcceptMissing: ask.acceptMissing,
		Waiting: func(who string) { j.log.Warn().Msg("waiting for " + who) }}
}

func (j *outcome) progress() func(ledger.Progress) { return j.bar.readings }

// read notes what the register and the readings held.
func (j *outcome) read(fleet *ingest.Fleet, book *ledger.Report, job *analyze.Fleet) {
	j.bar.done()
	j.took("read")
	j.lacking = lackingOf(fleet, book, job, j.set.Limits)
	inputs, unread := digests(j.dir, j.instead.tariffs)
	j.lacking.unrecorded(unread, fleet.Rejects)
	j.manifest.Counts.FilesMissing, j.manifest.Counts.TariffsAway = j.lacking.files, j.lacking.tariffs
	for _, s := range j.lacking.says { // first of all warnings, on the page too
		j.warn("%s", s)
	}
	j.rejects = append(append(j.rejects, fleet.Rejects...), book.Rejects...)
	c := &j.manifest.Counts
	c.Sites, c.RegisterRead = fleet.Len()+len(fleet.SitesSetAside), fleet.RowsRead
	for _, r := range fleet.Rejects {
		if !r.Kept {
			c.RegisterAway++
		}
	}
	c.RowsRead, c.RowsKept, c.RowsAside, c.RowsRepeated = book.Rows.Read, book.Rows.Kept, book.Rows.SetAside, book.Rows.Repeated
	j.manifest.Timings.FilesRead, j.manifest.Timings.FilesReused = book.FilesRead, book.FilesReused
	for _, f := range book.Files {
		j.manifest.Inputs = append(j.manifest.Inputs, report.Input{File: f.Path, Bytes: f.Bytes, SHA256: f.Digest})
	}
	j.manifest.Inputs = append(j.manifest.Inputs, inputs...)
	sort.Slice(j.manifest.Inputs, func(a, b int) bool { return j.manifest.Inputs[a].File < j.manifest.Inputs[b].File })
	for _, n := range append(append([]string{}, fleet.Notes...), book.Notes...) {
		j.warn("%s", n)
	}
	j.unknown = len(book.UnknownSites)
	if n := j.unknown; n > 0 {
		j.warn("%d sites have readings and are not in sites.csv: %s", n, firstFew(book.UnknownSites, 5))
	}
	for _, line := range tariffFaults(job) {
		j.warn("%s", line)
	}
	j.log.Info().Int("sites", c.Sites).Int64("rows", c.RowsRead).Int64("set_aside", c.RowsAside).
		Int("files_read", book.FilesRead).Int("files_known", book.FilesReused).Msg("read the fleet")
}

// surveyed notes what the survey found; an error: there is nothing to judge.
func (j *outcome) surveyed(s *analyze.Survey) error {
	j.took("survey")
	j.manifest.Month, j.manifest.Counts.SitesRead = s.Month.String(), s.Read
	said := len(j.lacking.says)
	sites := j.manifest.Counts.Sites
	j.lacking.reached(j.unknown, sites-s.Read, sites, s.Month, &s.Reach)
	for _, says := range j.lacking.says[said:] {
		j.warn("%s", says)
	}
	j.log.Info().Int("sites_with_readings", s.Read).Str("month", s.Month.String()).Msg("surveyed the fleet's sky and season")
	if s.Read == 0 {
		return noReadings(j.rejects)
	}
	return nil
}

// remember reads what earlier runs told, and completes the outcomes of calls by it;
// it says which of them could not be read.
func (j *outcome) remember(fleet *ingest.Fleet, month analyze.Month) (*report.Past, error) {
	past, err := report.ReadPast(filepath.Join(j.dir, "runs"), month)
	if err != nil {
		return nil, err
	}
	past.Complete(fleet.Outcomes)
	for _, n := range past.Notes {
		j.warn("%s", n)
	}
	return past, nil
}

// folder is where the run goes.
func (j *outcome) folder(out string) string {
	j.final = out
	if out == "" {
		j.final = filepath.Join(j.dir, "runs", j.manifest.Month+j.instead.suffix())
	}
	return j.final
}

// judged shows what passes on its way to the report.
func (j *outcome) judged(next func(*analyze.Finding) error) func(*analyze.Finding) error {
	return func(f *analyze.Finding) error {
		j.bar.site(j.manifest.Counts.Sites)
		return next(f)
	}
}

// ranked notes what the judgement and the ranking came to.
func (j *outcome) ranked(kept *report.Found, order *ranking) {
	j.bar.done()
	j.took("judge")
	for _, f := range kept.Failed {
		j.manifest.Counts.SitesFailed++
		j.warn("site %s failed: %s", f.SiteID, f.Says)
	}
	if order.Thin != "" {
		j.warn("%s", order.Thin)
	}
	c := &j.manifest.Counts
	c.Options, c.Months = kept.OptionRows, kept.MonthRows
	for _, s := range order.Standings {
		if s.Rank > 0 {
			c.Ranked++
		}
		if s.OnList {
			c.OnCallList++
		}
	}
	j.manifest.Lanes = order.Lanes
	j.question = analyze.MostWorthAsking(order.Standings)
	j.manifest.Timings.SitesPerSecond = float64(c.Sites) / now().Sub(j.began).Seconds()
	j.log.Info().Int("ranked", c.Ranked).Int("on_call_list", c.OnCallList).Int("failed", c.SitesFailed).Msg("judged and ranked every site")
}

// verdict turns what was left behind into the exit code's error.
func (j *outcome) verdict() error {
	if c := j.manifest.Counts; c.SitesFailed > 0 {
		j.lacking.say("%d of %d sites failed", c.SitesFailed, c.Sites)
	}
	return j.lacking.verdict("see rejects.csv and the warnings in run.json")
}

// say prints where things lie and the top of the list.
func (j *outcome) say(w io.Writer) {
	fmt.Fprintf(w, "\nReport month %s, %d sites:", j.manifest.Month, j.manifest.Counts.Sites)
	for _, l := range j.manifest.Lanes {
		if l.Sites > 0 {
			fmt.Fprintf(w, "  %s %d", l.Lane, l.Sites)
		}
	}
	fmt.Fprintln(w)
	for _, s := range j.lacking.says {
		fmt.Fprintf(w, "\nLacking: %s.\n", s)
	}
	report.Top(w, j.first, j.set.Currency)
	if q := j.question; q.Table != "" {
		fmt.Fprintf(w, "\nMost worth finding out: what %s would say of %s on the ranking.\n", q.Table, count(q.Sites, "site"))
	}
	fmt.Fprintf(w, "\nRanked list   %s, and as a workbook %s\nThe page      %s\nParquet       %s\n",
		filepath.Join(j.final, "call_list.csv"), filepath.Join(j.final, "call_list.xlsx"), filepath.Join(j.final, "index.html"), filepath.Join(j.final, "*.parquet"))
	if n := len(j.rejects); n > 0 {
		fmt.Fprintf(w, "Set aside     %s (%d rows)\n", filepath.Join(j.final, "rejects.csv"), n)
	}
	report.WriteCaution(w)
}

func firstFew(ids []string, n int) string {
	if len(ids) <= n {
		return strings.Join(ids, ", ")
	}
	return strings.Join(ids[:n], ", ") + ", …"
}
