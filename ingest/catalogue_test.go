package ingest

import "testing"

// A blank count is one inverter per module for micro-inverters and not known
// for a string inverter; 0 says that the modules hang on another array's.
func TestInverterCount(t *testing.T) {
	c := &Catalogue{Inverters: []Inverter{{Model: "m", Kind: "micro"}, {Model: "s", Kind: "string"}}}
	blank := Opt[int]{}
	for _, x := range []struct {
		model string
		count Opt[int]
		want  Opt[int]
	}{
		{"m", blank, Some(12)}, {"m", Some(11), Some(11)}, {"m", Some(0), blank},
		{"s", blank, blank}, {"s", Some(2), Some(2)}, {"s", Some(0), Some(0)},
		{"not there", blank, blank}, {"", Some(3), Some(3)},
	} {
		if got := c.InverterCount(&Array{Modules: 12, InverterModel: x.model, Inverters: x.count}); got != x.want {
			t.Errorf("model %q, count %v: %v, want %v", x.model, x.count, got, x.want)
		}
	}
}
