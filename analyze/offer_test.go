package analyze

import (
	"strings"
	"testing"

	"rowen/ingest"
)

// A blank defaults.inverter follows the site's own family: never an inverter of
// another kind because it stands last in the catalogue.
func TestBlankInverterFollowsTheSitesFamily(t *testing.T) {
	fleet := &ingest.Fleet{
		Catalogue: ingest.Catalogue{
			Modules: []ingest.Module{{Model: "m", Watts: 430}},
			Inverters: []ingest.Inverter{
				{Model: "a1", Family: "a", Generation: 1, Kind: "micro", ACWatts: 265, MaxModuleWatts: 350},
				{Model: "a2-big", Family: "a", Generation: 2, Kind: "micro", ACWatts: 410, MaxModuleWatts: 560},
				{Model: "a2-small", Family: "a", Generation: 2, Kind: "micro", ACWatts: 325, MaxModuleWatts: 440},
				{Model: "a2-low", Family: "a", Generation: 2, Kind: "micro", ACWatts: 500, MaxModuleWatts: 400},
				{Model: "s", Family: "s", Generation: 1, Kind: "string", ACWatts: 5400},
				{Model: "s-large", Family: "s", Generation: 1, Kind: "string", ACWatts: 7200},
			},
		},
		Sites: []ingest.Site{
			{ID: "micro", Arrays: []ingest.Array{{Modules: 12, InverterModel: "a1"}, {Modules: 4, InverterModel: "s"}}},
			{ID: "string", Arrays: []ingest.Array{{Modules: 12, InverterModel: "s-large"}}},
			{ID: "unknown", Arrays: []ingest.Array{{Modules: 12}}},
			{ID: "micro too", Arrays: []ingest.Array{{Modules: 3, InverterModel: "a2-small"}}},
		},
	}
	o, err := offered(fleet, Options{})
	if err != nil {
		t.Fatal(err)
	}
	for i, want := range []string{"a2-big", "s", "a2-big", "a2-big"} {
		inv, assumed := o.inverterFor(&fleet.Sites[i], &fleet.Catalogue)
		if inv.Model != want || assumed != (fleet.Sites[i].ID == "unknown") {
			t.Errorf("%s: %s, assumed %v; want %s", fleet.Sites[i].ID, inv.Model, assumed, want)
		}
	}
	if o, _ = offered(fleet, Options{DefaultInverter: "s"}); o.inverter == nil || o.inverter.Model != "s" {
		t.Errorf("the settings name s: %+v", o)
	}
	fleet.Sites = fleet.Sites[2:3]
	if _, err = offered(fleet, Options{}); err == nil || !strings.Contains(err.Error(), "defaults.inverter") {
		t.Errorf("no site tells a family: %v", err)
	}
}
