// Package report turns findings into files: the ranked list, the Parquet
// tables, the page and the record of the run. It renders and never computes.
package report

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"

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

// Scratch is a place in the run's folder for what is on its way, which Finish
// clears.
func (r *Run) Scratch(name string) string { return filepath.Join(r.scratch(), name) }

func (r *Run) scratch() string { return r.Path(".scratch") }

// Finish writes the tables, the lists, what was set aside and the page. After it
// the run may be published. kept and said are let go of; past is what earlier runs
// say, nil: there are none.
func (r *Run) Finish(kept *Found, said *Rendered, rejects []ingest.Reject, m Manifest, past *Past) error {
	rejectRows := make([]RejectRow, len(rejects))
	for i, j := range rejects {
		rejectRows[i] = rejectRow(j, m.Month)
	}
	var err error
	if m.RunID, err = runID(m); err != nil {
		return fmt.Errorf("writing the run: %w", err)
	}
	dir := r.Path("")
	err = errors.Join(writePiles[OptionRow](dir, "options", &kept.options, m), writePiles[MonthRow](dir, "monthly", &kept.monthly, m))
	g, notGathered := gather(dir, said, m, past.previous())
	if err = errors.Join(err, notGathered); err == nil {
		m.Calls = callsRecord(g.learned)
		err = errors.Join(
			writeCandidates(dir, said, g.ranked, m),
			writeSheets(dir, g.sheets(said.rows.id), said.pages, m),
			writeCSVFile(r.Path("call_list.csv"), g.calls),
			writeWorkbook(r.Path("call_list.xlsx"), g.calls, m),
			writeCSVFile(r.Path("rejects.csv"), rejectRows),
			writeCSVFile(r.Path("repair_list.csv"), g.repairs),
			create(r.Path("index.html"), g.page(m, past).Write),
		)
	}
	if err = errors.Join(err, kept.Close(), said.Close(), os.RemoveAll(r.scratch())); err == nil {
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
