// Package profiles holds the service profiles that come with the program: the
// electrical rules of four places as data, each value with where it comes from.
package profiles

import (
	"bytes"
	_ "embed"
	"fmt"

	"go.yaml.in/yaml/v3"

	"rowen/ingest"
)

//go:embed profiles.yaml
var file []byte

// Shipped gives a fresh copy of the profiles that come with the program, in
// the order of the file. A fleet's own catalogue comes before them: a profile
// that it defines under the same ID replaces the shipped one.
func Shipped() []ingest.ServiceProfile {
	ps, err := parse(file)
	if err != nil {
		panic(fmt.Sprintf("the profiles that come with the program: %v", err)) // the file is part of the program: a test reads it
	}
	return ps
}

func parse(b []byte) ([]ingest.ServiceProfile, error) {
	var ps []ingest.ServiceProfile
	d := yaml.NewDecoder(bytes.NewReader(b))
	d.KnownFields(true)
	if err := d.Decode(&ps); err != nil {
		return nil, fmt.Errorf("reading service profiles: %w", err)
	}
	return ps, nil
}
