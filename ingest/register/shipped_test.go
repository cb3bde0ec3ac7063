package register

import (
	"os"
	"strings"
	"testing"

	"rowen/ingest"
	"rowen/ingest/register/profiles"
)

// TestShippedProfiles: the profiles that come with the program pass the checks
// that a fleet's own must pass, and give way to one with the same ID.
func TestShippedProfiles(t *testing.T) {
	text, err := os.ReadFile("profiles/profiles.yaml")
	if err != nil {
		t.Fatal(err)
	}
	var c ingest.Catalogue
	list := "profiles:\n" + strings.ReplaceAll("\n"+string(text), "\n", "\n  ")
	if err := decodeCatalogue(newDocument("profiles.yaml"), []byte(list), &c); err != nil {
		t.Error(err)
	}
	if len(c.Profiles) != len(profiles.Shipped()) || len(c.Profiles) == 0 {
		t.Errorf("%d profiles, %d shipped", len(c.Profiles), len(profiles.Shipped()))
	}

	f, err := Read(folder(t, nil), smallOptions)
	if err != nil {
		t.Fatal(err)
	}
	if p := f.Catalogue.Profile("split-phase-200"); p == nil || p.Source != "..." {
		t.Errorf("the fleet's own profile gave way: %+v", p)
	}
	if len(f.Catalogue.Profiles) != len(profiles.Shipped()) {
		t.Errorf("%d profiles, want the fleet's one and the shipped others", len(f.Catalogue.Profiles))
	}
}
