package analyze

import (
	"bytes"
	"context"
	"errors"
	"slices"
	"testing"

	"rowen/ingest"
	"rowen/ingest/demo"
)

// stumbles fails at one site.
type stumbles struct {
	ingest.Source
	at string
}

func (s stumbles) Load(id string, into *ingest.Series) error {
	if id == s.at {
		return errors.New("its readings are damaged")
	}
	return s.Source.Load(id, into)
}

// TestSketchesJoinExactly: the survey of a fleet has the same bytes in however many
// shards it was made, and comes back from them as it was.
func TestSketchesJoinExactly(t *testing.T) {
	o := demo.Default()
	o.Sites, o.Months = 60, 18
	m := demo.Make(o)
	fleet := m.Fleet()
	at := func(shards int) []byte {
		fl := NewFleet(fleet, stumbles{m.Source(), fleet.Sites[7].ID}, testOptions(2))
		all := fl.Blank()
		for n := range shards {
			s, err := fl.Sketch(context.Background(), Shard{n, shards})
			if err != nil {
				t.Fatal(err)
			}
			if err := all.Join(s.Append(nil)); err != nil {
				t.Fatal(err)
			}
		}
		return fl.Merge(all).Append(nil)
	}
	fl := NewFleet(fleet, stumbles{m.Source(), fleet.Sites[7].ID}, testOptions(1))
	survey, err := fl.Survey(context.Background())
	if err != nil {
		t.Fatal(err)
	}
	want := survey.Append(nil)
	if len(survey.Season.Signals()) == 0 || len(survey.Sky.Part().Cells) < 3 || !slices.ContainsFunc(survey.seen, func(s seen) bool { return s.Failed != "" }) {
		t.Error("no season, no sky or no failed site: the test is broken")
	}
	for _, shards := range []int{7, 100} {
		if !bytes.Equal(at(shards), want) {
			t.Errorf("in %d shards the survey is another", shards)
		}
	}
	again, err := fl.TakeSurvey(want)
	if err != nil || !bytes.Equal(again.Append(nil), want) {
		t.Errorf("the survey does not come back as it was: %v", err)
	}
	if _, err := fl.TakeSurvey(want[:len(want)/2]); err == nil {
		t.Error("half a survey was taken for one")
	}
}
