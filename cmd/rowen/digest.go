package main

import (
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"io"
	"io/fs"
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
// unread are those that are there and cannot be read, so that a record of the run
// would not say what it was made from.
func digests(dir, tariffsFile string) (inputs []report.Input, unread []string) {
	names := slices.Clone(registerFiles)
	entries, err := os.ReadDir(filepath.Join(dir, "weather"))
	if err != nil && !errors.Is(err, fs.ErrNotExist) {
		unread = append(unread, "weather")
	}
	for _, e := range entries {
		names = append(names, "weather/"+e.Name())
	}
	for _, name := range names {
		path := filepath.Join(dir, filepath.FromSlash(name))
		if name == "tariffs.yaml" && tariffsFile != "" {
			name, path = filepath.Base(tariffsFile), tariffsFile
		}
		input, err := digest(path)
		switch {
		case errors.Is(err, fs.ErrNotExist):
		case err != nil:
			unread = append(unread, name)
		default:
			input.File = name
			inputs = append(inputs, input)
		}
	}
	return inputs, unread
}

func digest(path string) (report.Input, error) {
	f, err := regular.Open(path)
	if err != nil {
		return report.Input{}, err
	}
	defer f.Close()
	h := sha256.New()
	n, err := io.Copy(h, f)
	return report.Input{Bytes: n, SHA256: hex.EncodeToString(h.Sum(nil))}, err
}

func digestOf(b []byte) string {
	sum := sha256.Sum256(b)
	return hex.EncodeToString(sum[:])
}
