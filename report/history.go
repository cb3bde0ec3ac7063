package report

import (
	"cmp"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"text/tabwriter"

	"rowen/analyze"
)

// HistoryRow is one site in one month, as that month's run judged it, with what
// changed since the run before.
type HistoryRow struct {
	SiteID             string   `parquet:"site_id,dict"`
	Change             string   `parquet:"change,dict"`
	Why                *string  `parquet:"why,optional"`
	Lane               *string  `parquet:"lane,optional,dict"`
	LaneBefore         *string  `parquet:"lane_before,optional,dict"`
	Reason             *string  `parquet:"main_reason,optional,dict"`
	Rank               *int32   `parquet:"rank,optional"`
	RankBefore         *int32   `parquet:"rank_before,optional"`
	OnCallList         bool     `parquet:"on_call_list"`
	ModulesToAdd       *int32   `parquet:"modules_to_add,optional"`
	ModulesToAddBefore *int32   `parquet:"modules_to_add_before,optional"`
	Cost               *float64 `parquet:"cost,optional"`
	SavingsFirstYear   *float64 `parquet:"savings_first_year,optional"`
	NetBenefit         *float64 `parquet:"net_benefit,optional"`
	NetBenefitLow      *float64 `parquet:"net_benefit_low,optional"`
	NetBenefitHigh     *float64 `parquet:"net_benefit_high,optional"`
	Confidence         *float64 `parquet:"confidence,optional"`
	ConsumptionKWhYr   *float64 `parquet:"consumption_kwh_yr,optional"`
	ProductionKWhYr    *float64 `parquet:"production_kwh_yr,optional"`
	CoveragePct        *float64 `parquet:"coverage_pct,optional"`
	ProductionIndex    *float64 `parquet:"production_index,optional"`
	DataCoveragePct    *float64 `parquet:"data_coverage_pct,optional"`
	Events             int32    `parquet:"events"`
	EventDates         *string  `parquet:"event_dates,optional"`
	LatestEventOn      *int32   `parquet:"latest_event_on,optional,date"`
	LatestEventKind    *string  `parquet:"latest_event_kind,optional,dict"`
	Faults             *string  `parquet:"faults,optional,dict"`
	LastOutcome        *string  `parquet:"last_outcome,optional,dict"`
	LastOutcomeOn      *int32   `parquet:"last_outcome_on,optional,date"`
	BuiltOn            *int32   `parquet:"built_on,optional,date"`
	ModulesBuilt       *int32   `parquet:"modules_built,optional"`
	PredictedKWhYr     *float64 `parquet:"predicted_kwh_yr,optional"`
	RealizedKWhYr      *float64 `parquet:"realized_kwh_yr,optional"`
	RealizedLowKWhYr   *float64 `parquet:"realized_low_kwh_yr,optional"`
	RealizedHighKWhYr  *float64 `parquet:"realized_high_kwh_yr,optional"`
	PredictedSaving    *float64 `parquet:"predicted_saving,optional"`
	RealizedSaving     *float64 `parquet:"realized_saving,optional"`
	RealizedSavingLow  *float64 `parquet:"realized_saving_low,optional"`
	RealizedSavingHigh *float64 `parquet:"realized_saving_high,optional"`
	ReportMonth        string   `parquet:"report_month,dict"`
}

// HistoryTable describes history.parquet; history.csv has the same columns.
func HistoryTable() Table {
	return table[HistoryRow]("history", "one row per site and month over all runs: what the month's run judged, what changed since the run before and why", "report_month", "site_id")
}

// History is what ReadHistory found.
type History struct {
	Months []HistoryMonth
	Rows   int
	Notes  []string // runs that could not be read
}

// HistoryMonth counts one run's sites by what changed.
type HistoryMonth struct {
	Month                  string
	Sites, Ranked, OnLists int
	Changes                map[string]int
}

