package visit

import (
	"strings"
	"testing"
	"time"

	"rowen/analyze/array"
	"rowen/ingest"
)

func day(text string) time.Time {
	d, err := time.Parse(time.DateOnly, text)
	if err != nil {
		panic(err)
	}
	return d
}

// mend is a repair sheet for these faults, all of them live.
func mend(codes ...string) *Sheet {
	in := house("split-phase-200")
	in.Repair = true
	for _, c := range codes {
		in.Array.Faults = append(in.Array.Faults, array.Fault{Code: c, Live: true, Says: c})
	}
	return Write(in)
}

// Each fault brings the steps that find its cause, and no other fault's.
func TestStepsByFault(t *testing.T) {
	steps := map[string]string{
		array.Outage:              "device_list supply_there branch_voltage isolate_first terminals daylight dead_units connectors",
		array.InvertersDown:       "device_list branch_voltage isolate_first terminals daylight dead_units connectors",
		array.Decline:             "device_list branch_current soiling",
		array.Shading:             "shade_ask shade_look",
		array.Curtailment:         "limit_settings grid_setting",
		array.MeterDead:           "meter_comms",
		array.CapacityMismatch:    "array_verify",
		array.UnregisteredModules: "array_verify",
		array.OrientationMismatch: "array_verify",
	}
	every := map[string]bool{}
	for _, text := range steps {
		for _, code := range strings.Fields(text) {
			every[code] = true
		}
	}
	for fault, text := range steps {
		s := mend(fault)
		for code := range every {
			if want, got := strings.Contains(" "+text+" ", " "+code+" "), says(s, code) != ""; want != got {
				t.Errorf("%s: step %s is there: %v, want %v", fault, code, got, want)
			}
		}
		onRoof := false
		for _, p := range s.Parts {
			onRoof = onRoof || p.Code == "roof"
		}
		if want := fault != array.MeterDead && fault != array.Curtailment; onRoof != want {
			t.Errorf("%s: a part for the roof: %v", fault, onRoof)
		}
	}
	if says(mend(array.Decline, array.Outage), "branch_current") != "" {
		t.Error("currents are compared while a branch is dead")
	}
}

// Steps count from one through the whole sheet.
func TestStepsAreNumbered(t *testing.T) {
	in := house("split-phase-200")
	for _, s := range []*Sheet{Write(in), mend(array.Outage)} {
		n := 0
		for _, p := range s.Parts {
			for _, st := range p.Steps {
				if n++; st.Number != n {
					t.Fatalf("%s: step %d has number %d", st.Code, n, st.Number)
				}
			}
		}
	}
}

// Two stretches of one fault are one finding: 100.4 + 50.3 = 150.7 kWh lost.
func TestFindingsOfOneFault(t *testing.T) {
	in := house("split-phase-200")
	in.Repair = true
	in.Array.Faults = []array.Fault{
		{Code: array.Outage, Live: true, Says: "off in May.", KWhYr: 100.4, AheadKWhYr: 20.3, Confidence: 0.847, On: day("2026-05-01")},
		{Code: array.Outage, Live: true, Says: "off in June", KWhYr: 50.3, AheadKWhYr: 30.4, Confidence: 0.5, On: day("2026-06-01")},
		{Code: array.Shading, Live: true, Says: "dark", KWhYr: 1, AheadKWhYr: 20.3, On: day("2026-04-01")},
	}
	f := Write(in).Findings
	if len(f) != 2 || f[0].Code != array.Outage || f[0].LostKWhYr != 151 || f[0].AheadKWhYr != 51 || f[0].ConfidencePct != 50 || f[0].Since != "2026-06-01" {
		t.Fatalf("%+v", f)
	}
	if f[0].Says != "Off in June; off in May.." && f[0].Says != "Off in June; off in May." {
		t.Errorf("says %q", f[0].Says)
	}
	// Of equal loss to come the older comes first.
	if got := live(in.Array); got[0].Says != "off in June" || got[1].Code != array.Shading || got[2].Says != "off in May." {
		t.Errorf("order %v", got)
	}
}

func TestSince(t *testing.T) {
	on := day("2026-05-10")
	for _, c := range []struct {
		low, high time.Time
		want      string
	}{
		{time.Time{}, time.Time{}, "2026-05-10"},
		{day("2026-05-08"), day("2026-05-11"), "2026-05-10"}, // three days
		{day("2026-05-08"), day("2026-05-12"), "about 2026-05-10 (2026-05-08 to 2026-05-12)"},
		{time.Time{}, day("2026-05-12"), "2026-05-10"},
		{day("2026-05-08"), time.Time{}, "2026-05-10"},
	} {
		if got := since(array.Fault{On: on, OnLow: c.low, OnHigh: c.high}); got != c.want {
			t.Errorf("%q, want %q", got, c.want)
		}
	}
}

func TestWhere(t *testing.T) {
	in := house("split-phase-200")
	r := &repair{newSite(in), nil}
	one := "A1: 13 modules on plane P1 (facing east, tilt 20°), KV1-265"
	if got := r.where(array.Fault{Code: array.Decline}); got != one {
		t.Errorf("%q", got)
	}
	in.Room.Site.Arrays = append(in.Room.Site.Arrays, ingest.Array{ID: "A2", Modules: 1})
	if got := r.where(array.Fault{Code: array.Decline}); got != "the readings do not tell which of "+one+"; A2: 1 module" {
		t.Errorf("%q", got)
	}
	if got := r.where(array.Fault{Code: array.Outage}); got != one+"; A2: 1 module" { // an outage is of all
		t.Errorf("%q", got)
	}
	in.Room.Site.Arrays = nil
	if got := r.where(array.Fault{Code: array.Outage}); got != "the array is not in the register" {
		t.Errorf("%q", got)
	}
}

// The eight directions of a compass, each 45° wide: north from 337.5° to 22.5°.
func TestWords(t *testing.T) {
	for deg, want := range map[float64]string{0: "north", 22.4: "north", 22.5: "northeast", 90: "east", 135: "southeast", 180: "south", 225: "southwest", 270: "west", 315: "northwest", 337.4: "northwest", 337.6: "north", -90: "west", 360: "north"} {
		if got := facing(deg); got != want {
			t.Errorf("%g°: %s, want %s", deg, got, want)
		}
	}
	for want, words := range map[string][]string{"": nil, "a": {"a"}, "a and b": {"a", "b"}, "a, b and c": {"a", "b", "c"}} {
		if got := list(words); got != want {
			t.Errorf("%q, want %q", got, want)
		}
	}
	for text, want := range map[string]string{"": "", "it is": "It is.", "It is.": "It is."} {
		if text != "" && sentence(text) != want {
			t.Errorf("%q", sentence(text))
		}
	}
	if orUnknown("") != "not known" || orUnknown("x") != "x" || orEither("") != "rows" || orEither("portrait") != "portrait" {
		t.Error("words for what is not known")
	}
	if many(2, "branch") != "branches" || many(2, "module") != "modules" || plural(1, "branch") != "1 branch" {
		t.Error("plurals")
	}
}
