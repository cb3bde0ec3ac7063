package profiles

import (
	"reflect"
	"slices"
	"strings"
	"testing"
)

// Every value that a profile sets says where it comes from, and every profile
// says what a licensed electrician must confirm.
func TestEveryValueIsTagged(t *testing.T) {
	ps := Shipped()
	if len(ps) != 4 {
		t.Fatalf("%d profiles, want four places", len(ps))
	}
	tags := []string{"published", "secondary", "common practice", "from memory"}
	// What names the profile or the rules' source needs no tag; center_fed and
	// strict_breaker are readings to choose from.
	untagged := []string{"id", "place", "source", "edition", "tags", "confirm", "site_rules", "center_fed", "strict_breaker"}
	for _, p := range ps {
		tagged := map[string]bool{}
		for _, tag := range p.Tags {
			if !slices.Contains(tags, tag.Tag) || tag.Source == "" {
				t.Errorf("%s: %s: tag %q, source %q", p.ID, tag.Field, tag.Tag, tag.Source)
			}
			tagged[tag.Field] = true
		}
		v := reflect.ValueOf(p)
		for i := range v.NumField() {
			name := v.Type().Field(i).Tag.Get("yaml")
			if v.Field(i).IsZero() || slices.Contains(untagged, name) {
				continue
			}
			if !tagged[name] {
				t.Errorf("%s: %s has no tag", p.ID, name)
			}
			delete(tagged, name)
		}
		for name := range tagged {
			t.Errorf("%s: a tag for %q, which the profile does not set", p.ID, name)
		}
		for _, r := range p.BusbarRules {
			if r.Name == "" || r.Pct <= 0 || r.Condition == "" || r.Clause == "" || !slices.Contains(tags, r.Tag) {
				t.Errorf("%s: rule %+v lacks its name, percentage, condition, clause or tag", p.ID, r)
			}
		}
		if len(p.Confirm) < 4 || p.Source == "" || p.Edition == "" || p.Place == "" {
			t.Errorf("%s: source %q, edition %q, place %q, %d things to confirm", p.ID, p.Source, p.Edition, p.Place, len(p.Confirm))
		}
		if !slices.IsSorted(p.BreakerSizesAmps) || !slices.IsSorted(p.UpgradeBusbarAmps) {
			t.Errorf("%s: sizes are not in order", p.ID)
		}
	}
}

func TestShippedIsAFreshCopy(t *testing.T) {
	Shipped()[0].BreakerSizesAmps[0] = 1
	if got := Shipped()[0].BreakerSizesAmps[0]; got != 15 {
		t.Errorf("a caller's change reached the next caller: %v", got)
	}
}

func TestAMisspeltFieldIsRefused(t *testing.T) {
	if _, err := parse([]byte("- id: x\n  buzbar_pct: 120\n")); err == nil || !strings.Contains(err.Error(), "buzbar_pct") {
		t.Errorf("error %v does not name the field", err)
	}
}
