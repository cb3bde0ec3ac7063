package ingest

// Catalogue is the equipment and the rules that change by place and year.
type Catalogue struct {
	Modules   []Module         `yaml:"modules"`
	Inverters []Inverter       `yaml:"inverters"`
	Gateways  []GatewayModel   `yaml:"gateways"`
	Mixing    []MixingRule     `yaml:"mixing"`
	Profiles  []ServiceProfile `yaml:"profiles"`
}

// Module makes electricity on the roof.
type Module struct {
	Model                string  `yaml:"model"`
	Watts                float64 `yaml:"watts"` // STC
	WidthM               float64 `yaml:"width_m"`
	HeightM              float64 `yaml:"height_m"`
	WeightKg             float64 `yaml:"weight_kg"` // 0: not known
	TempCoefficientPctPC float64 `yaml:"temp_coefficient_pct_per_c"`
}

// Inverter is one model of inverter.
type Inverter struct {
	Model             string  `yaml:"model"`
	Family            string  `yaml:"family"`
	Generation        int     `yaml:"generation"`
	Kind              string  `yaml:"kind"` // micro or string
	ACWatts           float64 `yaml:"ac_watts"`
	MaxModuleWatts    float64 `yaml:"max_module_watts"`
	EfficiencyPct     float64 `yaml:"efficiency_pct"`
	PerBranch         int     `yaml:"per_branch"`
	BranchBreakerAmps float64 `yaml:"branch_breaker_amps"`
	MaxDCWatts        float64 `yaml:"max_dc_watts"` // string inverters: modules together; 0: not known
	Phases            int     `yaml:"phases"`       // 3: feeds three phases alike; 0 or 1: one
}

// GatewayModel is one model of monitoring gateway.
type GatewayModel struct {
	Model          string `yaml:"model"`
	MaxInverters   int    `yaml:"max_inverters"`
	LatestSoftware string `yaml:"latest_software"`
}

// MixingRule says which inverter generations may share a gateway, and when.
type MixingRule struct {
	Family      string   `yaml:"family"`
	Generations []int    `yaml:"generations"`
	Gateways    []string `yaml:"gateways"`
	MinSoftware string   `yaml:"min_software"`
	GridTypes   []string `yaml:"grid_types"`
	BlockedBy   []string `yaml:"blocked_by"` // backup_controller, storage
	// OtherFamilies may report through the same gateway beside the generations
	// above, whatever their generation: older string inverters, say.
	OtherFamilies []string `yaml:"other_families"`
	// SameBranch says whether the generations may hang on one branch circuit.
	// nil: the rule does not say; room on old branches then counts, with the
	// doubt kept.
	SameBranch *bool `yaml:"same_branch"`
	// MaxInverters is how many inverters one gateway takes while generations
	// share it; 0: as many as the gateway takes anyway.
	MaxInverters int `yaml:"max_inverters"`
}

// ServiceProfile is the electrical rule set of a place and edition: a screen,
// not a design. A number left out (0) means that the profile has no such rule,
// but for ContinuousFactor, whose absence reads as 1.25.
type ServiceProfile struct {
	ID                 string    `yaml:"id"`
	Volts              float64   `yaml:"volts"`
	Phases             int       `yaml:"phases"`     // 1, 2 = split, 3
	BusbarPct          float64   `yaml:"busbar_pct"` // PV and main breaker together against the busbar, feed at opposite ends; 0: no busbar rule
	ContinuousFactor   float64   `yaml:"continuous_factor"`
	BreakerSizesAmps   []float64 `yaml:"breaker_sizes_amps"`
	ProgramCapPctOfUse float64   `yaml:"program_cap_pct_of_use"` // 0: none
	PerPhaseLimitKW    float64   `yaml:"per_phase_limit_kw"`     // all inverters on one phase, old and new; 0: none
	Source             string    `yaml:"source"`
	Edition            string    `yaml:"edition"`

	Place string `yaml:"place"` // where the rules hold, in words

	// VoltsBetween says what Volts is on three phases: "phase" (to neutral, the
	// default) or "line". On one phase and on split phase it is the voltage that
	// the inverters feed, and this field says nothing.
	VoltsBetween string `yaml:"volts_between"`

	// BusbarRules, any one of which is enough. Empty: BusbarPct for feed at
	// opposite ends, and no more than 100 % for every other feed.
	BusbarRules []BusbarRule `yaml:"busbar_rules"`
	// CenterFed says what a center-fed or unknown feed gets: "" the rules that
	// cover it (100 %), or "refuse".
	CenterFed string `yaml:"center_fed"`
	// StrictBreaker counts breaker sizes instead of continuous currents, as some
	// inspectors still read the busbar rule.
	StrictBreaker bool `yaml:"strict_breaker"`

	SpacesPerBranch int  `yaml:"spaces_per_branch"` // 0: two on split phase, one on a single phase
	SupplySide      bool `yaml:"supply_side"`       // a connection before the main breaker is allowed

	PerInstallationLimitKW float64 `yaml:"per_installation_limit_kw"` // all inverters of the premises
	LimitsLiftedBy         string  `yaml:"limits_lifted_by"`          // the enabling job that lifts the limits above; "": none
	ExportLimitKW          float64 `yaml:"export_limit_kw"`           // export only: own use comes on top

	// PeakFactor times the household's highest gross demand must stay within
	// the service's rating.
	PeakFactor float64 `yaml:"peak_factor"`

	// What a panelboard upgrade brings: the busbar sizes on offer, ascending,
	// and the free spaces that the new one has at least.
	UpgradeBusbarAmps []float64 `yaml:"upgrade_busbar_amps"`
	UpgradeFreeSpaces int       `yaml:"upgrade_free_spaces"`
	// What a subpanel beside the panelboard brings, where spaces alone are lacking.
	SubpanelFreeSpaces int `yaml:"subpanel_free_spaces"`

	Tags    []ValueTag `yaml:"tags"`
	Confirm []string   `yaml:"confirm"` // what a licensed electrician must confirm at the site

	// SiteRules are the clauses that hold for work at a site of this place: what
	// a crew's sheet cites. A topic without one defers to the local code.
	SiteRules []SiteRule `yaml:"site_rules"`
	// AsbestosBefore is the year of a covering before which asbestos is likely
	// in this place; 0: not said.
	AsbestosBefore int `yaml:"asbestos_before"`
}

