package main

import (
	"crypto/sha256"
	"encoding/hex"
	"io"
	"os"
	"path/filepath"

	"rowen/report"
)

// registerFiles are the files of a fleet's folder beside the readings.
var registerFiles = []string{"rowen.yaml", "catalogue.yaml", "tariffs.yaml", "sites.csv", "arrays.csv", "planes.csv",
	"services.csv", "gateways.csv", "bills.csv", "outcomes.csv"}

// digests are the register files that are there, with their SHA-256; the tariffs
// file where another is read in the place of the folder's.
func digests(dir, tariffsFile string) []report.Input {
	var inputs []report.Input
	for _, name := range registerFiles {
		path := filepath.Join(dir, name)
		if name == "tariffs.yaml" && tariffsFile != "" {
			name, path = filepath.Base(tariffsFile), tariffsFile
		}
		f, err := os.Open(path)
		if err != nil {
			continue
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
