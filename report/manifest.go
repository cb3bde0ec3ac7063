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
	Program  string            `json:"program"`
	Version  string            `json:"version"`
	RunID    string            `json:"run_id"` // names the run by what went into it
	Name     string            `json:"name,omitempty"`
	Month    string            `json:"month"`
	Currency string            `json:"currency"`
	Locale   string            `json:"locale,omitempty"`
	Settings any               `json:"settings"`
	Inputs   []Input           `json:"inputs"`
	Counts   Counts            `json:"counts"`
	Lanes    []LaneCount       `json:"lanes"`
	Warnings []string          `json:"warnings"`
	Outputs  map[string]string `json:"outputs"` // file to SHA-256; run.json itself apart
	Timings  Timings           `json:"timings"`

	Calls *CallsRecord `json:"earlier_calls,omitempty"`

	HideMap bool `json:"-"` // the page draws no map of the sites
}

// Input is one file that was read.
type Input struct {
	File   string `json:"file"`
	Bytes  int64  `json:"bytes"`
	SHA256 string `json:"sha256"`
}

// Counts are the run's sizes.
type Counts struct {
	Sites        int   `json:"sites"`
	SitesRead    int   `json:"sites_with_readings"`
	SitesFailed  int   `json:"sites_failed"`
	RowsRead     int64 `json:"reading_rows_read"`
	RowsKept     int64 `json:"reading_rows_kept"`
	RowsRepeated int64 `json:"reading_rows_repeated"`
	RowsAside    int64 `json:"reading_rows_set_aside"`
	RegisterRead int   `json:"register_rows_read"`
	RegisterAway int   `json:"register_rows_set_aside"`
	FilesMissing int   `json:"reading_files_missing"` // not readable, or gone since an earlier run
	TariffsAway  int   `json:"tariffs_unusable"`
	Ranked       int   `json:"ranked"`
	OnCallList   int   `json:"on_call_list"`
	Options      int   `json:"options"`
	Months       int   `json:"months"`
}

// LaneCount is how many sites are in a lane.
type LaneCount struct {
	Lane  string `json:"lane"`
	Sites int    `json:"sites"`
}

// Timings stand apart: they differ from run to run.
type Timings struct {
	StartedAt      string             `json:"started_at"`
	Seconds        map[string]float64 `json:"seconds"`
	SitesPerSecond float64            `json:"sites_per_second"`
	Workers        int                `json:"workers"`
	FilesRead      int                `json:"files_read"`
	FilesReused    int                `json:"files_reused"`
}

func writeJSON(path string, v any) error {
	var b bytes.Buffer
	e := json.NewEncoder(&b)
	e.SetIndent("", "  ")
	e.SetEscapeHTML(false)
	if err := e.Encode(v); err != nil {
		return err
	}
	return os.WriteFile(path, b.Bytes(), 0o644)
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
