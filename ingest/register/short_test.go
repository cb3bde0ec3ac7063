package register

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// What is said of a damaged table or tariff fits on a screen, however long the name of a
// column or the text of a price is.
func TestLongNamesAreSaidShort(t *testing.T) {
	long := strings.Repeat("A", 1<<20)
	dir := t.TempDir()
	for name, text := range map[string]string{
		"sites.csv":    "site_id,latitude,longitude\nS1,40,-105\n",
		"outcomes.csv": "site_id,called_on,result,in" + long + "\nS1,2026-01-02,declined,x\n",
		"tariffs.yaml": "tariffs:\n  - id: flat\n    import: [{name: all, price: 0." + long + "}]\n    export: {credit: none}\n    settlement: interval\n",
	} {
		if err := os.WriteFile(filepath.Join(dir, name), []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	fleet, err := Read(dir, Options{})
	if err != nil {
		t.Fatal(err)
	}
	said := fleet.Notes
	for _, r := range fleet.Rejects {
		said = append(said, r.Reason)
	}
	kept, price := false, false
	for _, s := range said {
		kept, price = kept || strings.Contains(s, "inAAA"), price || strings.Contains(s, "0.AAA")
		if len(s) > 500 {
			t.Errorf("%d bytes are said: %.80s", len(s), s)
		}
	}
	if !kept || !price {
		t.Errorf("the column is named: %v, the price: %v", kept, price)
	}
}
