package analyze

import (
	"context"
	"testing"

	"rowen/analyze/sun"
	"rowen/ingest"
	"rowen/ingest/demo"
)

// A site whose array tells no sky leaves no estimate behind, least of all one
// at 0 degrees north, 0 degrees east.
func TestAFailedEstimateIsNoSky(t *testing.T) {
	o := demo.Default()
	o.Sites, o.Months, o.PlainHomes = 6, 14, true
	m := demo.Make(o)
	fl := NewFleet(m.Fleet(), thinned{m.Source(), []ingest.Channel{ingest.Import}}, testOptions(1))
	s, err := fl.Survey(context.Background())
	if err != nil {
		t.Fatal(err)
	}
	if s.Read == 0 {
		t.Fatal("no site was read")
	}
	if !s.Sky.Alone(sun.Place{}, "") {
		t.Error("arrays stand at 0 N 0 E")
	}
}