// EachHistory goes through the runs of a folder of runs, oldest first, and gives
// each site's row in the order of the table. What-if runs and kept folders have
// other names than a month and are left out; so is a run that cannot be read,
// which is said.
func EachHistory(runs string, do func(*HistoryRow) error) (*History, error) {
	entries, err := os.ReadDir(runs)
	if err != nil {
		return nil, fmt.Errorf("reading the runs: %w; name a fleet's folder that has been run", err)
	}
	h := &History{}
	var before map[string]*standing
	for _, e := range entries { // ReadDir gives the names in order
		if _, err := analyze.ParseMonth(e.Name()); err != nil || !e.IsDir() {
			continue
		}
		sites, err := readTable[standing](filepath.Join(runs, e.Name()), "sites.parquet")
		if err != nil {
			h.Notes = append(h.Notes, fmt.Sprintf("the run %s could not be read and is left out: its sites.parquet is missing or damaged", e.Name()))
			continue
		}
		now := make(map[string]*standing, len(sites))
		for i := range sites {
			now[sites[i].SiteID] = &sites[i]
		}
		if err := h.month(e.Name(), before, now, do); err != nil {
			return nil, err
		}
		before = now
	}
	if len(h.Months) == 0 {
		return nil, fmt.Errorf("reading the runs: %s holds no run of a month; rowen run makes one", runs)
	}
	return h, nil
}

// month gives the rows of one run; before is nil for the first.
func (h *History) month(name string, before, now map[string]*standing, do func(*HistoryRow) error) error {
	m := HistoryMonth{Month: name, Changes: map[string]int{}}
	ids := make([]string, 0, len(now))
	for id := range now {
		ids = append(ids, id)
	}
	for id := range before {
		if now[id] == nil {
			ids = append(ids, id)
		}
	}
	slices.SortFunc(ids, cmp.Compare[string])
	for _, id := range ids {
		row := historyRow(name, before[id], now[id], before == nil)
		if s := now[id]; s != nil {
			m.Sites++
			m.Ranked += one(s.Rank != nil)
			m.OnLists += one(s.OnCallList)
		}
		m.Changes[row.Change]++
		h.Rows++
		if err := do(&row); err != nil {
			return err
		}
	}
	h.Months = append(h.Months, m)
	return nil
}

// historyRow holds one site against the run before. The first run of all has
// nothing to be held against; a site that is gone has a last row that says so.
func historyRow(month string, was, now *standing, first bool) HistoryRow {
	r := HistoryRow{ReportMonth: month, Change: "none"}
	if was != nil {
		r.LaneBefore, r.RankBefore, r.ModulesToAddBefore = text(was.Lane), was.Rank, was.ModulesToAdd
	}
	switch {
	case now == nil:
		r.SiteID, r.Change, r.Why = was.SiteID, "gone", text("register: no longer in the register")
		return r
	case first:
		r.Change = "first"
	default:
		if c, changed := change(was, now, 0); changed {
			r.Change, r.Why = c.Kind, text(inLine(c.Facts, len(c.Facts)))
		}
	}
	r.judged(now)
	if len(now.Expansions) > 0 {
		x := &now.Expansions[0]
		r.BuiltOn, r.ModulesBuilt = &x.BuiltOn, &x.Modules
		r.PredictedKWhYr, r.RealizedKWhYr, r.RealizedLowKWhYr, r.RealizedHighKWhYr = x.PredictedKWhYr, x.RealizedKWhYr, x.RealizedLow, x.RealizedHigh
		r.PredictedSaving, r.RealizedSaving, r.RealizedSavingLow, r.RealizedSavingHigh = x.PredictedSaving, x.RealizedSaving, x.SavedLow, x.SavedHigh
	}
	return r
}

// judged takes over what the run found.
func (r *HistoryRow) judged(s *standing) {
	r.SiteID, r.Lane, r.Rank, r.OnCallList = s.SiteID, text(s.Lane), s.Rank, s.OnCallList
	if len(s.Reasons) > 0 {
		r.Reason = text(s.Reasons[0])
	}
	r.ModulesToAdd, r.Cost, r.SavingsFirstYear = s.ModulesToAdd, s.Cost, s.SavingsFirstYear
	r.NetBenefit, r.NetBenefitLow, r.NetBenefitHigh, r.Confidence = s.NetBenefit, s.NetBenefitLow, s.NetBenefitHigh, s.Confidence
	r.ConsumptionKWhYr, r.ProductionKWhYr, r.CoveragePct = s.ConsumptionKWhYr, s.ProductionKWhYr, s.CoveragePct
	r.ProductionIndex, r.DataCoveragePct = s.ProductionIndex, s.DataCoveragePct
	r.Faults, r.LastOutcome, r.LastOutcomeOn = text(strings.Join(s.ArrayFaults, " ")), s.Outcome, s.OutcomeOn
	events := slices.Clone(s.LoadEvents)
	slices.SortStableFunc(events, func(a, b LoadEvent) int { return cmp.Compare(a.On, b.On) })
	var dates []string
	for _, e := range events {
		dates = append(dates, dayText(e.On)+" "+e.Kind)
	}
	r.Events, r.EventDates = int32(len(events)), text(strings.Join(dates, "; "))
	if n := len(events); n > 0 {
		r.LatestEventOn, r.LatestEventKind = &events[n-1].On, &events[n-1].Kind
	}
}