// SiteRule is the clause that holds for one topic of work at a site.
type SiteRule struct {
	Topic  string `yaml:"topic"` // lockout, fall, ladder, asbestos, connectors, torque, grounding, labels, rapid_shutdown, inspection
	Clause string `yaml:"clause"`
	Tag    string `yaml:"tag"` // published, secondary, common practice, from memory
}

// SiteRule is the clause of a topic; "" where the profile has none.
func (p *ServiceProfile) SiteRule(topic string) string {
	if p != nil {
		for _, r := range p.SiteRules {
			if r.Topic == topic {
				return r.Clause
			}
		}
	}
	return ""
}

// BusbarRule is one way in which a busbar passes.
type BusbarRule struct {
	Name string `yaml:"name"`
	// Kind is "current": continuous_factor x PV amps + main breaker + other
	// supplies <= Pct of the busbar; or "sum": all breakers but the main, loads
	// and sources, <= Pct of the busbar. "": current.
	Kind      string   `yaml:"kind"`
	Pct       float64  `yaml:"pct"`
	Feeds     []string `yaml:"feeds"` // end, center, unknown; empty: any
	Condition string   `yaml:"condition"`
	Clause    string   `yaml:"clause"`
	Tag       string   `yaml:"tag"` // published, secondary, common practice, from memory
}

// ValueTag says where one value of a profile comes from.
type ValueTag struct {
	Field  string `yaml:"field"`
	Tag    string `yaml:"tag"` // published, secondary, common practice, from memory
	Source string `yaml:"source"`
}

// Module finds a module model; nil where the catalogue has none.
func (c *Catalogue) Module(model string) *Module {
	for i := range c.Modules {
		if c.Modules[i].Model == model {
			return &c.Modules[i]
		}
	}
	return nil
}

// Inverter finds an inverter model; nil where the catalogue has none.
func (c *Catalogue) Inverter(model string) *Inverter {
	for i := range c.Inverters {
		if c.Inverters[i].Model == model {
			return &c.Inverters[i]
		}
	}
	return nil
}

// Newest is the inverter of a family that an expansion with modules of some
// watts would use: of the newest generation, of those that take the module the
// one with most AC power for micro-inverters and with least for string
// inverters, whose sizes are for whole arrays (our choice). nil: no such family.
func (c *Catalogue) Newest(family string, moduleWatts float64) *Inverter {
	var best *Inverter
	takes := func(v *Inverter) bool { return !(v.MaxModuleWatts > 0) || moduleWatts <= v.MaxModuleWatts }
	better := func(v, than *Inverter) bool {
		switch {
		case v.Generation != than.Generation:
			return v.Generation > than.Generation
		case takes(v) != takes(than):
			return takes(v)
		case v.Kind == "string":
			return v.ACWatts < than.ACWatts
		}
		return v.ACWatts > than.ACWatts
	}
	for i := range c.Inverters {
		if v := &c.Inverters[i]; v.Family == family && (best == nil || better(v, best)) {
			best = v
		}
	}
	return best
}

// OneFamily says whether all inverters are of one family.
func (c *Catalogue) OneFamily() bool {
	for i := range c.Inverters {
		if c.Inverters[i].Family != c.Inverters[0].Family {
			return false
		}
	}
	return true
}

// InverterCount is how many inverters an array has: what the register says, or
// one per module for micro-inverters where it says nothing. 0 means that its
// modules hang on another array's string inverter.
//
// Refuses: a blank count with a string inverter or an inverter that the
// catalogue does not hold, and micro-inverters of which there are none.
func (c *Catalogue) InverterCount(a *Array) Opt[int] {
	inv := c.Inverter(a.InverterModel)
	micro := inv != nil && inv.Kind == "micro"
	switch {
	case a.Inverters.Known && (a.Inverters.V > 0 || !micro):
		return a.Inverters
	case micro && !a.Inverters.Known:
		return Some(a.Modules)
	}
	return Opt[int]{}
}

// Gateway finds a gateway model; nil where the catalogue has none.
func (c *Catalogue) Gateway(model string) *GatewayModel {
	for i := range c.Gateways {
		if c.Gateways[i].Model == model {
			return &c.Gateways[i]
		}
	}
	return nil
}

// Profile finds a service profile; nil where the catalogue has none.
func (c *Catalogue) Profile(id string) *ServiceProfile {
	for i := range c.Profiles {
		if c.Profiles[i].ID == id {
			return &c.Profiles[i]
		}
	}
	return nil
}
