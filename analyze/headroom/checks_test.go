package headroom

import (
	"math"
	"strconv"
	"strings"
	"testing"

	"rowen/ingest"
	"rowen/scripts/outside"
)

// splitPhase is a site with nothing that limits but its busbar.
func splitPhase() Input {
	return Input{
		Site: &ingest.Site{ID: "s", GridType: "grid_tied", PermissionLimitKW: math.NaN(), Service: &ingest.Service{
			Phases: ingest.Some(2), Volts: 240, OtherSupplyAmps: 0, PVBreakerAmps: math.NaN(), BranchSpareAmps: math.NaN(),
			UpstreamBusbarAmps: math.NaN(), UpstreamMainBreakerAmps: math.NaN(), LoadBreakersAmps: math.NaN(), Feed: "end", Profile: "p"}},
		Catalogue: &ingest.Catalogue{Profiles: []ingest.ServiceProfile{{ID: "p", Volts: 240, Phases: 2, BusbarPct: 120, ContinuousFactor: 1.25}}},
		Module:    ingest.Module{Model: "m", Watts: 430, WidthM: 1.134, HeightM: 1.762},
		Inverter:  ingest.Inverter{Model: "i", Kind: "micro", ACWatts: 1},
		Options:   DefaultOptions(),
	}
}

func TestBusbarRuleGivesTheCheckRows(t *testing.T) {
	for _, row := range outside.Rows(t, "09_busbar.csv") {
		pct := map[string]float64{"opposite_end_120pct": 120, "any_location_100pct": 100}[row["rule"]]
		volts := row.Num(t, "volts_LL")
		busbar, main, old := row.Num(t, "bus_A"), row.Num(t, "main_OCPD_A"), row.Num(t, "existing_inverter_output_A")
		amps := max(0, busbarRoom(busbar, main, 0, old, pct, 1.25))
		near(t, row, "max_added_continuous_A", amps)
		near(t, row, "remaining_125pct_current_A", amps*1.25)
		near(t, row, "max_added_kW_by_current", amps*volts/1000)
		breaker := largestBreaker(standardBreakers, amps*1.25)
		near(t, row, "largest_standard_breaker_within_remaining_A", breaker)
		near(t, row, "max_added_kW_by_that_breaker", min(breaker/1.25, amps)*volts/1000)

		// The same rows through Assess, in inverters of one watt.
		in := splitPhase()
		in.Site.Service.BusbarAmps, in.Site.Service.MainBreakerAmps, in.Site.Service.Volts = busbar, main, volts
		in.Site.Service.PVBreakerAmps = old * 1.25
		in.Site.Arrays = []ingest.Array{{ID: "a", Modules: 1, ModuleWatts: 300, InverterModel: "of an unknown model"}}
		if pct == 100 {
			in.Site.Service.Feed = "center"
		}
		c := Assess(in).Service
		if want := int(math.Floor(row.Num(t, "max_added_kW_by_current")*1000 + 1e-6)); !c.Modules.Known || c.Modules.V != want {
			t.Errorf("%v: service ceiling %+v, want %d W", row, c, want)
		}
	}
}

func near(t *testing.T, row outside.Row, column string, got float64) {
	t.Helper()
	if want := row.Num(t, column); math.Abs(got-want) > 1e-9 {
		t.Errorf("%s = %v, want %v (row %v)", column, got, want, row)
	}
}

func TestSumRuleGivesTheCheckRows(t *testing.T) {
	for _, row := range outside.Rows(t, "09_sum_rule.csv") {
		sum := 0.0
		for _, s := range strings.Split(row["all_OCPDs_except_main_A"], "+") {
			v, err := strconv.ParseFloat(s, 64)
			if err != nil {
				t.Fatal(err)
			}
			sum += v
		}
		near(t, row, "sum_A", sum)
		if got := sumRoom(row.Num(t, "bus_A"), sum, 100) >= 0; strconv.FormatBool(got) != row["complies"] {
			t.Errorf("complies = %v (row %v)", got, row)
		}
	}
}

