package register

// catalogueLimits are what the catalogue's numbers lie between, for the
// dictionary; document.number and optional hold them.
var catalogueLimits = map[string][2]float64{
	"modules[].watts": {30, 1000}, "modules[].width_m": {0.1, 5}, "modules[].height_m": {0.1, 5},
	"modules[].temp_coefficient_pct_per_c": {-1, 0}, "modules[].weight_kg": {0, 200},

	"inverters[].generation": {1, 1000}, "inverters[].ac_watts": {1, 1e6}, "inverters[].efficiency_pct": {50, 100},
	"inverters[].max_module_watts": {1, 1e6}, "inverters[].max_dc_watts": {0, 1e7}, "inverters[].phases": {0, 3},
	"inverters[].per_branch": {0, 1000}, "inverters[].branch_breaker_amps": {0, 1000},

	"gateways[].max_inverters": {1, 1e6},

	"profiles[].volts": {50, 1000}, "profiles[].phases": {1, 3}, "profiles[].busbar_pct": {50, 200}, "profiles[].continuous_factor": {1, 2},
	"profiles[].program_cap_pct_of_use": {0, 1000}, "profiles[].per_phase_limit_kw": {0, 1000}, "profiles[].per_installation_limit_kw": {0, 1e6},
	"profiles[].export_limit_kw": {0, 1e6}, "profiles[].peak_factor": {0, 10}, "profiles[].busbar_rules[].pct": {50, 200},
}

// limitOf is a key's limit in words; "": it has none.
func limitOf(name string) string {
	if l, ok := catalogueLimits[name]; ok {
		return limitText(l[0], l[1])
	}
	return ""
}
