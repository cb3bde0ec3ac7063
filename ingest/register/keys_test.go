package register

import "testing"

// Every key that can be read is documented, and nothing else is.
func TestEveryKeyIsDocumented(t *testing.T) {
	known := map[string]bool{}
	for _, d := range Documents() {
		for _, k := range d.Keys {
			known[d.Name+" "+k.Name] = true
			if k.Text == "" || k.Where == "" {
				t.Errorf("%s: key %q has no text or no place to find it: add it to keys.go", d.File, k.Name)
			}
		}
	}
	for name := range catalogueKeys {
		if !known["catalogue "+name] {
			t.Errorf("catalogue.yaml has no key %q", name)
		}
	}
	for name := range tariffKeys {
		if !known["tariffs tariffs[]."+name] {
			t.Errorf("tariffs.yaml has no key %q", name)
		}
	}
	if len(known) < 90 || !known["catalogue profiles[].busbar_rules[].pct"] {
		t.Errorf("only %d keys were walked", len(known))
	}
}