// WriteHistory writes history.parquet and history.csv of a folder of runs into a
// folder. Each file appears whole or not at all.
func WriteHistory(runs, into string, m Manifest) (*History, error) {
	if _, err := os.Stat(runs); err != nil {
		return nil, fmt.Errorf("reading the runs: %w; name a fleet's folder that has been run", err)
	}
	if err := os.MkdirAll(into, 0o755); err != nil {
		return nil, fmt.Errorf("writing the history: %w", err)
	}
	temp, err := os.MkdirTemp(into, unfinished+"history-")
	if err != nil {
		return nil, fmt.Errorf("writing the history: %w", err)
	}
	defer os.RemoveAll(temp)
	h, err := writeHistory(runs, temp, m)
	if err != nil {
		return nil, err
	}
	for _, name := range []string{"history.parquet", "history.csv"} {
		if err := os.Rename(filepath.Join(temp, name), filepath.Join(into, name)); err != nil {
			return nil, fmt.Errorf("writing the history: %w", err)
		}
	}
	return h, nil
}

func writeHistory(runs, temp string, m Manifest) (*History, error) {
	p, err := createParquet[HistoryRow](HistoryTable(), temp)
	if err != nil {
		return nil, fmt.Errorf("writing the history: %w", err)
	}
	f, err := os.OpenFile(filepath.Join(temp, "history.csv"), os.O_CREATE|os.O_WRONLY, 0o600)
	if err != nil {
		return nil, errors.Join(fmt.Errorf("writing the history: %w", err), p.close(m))
	}
	c, err := newCSV[HistoryRow](f, HistoryTable().Columns)
	var h *History
	if err == nil {
		h, err = EachHistory(runs, func(r *HistoryRow) error {
			return errors.Join(p.write(*r), c.write(r))
		})
	}
	if h != nil {
		m.Month, m.RunID = h.Months[len(h.Months)-1].Month, ""
	}
	return h, errors.Join(err, c.close(), p.close(m), f.Close())
}

// Print prints a history's months in a table.
func (h *History) Print(w io.Writer) {
	t := tabwriter.NewWriter(w, 0, 0, 2, ' ', tabwriter.AlignRight)
	fmt.Fprintln(t, "month\tsites\tranked\ton lists\tentered\tleft\tchanged lane\tanother offer\tmoved\tnew\tgone\t")
	for _, m := range h.Months {
		c := m.Changes
		fmt.Fprintf(t, "%s\t%d\t%d\t%d\t%d\t%d\t%d\t%d\t%d\t%d\t%d\t\n", m.Month, m.Sites, m.Ranked, m.OnLists,
			c["entered"], c["left"], c["lane"], c["offer"], c["rank"], c["new"], c["gone"])
	}
	t.Flush()
}

// PrintSiteHistory prints one site's months: where it stood, what changed and why.
func PrintSiteHistory(w io.Writer, runs, siteID string) error {
	found := false
	_, err := EachHistory(runs, func(r *HistoryRow) error {
		if r.SiteID != siteID {
			return nil
		}
		found = true
		place := "not ranked"
		if r.Rank != nil {
			place = fmt.Sprintf("rank %d, %s", *r.Rank, offered(&standing{ModulesToAdd: r.ModulesToAdd}))
		}
		lane := "gone"
		if r.Lane != nil {
			lane = *r.Lane
		}
		fmt.Fprintf(w, "%s  %s, %s, coverage %s %%, production index %s\n", r.ReportMonth, lane, place, figure(r.CoveragePct, 0), figure(r.ProductionIndex, 2))
		if r.Why != nil {
			printWrapped(w, "         ", kindHeads[r.Change]+": "+*r.Why)
		}
		if r.RealizedKWhYr != nil || r.PredictedKWhYr != nil {
			printWrapped(w, "         ", fmt.Sprintf("%s added: predicted %s kWh a year, realized %s", modules(int(*r.ModulesBuilt)), figure(r.PredictedKWhYr, 0), figure(r.RealizedKWhYr, 0)))
		}
		return nil
	})
	if err == nil && !found {
		return fmt.Errorf("reading the runs: no run in %s knows site %q", runs, siteID)
	}
	return err
}
