package nearest

import "testing"

// Worked by hand: each word is one or two edits from the one that is meant.
func TestWord(t *testing.T) {
	keys := []string{"money.horizon_years", "money.cost_per_visit", "rank.min_modules", "workers", "month"}
	for _, c := range []struct{ typed, meant string }{
		{"horizon_years", "money.horizon_years"}, // the place is missing
		{"rank.horizon_years", "money.horizon_years"},
		{"money.horizon_year", "money.horizon_years"},
		{"worker", "workers"},
		{"mnoth", "month"},
		{"roof.colour_of_tiles", ""},
	} {
		if got := Word(c.typed, keys); got != c.meant {
			t.Errorf("%q: got %q, want %q", c.typed, got, c.meant)
		}
	}
}
