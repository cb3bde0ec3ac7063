package main

import (
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"

	"rowen/analyze/array"
	"rowen/analyze/sky"
	"rowen/config"
)

// What the settings leave alone is what the stages run with by themselves, so
// that tests and measurements are of what users run.
func TestSettingsAreTheStagesDefaults(t *testing.T) {
	o, err := analyzeOptions(config.Default(), 1)
	if err != nil {
		t.Fatal(err)
	}
	if d := cmp.Diff(array.Defaults(), o.Array, cmpopts.IgnoreFields(array.Options{}, "UsualFactor")); d != "" {
		t.Errorf("array: %s", d)
	}
	if d := cmp.Diff(sky.Defaults(), o.Sky, cmpopts.IgnoreFields(sky.Options{}, "CellDeg", "SitesPerCell")); d != "" {
		t.Errorf("sky: %s", d)
	}
}
