// Package report turns findings into files: the ranked list, the Parquet
// tables, the page and the record of the run. It renders and never computes.
package report

import (
	"errors"
	"fmt"
	"os"

	"rowen/analyze"
	"rowen/ingest"
)

// Run is a run's folder while it is being written.
type Run struct {
	*Folder
}

// NewRun opens a run's folder for writing. replace: see NewFolder.
func NewRun(final string, replace bool) (*Run, error) {
	folder, err := NewFolder(final, replace)
	if err != nil {
		return nil, err
	}
	return &Run{Folder: folder}, nil
}

// Scratch is a place in the run's folder for the findings on their way, which
// Finish clears.
func (r *Run) Scratch() string { return r.Path(".judged") }

// Finish writes the ranked findings, what was set aside and the page. After it
// the run may be published. kept holds what the findings say at length, and is let
// go of; past is what earlier runs say, nil: there are none.
func (r *Run) Finish(findings []*analyze.Finding, kept *Found, rejects []ingest.Reject, m Manifest, past *Past) error {
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
		writePiles[OptionRow](r.Path(""), "options", &kept.options, m), writePiles[MonthRow](r.Path(""), "monthly", &kept.monthly, m),
		writeTables(r.Path(""), findings, kept, m),
		writeCSVFile(r.Path("call_list.csv"), calls),
		writeWorkbook(r.Path("call_list.xlsx"), calls, m),
		writeCSVFile(r.Path("rejects.csv"), rejectRows),
		writeRepairs(r.Path("repair_list.csv"), findings, kept),
		writeVisits(r.Path("visits.json"), findings, kept, m),
		writePage(r.Path("index.html"), findings, m, past),
		writeBriefs(r.Path(""), findings, kept, m),
		kept.Close(),
		os.RemoveAll(r.Scratch()),
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
