package main

import (
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"

	"rowen/analyze/array"
	"rowen/analyze/rank"
	"rowen/analyze/sky"
	"rowen/config"
)

// What the settings leave alone is what the stages run with by themselves, so
// that tests and measurements are of what users run.
func TestSettingsAreTheStagesDefaults(t *testing.T) {
	set, err := config.Load(t.TempDir(), nil, nil) // a fleet that sets nothing
	if err != nil {
		t.Fatal(err)
	}
	o, err := analyzeOptions(set, 1)
	if err != nil {
		t.Fatal(err)
	}
	if d := cmp.Diff(array.Defaults(), o.Array, cmpopts.IgnoreFields(array.Options{}, "UsualFactor")); d != "" {
		t.Errorf("array: %s", d)
	}
	if d := cmp.Diff(rank.Defaults(), o.Rank); d != "" {
		t.Errorf("rank: %s", d)
	}
	if d := cmp.Diff(sky.Defaults(), o.Sky, cmpopts.IgnoreFields(sky.Options{}, "CellDeg", "SitesPerCell")); d != "" {
		t.Errorf("sky: %s", d)
	}
}
