// Package report turns findings into files: the ranked list, the Parquet
// tables, the page and the record of the run. It renders and never computes.
package report

import (
	"errors"
	"fmt"

	"rowen/analyze"
	"rowen/ingest"
	"rowen/report/page"
)

// Run is a run's folder while it is being written: findings come in one after
// another, their long tables go straight to disk.
type Run struct {
	*Folder
	options *spool[OptionRow]
	monthly *spool[MonthRow]
	charts  map[string][]page.Month // of the sites that may get a brief

	OptionRows, MonthRows int
}

// NewRun opens a run's folder for writing. replace: see NewFolder.
func NewRun(final string, replace bool) (*Run, error) {
	folder, err := NewFolder(final, replace)
	if err != nil {
		return nil, err
	}
	r := &Run{Folder: folder, charts: map[string][]page.Month{}}
	if r.options, err = newSpool[OptionRow]("options", folder.Path("")); err == nil {
		r.monthly, err = newSpool[MonthRow]("monthly", folder.Path(""))
	}
	if err != nil {
		folder.Discard()
		return nil, fmt.Errorf("writing the run: %w", err)
	}
	return r, nil
}

// AddSite writes what is long of one finding, in the order in which they come.
func (r *Run) AddSite(f *analyze.Finding) error {
	options, months := optionRows(f), monthRows(f)
	r.OptionRows += len(options)
	r.MonthRows += len(months)
	if chart := briefMonths(f); chart != nil {
		r.charts[f.Site.ID] = chart
	}
	return errors.Join(r.options.add(f.Site.ID, options), r.monthly.add(f.Site.ID, months))
}

// Finish writes the ranked findings, what was set aside and the page. After it
// the run may be published. past is what earlier runs say; nil: there are none.
func (r *Run) Finish(findings []*analyze.Finding, rejects []ingest.Reject, m Manifest, past *Past) error {
	rejectRows := make([]RejectRow, len(rejects))
	for i, j := range rejects {
		rejectRows[i] = rejectRow(j, m.Month)
	}
	calls := CallRows(findings, m)
	m.Calls = callsRecord(findings)
	var err error
	if m.RunID, err = runID(m); err != nil {
		return fmt.Errorf("writing the run: %w", err)
	}
	err = errors.Join(
		r.options.finish(m), r.monthly.finish(m),
		writeTables(r.Path(""), findings, m),
		writeCSVFile(r.Path("call_list.csv"), calls),
		writeWorkbook(r.Path("call_list.xlsx"), calls, m),
		writeCSVFile(r.Path("rejects.csv"), rejectRows),
		writeCSVFile(r.Path("repair_list.csv"), repairRows(findings)),
		writeJSON(r.Path("visits.json"), visitsOf(findings, m)),
		writePage(r.Path("index.html"), findings, m, past),
		writeBriefs(r.Path(""), findings, r.charts, m),
	)
	if err == nil {
		err = r.record(m)
	}
	if err != nil {
		return fmt.Errorf("writing the run: %w", err)
	}
	return nil
}

// record writes what describes the other files: the data package and run.json.
func (r *Run) record(m Manifest) error {
	var err error
	if m.Outputs, err = outputDigests(r.Path("")); err != nil {
		return err
	}
	const described = "datapackage.json"
	if err := writeJSON(r.Path(described), dataPackage(m)); err != nil {
		return err
	}
	if m.Outputs[described], err = fileDigest(r.Path(described)); err != nil {
		return err
	}
	return writeJSON(r.Path("run.json"), m)
}
