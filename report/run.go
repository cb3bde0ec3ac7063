// Package report turns findings into files: the ranked list, the Parquet
// tables, the page and the record of the run. It renders and never computes.
package report

import (
	"errors"
	"fmt"

	"rowen/analyze"
	"rowen/ingest"
)

// Run is a run's folder while it is being written: findings come in one after
// another, their long tables go straight to disk.
type Run struct {
	*Folder
	options *spool[OptionRow]
	monthly *spool[MonthRow]
	kept    *kept

	OptionRows, MonthRows int
}

// NewRun opens a run's folder for writing. replace: see NewFolder.
func NewRun(final string, replace bool) (*Run, error) {
	folder, err := NewFolder(final, replace)
	if err != nil {
		return nil, err
	}
	r := &Run{Folder: folder}
	var noOptions, noMonths, notKept error
	r.options, noOptions = newSpool[OptionRow]("options", folder.Path(""))
	r.monthly, noMonths = newSpool[MonthRow]("monthly", folder.Path(""))
	r.kept, notKept = newKept(folder.Path(""))
	if err := errors.Join(noOptions, noMonths, notKept); err != nil {
		folder.Discard()
		return nil, fmt.Errorf("writing the run: %w", err)
	}
	return r, nil
}

// AddSite writes what is long of one finding, in the order in which they come, and
// takes from it what only the writing asks for.
func (r *Run) AddSite(f *analyze.Finding) error {
	options, months := optionRows(f), monthRows(f)
	r.OptionRows += len(options)
	r.MonthRows += len(months)
	return errors.Join(r.options.add(f.Site.ID, options), r.monthly.add(f.Site.ID, months), r.kept.take(f))
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
		r.kept.w.Flush(),
		r.options.finish(m), r.monthly.finish(m),
		writeTables(r.Path(""), findings, r.kept, m),
		writeCSVFile(r.Path("call_list.csv"), calls),
		writeWorkbook(r.Path("call_list.xlsx"), calls, m),
		writeCSVFile(r.Path("rejects.csv"), rejectRows),
		writeRepairs(r.Path("repair_list.csv"), findings, r.kept),
		writeVisits(r.Path("visits.json"), findings, r.kept, m),
		writePage(r.Path("index.html"), findings, m, past),
		writeBriefs(r.Path(""), findings, r.kept, m),
		r.kept.close(),
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
