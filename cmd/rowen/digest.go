package main

import (
	"crypto/sha256"
	"encoding/hex"
	"io"
	"os"
	"path/filepath"
	"slices"

	"rowen/ingest/regular"
	"rowen/report"
)

// registerFiles are the files of a fleet's folder beside the readings.
var registerFiles = []string{"rowen.yaml", "catalogue.yaml", "tariffs.yaml", "sites.csv", "arrays.csv", "planes.csv",
	"services.csv", "gateways.csv", "bills.csv", "outcomes.csv"}

// digests are the register's and the weather's files that are there, with their
// SHA-256; the tariffs file where another is read in the place of the folder's.
func digests(dir, tariffsFile string) []report.Input {
	names := slices.Clone(registerFiles)
	entries, _ := os.ReadDir(filepath.Join(dir, "weather")) // not there: no weather
	for _, e := range entries {
		names = append(names, "weather/"+e.Name())
	}
	var inputs []report.Input
	for _, name := range names {
		path := filepath.Join(dir, filepath.FromSlash(name))
		if name == "tariffs.yaml" && tariffsFile != "" {
			name, path = filepath.Base(tariffsFile), tariffsFile
		}
		f, err := regular.Open(path)
		if err != nil {
			continue // what reads it says so
		}
		h := sha256.New()
		n, err := io.Copy(h, f)
		f.Close()
		if err == nil {
			inputs = append(inputs, report.Input{File: name, Bytes: n, SHA256: hex.EncodeToString(h.Sum(nil))})
		}
	}
	return inputs
}
