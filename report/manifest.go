package report

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"io"
	"io/fs"
	"os"
	"path/filepath"
)

// Manifest is run.json: what was run, on what, and what came of it. Everything
// but Timings is the same for the same input, settings and version.
type Manifest struct {
	Program  string            `json:"program" text:"rowen"`
	Version  string            `json:"version" text:"the program's version"`
	RunID    string            `json:"run_id" text:"names the run by what went into it"` // names the run by what went into it
	Name     string            `json:"name,omitempty" text:"the business, as the settings have it"`
	Month    string            `json:"month" text:"the report month"`
	Currency string            `json:"currency" text:"of all money"`
	Locale   string            `json:"locale,omitempty" text:"how dates and money are written for people"`
	Settings any               `json:"settings" text:"every setting as it was used"`
	Inputs   []Input           `json:"inputs" text:"every file that was read"`
	Counts   Counts            `json:"counts" text:"the run's sizes"`
	Lanes    []LaneCount       `json:"lanes" text:"sites by lane"`
	Warnings []string          `json:"warnings" text:"what a person should know, the heaviest first"`
	Outputs  map[string]string `json:"outputs" text:"every file written, with its SHA-256; run.json itself apart"` // file to SHA-256; run.json itself apart
	Timings  Timings           `json:"timings" text:"differ from run to run"`

	Calls *CallsRecord `json:"earlier_calls,omitempty" text:"what earlier calls came to"`

	HideMap bool `json:"-"` // the page draws no map of the sites
}

// Input is one file that was read.
type Input struct {
	File   string `json:"file" text:"below the fleet's folder"`
	Bytes  int64  `json:"bytes" text:"its size"`
	SHA256 string `json:"sha256" text:"its SHA-256"`
}

// Counts are the run's sizes.
type Counts struct {
	Sites        int   `json:"sites" text:"how many"`
	SitesRead    int   `json:"sites_with_readings" text:"sites that have readings"`
	SitesFailed  int   `json:"sites_failed" text:"sites that could not be judged"`
	RowsRead     int64 `json:"reading_rows_read" text:"rows of readings"`
	RowsKept     int64 `json:"reading_rows_kept" text:"rows used"`
	RowsRepeated int64 `json:"reading_rows_repeated" text:"rows that repeat another of the same file"`
	RowsAside    int64 `json:"reading_rows_set_aside" text:"rows that cannot be used"`
	RegisterRead int   `json:"register_rows_read" text:"the register's rows"`
	RegisterAway int   `json:"register_rows_set_aside" text:"those that cannot be used"`
	FilesMissing int   `json:"reading_files_missing" text:"not readable, or gone since an earlier run"` // not readable, or gone since an earlier run
	TariffsAway  int   `json:"tariffs_unusable" text:"tariffs that cannot be used"`
	Ranked       int   `json:"ranked" text:"sites with a rank"`
	OnCallList   int   `json:"on_call_list" text:"sites on the call list"`
	Options      int   `json:"options" text:"rows of options.parquet"`
	Months       int   `json:"months" text:"rows of monthly.parquet"`
}

// LaneCount is how many sites are in a lane.
type LaneCount struct {
	Lane  string `json:"lane" text:"the lane"`
	Sites int    `json:"sites" text:"how many"`
}

// Timings stand apart: they differ from run to run.
type Timings struct {
	StartedAt      string             `json:"started_at" text:"when it began, UTC"`
	Seconds        map[string]float64 `json:"seconds" text:"per stage"`
	SitesPerSecond float64            `json:"sites_per_second" text:"of the whole run"`
	Workers        int                `json:"workers" text:"sites judged at the same time"`
	FilesRead      int                `json:"files_read" text:"files of readings that were read"`
	FilesReused    int                `json:"files_reused" text:"those whose readings the ledger held"`
}

func writeJSON(path string, v any) error {
	var b bytes.Buffer
	if err := encodeJSON(&b, "", v); err != nil {
		return err
	}
	return os.WriteFile(path, b.Bytes(), 0o644)
}

// encodeJSON writes a value over as many lines as it takes, each after the first
// behind a margin.
func encodeJSON(w io.Writer, margin string, v any) error {
	e := json.NewEncoder(w)
	e.SetIndent(margin, "  ")
	e.SetEscapeHTML(false)
	return e.Encode(v)
}

// outputDigests are the SHA-256 of the files in a run's folder and the folders
// below it.
func outputDigests(dir string) (map[string]string, error) {
	digests := map[string]string{}
	err := filepath.WalkDir(dir, func(path string, e fs.DirEntry, err error) error {
		if err != nil || !e.Type().IsRegular() {
			return err
		}
		rel, err := filepath.Rel(dir, path)
		if err != nil {
			return err
		}
		digests[filepath.ToSlash(rel)], err = fileDigest(path)
		return err
	})
	return digests, err
}

func fileDigest(path string) (string, error) {
	f, err := os.Open(path)
	if err != nil {
		return "", err
	}
	h := sha256.New()
	_, err = io.Copy(h, f)
	return hex.EncodeToString(h.Sum(nil)), errors.Join(err, f.Close())
}
