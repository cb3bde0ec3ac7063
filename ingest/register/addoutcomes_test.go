package register

import (
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"rowen/ingest"
)

// Outcomes are added once, however often they come; the file's own rows and
// columns stay as they are.
func TestAddOutcomes(t *testing.T) {
	dir := t.TempDir()
	path := filepath.Join(dir, "outcomes.csv")
	if err := os.WriteFile(path, []byte("result,site_id,mood,called_on\ndeclined,S1,\"fair, so far\",2026-01-02\n"), 0o644); err != nil {
		t.Fatal(err)
	}
	nan := math.NaN()
	o := ingest.Outcome{SiteID: "S2", CalledOn: day(2026, 11, 5), Result: "sold", Reason: "likes it, a lot", ModulesSold: ingest.Some(8), Price: 7500.5,
		Listed: ingest.Listed{Month: "2026-10", Rank: ingest.Some(3), Tenth: ingest.Some(1), Reason: "new_load", AddedKWhYr: 3120, Saving: nan, SavingLow: nan, SavingHigh: nan}}
	same := ingest.Outcome{SiteID: "S1", CalledOn: day(2026, 1, 2), Result: "declined", Price: nan, Listed: ingest.Listed{AddedKWhYr: nan, Saving: nan, SavingLow: nan, SavingHigh: nan}}
	for pass, want := range [][2]int{{1, 1}, {0, 2}} {
		added, known, err := AddOutcomes(dir, []ingest.Outcome{o, same})
		if err != nil || added != want[0] || known != want[1] {
			t.Fatalf("pass %d: added %d, known %d, %v", pass, added, known, err)
		}
	}
	b, _ := os.ReadFile(path)
	lines := strings.Split(strings.TrimSpace(string(b)), "\n")
	if len(lines) != 3 || !strings.HasPrefix(lines[0], "result,site_id,mood,called_on,reason,") || !strings.HasPrefix(lines[1], `declined,S1,"fair, so far",2026-01-02,`) ||
		!strings.HasPrefix(lines[2], `sold,S2,,2026-11-05,"likes it, a lot",8,7500.5,,2026-10,3,1,new_load,,3120,`) {
		t.Errorf("\n%s", b)
	}
	other := same
	other.Result = "sold"
	if _, _, err := AddOutcomes(dir, []ingest.Outcome{other, {SiteID: "S9", CalledOn: day(2026, 1, 2), Result: "sold"}}); err == nil || !strings.Contains(err.Error(), "outcomes.csv:2: site S1") {
		t.Errorf("another result of one call: %v", err)
	}
	if again, _ := os.ReadFile(path); string(again) != string(b) {
		t.Error("a refused addition changed the file")
	}
	if added, _, err := AddOutcomes(t.TempDir(), []ingest.Outcome{o}); err != nil || added != 1 {
		t.Errorf("into a folder without the file: %d %v", added, err)
	}
}