func TestBreakerSizesGiveTheCheckRows(t *testing.T) {
	for _, row := range outside.Rows(t, "09_ocpd_size.csv") {
		near(t, row, "next_standard_OCPD_A", nextBreaker(standardBreakers, 1.25*row.Num(t, "inverter_continuous_output_A")))
	}
}

func TestBranchesGiveTheCheckRows(t *testing.T) {
	for _, row := range outside.Rows(t, "09_branch_microinverters.csv") {
		inv := ingest.Inverter{Kind: "micro", BranchBreakerAmps: row.Num(t, "breaker_A")}
		if got := perBranch(inv, row.Num(t, "unit_continuous_output_A"), 1.25); float64(got) != row.Num(t, "max_units") {
			t.Errorf("%d units a branch (row %v)", got, row)
		}
	}
}

func TestLimitsElsewhereGiveTheCheckRows(t *testing.T) {
	for _, row := range outside.Rows(t, "09_non_us_limits.csv") {
		in := splitPhase()
		phases, volts := int(row.Num(t, "phases")), row.Num(t, "phase_volts")
		in.Site.Service.Phases, in.Site.Service.Volts = ingest.Some(phases), volts
		// A limit in amps a phase, as the rule has it, in inverters of one volt-ampere.
		in.Catalogue.Profiles[0] = ingest.ServiceProfile{ID: "p", Volts: volts, Phases: phases, ContinuousFactor: 1,
			PerPhaseLimitKW: row.Num(t, "amps_per_phase") * volts / 1000}
		c := Assess(in).Service
		if want := row.Num(t, "kVA_total") * 1000; !c.Modules.Known || math.Abs(float64(c.Modules.V)-want) > 1 {
			t.Errorf("%d VA in all (row %v)", c.Modules.V, row)
		}
	}
}

func TestPackingGivesTheCheckRows(t *testing.T) {
	for _, row := range outside.Rows(t, "10_roof_packing.csv") {
		s := surface{outline: points(t, row["polygon_xy_m"])}
		if o := row["obstacle_boxes_x0,y0,x1,y1_m"]; o != "" {
			for _, b := range strings.Fields(o) {
				v := numbers(t, b)
				s.blocked = append(s.blocked, box(v[0], v[1], v[2], v[3]))
			}
		}
		long, short, gap := row.Num(t, "module_long_m"), row.Num(t, "module_short_m"), row.Num(t, "gap_m")
		portrait, at := pack(s, short, long, gap)
		near(t, row, "portrait_count", float64(portrait))
		if want := row.Num(t, "portrait_offset_m"); math.Abs(at-want) > 0.01 {
			t.Errorf("portrait offset %v, want %v (%s)", at, want, row["case"])
		}
		landscape, at := pack(s, long, short, gap)
		near(t, row, "landscape_count", float64(landscape))
		if want := row.Num(t, "landscape_offset_m"); math.Abs(at-want) > 0.01 {
			t.Errorf("landscape offset %v, want %v (%s)", at, want, row["case"])
		}
		best, _ := packBest(s, long, short, gap)
		near(t, row, "best_count", float64(best))
	}
}

func points(t *testing.T, text string) []point {
	t.Helper()
	var out []point
	for _, f := range strings.Fields(text) {
		v := numbers(t, f)
		out = append(out, point{v[0], v[1]})
	}
	return out
}

func numbers(t *testing.T, text string) []float64 {
	t.Helper()
	var out []float64
	for _, f := range strings.Split(text, ",") {
		v, err := strconv.ParseFloat(f, 64)
		if err != nil {
			t.Fatal(err)
		}
		out = append(out, v)
	}
	return out
}

// largestBreaker is the largest size within amps; 0 where none fits.
func largestBreaker(sizes []float64, amps float64) float64 {
	best := 0.0
	for _, s := range sizes {
		if s <= amps+eps && s > best {
			best = s
		}
	}
	return best
}
