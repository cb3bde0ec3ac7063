package register

import (
	"errors"
	"fmt"
	"io/fs"
	"slices"

	"rowen/ingest"
	"rowen/ingest/register/profiles"
)

const catalogueFile = "catalogue.yaml"

func readCatalogue(dir string, b *book) (ingest.Catalogue, error) {
	var c ingest.Catalogue
	d, text, err := openDocument(dir, catalogueFile)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		b.note("%s: not there, so no module can be offered", catalogueFile)
	case err != nil:
		return c, fmt.Errorf("reading %s: %w", catalogueFile, err)
	default:
		err = decodeCatalogue(d, text, &c)
		if err != nil {
			return c, err
		}
	}
	addShipped(&c)
	return c, nil
}

// addShipped adds the service profiles that come with the program, but for
// those that the fleet defines itself.
func addShipped(c *ingest.Catalogue) {
	for _, p := range profiles.Shipped() {
		if c.Profile(p.ID) == nil {
			c.Profiles = append(c.Profiles, p)
		}
	}
}

func decodeCatalogue(d *document, text []byte, c *ingest.Catalogue) error {
	d.decode(text, c)
	if len(d.bad) > 0 {
		return d.err()
	}
	f := ingest.Fleet{Catalogue: *c}
	d.named("modules", "model", moduleModels(&f))
	d.named("inverters", "model", inverterModels(&f))
	d.named("gateways", "model", gatewayModels(&f))
	d.named("profiles", "id", profileIDs(&f))
	for i, m := range c.Modules {
		checkModule(d, entryPath("modules", i, m.Model), m)
	}
	for i, v := range c.Inverters {
		checkInverter(d, entryPath("inverters", i, v.Model), v)
	}
	for i, g := range c.Gateways {
		p := entryPath("gateways", i, g.Model)
		d.number(p+": max_inverters", float64(g.MaxInverters), 1, 1e6, "inverters")
		checkVersion(d, p+": latest_software", g.LatestSoftware)
	}
	for i, m := range c.Mixing {
		checkMixing(d, entryPath("mixing", i, ""), m, c)
	}
	for i, p := range c.Profiles {
		checkProfile(d, entryPath("profiles", i, p.ID), p)
	}
	return d.err()
}

func checkModule(d *document, p string, m ingest.Module) {
	d.number(p+": watts", m.Watts, 30, 1000, "W")
	d.number(p+": width_m", m.WidthM, 0.1, 5, "m")
	d.number(p+": height_m", m.HeightM, 0.1, 5, "m")
	d.number(p+": temp_coefficient_pct_per_c", m.TempCoefficientPctPC, -1, 0, "% per °C")
	d.optional(p+": weight_kg", m.WeightKg, 0, 200, "kg")
}

func checkInverter(d *document, p string, v ingest.Inverter) {
	if v.Family == "" {
		d.say(p+": family", "must be given")
	}
	d.number(p+": generation", float64(v.Generation), 1, 1000, "")
	d.among(p+": kind", v.Kind, "micro", "string")
	d.number(p+": ac_watts", v.ACWatts, 1, 1e6, "W")
	d.number(p+": efficiency_pct", v.EfficiencyPct, 50, 100, "%")
	d.optional(p+": max_module_watts", v.MaxModuleWatts, 1, 1e6, "W")
	d.optional(p+": max_dc_watts", v.MaxDCWatts, 0, 1e7, "W")
	d.optional(p+": phases", float64(v.Phases), 0, 3, "")
	if v.Kind == "micro" {
		d.number(p+": per_branch", float64(v.PerBranch), 1, 1000, "inverters")
		d.number(p+": branch_breaker_amps", v.BranchBreakerAmps, 1, 1000, "A")
		return
	}
	d.optional(p+": per_branch", float64(v.PerBranch), 0, 1000, "inverters")
	d.optional(p+": branch_breaker_amps", v.BranchBreakerAmps, 0, 1000, "A")
}

func checkVersion(d *document, p, v string) {
	if v != "" && !softwarePattern.MatchString(v) {
		d.say(p, "%q must be numbers with points, as 5.2.1180", v)
	}
}

func checkMixing(d *document, p string, m ingest.MixingRule, c *ingest.Catalogue) {
	var families []string
	for _, v := range c.Inverters {
		families = append(families, v.Family)
	}
	d.among(p+": family", m.Family, unique(families)...)
	if len(m.Generations) < 2 {
		d.say(p+": generations", "must name at least two: a rule says which may be mixed")
	}
	for _, g := range m.Gateways {
		d.among(p+": gateways", g, names(c.Gateways, func(g ingest.GatewayModel) string { return g.Model })...)
	}
	checkVersion(d, p+": min_software", m.MinSoftware)
	for _, g := range m.GridTypes {
		d.among(p+": grid_types", g, "grid_tied", "backup", "off_grid")
	}
	for _, g := range m.BlockedBy {
		d.among(p+": blocked_by", g, "backup_controller", "storage")
	}
}

func checkProfile(d *document, p string, s ingest.ServiceProfile) {
	if s.ID != "" && !idPattern.MatchString(s.ID) {
		d.say(p+": id", "must be 1 to 64 of A-Z a-z 0-9 . _ -")
	}
	d.number(p+": volts", s.Volts, 50, 1000, "V")
	d.number(p+": phases", float64(s.Phases), 1, 3, "")
	if s.BusbarPct != 0 { // 0: no busbar rule
		d.number(p+": busbar_pct", s.BusbarPct, 50, 200, "%")
	}
	if s.ContinuousFactor != 0 { // 0: 1.25
		d.number(p+": continuous_factor", s.ContinuousFactor, 1, 2, "")
	}
	checkRising(d, p+": breaker_sizes_amps", s.BreakerSizesAmps)
	checkRising(d, p+": upgrade_busbar_amps", s.UpgradeBusbarAmps)
	if s.VoltsBetween != "" {
		d.among(p+": volts_between", s.VoltsBetween, "phase", "line")
	}
	if s.CenterFed != "" {
		d.among(p+": center_fed", s.CenterFed, "refuse")
	}
	for i, r := range s.BusbarRules {
		checkBusbarRule(d, entryPath(p+": busbar_rules", i, ""), r)
	}
	d.optional(p+": program_cap_pct_of_use", s.ProgramCapPctOfUse, 0, 1000, "%")
	d.optional(p+": per_phase_limit_kw", s.PerPhaseLimitKW, 0, 1000, "kW")
	d.optional(p+": per_installation_limit_kw", s.PerInstallationLimitKW, 0, 1e6, "kW")
	d.optional(p+": export_limit_kw", s.ExportLimitKW, 0, 1e6, "kW")
	d.optional(p+": peak_factor", s.PeakFactor, 0, 10, "")
}

func checkBusbarRule(d *document, p string, r ingest.BusbarRule) {
	if r.Kind != "" {
		d.among(p+": kind", r.Kind, "current", "sum")
	}
	d.number(p+": pct", r.Pct, 50, 200, "%")
	for _, f := range r.Feeds {
		d.among(p+": feeds", f, "end", "center", "unknown")
	}
}

func checkRising(d *document, p string, amps []float64) {
	for i, a := range amps {
		if a <= 0 || (i > 0 && a <= amps[i-1]) {
			d.say(p, "%g must be > 0 A and more than the one before it: give them in rising order", a)
		}
	}
}

func unique(ss []string) []string {
	var out []string
	for _, s := range ss {
		if !slices.Contains(out, s) {
			out = append(out, s)
		}
	}
	return out
}
