package report

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"io"
	"os"
	"path/filepath"
)

// Manifest is run.json: what was run, on what, and what came of it. Everything
// but Timings is the same for the same input, settings and version.
type Manifest struct {
	Program  string            `json:"program"`
	Version  string            `json:"version"`
	Name     string            `json:"name,omitempty"`
	Month    string            `json:"month"`
	Currency string            `json:"currency"`
	Settings any               `json:"settings"`
	Inputs   []Input           `json:"inputs"`
	Counts   Counts            `json:"counts"`
	Lanes    []LaneCount       `json:"lanes"`
	Warnings []string          `json:"warnings"`
	Outputs  map[string]string `json:"outputs"` // file to SHA-256; the briefs, which are many, apart
	Timings  Timings           `json:"timings"`
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

// outputDigests are the SHA-256 of the files that lie in a run's folder.
func outputDigests(dir string) (map[string]string, error) {
	entries, err := os.ReadDir(dir)
	if err != nil {
		return nil, err
	}
	digests := map[string]string{}
	for _, e := range entries {
		if !e.Type().IsRegular() {
			continue
		}
		f, err := os.Open(filepath.Join(dir, e.Name()))
		if err != nil {
			return nil, err
		}
		h := sha256.New()
		_, err = io.Copy(h, f)
		if err = errors.Join(err, f.Close()); err != nil {
			return nil, err
		}
		digests[e.Name()] = hex.EncodeToString(h.Sum(nil))
	}
	return digests, nil
}
